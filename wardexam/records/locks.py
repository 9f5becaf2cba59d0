"""One writer at a time: locks taken for a moment, released by death, never deleted.

There are 64 lock files, however many patients: a name always falls on the same one.
"""

import errno
import os
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from wardexam.errors import RecordsError
from wardexam.records.files import NO_LOCKS, reason

if TYPE_CHECKING:
    from filelock import FileLock

SECONDS = 3.0
STRIPES = 64


class Locks:
    """The locks of a store.

    Args:
        folder: Where the lock files lie.
        mode: Their permissions.
    """

    def __init__(self, folder: Path, mode: int) -> None:
        self.folder, self.mode = folder, mode
        self._made: dict[int, tuple[Path, Path, FileLock]] = {}

    @contextmanager
    def held(self, name: str, seconds: float = SECONDS) -> Iterator[Callable[[], None]]:
        """Hold the lock for a name while the block runs.

        Gives a function that raises when the lock has been stolen: its file taken away, so that
        another session could hold one of the same name. It is called just before the change.

        Raises:
            RecordsError: Someone else holds it, or locks do not work here.
        """
        from filelock import FileLock, Timeout

        stripe = zlib.crc32(name.encode()) % STRIPES
        if stripe not in self._made:
            path = self.folder / f"{stripe:02x}.lock"
            made = FileLock(path, mode=self.mode, poll_interval=0.002, fallback_to_soft=False)
            self._made[stripe] = path, path.with_suffix(".holder"), made
        path, holder, lock = self._made[stripe]
        try:
            lock.acquire(timeout=seconds)
        except Timeout:
            who = "another session"
            with suppress(OSError):
                who = holder.read_text(encoding="utf-8").strip()[:80]
            raise RecordsError(
                f"is being saved by {who}", where=name, remedy="try again in a moment"
            ) from None
        except (OSError, NotImplementedError) as error:
            raise self._unlockable(error) from None
        try:
            mark = self._mark(path)
            self._sign(holder)

            def still_ours() -> None:
                if mark is None or self._mark(path) != mark:
                    raise RecordsError(
                        "the lock was taken away; nothing was saved",
                        where=str(path),
                        remedy="save again",
                    )

            yield still_ours
        finally:
            with suppress(OSError):
                lock.release()

    def _unlockable(self, error: OSError | NotImplementedError) -> RecordsError:
        why = reason(error) if isinstance(error, OSError) else "no working locks in this folder"
        remedy = "make the folder writable"
        if not isinstance(error, OSError) or error.errno in NO_LOCKS:
            remedy = "keep the ward on a local disk"
        elif error.errno in (errno.ENOSPC, errno.EDQUOT):
            remedy = "free the disk"
        return RecordsError(
            f"nothing can be saved: {why}", where=str(self.folder.parent), remedy=remedy
        )

    @staticmethod
    def _mark(path: Path) -> tuple[int, int] | None:
        try:
            found = os.stat(path, follow_symlinks=False)
        except OSError:
            return None
        return found.st_dev, found.st_ino

    def _sign(self, holder: Path) -> None:
        """Leave a note of who holds the lock, for those who wait; nothing depends on it."""
        name = f"{os.uname().nodename} process {os.getpid()}".ljust(100)[:100].encode()
        with suppress(OSError):
            handle = os.open(holder, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, self.mode)
            try:
                if (found := os.pread(handle, 100, 0)) != name:
                    if not found:
                        os.fchmod(handle, self.mode)
                    os.pwrite(handle, name, 0)  # of one length: a file cut short costs a flush
            finally:
                os.close(handle)
