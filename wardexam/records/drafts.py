"""Half-entered examinations: one line on disk for every accepted key, written off the UI thread."""

import fcntl
import json
import os
import queue
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wardexam.errors import RecordsError

if TYPE_CHECKING:
    from wardexam.exam.entry import Change
    from wardexam.exam.examination import Examination


@dataclass(frozen=True, slots=True)
class DraftInfo:
    """A draft: whose, by whom, last added to (seconds since 1970), how many keys.

    `held` while a living session writes it: then it is nobody else's to resume.
    """

    draft_id: str
    patient_id: str
    by: str
    started: str
    last: float
    keys: int
    held: bool = False


def _hold(path: Path) -> int | None:
    """A handle that holds the draft for this session until it is closed or dies; None if held."""
    handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(handle)
        return None
    return handle


def _is_held(path: Path) -> bool:
    handle = _hold(path)
    if handle is not None:
        os.close(handle)
    return handle is None


def _lines(path: Path) -> list[dict[str, Any]]:
    """The lines of a draft; a torn last line is the key in flight and is left out.

    Raises:
        RecordsError: A line before the last is damaged.
    """
    found = []
    rows = path.read_bytes().split(b"\n")
    for number, row in enumerate(rows):
        if not row:
            continue
        try:
            found.append(json.loads(row))
        except ValueError:
            if number >= len(rows) - 1:
                break
            raise RecordsError(
                f"line {number + 1} of the draft is damaged", where=str(path)
            ) from None
    return found


def draft_infos(folder: Path) -> tuple[DraftInfo, ...]:
    """The drafts in a folder, oldest first; one that cannot be read is left out here."""
    found = []
    for path in sorted(folder.glob("*.draft")):
        try:
            lines = _lines(path)
            head = lines[0]
            found.append(DraftInfo(
                path.stem, head["examination"]["patient"], head["by"], head["examination"]["at"], path.stat().st_mtime, len(lines) - 1, _is_held(path)))  # fmt: skip
        except (RecordsError, OSError, LookupError, TypeError):
            continue
    return tuple(sorted(found, key=lambda d: d.last))


def replay(folder: Path, draft_id: str) -> "Examination":
    """The examination as far as a draft got."""
    from wardexam.exam.entry import Change, apply
    from wardexam.exam.examination import Examination

    lines = _lines(folder / f"{draft_id}.draft")
    examination = Examination.model_validate(lines[0]["examination"])
    for line in lines[1:]:
        examination = apply(examination, Change.from_json(line))
    return examination


class Draft:
    """A draft being written. `append` returns at once; a thread of its own writes and syncs.

    Attributes:
        path: The file.
        kept: Changes known to be on disk.
        sent: Changes handed over.
        problem: Why changes are not reaching the disk, in one line; empty while they are.
    """

    def __init__(self, path: Path) -> None:
        self.path, self.sent, self.kept, self.problem = path, 0, 0, ""
        hold = _hold(path)
        if hold is None:
            raise RecordsError("the draft is open in another session", where=path.stem)
        self._held = hold
        self._queue: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._waiting: list[bytes] = []
        self._idle = threading.Event()
        self._idle.set()
        self._thread = threading.Thread(target=self._write, daemon=True)
        self._thread.start()

    @classmethod
    def start(cls, folder: Path, examination: "Examination", by: str, mode: int) -> "Draft":
        """A new draft file whose first line is the examination as it stands."""
        path = folder / f"{examination.id}.draft"
        head = {"examination": examination.model_dump(mode="json"), "by": by}
        try:
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, mode)
            os.write(handle, json.dumps(head).encode() + b"\n")
            os.fdatasync(handle)
            os.close(handle)
        except OSError as error:
            raise RecordsError(f"no draft can be kept: {error.strerror}", where=str(path)) from None
        return cls(path)

    @classmethod
    def resume(cls, folder: Path, draft_id: str) -> "Draft":
        """Go on with a draft; a torn last line is cut off first."""
        path = folder / f"{draft_id}.draft"
        draft = cls(path)
        draft.sent = draft.kept = len(_lines(path)) - 1
        data = path.read_bytes()
        if not data.endswith(b"\n"):
            os.truncate(path, data.rfind(b"\n") + 1)
        return draft

    def append(self, change: "Change") -> None:
        """Hand a change over to be written."""
        self.sent += 1
        self._idle.clear()
        self._queue.put(json.dumps(change.to_json()).encode() + b"\n")

    def _write(self) -> None:
        while True:
            item = self._queue.get()
            if item is None:
                return
            self._waiting.append(item)
            try:
                handle = os.open(self.path, os.O_WRONLY | os.O_APPEND | os.O_NOFOLLOW)
                try:
                    start = os.fstat(handle).st_size
                    data = b"".join(self._waiting)
                    if os.write(handle, data) != len(data):
                        os.ftruncate(handle, start)
                        raise OSError(28, "disk full")
                    os.fdatasync(handle)
                finally:
                    os.close(handle)
                self.kept += len(self._waiting)
                self._waiting.clear()
                self.problem = ""
            except OSError as error:
                self.problem = f"not on disk: {error.strerror}; kept in memory"
            if self._queue.empty():
                self._idle.set()

    def flush(self, timeout: float = 1.0) -> bool:
        """Wait until every change is on disk; whether it is."""
        self._idle.wait(timeout)
        return self.kept == self.sent

    def close(self) -> None:
        """Write what is left and end the thread."""
        self.flush()
        self._queue.put(None)
        self._thread.join(1.0)
        if self._held >= 0:
            os.close(self._held)
            self._held = -1
