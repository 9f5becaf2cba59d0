"""A file of the user's own choice, its owner's alone: what leaves the ward for somebody who asked for it."""

import os
import shutil
import stat
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TextIO

from wardexam.errors import InputError, RecordsError
from wardexam.exam.text import clean_lines
from wardexam.records.durable_files import read_followed, reason, sync_folder, write_new


def write_private(name: str | Path, lines: Iterable[str]) -> None:
    """Write lines, each cleaned, to a new file that its owner alone can read; one that is there is left as it is.

    Raises:
        RecordsError: It is there already, or cannot be written; nothing is left of it then.
    """
    place = Path(name)
    try:
        write_new(place, (clean_lines(line).encode() for line in lines), 0o600)
    except FileExistsError:
        raise RecordsError("is there already", str(name), "choose another name") from None
    except OSError as error:
        raise RecordsError(f"cannot be written: {reason(error)}", str(name)) from None


@contextmanager
def private_folder(name: str, files: Iterable[str]) -> Iterator[dict[str, TextIO]]:
    """A new folder that its owner alone can read, with files to write into; nothing is left of it where that fails.

    Args:
        name: The folder; one that is there is left as it is.
        files: The names of the files in it.

    Raises:
        RecordsError: It is there already, or cannot be written.
    """
    place = Path(name)
    try:
        place.mkdir(0o700)
    except FileExistsError:
        raise RecordsError("is there already", name, "choose another name") from None
    except OSError as error:
        raise RecordsError(f"cannot be written: {reason(error)}", name) from None
    try:
        with ExitStack() as open_ones:
            made: dict[str, TextIO] = {}
            for file in files:
                handle = os.open(place / file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
                made[file] = open_ones.enter_context(os.fdopen(handle, "w", encoding="utf-8"))
            yield made
        sync_folder(place)
    except BaseException as error:
        shutil.rmtree(place, ignore_errors=True)
        if isinstance(error, OSError):
            raise RecordsError(f"cannot be written: {reason(error)}", name) from None
        raise


def secret_key(name: str | None, length: int) -> bytes:
    """A secret of so many bytes: drawn anew, or that of a file, which is made where it is not there.

    Args:
        name: The file; None for a key that is kept nowhere.
        length: Its bytes.

    Raises:
        InputError: The file holds no such key, or others can read it.
        RecordsError: It cannot be read or written.
    """
    import secrets

    if name is None:
        return secrets.token_bytes(length)
    place = Path(name)
    if not place.exists():
        fresh = secrets.token_hex(length)
        write_private(place, [f"{fresh}\n"])
        return bytes.fromhex(fresh)
    try:
        if place.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
            raise InputError("others can read the key", name, "chmod 600 it")
        found = read_followed(place, 4 * length).decode("ascii").strip()
        key = bytes.fromhex(found)
    except (ValueError, UnicodeDecodeError):
        key = b""
    except OSError as error:
        raise RecordsError(f"cannot be read: {reason(error)}", name) from None
    if len(key) != length:
        raise InputError("holds no key of an export", name, "name the file of an earlier export")
    return key
