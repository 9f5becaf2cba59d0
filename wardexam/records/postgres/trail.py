"""The trail on a server: its head, its lines, and whether each follows from the one before.

Its lines are those of a folder's trail (`wardexam.records.audit`), chained by the same hash; the server itself
says when and which login, and one line follows the other whoever writes it.
"""

import json
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import fields
from typing import Any, LiteralString

from psycopg import Connection

from wardexam.errors import RecordsError
from wardexam.records.audit import Following, Head, Trail
from wardexam.records.postgres.server import Row, Server
from wardexam.records.repository import TrailLine

FIELDS = ("n", "at", "event", "patient", "by", "login", "what", "record", "hash")
LINES: LiteralString = (
    "select n, at, event, patient, by, login, what, record, hash, line from trail"
)
AT_ONCE = 5_000  # lines


def head(connection: Connection[Row]) -> str:
    """The number and hash of the trail's last line, short; empty where there is none."""
    row = connection.execute("select n, hash from trail order by n desc limit 1").fetchone()
    return str(Head(*row)) if row else ""


def raw_of(row: Row) -> bytes:
    """A line as a folder's trail has it: as it came, where that is another than what its columns say."""
    *fields, line = row
    if line is not None and tuple(fields[1:]) == columns_of(line.encode())[1:]:
        return bytes(line.encode())
    return json.dumps(dict(zip(FIELDS, fields, strict=True)), sort_keys=True).encode()


def columns_of(raw: bytes, number: int = 0) -> tuple[int | str, ...]:
    """The columns of a line that came, by its place; what it does not say, and what cannot be read, is empty."""
    try:
        found = json.loads(raw)
        texts = {name: found.get(name, "") for name in FIELDS[1:]}
    except (ValueError, AttributeError, RecursionError):
        texts = {}
    said = (texts.get(name, "") for name in FIELDS[1:])
    return (number, *(_plain(text) if isinstance(text, str) else "" for text in said))


def said_by(raw: bytes, number: int) -> TrailLine:
    """What a line says, by its number.

    Raises:
        RecordsError: It cannot be read.
    """
    try:
        row = json.loads(raw)
        return TrailLine(**{field.name: row.get(field.name, "") for field in fields(TrailLine)})
    except (ValueError, AttributeError, RecursionError):
        raise RecordsError("is not readable", f"audit line {number}", "run 'wardexam check'") from None  # fmt: skip


def _plain(text: str) -> str:
    """A text that a server can hold."""
    return text.replace("\0", "?").encode("utf-8", "replace").decode()


def lines(server: Server, patient_id: str = "") -> Iterator[bytes]:
    """The lines of one patient, or all of them, in their order, some thousands read at once."""
    return _lines(lambda query, values: server.rows(query, values), patient_id)


def lines_by(connection: Connection[Row]) -> Iterator[bytes]:
    """The same, asked on this connection."""
    return _lines(lambda query, values: connection.execute(query, values).fetchall())


def _lines(
    ask: Callable[[LiteralString, Mapping[str, Any]], list[Row]], patient_id: str = ""
) -> Iterator[bytes]:
    after = 0
    whose: LiteralString = " and patient = %(patient)s" if patient_id else ""
    query: LiteralString = LINES + " where n > %(after)s" + whose + " order by n limit %(most)s"
    while True:
        rows = ask(query, {"after": after, "most": AT_ONCE, "patient": patient_id})
        yield from map(raw_of, rows)
        if len(rows) < AT_ONCE:
            return
        after = rows[-1][0]


def verify(server: Server, heads: Collection[Head] = ()) -> Trail:
    """Whether every line follows from the one before, and agrees with heads kept of the trail.

    That there is no trail at all is for the caller to judge.
    """
    following = Following(heads)
    for number, line in enumerate(lines(server), 1):
        try:
            following.line(line)
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
            following.trail.faults.append(f"audit line {number} is not readable")
    return following.end()
