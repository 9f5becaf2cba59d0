"""One writer at a time: the system's lock on an open file (`take`), released by close or by death.

The index and the audit trail are locked themselves while a line is appended, a draft for as long as a
session writes it. A patient, an import and a move between the lists have lock files of their own
(`Locks`), never deleted: 64 of them, however many patients, so that a name always falls on the same one.
What concerns the whole ward (`WHOLE`) has a file of its own.
"""

import errno
import fcntl
import os
import stat
import threading
import time
import zlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from wardexam.errors import RecordsError
from wardexam.records.durable_files import NO_LOCKS, open_regular, read_bounded, reason

SECONDS = 3.0
STRIPES = 64
WHOLE = ("arrivals", "lists")
_HELD = frozenset({errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES})


def take(handle: int, seconds: float) -> None:
    """Lock an open file until it is closed or this process dies.

    Raises:
        TimeoutError: Another session kept it all the time.
        OSError: The file system has no locks.
    """
    end = time.monotonic() + seconds
    while True:
        try:
            return fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            if error.errno not in _HELD:
                raise
        if time.monotonic() >= end:
            raise TimeoutError(errno.ETIMEDOUT, "another session holds it")
        time.sleep(0.002)


class BusyError(RecordsError):
    """Another session holds what is needed; nothing was changed. `holder` says which."""

    def __init__(self, holder: str, where: str) -> None:
        super().__init__(
            f"is being saved by {holder}", where, "nothing was changed; try again in a moment"
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
        self._mine = threading.local()  # two names that a thread holds may fall on one lock

    @contextmanager
    def held(self, name: str, seconds: float | None = None) -> Iterator[Callable[[], None]]:
        """Hold the lock for a name while the block runs.

        Gives a function that raises when the lock has been stolen: its file taken away, so that
        another session could hold one of the same name. It is called just before the change.

        Raises:
            BusyError: Someone else holds it.
            RecordsError: Locks do not work here.
        """
        stripe = name if name in WHOLE else f"{zlib.crc32(name.encode()) % STRIPES:02x}"
        with self._held(stripe, name, seconds) as still_ours:
            yield still_ours

    @contextmanager
    def all_held(self) -> Iterator[None]:
        """Keep every other session from saving anything while the block runs; the lists may be read.

        Raises:
            BusyError: Someone else holds one all the time.
        """
        with ExitStack() as held:
            held.enter_context(
                self.held("arrivals")
            )  # whoever brings many in holds it before any patient
            for number in range(STRIPES):
                held.enter_context(self._held(f"{number:02x}", str(self.folder.parent)))
            yield

    @contextmanager
    def _held(
        self, stripe: str, name: str, seconds: float | None = None
    ) -> Iterator[Callable[[], None]]:
        """Hold one lock; `name` is what is said to be busy."""
        mine: dict[str, Callable[[], None]] = self._mine.__dict__
        if stripe in mine:
            yield mine[stripe]
            return
        path = self.folder / f"{stripe}.lock"
        holder = path.with_suffix(".holder")
        try:
            if os.path.lexists(path) and path.is_file() and path.stat().st_size:
                raise RecordsError(
                    "a lock's file holds what is no lock; nothing was changed",
                    where=str(path),
                    remedy="move it out of the folder locks",
                )
            handle = self._taken(path, self.patience if seconds is None else seconds)
        except TimeoutError:
            who = "another session"
            with suppress(OSError, ValueError):
                who = read_bounded(holder, 200).decode().strip()[:80] or who
            raise BusyError(who, name) from None
        except OSError as error:
            raise self._unlockable(error) from None

        def still_ours() -> None:
            if not _lies_at(handle, path):
                raise RecordsError(
                    "the lock was taken away; nothing was saved",
                    where=str(path),
                    remedy="save again",
                )

        mine[stripe] = still_ours
        try:
            self._sign(holder)
            yield still_ours
        finally:
            del mine[stripe]
            os.close(handle)

    def _taken(self, path: Path, seconds: float) -> int:
        """A handle of a lock's file, locked; of the file that lies there once it is."""
        while True:
            handle = open_regular(path, os.O_RDWR | os.O_CREAT, self.mode)
            try:
                if stat.S_IMODE(os.fstat(handle).st_mode) != self.mode:
                    with suppress(OSError):  # the umask has taken the group's right away
                        os.fchmod(handle, self.mode)
                take(handle, seconds)
                if _lies_at(handle, path):
                    return handle
            except BaseException:
                os.close(handle)
                raise
            os.close(handle)

    def _unlockable(self, error: OSError) -> RecordsError:
        remedy = "make the folder writable"
        if error.errno in NO_LOCKS:
            remedy = "keep the ward on a local disk"
        elif error.errno in (errno.ENOSPC, errno.EDQUOT):
            remedy = "free the disk"
        return RecordsError(
            f"nothing can be saved: {reason(error)}", where=str(self.folder.parent), remedy=remedy
        )

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


def _lies_at(handle: int, path: Path) -> bool:
    """Whether an open file is the one that lies at a path now."""
    try:
        return os.path.samestat(os.fstat(handle), os.stat(path, follow_symlinks=False))
    except OSError:
        return False
