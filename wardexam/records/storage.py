"""A TinyDB storage that a crash, a full disk or a second reader cannot damage.

A write goes to a new file in the same folder, is flushed to disk, keeps the previous good version
beside it, and replaces the old one in a single step. A checksum and the schema version stand in
every file. Zero bytes is damage, not an empty document.
"""

import hashlib
import json
import os
import secrets
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tinydb.storages import Storage

from wardexam.errors import RecordsError

SCHEMA = 1
LONGEST = 20_000_000  # bytes; ten years of one patient's daily examinations take about a tenth


class DamagedFileError(RecordsError):
    """A stored file cannot be read; it was neither changed nor guessed at."""


def _body(document: Any) -> bytes:
    return json.dumps(document, ensure_ascii=False, sort_keys=True, indent=1).encode("utf-8")


def pack(document: Mapping[str, Any]) -> bytes:
    """A document as the bytes of a file, with its schema version and checksum."""
    digest = hashlib.sha256(_body(document)).hexdigest()
    return _body({"schema": SCHEMA, "sha256": digest, "document": document}) + b"\n"


def unpack(data: bytes, where: str) -> dict[str, Any]:
    """The document in a file's bytes.

    Raises:
        DamagedFileError: The bytes are no such document, or not the one its checksum speaks of.
    """
    remedy = "run 'wardexam check'"
    if not data:
        raise DamagedFileError("the file is empty", where=where, remedy=remedy)
    if len(data) > LONGEST:
        raise DamagedFileError(
            f"the file is longer than {LONGEST} bytes", where=where, remedy=remedy
        )
    try:
        outer = json.loads(data)
        document, digest, schema = outer["document"], outer["sha256"], outer["schema"]
    except (ValueError, KeyError, TypeError, RecursionError):
        raise DamagedFileError(
            "the file is not a stored document", where=where, remedy=remedy
        ) from None
    if not isinstance(document, dict) or hashlib.sha256(_body(document)).hexdigest() != digest:
        raise DamagedFileError("the file's checksum does not match", where=where, remedy=remedy)
    if schema != SCHEMA:
        raise RecordsError(
            f"schema {schema} is newer than this program", where=where, remedy="update wardexam"
        )
    return document


def sync_folder(folder: Path) -> None:
    """Flush a folder's entries to disk."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_whole(path: Path, data: bytes, mode: int = 0o600) -> None:
    """Replace a file by new bytes in one step; on any failure the old file is untouched.

    Raises:
        RecordsError: It could not be written; says why.
    """
    fresh = path.with_name(f".{path.name}.{os.getpid()}.{secrets.token_hex(4)}.new")
    try:
        handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, mode)
        try:
            view = memoryview(data)
            while view:
                view = view[os.write(handle, view) :]
            os.fsync(handle)
        finally:
            os.close(handle)
        if path.exists():
            _keep_previous(path)
        os.replace(fresh, path)
        sync_folder(path.parent)
    except OSError as error:
        fresh.unlink(missing_ok=True)
        raise RecordsError(
            f"could not be saved: {error.strerror}",
            where=str(path),
            remedy="the previous version is untouched",
        ) from None


def _keep_previous(path: Path) -> None:
    kept = path.with_name(path.name + ".before")
    kept.unlink(missing_ok=True)
    try:
        os.link(path, kept)
    except OSError:  # a file system without hard links
        kept.write_bytes(path.read_bytes())
        kept.chmod(0o600)


class DurableStorage(Storage):
    """One TinyDB document file.

    Args:
        path: The file; it need not exist.
        mode: Permissions of a new file.
    """

    def __init__(self, path: Path, mode: int = 0o600) -> None:
        self.path, self.mode = path, mode

    def read(self) -> dict[str, Any] | None:
        """The tables of the document, or None when there is no file yet."""
        try:
            data = self.path.read_bytes()
        except FileNotFoundError:
            return None
        except OSError as error:
            raise RecordsError(f"cannot be read: {error.strerror}", where=str(self.path)) from None
        return unpack(data, str(self.path))

    def write(self, data: dict[str, dict[str, Any]]) -> None:
        """Replace the document in one step."""
        write_whole(self.path, pack(data), self.mode)

    def close(self) -> None:
        """Nothing is held open."""
