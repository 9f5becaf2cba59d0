"""Whether a server keeps what it is given, is of a form that is known, and lets each login do no more than it must."""

from collections.abc import Iterator, Mapping
from typing import LiteralString

from psycopg import Connection, Error

from wardexam.records.postgres import schema
from wardexam.records.postgres.faults import refused
from wardexam.records.postgres.server import Row, connect
from wardexam.records.postgres.url import said

# Off, a server loses at a power cut what it said was saved.
ON = ("fsync", "full_page_writes", "synchronous_commit")
ONLY_ADDED_TO = ("records", "trail")
RIGHTS = ("update", "delete", "truncate")


def look(parameters: Mapping[str, str]) -> tuple[list[str], list[str]]:
    """What the server is, and what is wrong with it, in lines.

    Raises:
        RecordsError: It cannot be reached, or no ward of this program's form stands there.
    """
    where = said(parameters)
    with connect(parameters) as connection:
        try:
            if fault := schema.fault_of(connection, where):
                raise fault
            return [*_facts(connection, where)], [*_faults(connection)]
        except Error as error:
            raise refused(error, where) from None


def _one(connection: Connection[Row], query: LiteralString, *values: str) -> str:
    row = connection.execute(query, values).fetchone()
    return str(row[0]) if row else ""


def _may(connection: Connection[Row], role: str, table: str, right: str) -> bool:
    query: LiteralString = "select has_any_column_privilege(%s, %s, %s) or has_table_privilege(%s, %s, %s)"  # fmt: skip
    if right in ("delete", "truncate"):
        query = "select has_table_privilege(%s, %s, %s)"
        return _one(connection, query, role, table, right) == "True"
    return _one(connection, query, role, table, right, role, table, right) == "True"


def _facts(connection: Connection[Row], where: str) -> Iterator[str]:
    release = _one(connection, "show server_version").split()[0]
    number = schema.stands_at(connection)
    yield f"PostgreSQL {release}, {where}, form {number}"
    guarded = "TLS" if connection.pgconn.ssl_in_use else "no TLS"
    host = connection.info.host
    way = "a socket of this host" if host.startswith("/") or not host else guarded
    owns = _may(connection, connection.info.user, "records", "delete")
    name = connection.info.dbname
    member: LiteralString = (
        "select pg_has_role(current_user, oid, 'member') from pg_roles where rolname = %s"
    )
    kind = next((k for k in ("doctor", "reader") if _one(connection, member, f"{name}_{k}") == "True"), "no role")  # fmt: skip
    yield f"login {connection.info.user} ({'owner' if owns else kind}), over {way}"


def _faults(connection: Connection[Row]) -> Iterator[str]:
    for setting in ON:
        if _one(connection, "select current_setting(%s)", setting) == "off":
            yield f"{setting} is off: a power cut loses what was said to be saved"
    for name in schema.changed_files(connection):
        yield f"made by another {name} than this program has"
    database = connection.info.dbname
    for role in (f"{database}_doctor", f"{database}_reader"):
        if not _one(connection, "select 1 from pg_roles where rolname = %s", role):
            yield f"there is no role {role} ('wardexam store migrate' makes it)"
            continue
        for table in ONLY_ADDED_TO:
            for right in RIGHTS:
                if _may(connection, role, table, right):
                    yield f"{role} may {right} {table}, which are only added to"
        if not _may(connection, role, "trail", "insert"):
            yield f"{role} may not write the trail ('wardexam store migrate' grants it)"
