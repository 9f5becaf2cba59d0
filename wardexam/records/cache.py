"""Bytes that can be made again, kept between starts in the user's cache folder; never patient data."""

import contextlib
import os
import tempfile
from pathlib import Path

import platformdirs


def _place(name: str) -> Path:
    return platformdirs.user_cache_path("wardexam") / name


def kept(name: str) -> bytes | None:
    """What was kept under a name, or None; a folder or file that is not our own is left alone."""
    try:
        with _place(name).open("rb") as file:
            if os.fstat(file.fileno()).st_uid != os.getuid():
                return None
            return file.read()
    except OSError:
        return None


def keep(name: str, data: bytes) -> None:
    """Keep bytes under a name, and drop what was kept under others; silently not, where it cannot."""
    place = _place(name)
    with contextlib.suppress(OSError):
        place.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle, made = tempfile.mkstemp(dir=place.parent, prefix=".new-")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            Path(made).replace(place)
        except OSError:
            Path(made).unlink(missing_ok=True)
            raise
        for other in place.parent.glob(f"{name.split('-')[0]}-*"):
            if other != place:
                other.unlink(missing_ok=True)
