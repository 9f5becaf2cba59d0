-- Which numbered files were applied, each with the SHA-256 of its text, when and by which login.
create table schema_version (
    number integer primary key,
    name text not null,
    sha256 text not null,
    at timestamptz not null default now(),
    login text not null default session_user
);
