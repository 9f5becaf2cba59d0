"""The form of a patient's file, one reader for every version ever written.

Schema 3, written now: a JSON document of which each record is one line, so that a record that does
not change is neither read into objects nor written out anew:

    {"schema": 3, "sha256": "<of the bytes from the brace to its closing brace>", "document": {
    "examinations": {
    "1": {...},
    "2": {...}
    },
    "patient": {
    "1": {...}
    }
    }}

Schema 2 has the same form; its records lack a patient's birth date and who saved an examination, so
that a program of that time must not take schema 3 for its own.

Schema 1: ``{"document": {...}, "schema": 1, "sha256": ...}``, indented, the checksum over the
document written out again.
"""

import itertools
import json
import os
from collections.abc import Callable, Mapping
from pathlib import Path

from wardexam.errors import RecordsError
from wardexam.records.files import read_bounded, reason
from wardexam.records.kept import (
    REMEDY,
    DamagedFileError,
    KeptTable,
    Record,
    Tables,
    line_of,
    name_of,
    new_hash,
    strict_loads,
)

SCHEMA = 3
LONGEST = 64_000_000  # bytes: some 7,000 full examinations of one patient

_OPEN = b'{"schema": %d, "sha256": "' % SCHEMA
_THEN = b'", "document": '
_BRACE = ord("}")
_HEAD = len(_OPEN) + 64 + len(_THEN)


def pack(tables: Mapping[str, Mapping[str, Record]]) -> tuple[list[bytes | memoryview], str]:
    """The bytes of a file with its schema and checksum, in pieces; the checksum beside them."""
    pieces: list[bytes | memoryview] = []
    begun = None
    for number, name in enumerate(sorted(tables)):
        table = tables[name]
        pieces.append(b'%s\n"%s": {\n' % (b"," if number else b"{", name.encode()))
        added = table
        if isinstance(table, KeptTable) and table.rows:
            pieces.append(table.rows)
            begun = None if number else table.state
            added = table.added
            pieces.append(b",\n" if added else b"")
        pieces.append(b",\n".join(itertools.starmap(line_of, added.items())))
        pieces.append(b"\n}" if table else b"}")
    pieces.append(b"\n}" if tables else b"{\n}")
    digest = begun.copy() if begun else new_hash()
    for piece in pieces[2 if begun else 0 :]:
        digest.update(piece)
    sha256 = digest.hexdigest()
    return [_OPEN + sha256.encode() + _THEN, *pieces, b"}\n"], sha256


def _read_lines(data: bytes, where: str) -> Tables:
    view = memoryview(data)
    digest = new_hash()
    place, end = _HEAD + 2, len(data) - 4  # inside "{\n" and "\n}}\n"
    if data[_HEAD:place] != b"{\n" or data[end:] != b"\n}}\n":
        raise DamagedFileError("the file's checksum does not match", where, REMEDY)
    tables: Tables = {}
    hashed = _HEAD
    while place < end:
        line_end = data.find(b"\n", place)
        rows_end, last = line_end, 0
        while 0 <= rows_end < end and data[rows_end + 1] != _BRACE:
            number = int(data[rows_end + 2 : data.find(b'"', rows_end + 2)])
            if number <= last:
                raise ValueError
            last, rows_end = number, data.find(b"\n", rows_end + 1)
        name, brace = data[place:line_end].split(b": ")
        if brace != b"{" or rows_end < 0 or (key := name_of(name, where)) in tables:
            raise ValueError
        digest.update(view[hashed:rows_end])
        hashed = rows_end
        first = digest.copy() if not tables else None
        tables[key] = KeptTable(data, line_end + 1, max(rows_end, line_end + 1), where, first)
        place = rows_end + 4
        if data[rows_end + 2 : place] != b",\n" and rows_end + 2 != end:
            raise ValueError
    digest.update(view[hashed : len(data) - 2])
    if digest.hexdigest().encode() != data[len(_OPEN) : len(_OPEN) + 64]:
        raise DamagedFileError("the file's checksum does not match", where, REMEDY)
    return tables


def _read_1(data: bytes, where: str) -> Tables:
    outer = strict_loads(data)
    document = outer["document"]
    body = json.dumps(document, ensure_ascii=False, sort_keys=True, indent=1).encode()
    digest = new_hash()
    digest.update(body)
    if digest.hexdigest() != outer["sha256"]:
        raise DamagedFileError("the file's checksum does not match", where, REMEDY)
    if not all(isinstance(r, dict) for rows in document.values() for r in rows.values()):
        raise ValueError
    return {str(name): dict(rows) for name, rows in document.items()}


READERS: dict[int, Callable[[bytes, str], Tables]] = {1: _read_1, 2: _read_lines, 3: _read_lines}


def schema_of(data: bytes) -> int:
    """Which schema a file's bytes say they have.

    Raises:
        ValueError: They say none.
    """
    if data.startswith(b'{"schema": '):
        number = data[11:21].split(b",")[0]
        if number.isdigit():
            return int(number)
        raise ValueError
    found = strict_loads(data)["schema"]
    if type(found) is not int:
        raise ValueError
    return found


def unpack(data: bytes, where: str) -> Tables:
    """The tables in a file's bytes, whichever schema they were written in.

    Raises:
        DamagedFileError: The bytes are no such document, or not the one its checksum speaks of.
        RecordsError: The schema is newer than this program.
    """
    if not data:
        raise DamagedFileError("the file is empty", where, REMEDY)
    if len(data) > LONGEST:
        raise DamagedFileError(f"the file is longer than {LONGEST} bytes", where, REMEDY)
    try:
        schema = schema_of(data)
        if schema not in READERS:
            raise RecordsError(
                f"schema {schema} is not known to this program; the file is left as it is",
                where,
                "update wardexam",
            )
        return READERS[schema](data, where)
    except (ValueError, KeyError, TypeError, AttributeError):
        raise DamagedFileError("the file is not a stored document", where, REMEDY) from None


def read_tables(path: Path) -> Tables | None:
    """The tables of a patient's file, or None when there is no file."""
    try:
        data = read_bounded(path, LONGEST)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise RecordsError(f"cannot be read: {reason(error)}", where=str(path)) from None
    return unpack(data, str(path))


def mark_in(path: Path) -> str:
    """The checksum in a file's first line and the file's size, without reading it; else empty."""
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    except OSError:
        return ""
    try:
        head, size = os.read(handle, _HEAD), os.fstat(handle).st_size
    except OSError:
        return ""
    finally:
        os.close(handle)
    known = [b"%d" % schema for schema in READERS]  # what is newer must be looked at
    if head[:11] != _OPEN[:11] or head[11:12] not in known or head[12 : len(_OPEN)] != _OPEN[12:] or not head.isascii():  # fmt: skip
        return ""
    return f"{head[len(_OPEN) : -len(_THEN)].decode()} {size}"
