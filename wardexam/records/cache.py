"""Bytes that can be made again, kept between starts in the user's cache folder; never patient data."""

import contextlib
import mmap
import os

from wardexam.records.durable_files import open_regular, write_whole
from wardexam.records.paths import cached

LONGEST = 64_000_000  # bytes; the engine's rows take about 10 million


def kept(name: str) -> memoryview | None:
    """What was kept under a name, or None; a file that is not our own is left alone.

    It is mapped and not copied, so that all processes of a user share it. A file is only ever replaced
    by another, so that what is mapped never changes or ends under its reader.
    """
    try:
        handle = open_regular(cached(name), os.O_RDONLY)
    except OSError:
        return None
    try:
        found = os.fstat(handle)
        if found.st_uid != os.getuid() or not 0 < found.st_size <= LONGEST:
            return None
        return memoryview(mmap.mmap(handle, 0, access=mmap.ACCESS_READ))
    except (OSError, ValueError):
        return None
    finally:
        os.close(handle)


def keep(name: str, data: bytes) -> None:
    """Keep bytes under a name, and drop what was kept under others; silently not, where it cannot.

    A folder that lies there makes way; we do not write folders, so it is moved aside and kept.
    """
    place = cached(name)
    with contextlib.suppress(OSError):
        place.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        if place.is_dir() and not place.is_symlink():
            place.rename(place.with_name(f"aside-{os.urandom(6).hex()}"))
        write_whole(place, [data], 0o600, place.parent)
        for other in place.parent.glob(f"{name.split('-')[0]}-*"):
            if other != place and not (other.is_dir() and not other.is_symlink()):
                other.unlink(missing_ok=True)
