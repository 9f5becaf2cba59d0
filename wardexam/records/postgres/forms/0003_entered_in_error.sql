-- An examination may be marked as entered in error: field in_error of the document of its last revision. A program of the
-- form before would count it; so it is one more form, which that program refuses.
comment on table records is 'a row for each revision; an examination whose last revision has in_error true counts nowhere';
