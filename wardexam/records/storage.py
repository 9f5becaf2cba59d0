"""A TinyDB storage that a crash, a full disk or a second reader cannot damage.

A write goes to a new file, is flushed to disk, keeps the previous good version beside it, and
replaces the old one in a single step. The form of the file stands in `wardexam.records.schemas`.
"""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from tinydb.storages import Storage

from wardexam.errors import RecordsError
from wardexam.records.files import reason, write_whole
from wardexam.records.kept import Tables
from wardexam.records.schemas import LONGEST, pack, read_tables


class DurableStorage(Storage):
    """One TinyDB document file.

    Args:
        path: The file; it need not exist.
        mode: Permissions of a new file.
        staging: Where the new version lies until it is whole; the file's own folder by default.

    Attributes:
        mark: The checksum and the size of what was written last; empty before.
        announce: Called with the checksum of what is about to take the file's place.
    """

    def __init__(self, path: Path, mode: int = 0o600, staging: Path | None = None) -> None:
        self.path, self.mode, self.staging = path, mode, staging or path.parent
        self.mark = ""
        self.announce: Callable[[str], object] = lambda _: None

    def read(self) -> dict[str, dict[str, Any]] | None:
        """The tables of the document, or None when there is no file yet."""
        tables = read_tables(self.path)
        if tables is None:
            return None
        return {t: {k: dict(r) for k, r in rows.items()} for t, rows in tables.items()}

    def unread(self) -> Tables:
        """The tables as they lie in the file, records unread; empty when there is no file yet."""
        return read_tables(self.path) or {}

    def write(self, data: Mapping[str, Mapping[str, Any]]) -> None:
        """Replace the document in one step, on disk when this returns.

        Raises:
            RecordsError: It could not be written; says why.
        """
        pieces, digest = pack(data)
        size = sum(len(memoryview(piece)) for piece in pieces)
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
        self.mark = f"{digest} {size}"

    def close(self) -> None:
        """Nothing is held open."""
