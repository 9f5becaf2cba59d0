-- A ward: patients and their records, one row a revision; the trail; drafts.

-- Which ward it is; what a login keeps of it beside the server is kept under this name.
create table ward (
    one boolean primary key default true check (one),
    id text not null
);
insert into ward (id) values (replace(gen_random_uuid()::text, '-', ''));

-- Who is on the ward or was: the line of the ward list, kept by the transaction that changes a record.
create table patients (
    id text primary key check (id ~ '^[a-z0-9]{8,40}$'),
    discharged boolean not null,
    listed jsonb not null,  -- as records/patient_tables.row_of gives it
    seq bigint not null,    -- the last row in records
    state text not null,    -- the hash that chains the digests of these rows in their order
    mark text not null      -- the hash of listed and state, which the trail names
);
create index patients_on_ward on patients (id) where not discharged;

-- Never changed and never deleted: details, examinations, cord injury sheets, outcomes.
create table records (
    patient text not null references patients (id),
    seq bigint not null,      -- the order in which they were saved, from 1
    kind text not null check (kind in ('patient', 'examination', 'sheet', 'outcome')),
    id text not null,
    revision integer not null,
    document jsonb not null,  -- the same documents as in a folder
    digest text not null,     -- SHA-256 of the document as JSON with sorted keys
    primary key (patient, seq),
    unique (patient, kind, id, revision)
);

-- Who did what: each line's hash covers the line before it. The server says when and which login.
create table trail (
    n bigint primary key,
    at text not null,
    event text not null,
    patient text not null,
    "by" text not null check (length("by") <= 200),
    login text not null,
    what text not null check (length(what) <= 400),
    record text not null,     -- the mark of the patient after the event; empty where nothing was written
    hash text not null,
    change_id text not null default ''  -- which change it was of, by which one whose end was not heard is found
);
create unique index trail_change_id on trail (change_id text_pattern_ops) where change_id <> '';
create index trail_of_patient on trail (patient, n desc) where record <> '';

-- JSON with every character outside ASCII written out, as Python's json.dumps writes it.
create function in_ascii(given text) returns text
language sql immutable strict
set search_path = pg_catalog
as $$
    select string_agg(
        case
            when ascii(c) < 127 then c
            when ascii(c) < 65536 then '\u' || lpad(to_hex(ascii(c)), 4, '0')
            else '\u' || to_hex(55296 + (ascii(c) - 65536) / 1024) || '\u' || to_hex(56320 + (ascii(c) - 65536) % 1024)
        end, '' order by place)
    from unnest(string_to_array(given, null)) with ordinality as each (c, place)
$$;

-- The next line of the trail: one at a time, whoever writes it, whatever they say of when and who.
create function trail_next() returns trigger
language plpgsql
set search_path = wardexam, pg_catalog
as $$
declare
    last record;
    line text;
begin
    if new.event not in ('viewed', 'copied', 'exported')
        and not has_table_privilege(session_user, 'wardexam.records', 'insert') then
        raise insufficient_privilege using message = 'permission denied for table trail';
    end if;
    perform pg_advisory_xact_lock(7201951, 1);
    select t.n, t.hash into last from trail t order by t.n desc limit 1;
    new.n := coalesce(last.n, 0) + 1;
    new.at := to_char(clock_timestamp() at time zone 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS"+00:00"');
    new.login := session_user;
    line := format('{"at": %s, "by": %s, "event": %s, "login": %s, "n": %s, "patient": %s, "record": %s, "what": %s}',
        to_json(new.at), to_json(new."by"), to_json(new.event), to_json(new.login), new.n, to_json(new.patient),
        to_json(new.record), to_json(new.what));
    if line !~ '^[\u0001-\u007e]*$' then
        line := in_ascii(line);
    end if;
    new.hash := encode(sha256(convert_to(coalesce(last.hash, repeat('0', 64)) || line, 'UTF8')), 'hex');
    return new;
end
$$;
create trigger trail_next before insert on trail for each row execute function trail_next();

-- Drafts: a lease says who writes one until when, its number tells an old writer from a new one.
create table drafts (
    kind text not null check (kind in ('draft', 'sheet')),
    id text not null,
    patient text not null,
    "by" text not null,
    started text not null,
    last timestamptz not null default clock_timestamp(),
    aside boolean not null default false,
    fence bigint not null default 0,
    holder text not null default '',  -- whose the lease is
    until timestamptz not null default '-infinity',
    primary key (kind, id)
);

-- Line 0 is the examination, or sheet, as it stood; each further line is a change.
create table draft_lines (
    kind text not null,
    id text not null,
    number integer not null check (number >= 0),
    line json not null,  -- as written, to the byte
    primary key (kind, id, number),
    foreign key (kind, id) references drafts (kind, id) on update cascade on delete cascade
);

-- Whoever shows the ward list hears of every change of it.
create function tell() returns trigger
language plpgsql
as $$
begin
    perform pg_notify('wardexam', '');
    return null;
end
$$;
create trigger tell_patients after insert or update or delete on patients for each statement execute function tell();
create trigger tell_drafts after insert or delete or update of fence, aside on drafts
    for each statement execute function tell();
