"""Hearing of every change of the ward on a connection of its own; connected again after every loss."""

import threading
from collections import deque
from collections.abc import Callable
from contextlib import suppress

from psycopg import Connection, Error

from wardexam.errors import RecordsError
from wardexam.records.postgres.server import Row, Server, connect, cut
from wardexam.records.postgres.url import CONNECT_SECONDS

SOONEST, LATEST = 0.2, 5.0  # seconds between two attempts to connect
QUIET = 3.0  # seconds without a word after which the server is asked whether it is there
TOGETHER = 0.05  # seconds in which several changes are told as one


class Listening:
    """A watch over a ward on a server.

    Args:
        server: The connections to it; this makes one more.
        changed: Called from this thread after a change, and after every reconnection; what it raises stops nothing.
    """

    def __init__(self, server: Server, changed: Callable[[], object]) -> None:
        self._server, self._changed = server, changed
        self._closed, self._begun = threading.Event(), threading.Event()
        self._connection: Connection[Row] | None = None
        self._held = -1
        threading.Thread(target=self._run, daemon=True, name="wardexam-watch").start()
        self._begun.wait(CONNECT_SECONDS)

    def close(self) -> None:
        """Listen no more."""
        self._closed.set()
        if connection := self._connection:
            cut(connection)

    def _run(self) -> None:
        wait, first = SOONEST, True
        while not self._closed.is_set():
            with (
                suppress(RecordsError, Error, OSError),
                connect(self._server.parameters) as connection,
            ):
                self._connection = connection
                connection.execute("listen wardexam")
                self._held = self._drafts_held(connection)
                wait = SOONEST
                if not first:  # what was told meanwhile was not heard
                    self._tell()
                self._begun.set()
                self._listen(connection)
            self._connection, first = None, False
            self._begun.set()
            self._closed.wait(wait)
            wait = min(2 * wait, LATEST)

    def _listen(self, connection: Connection[Row]) -> None:
        while not self._closed.is_set():
            heard = [*connection.notifies(timeout=QUIET, stop_after=1)]
            if heard:
                deque(connection.notifies(timeout=TOGETHER), 0)
            held = self._drafts_held(connection)
            if heard or held != self._held:  # a lease that ran out is told by nobody
                self._held = held
                self._tell()

    def _drafts_held(self, connection: Connection[Row]) -> int:
        with self._server.ends.within(connection, QUIET):
            row = connection.execute("select count(*) from drafts where until > clock_timestamp()").fetchone()  # fmt: skip
        return int(row[0]) if row else 0

    def _tell(self) -> None:
        if not self._closed.is_set():
            with suppress(Exception):  # whoever listens cannot stop the listening
                self._changed()
