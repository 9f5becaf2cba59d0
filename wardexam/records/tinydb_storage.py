"""A TinyDB storage that a crash, a full disk or a second reader cannot damage.

TinyDB writes at every change of a table. Here changes gather until `flush` writes all of them in one
step: to a new file, flushed to disk, the version before kept beside it, one rename. What was not
flushed never happened. The form of the file stands in `wardexam.records.schemas`.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from tinydb.storages import Storage

from wardexam.errors import RecordsError
from wardexam.records.durable_files import reason, write_whole
from wardexam.records.schemas import LONGEST, pack, read_tables
from wardexam.records.stored_record import Tables


class DurableStorage(Storage):
    """One TinyDB document file.

    Args:
        path: The file; it need not exist.
        mode: Permissions of a new file.
        staging: Where the new version lies until it is whole; the file's own folder by default.

    Attributes:
        changed: Whether a table was changed since the file was read.
        mark: The checksum and the size of what was written last; empty before.
        announce: Called with the checksum of what is about to take the file's place.
    """

    def __init__(self, path: Path, mode: int = 0o600, staging: Path | None = None) -> None:
        self.path, self.mode, self.staging = path, mode, staging or path.parent
        self.mark, self.changed = "", False
        self.announce: Callable[[str], object] = lambda _: None
        self._tables: Tables | None = None

    def read(self) -> Tables | None:
        """The tables, their records unread until they are asked for; None when there is no file yet."""
        if self._tables is None:
            self._tables = read_tables(self.path)
        return self._tables

    def write(self, data: dict[str, dict[str, Any]]) -> None:
        """The tables as they shall be; `flush` puts them on disk."""
        self._tables, self.changed = data, True

    def flush(self) -> None:
        """Replace the file in one step, on disk when this returns.

        Raises:
            RecordsError: It could not be written; says why.
        """
        pieces, digest = pack(self._tables or {})
        size = sum(map(len, pieces))
        if size > LONGEST:
            raise RecordsError(
                "the patient's file is full",
                where=str(self.path),
                remedy="discharge the patient and admit anew",
            )
        try:
            write_whole(
                self.path, pieces, self.mode, self.staging, before=True, ready=lambda: self.announce(digest)
            )  # fmt: skip
        except OSError as error:
            raise RecordsError(
                f"could not be saved: {reason(error)}",
                where=str(self.path),
                remedy="nothing stored was changed; save again",
            ) from None
        self.mark, self.changed = f"{digest} {size}", False

    def close(self) -> None:
        """Nothing is held open; changes that were not flushed are dropped."""
