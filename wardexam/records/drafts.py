"""Half-entered examinations: one line on disk for every accepted key, written off the UI thread.

A draft lies in the ward's folder. While that cannot be written it is kept in memory and, if it can
be, in the user's own state folder (`elsewhere`), and goes back by itself as soon as the ward's
folder takes it.
"""

import json
import os
import queue
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wardexam.errors import InputError, RecordsError
from wardexam.records.files import BUSY, append_at, read_bounded, reason, write_whole
from wardexam.records.kept import strict_loads
from wardexam.records.repository import DraftInfo

if TYPE_CHECKING:
    from wardexam.exam.entry import Change
    from wardexam.exam.examination import Examination

LONGEST = 8_000_000  # bytes
RETRY_SECONDS = 1.0


def _hold(path: Path) -> int | None:
    """A handle that holds the draft for this session until it is closed or dies; None if held."""
    import fcntl

    handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in BUSY:
            os.close(handle)
            return None
        # No locks here: the draft is written all the same; saving says what is wrong.
    return handle


def is_held(path: Path) -> bool:
    """Whether a living session writes a draft."""
    try:
        handle = _hold(path)
    except OSError:
        return False
    if handle is not None:
        os.close(handle)
    return handle is None


def _rows(path: Path) -> list[bytes]:
    """The whole lines of a draft, each with its end; a torn last line is the key in flight."""
    try:
        data = read_bounded(path, LONGEST)
    except OSError as error:
        raise RecordsError(f"cannot be read: {reason(error)}", where=str(path)) from None
    if len(data) > LONGEST:
        raise RecordsError(f"the draft is longer than {LONGEST} bytes", where=str(path))
    return data[: data.rfind(b"\n") + 1].splitlines(keepends=True)


def _read(rows: list[bytes], path: Path) -> list[dict[str, Any]]:
    found = []
    for number, row in enumerate(rows, 1):
        try:
            line = strict_loads(row)
        except ValueError:
            line = None
        if not isinstance(line, dict):
            raise RecordsError(f"line {number} of the draft is damaged", where=str(path))
        found.append(line)
    if not found:
        raise RecordsError("the draft is empty", where=str(path))
    return found


def draft_infos(*folders: Path) -> tuple[DraftInfo, ...]:
    """The drafts in the folders, oldest first; one without a readable first line is left out.

    A draft in two folders is given once, as the one with more keys.
    """
    found: dict[str, DraftInfo] = {}
    for path in (p for folder in folders for p in sorted(folder.glob("*.draft"))):
        try:
            rows = _rows(path)
            head = _read(rows[:1], path)[0]
            made = DraftInfo(
                path.stem, str(head["examination"]["patient"]), str(head["by"]), str(head["examination"]["at"]),
                path.stat().st_mtime, len(rows) - 1, is_held(path),
            )  # fmt: skip
        except (RecordsError, OSError, LookupError, TypeError):
            continue
        if path.stem not in found or found[path.stem].keys < made.keys:
            found[path.stem] = made
    return tuple(sorted(found.values(), key=lambda d: d.last))


def rows_of(here: Path, there: Path) -> tuple[list[bytes], Path]:
    """The lines of a draft and their file: of two copies, the one with more."""
    both = [(_rows(path), path) for path in (here, there) if path.exists()]
    if not both:
        raise RecordsError("there is no such draft", where=here.stem)
    return max(both, key=lambda found: len(found[0]))


def replay(rows: list[bytes], path: Path) -> "Examination":
    """The examination as far as the lines of a draft go.

    Raises:
        RecordsError: A whole line cannot be read or accepted.
    """
    from pydantic import ValidationError

    from wardexam.exam.entry import Change, apply, first_fault
    from wardexam.exam.examination import Examination

    lines = _read(rows, path)
    number = 1
    try:
        examination = Examination.model_validate(lines[0]["examination"])
        for line in lines[1:]:
            number += 1
            examination = apply(examination, Change.from_json(line))
    except ValidationError as error:
        raise RecordsError(f"the draft is damaged: {first_fault(error)}", where=str(path)) from None
    except (InputError, KeyError, TypeError, AttributeError) as error:
        raise RecordsError(
            f"line {number} of the draft is damaged: {error}", where=str(path)
        ) from None
    return examination


class _Copy:
    """A draft's file in one place and how much of the draft is in it."""

    def __init__(
        self, path: Path, mode: int, staging: Path, rows: list[bytes] | None = None
    ) -> None:
        self.path, self.mode, self.staging = path, mode, staging
        self.lines, self.size = len(rows or ()), sum(map(len, rows or ()))

    def bring(self, lines: list[bytes]) -> None:
        """Bring the file up to all lines, flushed.

        Raises:
            OSError: It could not be done; the next attempt begins where the last good one ended.
        """
        if not self.path.exists():
            self.path.parent.mkdir(0o700, parents=True, exist_ok=True)
            write_whole(self.path, lines, self.mode, self.staging)
            self.lines, self.size = len(lines), sum(map(len, lines))
            return
        handle = os.open(self.path, os.O_WRONLY | os.O_APPEND | os.O_NOFOLLOW)
        try:
            if os.fstat(handle).st_size < self.size:  # cut by someone
                self.lines = self.size = 0
            data = b"".join(lines[self.lines :])
            append_at(handle, self.size, data)
            os.fdatasync(handle)
        finally:
            os.close(handle)
        self.lines, self.size = len(lines), self.size + len(data)

    def remove(self) -> None:
        """Take the file away, if it is there."""
        with suppress(OSError):
            os.unlink(self.path)


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
        self, path: Path, elsewhere: Path, mode: int, lines: list[bytes], here: _Copy, there: _Copy
    ) -> None:
        self.path, self.elsewhere, self.problem = path, elsewhere, ""
        self.sent, self.kept = len(lines) - 1, 0
        self._lines, self._here, self._there = lines, here, there
        self._held = -1
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
        examination: "Examination",
        by: str,
    ) -> "Draft":
        """A new draft whose first line is the examination as it stands.

        Raises:
            RecordsError: There is a draft of this examination already.
        """
        path, other = folder / f"{examination.id}.draft", elsewhere / f"{examination.id}.draft"
        if path.exists() or other.exists():
            raise RecordsError("there is a draft of this examination already", where=str(path))
        head = {"examination": examination.model_dump(mode="json"), "by": by}
        lines = [json.dumps(head).encode() + b"\n"]
        return cls(
            path, other, mode, lines, _Copy(path, mode, staging), _Copy(other, 0o600, elsewhere)
        )

    @classmethod
    def resume(
        cls, folder: Path, elsewhere: Path, staging: Path, mode: int, draft_id: str
    ) -> "Draft":
        """Go on with a draft, from the place that has more of it.

        Raises:
            RecordsError: Another session writes it, or it cannot be read.
        """
        path, other = folder / f"{draft_id}.draft", elsewhere / f"{draft_id}.draft"
        if is_held(path) or is_held(other):
            raise RecordsError("the draft is open in another session", where=draft_id)
        lines, place = rows_of(path, other)
        here = _rows(path) if path.exists() else []
        if lines[: len(here)] != here:
            here = []  # the copies parted: the longer one is written whole
        there = lines if place == other else []
        return cls(
            path,
            other,
            mode,
            list(lines),
            _Copy(path, mode, staging, here),
            _Copy(other, 0o600, elsewhere, there),
        )

    def examination(self) -> "Examination":
        """The examination as far as the draft has got."""
        return replay(self._lines, self.path)

    def append(self, change: "Change") -> None:
        """Hand a change over to be written."""
        self.sent += 1
        self._idle.clear()
        self._queue.put(json.dumps(change.to_json()).encode() + b"\n")

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
            self._here.bring(self._lines)
            self._hold(self.path)
            self.problem = ""
            if self._there.lines:
                self._there.remove()
                self._there = _Copy(self.elsewhere, 0o600, self.elsewhere.parent)
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
        if self._held < 0:
            handle = _hold(path)
            if handle is None:
                raise RecordsError("the draft is open in another session", where=self.draft_id)
            self._held = handle
        elif not self._holds(path):
            os.close(self._held)
            self._held = -1
            self._hold(path)

    def _holds(self, path: Path) -> bool:
        try:
            return os.path.samestat(os.fstat(self._held), os.stat(path))
        except OSError:
            return False

    def flush(self, timeout: float = 1.0) -> bool:
        """Wait until every change is on disk; whether it is."""
        self._idle.wait(timeout)
        return self.kept == self.sent

    def close(self) -> None:
        """Write what is left, end the thread and let go."""
        self.flush()
        self._queue.put(None)
        self._thread.join(1.0)
        if self._held >= 0:
            os.close(self._held)
            self._held = -1

    def remove(self) -> None:
        """Close, and take the files away."""
        self.close()
        self._here.remove()
        self._there.remove()
