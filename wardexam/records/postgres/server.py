"""Connections to a server: few, shared by the threads of a session, each call with an end.

A change is a transaction that is run anew where the server went away before it was told to commit. Where it
went away at that very moment, the name that the change has in the trail says whether it was done.
"""

import logging
import os
import secrets
import socket
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from typing import Any, LiteralString, TypeVar

from psycopg import Connection, Cursor, Error, conninfo, errors
from psycopg_pool import ConnectionPool, PoolClosed, PoolTimeout

from wardexam.records.locks import SECONDS
from wardexam.records.postgres.faults import no_connection, refused
from wardexam.records.postgres.url import CONNECT_SECONDS, said
from wardexam.records.repository import OutageError, UncertainError

Made = TypeVar("Made")
Row = tuple[Any, ...]

SCHEMA_NAME = "wardexam"
ONCE = "trail_change_id"  # the index that lets a change stand in the trail once
MOST = 2  # connections of a session
STATEMENT_SECONDS = 10
LONGEST_CALL = STATEMENT_SECONDS + 5  # seconds; then the network swallowed the answer
TRIES = 4  # of a change, where the server goes away under it
# Lets a change end, and those who wait for the trail go on, before the disk has it, and then waits for the disk,
# for which many can wait together. Nobody is told that a change is done before this is.
FLUSH: LiteralString = "select set_config('synchronous_commit', 'on', true), pg_logical_emit_message(true, 'wardexam', '')"
LOOK_AGAIN = 0.25  # seconds between two looks whether a connection failed
OPTIONS = (
    f"-c search_path={SCHEMA_NAME},pg_catalog -c statement_timeout={STATEMENT_SECONDS * 1000}"
    f" -c lock_timeout={SECONDS * 1000:.0f} -c idle_in_transaction_session_timeout=30000 -c timezone=UTC"
)

logging.getLogger("psycopg").addHandler(logging.NullHandler())  # what it says is said by our errors
logging.getLogger("psycopg.pool").addHandler(logging.NullHandler())


def connection_text(parameters: Mapping[str, str], more: str = "") -> str:
    """The parameters as the server's library takes them, with what every connection of ours sets, and more."""
    options = f"{parameters.get('options', '')} {OPTIONS} {more}".strip()
    return conninfo.make_conninfo("", **{**parameters, "options": options})


def connect(parameters: Mapping[str, str]) -> Connection[Row]:
    """One connection of its own, on which every statement is by itself.

    Raises:
        RecordsError: No connection comes about.
    """
    try:
        return Connection.connect(connection_text(parameters), autocommit=True)
    except Error as error:
        raise no_connection(error, said(parameters)) from None


class Ends:
    """Cuts a connection whose call has not ended in time: the network may swallow an answer for ever."""

    def __init__(self) -> None:
        self._running: dict[Connection[Row], float] = {}
        self._woken = threading.Condition()
        self._closed = False
        self._thread: threading.Thread | None = None

    @contextmanager
    def within(self, connection: Connection[Row], seconds: float) -> Iterator[None]:
        """Cut the connection where the block takes longer than this."""
        with self._woken:
            self._running[connection] = time.monotonic() + seconds
            if self._thread is None:
                self._thread = threading.Thread(target=self._watch, daemon=True)
                self._thread.start()
        try:
            yield
        finally:
            with self._woken:
                self._running.pop(connection, None)

    def _watch(self) -> None:
        with self._woken:
            while not self._closed:
                for connection, end in [*self._running.items()]:
                    if time.monotonic() > end:
                        del self._running[connection]
                        cut(connection)
                self._woken.wait(1.0)

    def close(self) -> None:
        """Watch no more."""
        with self._woken:
            self._closed = True
            self._woken.notify_all()


def cut(connection: Connection[Row]) -> None:
    """Shut a connection's socket, whoever is waiting at it."""
    with suppress(OSError, Error), socket.socket(fileno=os.dup(connection.fileno())) as end:
        end.shutdown(socket.SHUT_RDWR)


class Server:
    """The connections of one session to one database.

    Args:
        parameters: How it is reached (`wardexam.records.postgres.url.read_url`).

    Attributes:
        where: How a message names it.
        patience: Seconds that a change waits for another session's.
        longest_call: Seconds after which a call is cut off.
        ends: What cuts it off.
        noted: Told the number and hash of each line that was put into the trail.
    """

    def __init__(self, parameters: Mapping[str, str]) -> None:
        self.parameters, self.where = dict(parameters), said(parameters)
        self.patience, self.longest_call = SECONDS, float(LONGEST_CALL)
        self._fault: tuple[float, Exception] | None = None
        self.ends = Ends()
        self.noted: Callable[[tuple[int, str]], object] = lambda _: None
        server = self

        class Noted(Connection[Row]):
            """A connection of the pool; why none came about is kept for whoever waits for it."""

            @classmethod
            def connect(cls, conninfo: str = "", **more: Any) -> Any:
                try:
                    return super().connect(conninfo, **more)
                except Error as error:
                    server._fault = time.monotonic(), error
                    raise

        self._pool: ConnectionPool[Connection[Row]] = ConnectionPool(
            connection_text(parameters, "-c synchronous_commit=off"), connection_class=Noted, kwargs={"autocommit": True}, min_size=0,
            max_size=MOST, open=True, reconnect_timeout=0.01, num_workers=1,
        )  # fmt: skip

    def close(self) -> None:
        """Let go of every connection."""
        self._pool.close()
        self.ends.close()

    @contextmanager
    def _using(self, connection: Connection[Row], seconds: float | None = None) -> Iterator[None]:
        """One call on a connection, which then goes back; `seconds` is when it is cut off.

        Raises:
            OutageError: The server went away.
            BusyError, RecordsError, InputError: It refuses what is asked.
        """
        try:
            with self.ends.within(connection, seconds or self.longest_call):
                yield
        except Error as error:
            raise refused(error, self.where) from None
        finally:
            self._pool.putconn(connection)

    def _taken(self) -> Connection[Row]:
        """A connection, which may have been lost while it lay idle.

        Raises:
            OutageError, RecordsError: None comes about.
        """
        begun = time.monotonic()
        end = begun + CONNECT_SECONDS + self.patience
        while True:
            try:
                return self._pool.getconn(LOOK_AGAIN)
            except PoolClosed:
                raise OutageError("the ward was left", self.where) from None
            except PoolTimeout:
                if self._fault and self._fault[0] >= begun:
                    raise no_connection(self._fault[1], self.where) from None
                if time.monotonic() > end:
                    raise self._silent() from None

    def _silent(self) -> OutageError:
        return OutageError("the server does not answer", self.where, "try again in a moment")

    def read(self, ask: Callable[[Connection[Row]], Made], *, snapshot: bool = False) -> Made:
        """What a question gives, asked again where the server went away meanwhile.

        Args:
            ask: Asks, and changes nothing.
            snapshot: Whether all its statements see the ward as it stood at one moment.

        Raises:
            RecordsError: It cannot be answered.
        """
        for left in reversed(range(TRIES)):
            connection = self._taken()
            try:
                with self._using(connection):
                    if not snapshot:
                        return ask(connection)
                    with connection.pipeline(), connection.transaction():
                        connection.execute(
                            "set transaction isolation level repeatable read, read only"
                        )
                        return ask(connection)
            except OutageError:
                if not left:
                    raise
        raise self._silent()

    def rows(self, query: LiteralString, values: Mapping[str, Any] | None = None) -> list[Row]:
        """The rows that one statement gives."""
        return self.read(lambda c: c.execute(query, values).fetchall())

    def change(
        self, work: "Callable[[Change], Made]", *, seconds: float | None = None, again: bool = True
    ) -> Made:
        """Do a change, once and whole.

        Args:
            work: Does it, in a transaction that is ended for it; may be called again after it was undone.
            seconds: When it is cut off, where it may take long.
            again: Whether `work` can be called again.

        Raises:
            OutageError: The server cannot be reached; nothing was changed.
            UncertainError: It went away at the end and cannot be asked.
            BusyError, RecordsError, InputError: It refuses; nothing was changed.
        """
        change_id = secrets.token_hex(12)
        doing = Change(self.patience, change_id)
        for left in reversed(range(TRIES if again else 1)):
            try:
                connection = self._taken()
                with self._using(connection, seconds):
                    made = doing.run(connection, work)
            except DoneAlreadyError:
                return doing.made  # type: ignore[no-any-return]
            except OutageError as error:
                if not doing.at_end:  # it was never told to commit
                    if not left or not doing.begun:
                        raise
                    continue
                if self._is_in_trail(change_id, error):
                    return doing.made  # type: ignore[no-any-return]
                if not left:
                    raise
                continue
            if doing.line:
                self.noted(doing.line)
            return made
        raise self._silent()

    def _is_in_trail(self, change_id: str, error: OutageError) -> bool:
        """Whether a change whose end was not heard was done: by its own name in the trail.

        Raises:
            UncertainError: The server cannot be asked.
        """
        query: LiteralString = "select 1 from trail where change_id like %(id)s"
        for wait in (0.1, 0.3, 1.0, 2.0):
            with suppress(OutageError):
                found = bool(self.rows(query, {"id": f"{change_id}.%"}))
                self.rows(FLUSH)
                return found
            time.sleep(wait)
        raise UncertainError(
            "the server went away while it was saved", self.where, "save it again: it is kept once"
        ) from error


class DoneAlreadyError(Exception):
    """The change was done by an earlier attempt of which no end was heard."""


class Change:
    """One transaction under way, perhaps attempted more than once.

    Args:
        patience: Seconds that it waits for another session's.
        change_id: Its own name in the trail, the same at each attempt.

    Attributes:
        line: Number and hash of the last line that it put into the trail.
        begun: Whether the server took any of it.
        at_end: Whether all of it was said and only the end was not heard, at any attempt.
        made: What it gives.
    """

    def __init__(self, patience: float, change_id: str) -> None:
        self._patience, self._id = patience, change_id
        self.line: tuple[int, str] | None = None
        self.begun = self.at_end = False
        self.made: Any = None
        self._connection: Connection[Row] | None = None
        self._noted: list[Cursor[Row]] = []

    def run(self, connection: Connection[Row], work: "Callable[[Change], Made]") -> Made:
        """Do it from beginning to end; what need not be waited for is sent together.

        Raises:
            DoneAlreadyError: An earlier attempt was done after all.
        """
        self._connection, self._noted = connection, []
        again, self.at_end = self.at_end, False
        try:
            with connection.pipeline():
                with connection.transaction():
                    if self._patience != SECONDS:
                        milliseconds = str(max(1, round(self._patience * 1000)))
                        connection.execute(
                            "select set_config('lock_timeout', %s, true)", [milliseconds]
                        )
                    self.begun = True
                    made = work(self)
                    self.at_end, self.made = True, made
                connection.execute(FLUSH)
        except errors.UniqueViolation as error:
            if again and error.diag.constraint_name == ONCE:
                raise DoneAlreadyError from None
            raise
        if self._noted:
            n, digest = self._noted[-1].fetchone() or (0, "")
            self.line = n, digest
        return made

    @property
    def connection(self) -> Connection[Row]:
        """The connection that it is done on."""
        assert self._connection is not None
        return self._connection

    def do(self, query: LiteralString, values: Mapping[str, Any] | None = None) -> Cursor[Row]:
        """One statement of it."""
        return self.connection.execute(query, values)

    def each(self, query: LiteralString, values: Sequence[Mapping[str, Any]]) -> None:
        """One statement for each of several values."""
        if values:
            with self.connection.cursor() as cursor:
                cursor.executemany(query, values)

    def note(self, event: str, patient_id: str, by: str, what: str = "", record: str = "") -> None:
        """A line of the trail; the server says when, and which login.

        Every other session that changes anything waits from here to the end: it comes last.
        """
        values = {
            "event": event, "patient": patient_id, "by": by[:200], "what": what[:400], "record": record,
            "change_id": f"{self._id}.{len(self._noted)}",
        }  # fmt: skip
        self._noted.append(
            self.do(
                "insert into trail (event, patient, by, what, record, change_id) values"
                " (%(event)s, %(patient)s, %(by)s, %(what)s, %(record)s, %(change_id)s) returning n, hash",
                {name: text.replace("\0", "?") for name, text in values.items()},
            )
        )
