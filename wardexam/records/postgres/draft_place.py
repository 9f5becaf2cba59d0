"""A draft at the server: numbered rows, held by a lease that runs out, told from an older holder's by a number."""

import secrets
from collections.abc import Sequence
from typing import Any

from wardexam.errors import RecordsError
from wardexam.records.draft_file import OPEN, Kind
from wardexam.records.postgres.server import Change, Server
from wardexam.records.repository import FencedError

LEASE = 15.0  # seconds that a session which has died holds a draft on
TAKEN = "another session has taken the draft over"


class ServerPlace:
    """A draft's rows at the server.

    Args:
        server: The connections to it.
        kind: What it is a draft of.
        draft_id: The identifier of the examination or sheet.
        head: Whose it is, by whom and when it was begun, for the list of drafts.

    Attributes:
        renew: Seconds after which the lease is to be renewed.
    """

    renew: float | None = LEASE / 3

    def __init__(self, server: Server, kind: Kind, draft_id: str, head: dict[str, str]) -> None:
        self._server, self.kind, self.draft_id, self._head = server, kind, draft_id, head
        self._holder = secrets.token_hex(8)  # a hold whose answer was lost is known by it
        self._fence = 0
        self._count = 0

    @property
    def _values(self) -> dict[str, Any]:
        return {
            "kind": self.kind.ending, "id": self.draft_id, "fence": self._fence, "holder": self._holder,
            "lease": LEASE, **self._head,
        }  # fmt: skip

    def stands(self, rows: Sequence[bytes]) -> None:
        """The server has these rows already."""
        self._count = len(rows)

    def bring(self, rows: Sequence[bytes]) -> None:
        """Bring the server up to all rows, and hold them on.

        Raises:
            FencedError: Another session has taken the draft over; nothing was written.
            RecordsError: It could not be done; the next attempt begins where the last good one ended.
        """

        def whole(change: Change) -> int:
            fence = self._fence or self._begin(change)
            self._renew(change, fence)
            change.each(
                "insert into draft_lines (kind, id, number, line) values (%(kind)s, %(id)s, %(number)s, %(line)s)"
                " on conflict do nothing",
                [
                    {"kind": self.kind.ending, "id": self.draft_id, "number": n, "line": rows[n].decode().rstrip("\n")}
                    for n in range(self._count, len(rows))
                ],
            )  # fmt: skip
            return fence

        self._fence = self._server.change(whole)
        self._count = len(rows)

    def _begin(self, change: Change) -> int:
        """The draft's own row, as the first holder."""
        change.do(
            'insert into drafts (kind, id, patient, "by", started, fence, holder)'
            " values (%(kind)s, %(id)s, %(patient)s, %(by)s, %(started)s, 1, %(holder)s) on conflict do nothing",
            self._values,
        )
        row = change.do(
            "select fence from drafts where kind = %(kind)s and id = %(id)s and holder = %(holder)s",
            self._values,
        ).fetchone()
        if row is None:
            raise FencedError(TAKEN, self.draft_id)
        return int(row[0])

    def _renew(self, change: Change, fence: int) -> None:
        done = change.do(
            "update drafts set last = clock_timestamp(), until = clock_timestamp() + make_interval(secs => %(lease)s)"
            " where kind = %(kind)s and id = %(id)s and fence = %(fence)s and holder = %(holder)s returning 1",
            {**self._values, "fence": fence},
        )
        if not done.fetchone():
            raise FencedError(TAKEN, self.draft_id)

    def hold(self) -> None:
        """Take the draft where nobody holds it, or hold it on.

        Raises:
            FencedError: Another session has taken it over.
            RecordsError: Another session holds it, or there is no such draft.
        """
        if self._fence:
            self._server.change(lambda change: self._renew(change, self._fence))
        else:
            self._fence = self._server.change(self._take)

    def _take(self, change: Change) -> int:
        row = change.do(
            "update drafts set fence = fence + 1, holder = %(holder)s,"
            " until = clock_timestamp() + make_interval(secs => %(lease)s)"
            " where kind = %(kind)s and id = %(id)s and not aside"
            " and (until <= clock_timestamp() or holder = %(holder)s) returning fence",
            self._values,
        ).fetchone()
        if row is None:
            there = change.do("select 1 from drafts where kind = %(kind)s and id = %(id)s", self._values)  # fmt: skip
            raise RecordsError(OPEN if there.fetchone() else "there is no such draft", where=self.draft_id)  # fmt: skip
        return int(row[0])

    def let_go(self) -> None:
        """Hold it no longer; whoever held it before cannot write it any more."""
        if not self._fence:
            return
        self._server.change(
            lambda change: change.do(
                "update drafts set fence = fence + 1, holder = '', until = '-infinity'"
                " where kind = %(kind)s and id = %(id)s and fence = %(fence)s and holder = %(holder)s",
                self._values,
            )
        )
        self._fence = 0

    def remove(self) -> None:
        """Take it away, where no other session holds it."""
        self._server.change(
            lambda change: change.do(
                "delete from drafts where kind = %(kind)s and id = %(id)s"
                " and (until <= clock_timestamp() or holder = %(holder)s)",
                self._values,
            )
        )
        self._fence = self._count = 0
