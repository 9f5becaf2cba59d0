"""The trail on a server: its head and its lines.

Its lines are those of a folder's trail (`wardexam.records.audit`), chained by the same hash; the server itself
says when and which login, and one line follows the other whoever writes it.
"""

from collections.abc import Iterator
from typing import Any, LiteralString

from wardexam.records.audit import Head
from wardexam.records.postgres.server import Row, Server

FIELDS = ("n", "at", "event", "patient", "by", "login", "what", "record", "hash")
LINES: LiteralString = "select n, at, event, patient, by, login, what, record, hash from trail"
AT_ONCE = 5_000  # lines


def head(server: Server) -> Head | None:
    """The trail's head; None where there is no line."""
    rows = server.rows("select n, hash from trail order by n desc limit 1")
    return Head(*rows[0]) if rows else None


def lines(server: Server) -> Iterator[dict[str, Any]]:
    """The lines in their order, some thousands read at once."""
    after = 0
    while True:
        query: LiteralString = LINES + " where n > %(after)s order by n limit %(most)s"
        rows: list[Row] = server.rows(query, {"after": after, "most": AT_ONCE})
        for row in rows:
            yield dict(zip(FIELDS, row, strict=True))
        if len(rows) < AT_ONCE:
            return
        after = rows[-1][0]

