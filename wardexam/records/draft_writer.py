"""Half-entered examinations and sheets: one line on disk for every accepted key, written off the UI thread.

A draft lies in the ward's folder. While that cannot be written it is kept in memory and, if it can
be, in the user's own state folder (`elsewhere`), and goes back by itself as soon as the ward's
folder takes it.
"""

import os
import queue
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from wardexam.errors import RecordsError
from wardexam.records.draft_file import (
    EXAMINATION,
    Copy,
    Kind,
    hold,
    let_go,
    line_of,
    rows_of,
    whole_rows,
)
from wardexam.records.durable_files import reason
from wardexam.records.paths import draft_path

if TYPE_CHECKING:
    from wardexam.exam.examination import Examination
    from wardexam.injury.kept import KeptSheet
    from wardexam.records.repository import Jotted

RETRY_SECONDS = 1.0


class Draft:
    """A draft being written. `append` returns at once; a thread of its own writes and syncs.

    Attributes:
        path: Where the file is, or will be.
        kept: Changes known to be on disk, here or elsewhere.
        sent: Changes handed over.
        problem: Why the draft is not in the ward's folder and where it is, in one line.
        settled: Called from the thread once changes are on disk or cannot be.
    """

    def __init__(
        self, path: Path, elsewhere: Path, mode: int, lines: list[bytes], here: Copy, there: Copy,
        held: dict[Path, int] | None = None,
    ) -> None:  # fmt: skip
        self.path, self.elsewhere, self.problem = path, elsewhere, ""
        self.sent, self.kept = len(lines) - 1, 0
        self._lines, self._here, self._there = lines, here, there
        self._held = held if held is not None else {}
        self.settled: Callable[[], object] = lambda: None
        self._queue: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._idle = threading.Event()
        self._settle()
        self._idle.set()
        self._thread = threading.Thread(target=self._write, daemon=True)
        self._thread.start()

    @property
    def draft_id(self) -> str:
        """The identifier of the draft: that of its examination."""
        return self.path.stem

    @classmethod
    def start(
        cls,
        folder: Path,
        elsewhere: Path,
        staging: Path,
        mode: int,
        begun: "Examination | KeptSheet",
        by: str,
        kind: Kind = EXAMINATION,
    ) -> "Draft":
        """A new draft whose first line is the examination, or the sheet, as it stands.

        Raises:
            RecordsError: There is a draft of it already.
        """
        path, other = (draft_path(at, begun.id, kind.ending) for at in (folder, elsewhere))
        if path.exists() or other.exists():
            raise RecordsError("there is a draft of this examination already", where=str(path))
        head = {kind.holds: begun.model_dump(mode="json"), "by": by}
        lines = [line_of(head)]
        return cls(
            path, other, mode, lines, Copy(path, mode, staging), Copy(other, 0o600, elsewhere)
        )

    @classmethod
    def resume(
        cls, folder: Path, elsewhere: Path, staging: Path, mode: int, draft_id: str, kind: Kind = EXAMINATION,
    ) -> "Draft":  # fmt: skip
        """Go on with a draft, from the place that has more of it.

        Raises:
            RecordsError: Another session writes it, or it cannot be read.
        """
        path, other = (draft_path(at, draft_id, kind.ending) for at in (folder, elsewhere))
        held: dict[Path, int] = {}
        try:
            for place in (path, other):
                if place.exists():
                    held[place] = hold(place)
            lines, longer = rows_of(path, other)
            here = whole_rows(path) if path.exists() else []
            if lines[: len(here)] != here:
                here = []  # the copies parted: the longer one is written whole
            return cls(
                path, other, mode, list(lines), Copy(path, mode, staging, here),
                Copy(other, 0o600, elsewhere, lines if longer == other else []), held,
            )  # fmt: skip
        except OSError as error:
            let_go(held)
            raise RecordsError(reason(error), where=draft_id) from None
        except BaseException:
            let_go(held)
            raise

    @property
    def lines(self) -> list[bytes]:
        """The lines of the draft as far as it has got."""
        return [*self._lines]

    def append(self, change: "Jotted") -> None:
        """Hand a change over to be written."""
        self.sent += 1
        self._idle.clear()
        self._queue.put(line_of(change.to_json()))

    def _write(self) -> None:
        while True:
            try:
                item = self._queue.get(timeout=RETRY_SECONDS if self.problem else None)
            except queue.Empty:
                self._settle()
                self._tell()
                continue
            if item is None:
                return
            self._lines.append(item)
            self._settle()
            if self._queue.empty():
                self._idle.set()
                self._tell()

    def _tell(self) -> None:
        with suppress(Exception):  # whoever listens cannot stop the keeping
            self.settled()

    def _settle(self) -> None:
        """Bring the ward's folder up to date; failing that, the user's own."""
        try:
            if self.path.exists():
                self._hold(self.path)
            self._here.bring(self._lines)
            self._hold(self.path)
            self.problem = ""
            if self._there.lines:
                self._there.remove()
                self._there = Copy(self.elsewhere, 0o600, self.elsewhere.parent)
        except OSError as error:
            why = reason(error)
            try:
                self._there.bring(self._lines)
                self._hold(self.elsewhere)
                place = str(self.elsewhere.parent).replace(str(Path.home()), "~", 1)
                self.problem = f"{why}; kept in {place}"
            except OSError:
                self.problem = f"{why}; kept in memory only, not on disk"
                return
        self.kept = len(self._lines) - 1

    def _hold(self, path: Path) -> None:
        """Hold the file that lies at the path now."""
        held = self._held.get(path, -1)
        if held >= 0:
            if os.path.samestat(os.fstat(held), os.stat(path)):
                return
            os.close(self._held.pop(path))
        self._held[path] = hold(path)

    def flush(self, timeout: float = 1.0) -> bool:
        """Wait until every change is on disk; whether it is."""
        self._idle.wait(timeout)
        return self.kept == self.sent

    def close(self) -> None:
        """Write what is left, end the thread and let go."""
        self.flush()
        self._queue.put(None)
        self._thread.join(1.0)
        let_go(self._held)
