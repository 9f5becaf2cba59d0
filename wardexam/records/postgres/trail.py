"""The trail on a server: its head, its lines, and whether each follows from the one before.

Its lines are those of a folder's trail (`wardexam.records.audit`), chained by the same hash; the server itself
says when and which login, and one line follows the other whoever writes it.
"""

from collections.abc import Collection, Iterator
from typing import Any, LiteralString

from psycopg import Connection

from wardexam.records.audit import Following, Head, Trail
from wardexam.records.postgres.server import Row, Server

FIELDS = ("n", "at", "event", "patient", "by", "login", "what", "record", "hash")
LINES: LiteralString = "select n, at, event, patient, by, login, what, record, hash from trail"
AT_ONCE = 5_000  # lines


def head(connection: Connection[Row]) -> str:
    """The number and hash of the trail's last line, short; empty where there is none."""
    row = connection.execute("select n, hash from trail order by n desc limit 1").fetchone()
    return str(Head(*row)) if row else ""


def lines(server: Server, patient_id: str = "") -> Iterator[dict[str, Any]]:
    """The lines of one patient, or all of them, in their order, some thousands read at once."""
    after = 0
    whose: LiteralString = " and patient = %(patient)s" if patient_id else ""
    query: LiteralString = LINES + " where n > %(after)s" + whose + " order by n limit %(most)s"
    while True:
        values = {"after": after, "most": AT_ONCE, "patient": patient_id}
        rows: list[Row] = server.rows(query, values)
        for row in rows:
            yield dict(zip(FIELDS, row, strict=True))
        if len(rows) < AT_ONCE:
            return
        after = rows[-1][0]


def verify(server: Server, heads: Collection[Head] = ()) -> Trail:
    """Whether every line follows from the one before, and agrees with heads kept of the trail.

    That there is no trail at all is for the caller to judge.
    """
    following = Following(heads)
    for line in lines(server):
        following.line(line)
    return following.end()
