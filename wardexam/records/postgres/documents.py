"""Documents as a server keeps them, and how it is told that one is not as it was written.

The server keeps JSON in a form of its own: another order of keys, no NUL. So a document's checksum is over the
same text as in a folder, keys sorted. The checksums of a patient's rows are chained in the order saved, and the
end of that chain with the line of the ward list is the patient's mark, which the trail names.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from wardexam.errors import InputError
from wardexam.records.audit import FIRST
from wardexam.records.stored_record import (
    REMEDY,
    DamagedFileError,
    StoredRecord,
    Tables,
    encoded,
)

# As the tables of a patient's file are called.
TABLES = {"patient": "patient", "examination": "examinations", "sheet": "sheets", "outcome": "outcomes"}  # fmt: skip
CHANGED = "was changed outside this program"
_MARK = "\uffff"  # before a digit in place of a NUL, or of itself


@dataclass(frozen=True, slots=True)
class Row:
    """One row of records as it is read: its place, what it is, its document as text and its checksum."""

    seq: int
    kind: str
    id: str
    revision: int
    document: str
    digest: str


def digest(text: bytes) -> str:
    """The checksum of a document's text."""
    return hashlib.sha256(text).hexdigest()


def chained(state: str, digests: Iterable[str]) -> str:
    """The end of the chain once these rows are added; it begins with `FIRST`."""
    for each in digests:
        state = hashlib.sha256((state + each).encode()).hexdigest()
    return state


def mark_of(listed: Mapping[str, Any], state: str) -> str:
    """The mark of a patient: of the line of the ward list and the end of the chain."""
    return digest(encoded({"listed": listed, "state": state}))


def _replaced(value: Any, pairs: Sequence[tuple[str, str]]) -> Any:
    if isinstance(value, str):
        for old, new in pairs:
            value = value.replace(old, new)
        return value
    if isinstance(value, dict):
        return {_replaced(k, pairs): _replaced(v, pairs) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_replaced(each, pairs) for each in value]
    return value


def kept(document: Mapping[str, Any]) -> tuple[str, bytes]:
    """A document as it is given to the server, and its text.

    Raises:
        InputError: It holds what cannot be kept.
    """
    try:
        text = encoded(document)
    except (ValueError, TypeError):
        raise InputError("holds what cannot be kept; nothing was changed") from None
    if b"\\u0000" not in text and _MARK.encode() not in text:
        return text.decode(), text
    safe = _replaced(document, ((_MARK, _MARK + "1"), ("\0", _MARK + "0")))
    return encoded(safe).decode(), text


def given(text: str) -> dict[str, Any]:
    """A document as it was before the server had it.

    Raises:
        ValueError: It is none.
    """
    found = json.loads(text)  # the server gives no key twice and no number beyond bounds
    if not isinstance(found, dict):
        raise ValueError
    if _MARK not in text:
        return found
    whole: dict[str, Any] = _replaced(found, ((_MARK + "0", "\0"), (_MARK + "1", _MARK)))
    return whole


def record_of(row: Row, where: str) -> StoredRecord:
    """The record that a row holds.

    Raises:
        DamagedFileError: It is not what was written.
    """
    try:
        text = encoded(given(row.document))
    except ValueError:
        text = b""
    if digest(text) != row.digest:
        raise DamagedFileError(f"a record {CHANGED}: {row.kind} {row.id} {row.revision}", where, REMEDY)  # fmt: skip
    return StoredRecord(text, where)


def unbroken(rows: Sequence[Row], state: str, where: str) -> None:
    """That these are all of a patient's rows, as they were added.

    Raises:
        DamagedFileError: One is missing, added or another.
    """
    if chained(FIRST, (row.digest for row in rows)) != state:
        raise DamagedFileError(f"the records {CHANGED}: one is missing, added or another", where, REMEDY)  # fmt: skip


def tables_of(rows: Sequence[Row], state: str, where: str) -> Tables:
    """The tables of a patient's file from all its rows, each verified, none missing.

    Raises:
        DamagedFileError: They are not what was written, or one is missing or too many.
    """
    unbroken(rows, state, where)
    tables: Tables = {name: {} for name in ("patient", "examinations")}
    for row in rows:
        table = tables.setdefault(TABLES[row.kind], {})
        number = "1" if row.kind == "patient" else str(len(table) + 1)  # of the details the last
        table[number] = record_of(row, where)
    return tables


def listed_of(text: str, state: str, mark: str, where: str) -> dict[str, Any]:
    """A line of the ward list as it was written.

    Raises:
        DamagedFileError: It is not.
    """
    try:
        found = given(text)
    except ValueError:
        found = {}
    if mark_of(found, state) != mark:
        raise DamagedFileError(f"the line of the ward list {CHANGED}", where, REMEDY)
    return found
