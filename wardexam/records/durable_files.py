"""The few ways in which bytes reach the disk and come back: whole, appended, bounded.

Nothing here knows what the bytes mean. A failure is an OSError; the callers put it into words.
"""

import errno
import os
import stat
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path

NO_LOCKS = frozenset({errno.ENOLCK, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EINVAL})
_AT_ONCE = 512  # pieces to a call, well under the system's most


def reason(error: OSError) -> str:
    """Why, in the system's words; where locks do not work, in ours."""
    if error.errno in NO_LOCKS - {errno.EINVAL}:
        return "no working locks in this folder"
    return error.strerror or str(error) or type(error).__name__


def open_regular(path: Path, flags: int, mode: int = 0o600) -> int:
    """A handle of a regular file; a pipe, a device, a folder or a link in its place is refused at once."""
    handle = os.open(path, flags | os.O_NOFOLLOW | os.O_NONBLOCK, mode)
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise OSError(errno.EINVAL, "not a regular file")
    return handle


def read_bounded(path: Path, longest: int) -> bytes:
    """The bytes of a regular file, at most `longest` and one more, whatever lies at the path."""
    return _read(open_regular(path, os.O_RDONLY), longest)


def last_bytes(path: Path, count: int) -> bytes:
    """The last bytes of a regular file; none where they cannot be read."""
    try:
        handle = open_regular(path, os.O_RDONLY)
        try:
            return os.pread(handle, count, max(0, os.fstat(handle).st_size - count))
        finally:
            os.close(handle)
    except OSError:
        return b""


def read_followed(path: Path, longest: int) -> bytes:
    """As `read_bounded`, of a file of the user's own choice: a link is followed."""
    if not stat.S_ISREG(path.stat().st_mode):  # a device is not even opened
        raise OSError(errno.EINVAL, "not a regular file")
    return _read(os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY), longest)


def _read(handle: int, longest: int) -> bytes:
    try:
        found = os.fstat(handle)
        wanted = min(found.st_size, longest) + 1
        data = os.read(handle, wanted)
        while len(data) < wanted and (more := os.read(handle, wanted - len(data))):
            data += more
        return data
    finally:
        os.close(handle)


def sync_folder(folder: Path) -> None:
    """Flush a folder's entries to disk."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_all(handle: int, data: bytes | memoryview) -> None:
    """Write every byte."""
    view = memoryview(data)
    while view:
        view = view[os.write(handle, view) :]


def write_pieces(handle: int, pieces: Iterable[bytes | memoryview]) -> None:
    """Write every byte of every piece, many pieces to a call."""
    left = [memoryview(p) for p in pieces if len(p)]
    while left:
        done = os.writev(handle, left[:_AT_ONCE])
        while left and done >= len(left[0]):
            done -= len(left.pop(0))
        if done:
            left[0] = left[0][done:]


def write_new(path: Path, pieces: Iterable[bytes | memoryview], mode: int) -> None:
    """A new file on disk, flushed; nothing is left of it when that fails."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, mode)
    try:
        os.fchmod(handle, mode)  # the umask would take the group's right away
        write_pieces(handle, pieces)
        os.fsync(handle)
    except BaseException:
        with suppress(OSError):
            os.unlink(path)
        raise
    finally:
        os.close(handle)


def fresh_name(staging: Path, of: str = "file") -> Path:
    """A name for a file under way that says which process makes it and of what, so that strays can be swept."""
    return staging / f"{os.getpid()}.{os.urandom(6).hex()}.{of}.new"


def write_whole(
    path: Path,
    pieces: Iterable[bytes | memoryview],
    mode: int,
    staging: Path,
    *,
    before: bool = False,
    ready: Callable[[], object] = lambda: None,
) -> None:
    """Replace a file by new bytes in one step; on any failure the old file is untouched.

    Args:
        path: The file.
        pieces: Its new bytes, one after the other.
        mode: Its permissions.
        staging: A folder of the same file system where files under way may lie.
        before: Whether the version that is replaced stays beside it as ``<name>.before``.
        ready: Called once the new bytes are flushed, just before they take their place.
    """
    fresh = fresh_name(staging, path.stem)
    write_new(fresh, pieces, mode)
    try:
        ready()
        if before:
            keep_before(path, mode)
        os.replace(fresh, path)
    except BaseException:
        with suppress(OSError):
            os.unlink(fresh)
        raise
    sync_folder(path.parent)


def version_before(path: Path) -> Path:
    """Where the version before of a file lies."""
    return path.with_name(path.name + ".before")


def keep_before(path: Path, mode: int) -> None:
    """Keep the present version of a file, if there is one, as ``<name>.before``."""
    kept = version_before(path)
    with suppress(FileNotFoundError):
        os.unlink(kept)
    try:
        os.link(path, kept)
    except FileNotFoundError:
        return
    except OSError:  # a file system without hard links
        if path.exists():
            write_new(kept, [path.read_bytes()], mode)


def unused(path: Path) -> Path:
    """A name beside a file for what is set aside, that nothing has; `check` names what lies under it."""
    while True:
        aside = path.with_name(
            f"{path.name}.damaged-{time.strftime('%Y%m%dT%H%M%S')}-{os.urandom(3).hex()}"
        )
        if not os.path.lexists(aside):
            return aside


def set_aside(path: Path, aside: Path, mode: int) -> None:
    """A second name for a file, or a copy where links do not work; an existing name is never taken.

    Raises:
        OSError: It could not be made; the file is as it was.
    """
    try:
        os.link(path, aside, follow_symlinks=False)
    except FileExistsError:
        raise
    except OSError:
        write_new(aside, [read_bounded(path, 1 << 30)], mode)
    sync_folder(aside.parent)


def append_at(handle: int, size: int, data: bytes) -> None:
    """Append after the first `size` bytes; what a failed attempt left behind them is cut off."""
    if os.fstat(handle).st_size != size:
        os.ftruncate(handle, size)
    try:
        write_all(handle, data)
    except OSError:
        with suppress(OSError):
            os.ftruncate(handle, size)
        raise


def alive(pid: int) -> bool:
    """Whether a process of this host lives."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        pass
    return True


def sweep_dead(path: Path, ending: str) -> None:
    """Take away what processes that have died left under way to a path: ``.<name>.<process>.<...>.<ending>``."""
    import shutil  # not needed to open the ward

    beginning = f".{path.name}."
    for left in path.parent.iterdir():
        if left.name.startswith(beginning) and left.name.endswith(f".{ending}"):
            pid = left.name.removeprefix(beginning).partition(".")[0]
            if not pid.isdecimal() or alive(int(pid)):
                continue
            if left.is_dir() and not left.is_symlink():
                shutil.rmtree(left, ignore_errors=True)
            else:
                left.unlink(missing_ok=True)
