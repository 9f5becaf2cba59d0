"""Bytes that can be made again, kept between starts in the user's cache folder; never patient data."""

import contextlib
import os

from wardexam.records.durable_files import read_bounded, write_whole
from wardexam.records.paths import cached

LONGEST = 64_000_000  # bytes; the engine's rows take about 10 million


def kept(name: str) -> bytes | None:
    """What was kept under a name, or None; a file that is not our own is left alone."""
    place = cached(name)
    try:
        if place.stat(follow_symlinks=False).st_uid != os.getuid():
            return None
        return read_bounded(place, LONGEST)
    except OSError:
        return None


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
