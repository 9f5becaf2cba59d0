"""Who saved, amended, viewed, copied or exported what, and when: append-only, chained by hash."""

import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from wardexam.errors import RecordsError
from wardexam.records.files import append_at, flocked, reason

FIRST = "0" * 64
LONGEST_LINE = 4096  # bytes


def link(before: str, line: dict[str, str]) -> str:
    """The hash that chains a line to the one before it."""
    import hashlib  # not needed to open the ward

    return hashlib.sha256((before + json.dumps(line, sort_keys=True)).encode()).hexdigest()


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")


class Audit:
    """The trail in one file.

    Attributes:
        problem: Why events are not in the trail yet, in one line; empty when all are.
    """

    def __init__(self, path: Path, mode: int, now: Callable[[], str] = _now) -> None:
        self.path, self.mode, self.problem = path, mode, ""
        self._now = now
        self._waiting: list[dict[str, str]] = []

    def note(
        self, event: str, patient_id: str, by: str, what: str = "", *, sync: bool = True
    ) -> None:
        """Append an event; one that cannot be written now waits for the next and `problem` says so.

        For what has happened already: a save that is on disk is not undone for want of a line. A
        save's own line need not be flushed by itself (`sync`): who saved what stands in the record,
        and the next event, the view of the note that follows, flushes it.
        """
        self._waiting.append({
            "at": self._now(), "event": event, "patient": patient_id, "by": by[:200], "what": what,
        })  # fmt: skip
        self.settle(sync=sync)

    def add(self, event: str, patient_id: str, by: str, what: str = "") -> None:
        """Append an event that must be in the trail before it happens.

        Raises:
            RecordsError: The trail could not be written; the event is not in it.
        """
        self.note(event, patient_id, by, what)
        if self.problem:
            self._waiting.pop()
            raise RecordsError(self.problem)

    def settle(self, *, sync: bool = True) -> None:
        """Append what waits."""
        if not self._waiting:
            return
        try:
            handle = os.open(
                self.path, os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_NOFOLLOW, self.mode
            )
            try:
                with flocked(handle, 3.0):
                    self._append(handle)
                    if sync:
                        os.fdatasync(handle)
            finally:
                os.close(handle)
            self._waiting.clear()
            self.problem = ""
        except OSError as error:
            self.problem = f"the audit trail cannot be written: {reason(error)}"
        except (ValueError, KeyError, TypeError):
            self.problem = "the audit trail is damaged (run 'wardexam check')"

    def _append(self, handle: int) -> None:
        size = os.fstat(handle).st_size
        if size == 0:
            os.fchmod(handle, self.mode)
        tail = os.pread(handle, 2 * LONGEST_LINE, max(0, size - 2 * LONGEST_LINE))
        whole = tail[: tail.rfind(b"\n") + 1]  # a torn last line is the one in flight at a crash
        before = json.loads(whole.splitlines()[-1])["hash"] if whole else FIRST
        rows = []
        for line in self._waiting:
            before = link(before, line)
            rows.append(json.dumps({**line, "hash": before}, sort_keys=True))
        append_at(handle, size - len(tail) + len(whole), "".join(f"{r}\n" for r in rows).encode())


@dataclass(frozen=True, slots=True)
class Trail:
    """What `verify` found: whole lines, the hash of the last, every fault in words.

    `torn` when a crash cut the last line off; the next event mends that.
    """

    lines: int
    last: str
    faults: tuple[str, ...]
    torn: bool = False


def verify(path: Path) -> Trail:
    """Whether every line of a trail follows from the one before; reads it line by line."""
    faults: list[str] = []
    before, number = FIRST, 0
    try:
        with path.open("rb") as file:
            while text := file.readline(LONGEST_LINE + 1):
                if not text.endswith(b"\n") and len(text) <= LONGEST_LINE:
                    return Trail(number, before, tuple(faults), torn=True)
                number += 1
                try:
                    row = json.loads(text)
                    found = row.pop("hash")
                    if found != link(before, row):
                        faults.append(f"audit line {number} does not follow from the one before")
                except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
                    faults.append(f"audit line {number} is not readable")
                    break
                before = found
    except FileNotFoundError:
        pass
    except OSError as error:
        faults.append(f"the audit trail cannot be read: {reason(error)}")
    return Trail(number, before, tuple(faults))
