"""The results of practice, in the user's own state folder: one small JSON file, replaced whole, its owner's alone.

Nothing of a patient is in it, and no ward is opened for it. What a result holds is said in `wardexam.practice`; here it is
a row of plain values. The file holds its form, the rows, and a checksum of them. One that is damaged is moved aside under a
name of its own and a new one is begun; nothing is ever written over it.
"""

import errno
import hashlib
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from wardexam.errors import RecordsError
from wardexam.records.durable_files import (
    open_regular,
    read_bounded,
    reason,
    set_aside,
    unused,
    write_whole,
)
from wardexam.records.locks import SECONDS, take
from wardexam.records.paths import practice_file

FORM = 1
LONGEST = 16_000_000  # bytes
MOST = 20_000  # results, some 400 bytes each
Row = dict[str, Any]


class DamagedError(RecordsError):
    """The file is there and holds no results that can be read."""


def rows(path: Path | None = None) -> list[Row]:
    """The results that are kept, oldest first; none where there is no file. Nothing is written.

    Raises:
        DamagedError: The file is damaged; it is left where it is.
        RecordsError: The system does not give it, or a newer program wrote it.
    """
    place = path or practice_file()
    try:
        data = read_bounded(place, LONGEST)
    except FileNotFoundError:
        return []
    except OSError as error:
        if error.errno in (errno.EINVAL, errno.ELOOP, errno.EISDIR):
            raise DamagedError("no regular file", str(place)) from None
        raise RecordsError(f"cannot be read: {reason(error)}", str(place)) from None
    return _read(data, place)


def _read(data: bytes, place: Path) -> list[Row]:
    try:
        held = json.loads(data) if len(data) <= LONGEST else None
    except (ValueError, RecursionError):
        held = None
    if not isinstance(held, dict):
        raise DamagedError("the results of practice cannot be read", str(place))
    form, found = held.get("form"), held.get("results")
    if isinstance(form, int) and form > FORM:
        raise RecordsError(
            "a newer wardexam wrote the results of practice", str(place), "use that one"
        )
    if (
        form != FORM
        or not isinstance(found, list)
        or not all(isinstance(row, dict) for row in found)
        or held.get("sum") != _sum(found)
    ):
        raise DamagedError("the results of practice are damaged", str(place))
    return found


def _sum(found: list[Row]) -> str:
    text = json.dumps(found, sort_keys=True, separators=(",", ":"))
    return hashlib.blake2b(text.encode(), digest_size=16).hexdigest()


def keep(row: Row, path: Path | None = None) -> str:
    """Keep one more result, on disk when this returns; what was set aside, in words, else nothing.

    Raises:
        RecordsError: It cannot be kept; what was kept before is as it was.
    """
    place = path or practice_file()
    said = ""
    try:
        with _held(place):
            try:
                found = rows(place)
            except DamagedError:
                aside = _put_aside(place)
                said, found = f"The results of practice were damaged; they lie in {aside}", []
            if len(found) >= MOST:
                raise RecordsError(
                    f"{MOST} results are kept already", str(place), "export it and move it away"
                )
            found.append(row)
            made = {"form": FORM, "sum": _sum(found), "results": found}
            write_whole(place, [json.dumps(made).encode()], 0o600, place.parent)
    except TimeoutError:
        raise RecordsError("another session is writing it", str(place), "try again") from None
    except OSError as error:
        raise RecordsError(f"cannot be kept: {reason(error)}", str(place)) from None
    return said


@contextmanager
def _held(place: Path) -> Iterator[None]:
    """Hold the lock of the file, whose folder is made where it is not."""
    place.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    handle = open_regular(place.with_suffix(".lock"), os.O_RDWR | os.O_CREAT, 0o600)
    try:
        take(handle, SECONDS)
        for stray in place.parent.glob(f"*.{place.stem}.new"):  # of a session that died
            with suppress(OSError):
                stray.unlink()
        yield
    finally:
        os.close(handle)


def _put_aside(place: Path) -> Path:
    """Move what lies in the place of the file to a name that nothing has; where it lies then."""
    aside = unused(place)
    try:
        set_aside(place, aside, 0o600)
    except OSError:  # a folder or a pipe has no second name
        place.rename(aside)
        return aside
    place.unlink()
    return aside
