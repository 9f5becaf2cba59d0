"""The form of a ward on a server: numbered files of SQL, each applied once, in its order, under a lock.

A file that was applied is never changed: a further form is a further file. What a role may do stands in
``grants.sql``, which is applied anew each time.
"""

import hashlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib.resources import files

from psycopg import Connection, Error, errors, sql

from wardexam.errors import RecordsError
from wardexam.records.postgres.faults import refused
from wardexam.records.postgres.server import SCHEMA_NAME, Row, connect
from wardexam.records.postgres.url import said

OLDEST = 15  # the first release of the server that will do
FOLDER = "forms"  # where the files lie
LOCK = 7201951  # one migration at a time

Say = Callable[[str], object]


@dataclass(frozen=True, slots=True)
class Step:
    """One numbered file: its number, name, text and SHA-256."""

    number: int
    name: str
    text: str
    sha256: str


def steps() -> tuple[Step, ...]:
    """Every numbered file, in order."""
    found = []
    for file in (files(__package__) / FOLDER).iterdir():
        if numbered := re.fullmatch(r"(\d{4})_\w+\.sql", file.name):
            text = file.read_text(encoding="utf-8")
            digest = hashlib.sha256(text.encode()).hexdigest()
            found.append(Step(int(numbered[1]), file.name, text, digest))
    return tuple(sorted(found, key=lambda step: step.number))


def _run(connection: Connection[Row], text: str) -> None:
    connection.execute(text.encode())  # as bytes a text need not be written here


def stands_at(connection: Connection[Row]) -> int:
    """The number of the last file that was applied; 0 where no ward stands there."""
    query = "select to_regclass(%s)"
    known = connection.execute(query, [f"{SCHEMA_NAME}.schema_version"]).fetchone()
    if known is None or known[0] is None:
        return 0
    found = connection.execute("select coalesce(max(number), 0) from schema_version").fetchone()
    return int(found[0]) if found else 0


def fault_of(connection: Connection[Row], where: str) -> RecordsError | None:
    """Why the ward cannot be used by this program; None where it can."""
    number, newest = stands_at(connection), steps()[-1].number
    if not number:
        return RecordsError("no ward stands there", where, "'wardexam store create' makes one")
    if number > newest:
        return _newer(number, where)
    if number < newest:
        return RecordsError(
            f"the store has form {number}, and this program needs {newest}",
            where,
            "its owner runs 'wardexam store migrate'",
        )
    return None


def _newer(number: int, where: str) -> RecordsError:
    return RecordsError(f"form {number} of the store is not known to this program; it is left as it is", where, "update wardexam")  # fmt: skip


def changed_files(connection: Connection[Row]) -> list[str]:
    """Files that were applied with another text than they have now."""
    applied = connection.execute("select number, name, sha256 from schema_version").fetchall()
    now = {step.number: step.sha256 for step in steps()}
    return [name for number, name, digest in applied if now.get(number, digest) != digest]


def create(parameters: Mapping[str, str], say: Say = lambda _: None) -> None:
    """A ward where none stands; the database too, where there is none.

    Raises:
        RecordsError: One stands there already, or the server refuses.
    """
    _make_database(parameters, say)
    _migrate(parameters, say, fresh=True)


def migrate(parameters: Mapping[str, str], say: Say = lambda _: None) -> None:
    """The ward brought to the form that this program knows; nothing where it has it.

    Raises:
        RecordsError: No ward stands there, it is of a newer program, or the server refuses; it is as it was.
    """
    _migrate(parameters, say, fresh=False)


def _make_database(parameters: Mapping[str, str], say: Say) -> None:
    """Make the database where it is not there and this login may."""
    name = parameters.get("dbname", "")
    if not name:
        return
    with connect({**parameters, "dbname": "postgres"}) as connection:
        query = "select 1 from pg_database where datname = %s"
        if connection.execute(query, [name]).fetchone():
            return
        made = sql.SQL("create database {} encoding 'UTF8' template template0")
        try:
            connection.execute(made.format(sql.Identifier(name)))
        except Error as error:
            raise refused(error, said(parameters)) from None
        say(f"database {name} made")


def _migrate(parameters: Mapping[str, str], say: Say, *, fresh: bool) -> None:
    where = said(parameters)
    with connect(parameters) as connection:
        try:
            _fit(connection, where)
            connection.execute("set statement_timeout = 0")
            connection.execute("set lock_timeout = '60s'")
            connection.execute("select pg_advisory_lock(%s, 0)", [LOCK])
            number, newest = stands_at(connection), steps()[-1].number
            if fresh and number:
                raise RecordsError("a ward stands there already", where, "'wardexam store migrate' brings it up to date")  # fmt: skip
            if not fresh and not number:
                raise RecordsError("no ward stands there", where, "'wardexam store create' makes one")  # fmt: skip
            if number > newest:
                raise _newer(number, where)
            if changed := changed_files(connection) if number else []:
                raise RecordsError(f"the store was made by another {changed[0]} than this program has; it is left as it is", where, "use the program that made it")  # fmt: skip
            for step in steps()[number:]:
                _apply(connection, step)
                say(f"applied {step.name}")
            _grant(connection)
        except Error as error:
            raise refused(error, where) from None


def _fit(connection: Connection[Row], where: str) -> None:
    """Whether the server and the database will do.

    Raises:
        RecordsError: They will not.
    """
    release = connection.info.server_version // 10_000
    if release < OLDEST:
        raise RecordsError(f"the server is PostgreSQL {release}, and {OLDEST} or later is needed", where)  # fmt: skip
    row = connection.execute("show server_encoding").fetchone()
    if not row or row[0] != "UTF8":
        raise RecordsError("the database is not UTF8", where, "make it with encoding 'UTF8'")


def _apply(connection: Connection[Row], step: Step) -> None:
    """One file and its line in the table of versions, all or nothing."""
    with connection.transaction():
        if step.number == 1:
            _run(connection, f"create schema {SCHEMA_NAME}")
            _run(
                connection,
                (files(__package__) / FOLDER / "version.sql").read_text(encoding="utf-8"),
            )
        _run(connection, step.text)
        connection.execute(
            "insert into schema_version (number, name, sha256) values (%s, %s, %s)",
            [step.number, step.name, step.sha256],
        )


def _grant(connection: Connection[Row]) -> None:
    """What each role may do, said anew; the roles made where they are not there.

    Raises:
        RecordsError: They are not there and this login may not make them.
    """
    text = (files(__package__) / FOLDER / "grants.sql").read_text(encoding="utf-8")
    try:
        with connection.transaction():
            _run(connection, text)
    except errors.InsufficientPrivilege:
        name = connection.info.dbname
        raise RecordsError(
            "the roles are not there, and this login may not make them",
            name,
            f"have them made: create role {name}_doctor; create role {name}_reader; then migrate",
        ) from None
