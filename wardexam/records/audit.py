"""Who saved, amended, viewed, copied or exported what, and when: append-only, chained by hash."""

import fcntl
import json
import os
from datetime import datetime
from pathlib import Path

from wardexam.errors import RecordsError

FIRST = "0" * 64


def link(before: str, line: dict[str, str]) -> str:
    """The hash that chains a line to the one before it."""
    import hashlib  # not needed to open the ward

    return hashlib.sha256((before + json.dumps(line, sort_keys=True)).encode()).hexdigest()


class Audit:
    """The trail in one file."""

    def __init__(self, path: Path, mode: int) -> None:
        self.path, self.mode = path, mode

    def add(self, event: str, patient_id: str, by: str) -> None:
        """Append one line.

        Raises:
            RecordsError: The trail could not be written.
        """
        try:
            handle = os.open(
                self.path, os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_NOFOLLOW, self.mode
            )
        except OSError as error:
            raise RecordsError(
                f"cannot be written: {error.strerror}", where=str(self.path)
            ) from None
        try:
            fcntl.flock(handle, fcntl.LOCK_EX)
            size = os.fstat(handle).st_size
            tail = os.pread(handle, 4096, max(0, size - 4096)).splitlines()
            before = json.loads(tail[-1])["hash"] if tail else FIRST
            line = {
                "at": datetime.now().astimezone().isoformat(timespec="seconds"),
                "event": event,
                "patient": patient_id,
                "by": by,
            }
            row = json.dumps({**line, "hash": link(before, line)}, sort_keys=True) + "\n"
            os.write(handle, row.encode())
            os.fdatasync(handle)
        except (OSError, ValueError, KeyError) as error:
            raise RecordsError(
                f"the audit trail is damaged or full: {error}",
                where=str(self.path),
                remedy="run 'wardexam check'",
            ) from None
        finally:
            os.close(handle)


def verify(path: Path) -> list[str]:
    """What is wrong with a trail, in words; empty when every line follows from the one before."""
    faults: list[str] = []
    before = FIRST
    if not path.exists():
        return faults
    for number, text in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        try:
            row = json.loads(text)
            found = row.pop("hash")
        except (ValueError, KeyError):
            return [*faults, f"audit line {number} is not readable"]
        if found != link(before, row):
            faults.append(f"audit line {number} does not follow from the one before")
        before = found
    return faults
