"""The ward list's index: a line for each patient, the last line about a patient counts.

It is derived: made anew from the patients' files whenever it is missing or damaged. A save appends
one line, so its cost does not grow with the ward. A row holds the checksum of the file it was made
from; a row without details only says that the file must be looked at. Each line begins with the
checksum of the rest of it, so that a flipped byte is seen here too.
"""

import errno
import json
import os
import re
import zlib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from wardexam.records.durable_files import (
    append_at,
    open_regular,
    read_bounded,
    unused,
    write_whole,
)
from wardexam.records.locks import SECONDS, take

LONGEST = 256_000_000  # bytes: half a million patients
SLACK = 256  # superseded lines beyond which the file is written anew

HEAD = b'{"index": "wardexam", "version": 2}\n'

Row = dict[str, Any]

_NAME = re.compile("[a-z0-9]{8,40}")
_MALFORMED = (ValueError, KeyError, TypeError, AttributeError, RecursionError)


class ListDamagedError(Exception):
    """The file is missing or cannot be read."""


def _write(row: Row) -> bytes:
    data = json.dumps(row, sort_keys=True).encode() + b"\n"
    return b"%08x %b" % (zlib.crc32(data), data)


def _checked(line: bytes) -> bytes:
    """A line's row, once its checksum agrees.

    Raises:
        ValueError: It does not.
    """
    if line[:9] != b"%08x " % zlib.crc32(line[9:]):
        raise ValueError
    return line[9:]


class WardListFile:
    """One list of patients.

    Args:
        path: The file.
        mode: Its permissions.
        staging: Where a new version lies until it is whole.
    """

    def __init__(self, path: Path, mode: int, staging: Path) -> None:
        self.path, self.mode, self.staging, self.patience = path, mode, staging, SECONDS

    @property
    def begun(self) -> bool:
        """Whether there is an index to append to."""
        try:
            return self.path.stat().st_size >= len(HEAD)
        except OSError:
            return False

    def rows(self) -> dict[str, Row]:
        """The rows by patient.

        Raises:
            ListDamagedError: There is no index, none that can be read, or one that was cut.
        """
        try:
            data = read_bounded(self.path, LONGEST)
            if len(data) > LONGEST:
                raise ValueError
            rows, lines = self._fold(data)
            if not data.endswith(b"\n"):
                raise ValueError
        except (*_MALFORMED, OSError):
            raise ListDamagedError from None
        if lines > 2 * len(rows) + SLACK:
            self._compact()
        return rows

    @staticmethod
    def _fold(data: bytes) -> tuple[dict[str, Row], int]:
        rows: dict[str, Row] = {}
        head, *lines = data[: data.rfind(b"\n") + 1].splitlines(keepends=True) or [b""]
        if head != HEAD:
            raise ValueError
        for row in json.loads(b"[%s]" % b",".join(map(_checked, lines))):
            if not _NAME.fullmatch(row["patient_id"]):
                raise ValueError
            if row.get("gone"):
                rows.pop(row["patient_id"], None)
            else:
                rows[row["patient_id"]] = row
        return rows, len(lines)

    def put(self, *rows: Row, sync: bool = False) -> None:
        """Append rows; with `sync` they are on disk before this returns.

        Raises:
            OSError: It could not be appended; also where there is no index yet, since one made of
                these rows alone would hide everybody else.
        """
        while True:
            handle = open_regular(self.path, os.O_RDWR | os.O_APPEND)
            try:
                take(handle, self.patience)
                found = os.fstat(handle)
                if found.st_nlink == 0:  # replaced by a shorter one meanwhile
                    continue
                if found.st_size < len(HEAD):
                    raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT))
                append_at(handle, self._whole(handle, found.st_size), b"".join(map(_write, rows)))
                if sync:
                    os.fdatasync(handle)
                return
            finally:
                os.close(handle)

    @staticmethod
    def _whole(handle: int, size: int) -> int:
        """The size without a torn last line."""
        tail = os.pread(handle, 65_536, max(0, size - 65_536))
        return size - len(tail) + tail.rfind(b"\n") + 1

    def drop(self, patient_id: str) -> None:
        """Append that a patient is no longer on this list."""
        self.put({"patient_id": patient_id, "gone": True})

    def make_way(self) -> None:
        """Set aside what lies in the index's place and is none, so that nothing is written over."""
        try:
            data = read_bounded(self.path, LONGEST)
            ours = data[: len(HEAD)] in HEAD or data.startswith(HEAD[:20])
            ours = ours or any(
                line[:9] == b"%08x " % zlib.crc32(line[9:])
                for line in data.splitlines(keepends=True)
            )
        except FileNotFoundError:
            return
        except OSError:
            ours = False
        if not ours:
            os.rename(self.path, unused(self.path))

    def replace(self, rows: Iterable[Row]) -> None:
        """Write the whole index anew."""
        write_whole(self.path, (HEAD, *map(_write, rows)), self.mode, self.staging)

    def _compact(self) -> None:
        try:
            handle = open_regular(self.path, os.O_RDWR)
        except OSError:
            return  # read-only: it stays as long as it is
        try:
            take(handle, 0.5)
            if os.fstat(handle).st_nlink:
                self.replace(self._fold(read_bounded(self.path, LONGEST))[0].values())
        except (*_MALFORMED, OSError):
            pass
        finally:
            os.close(handle)
