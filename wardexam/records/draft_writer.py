"""Half-entered examinations and sheets: every accepted key is kept at once, written off the UI thread.

A draft lies in the ward: in its folder, or at its server. While that cannot be written it is kept in
memory and, if it can be, in the spool, which is this login's own folder of the same rows; it goes back by
itself, row by row and by number, as soon as the ward takes it.
"""

import queue
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from wardexam.errors import WardexamError
from wardexam.records.draft_file import FilePlace, line_of
from wardexam.records.durable_files import reason

if TYPE_CHECKING:
    from wardexam.records.repository import Jotted, Place

RETRY_SECONDS = 1.0


class Draft:
    """A draft being written. `append` returns at once; a thread of its own writes and syncs.

    Args:
        draft_id: The identifier of the draft: that of its examination or sheet.
        rows: The draft as far as it has got, as `wardexam.records.draft_file.line_of` gives them.
        place: Where it is kept in the ward.
        spool: Where it is kept while the ward cannot take it.

    Attributes:
        kept: Changes known to be kept beyond this process, in the ward or in the spool.
        sent: Changes handed over.
        problem: Why the draft is not in the ward and where it is, in one line.
        settled: Called from the thread once changes are kept or cannot be.
    """

    def __init__(
        self, draft_id: str, rows: Sequence[bytes], place: "Place", spool: FilePlace
    ) -> None:
        self.draft_id, self.problem = draft_id, ""
        self.sent, self.kept = len(rows) - 1, 0
        self._done = self.sent  # rows that were tried, kept or not
        self._rows, self._place, self._spool = [*rows], place, spool
        self.settled: Callable[[], object] = lambda: None
        self._queue: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._tried = threading.Condition()
        self._settle()
        self._thread = threading.Thread(target=self._write, daemon=True)
        self._thread.start()

    @property
    def rows(self) -> list[bytes]:
        """The rows of the draft as far as it has got."""
        return [*self._rows]

    def append(self, change: "Jotted") -> None:
        """Hand a change over to be written."""
        line = line_of(change.to_json())
        self.sent += 1
        self._queue.put(line)

    def _write(self) -> None:
        while True:
            try:
                item = self._queue.get(timeout=RETRY_SECONDS if self.problem else self._place.renew)
            except queue.Empty:
                self._settle(renew=not self.problem)
                self._tell()
                continue
            if item is None:
                return
            self._rows.append(item)
            self._settle()
            with self._tried:
                self._done += 1
                self._tried.notify_all()
            if self._queue.empty():
                self._tell()

    def _tell(self) -> None:
        with suppress(Exception):  # whoever listens cannot stop the keeping
            self.settled()

    def _settle(self, *, renew: bool = False) -> None:
        """Bring the ward up to date; failing that, the spool."""
        try:
            if renew:
                self._place.hold()
            else:
                self._place.bring(self._rows)
            self.problem = ""
            if self._spool.filled:
                self._spool.remove()
        except (OSError, WardexamError) as error:
            why = reason(error) if isinstance(error, OSError) else error.what
            try:
                self._spool.bring(self._rows)
                kept_in = str(self._spool.path.parent).replace(str(Path.home()), "~", 1)
                self.problem = f"{why}; kept in {kept_in}"
            except OSError:
                self.problem = f"{why}; kept in memory only, not on disk"
                return
        self.kept = len(self._rows) - 1

    def flush(self, timeout: float = 1.0) -> bool:
        """Wait until every change is kept; whether it is."""
        with self._tried:
            self._tried.wait_for(lambda: self._done == self.sent, timeout)
        return self.kept == self.sent

    def unkept(self, seconds: float) -> int:
        """How many changes are in memory only, once that long has been waited for them."""
        return 0 if self.flush(seconds) else self.sent - self.kept

    def close(self) -> None:
        """Write what is left, end the thread and let go."""
        self.flush()
        self._queue.put(None)
        self._thread.join(1.0)
        self._spool.let_go()
        with suppress(OSError, WardexamError):  # else the hold ends by itself
            self._place.let_go()
