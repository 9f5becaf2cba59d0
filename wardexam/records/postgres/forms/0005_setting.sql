-- What a complaint came after, such as an operation, is told: field setting of the context in an examination's document. A
-- program of the form before cannot read that; so it is one more form, which that program refuses.
comment on table records is 'a row for each revision; an examination whose last revision has in_error true counts nowhere, one with entered was made before that';
