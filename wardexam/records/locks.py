"""One writer at a time: locks taken for a moment, released by death, never deleted.

There are 64 lock files, however many patients: a name always falls on the same one. What concerns
the whole ward (`WHOLE`) has a file of its own.
"""

import errno
import os
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from wardexam.errors import RecordsError
from wardexam.records.files import NO_LOCKS, open_regular, read_bounded, reason

if TYPE_CHECKING:
    from filelock import FileLock

SECONDS = 3.0
STRIPES = 64
WHOLE = ("arrivals", "lists")


class BusyError(RecordsError):
    """Another session holds what is needed; nothing was changed. `holder` says which."""

    def __init__(self, holder: str, where: str) -> None:
        super().__init__(
            f"is held by {holder}", where, "nothing was changed; try again in a moment"
        )
        self.holder = holder


class Locks:
    """The locks of a store.

    Args:
        folder: Where the lock files lie.
        mode: Their permissions.

    Attributes:
        patience: Seconds that a lock is waited for.
    """

    def __init__(self, folder: Path, mode: int) -> None:
        self.folder, self.mode, self.patience = folder, mode, SECONDS
        self._made: dict[str, tuple[Path, Path, FileLock]] = {}

    @contextmanager
    def held(self, name: str, seconds: float | None = None) -> Iterator[Callable[[], None]]:
        """Hold the lock for a name while the block runs.

        Gives a function that raises when the lock has been stolen: its file taken away, so that
        another session could hold one of the same name. It is called just before the change.

        Raises:
            BusyError: Someone else holds it.
            RecordsError: Locks do not work here.
        """
        from filelock import FileLock, Timeout

        stripe = name if name in WHOLE else f"{zlib.crc32(name.encode()) % STRIPES:02x}"
        if stripe not in self._made:
            path = self.folder / f"{stripe}.lock"
            made = FileLock(path, mode=self.mode, poll_interval=0.002, fallback_to_soft=False)
            self._made[stripe] = path, path.with_suffix(".holder"), made
        path, holder, lock = self._made[stripe]
        try:
            if os.path.lexists(path) and not path.is_file():
                raise OSError(errno.EINVAL, "a lock's file is no regular file")
            if path.exists() and path.stat().st_size:  # some versions of the lock empty its file
                raise RecordsError(
                    "a lock's file holds what is no lock; nothing was changed",
                    where=str(path),
                    remedy="move it out of the folder locks",
                )
            lock.acquire(timeout=self.patience if seconds is None else seconds)
        except Timeout:
            who = "another session"
            with suppress(OSError, ValueError):
                who = read_bounded(holder, 200).decode().strip()[:80] or who
            raise BusyError(who, name) from None
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
            handle = open_regular(holder, os.O_RDWR | os.O_CREAT, self.mode)
            try:
                if os.fstat(handle).st_size > len(name):
                    return  # something else lies there
                if (found := os.pread(handle, 100, 0)) != name:
                    if not found:
                        os.fchmod(handle, self.mode)
                    os.pwrite(handle, name, 0)  # of one length: a file cut short costs a flush
            finally:
                os.close(handle)
