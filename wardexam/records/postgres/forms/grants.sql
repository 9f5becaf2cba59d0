-- What each role may do and no more. Logins are members of one of them; the owner migrates.
do $$
declare
    doctor text := current_database() || '_doctor';  -- examines, saves, admits
    reader text := current_database() || '_reader';  -- looks back: figures, exports; changes nothing
    role_name text;
begin
    foreach role_name in array array[doctor, reader] loop
        if not exists (select from pg_roles where rolname = role_name) then
            execute format('create role %I nologin', role_name);
        end if;
        execute format('revoke all on all tables in schema wardexam from %I', role_name);
        execute format('grant connect on database %I to %I', current_database(), role_name);
        execute format('grant usage on schema wardexam to %I', role_name);
        execute format('grant select on schema_version, ward, patients, records, trail, origin, restored, moved to %I', role_name);
        -- The rest of a line is the server's own word.
        execute format('grant insert (event, patient, by, what, record, change_id) on trail to %I', role_name);
    end loop;
    revoke all on schema wardexam from public;
    revoke all on all functions in schema wardexam from public;
    execute format('grant execute on function in_ascii(text) to %I, %I', doctor, reader);
    execute format('grant insert on patients, records to %I', doctor);
    execute format('grant update (discharged, listed, seq, state, mark) on patients to %I', doctor);
    execute format('grant select, insert, update, delete on drafts to %I', doctor);
    execute format('grant select, insert on draft_lines to %I', doctor);
end
$$;
