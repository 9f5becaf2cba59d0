-- Where a ward came from, and where it went.

-- A line of the trail that came from another store and is not as this one writes lines: as it came, to the byte.
alter table trail add column line text;

-- Of a ward that was restored: what the trail's last line on a patient names as the record, and what the mark is here.
create table origin (
    patient text primary key,
    record text not null,
    stands text not null
);
create table restored (
    one boolean primary key default true check (one),
    at text not null,
    "by" text not null,
    login text not null default session_user,
    sha256 text not null,  -- of the backup
    lines bigint not null  -- of the trail then
);

-- Where the ward was moved to. While a row stands here nothing is written.
create table moved (
    one boolean primary key default true check (one),
    target text not null,
    at timestamptz not null default clock_timestamp(),
    login text not null default session_user
);

create function still_here() returns trigger
language plpgsql
set search_path = wardexam, pg_catalog
as $$
declare
    went text;
begin
    select m.target into went from moved m;
    if went is not null then
        raise exception using errcode = 'WX001', message = went;
    end if;
    return null;
end
$$;
create trigger still_here before insert on trail for each statement execute function still_here();
create trigger still_here before insert on draft_lines for each statement execute function still_here();
create trigger still_here before insert on drafts for each statement execute function still_here();
