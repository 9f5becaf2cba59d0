"""A file of the user's own choice, its owner's alone: what leaves the ward for somebody who asked for it."""

from collections.abc import Iterable
from pathlib import Path

from wardexam.errors import RecordsError
from wardexam.records.durable_files import reason, write_new


def write_private(name: str | Path, lines: Iterable[str]) -> None:
    """Write a new file that its owner alone can read; one that is there is left as it is.

    Raises:
        RecordsError: It is there already, or cannot be written; nothing is left of it then.
    """
    place = Path(name)
    try:
        write_new(place, [line.encode() for line in lines], 0o600)
    except FileExistsError:
        raise RecordsError("is there already", str(name), "choose another name") from None
    except OSError as error:
        raise RecordsError(f"cannot be written: {reason(error)}", str(name)) from None
