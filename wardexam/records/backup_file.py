"""A backup on disk: written aside, flushed, and given its name in one step, over nothing."""

import os
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from wardexam.errors import RecordsError
from wardexam.records.durable_files import reason, sweep_dead, sync_folder

UNDER_WAY = "backup"  # how the name of one under way ends


def write_new_file(target: Path, lines: Iterable[bytes]) -> None:
    """Write a file that only its owner can read; whoever looks sees all of it or nothing.

    Raises:
        RecordsError: It cannot be written, or a file of this name is there; nothing of it is left.
    """
    fresh = target.parent / f".{target.name}.{os.getpid()}.{UNDER_WAY}"
    try:
        sweep_dead(target, UNDER_WAY)
        handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW, 0o600)
        try:
            with os.fdopen(handle, "wb", 1 << 20) as file:
                os.fchmod(file.fileno(), 0o600)
                file.writelines(lines)
                file.flush()
                os.fsync(file.fileno())
            _name(fresh, target)
        finally:
            with suppress(FileNotFoundError):
                os.unlink(fresh)
        sync_folder(target.parent)
    except FileExistsError:
        raise RecordsError("is there already, and nothing was written", str(target), "name a new file") from None  # fmt: skip
    except OSError as error:
        raise RecordsError(f"the backup cannot be written: {reason(error)}", str(target), "nothing of it is left") from None  # fmt: skip


def _name(fresh: Path, target: Path) -> None:
    """Give the file its name, over nothing."""
    try:
        os.link(fresh, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        if os.path.lexists(target):
            raise FileExistsError from None
        os.rename(fresh, target)
