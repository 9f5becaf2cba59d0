"""Where it is kept: TinyDB documents, durable writes, locks, drafts, revisions, archives."""
