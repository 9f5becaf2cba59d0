"""The form of a patient's file, one reader for every version ever written.

Schema 9, written now, opens with plain ``TinyDB(path)``: its keys are tables and nothing else. Each
record is one line, so that a record that does not change is neither read into objects nor written out
anew. The first line says the schema and the checksum of every byte after that line:

    {"about": {"1": {"schema": 9, "sha256": "<as sha256sum gives it>"}},
    "examinations": {
    "1": {...},
    "2": {...}
    },
    "patient": {
    "1": {...}
    }
    }

A program of before looks for a number under ``schema`` at the top, where no table can stand, and would
call this file damaged. It never comes to that: the folder's layout was raised with this schema
(`wardexam.records.layout`), and it refuses the whole folder.

Schema 8 is the same but that its examinations do not hold what the complaint came after (`setting`).

Schema 7 is the same as that but that its examinations do not hold when they were entered, where that is later than they were
made, nor by which name the doctor read a place that was suggested.

Schema 6 is the same as that but that its examinations do not hold whether they were entered in error: a program of then
would count one that was.

Schema 5 is the same as that but that its examinations do not hold what the tool suggested when they were saved, and that no
patient has a table ``outcomes``.

Schema 4 is the same but that its records do not hold since when a reason of urgency stands and what was
done about it.

Schemas 2 and 3: ``{"schema": 3, "sha256": ..., "document": {`` and the same lines, the checksum from that
brace to its closing one. The records of schema 2 lack a patient's birth date and who saved an examination.

Schema 1: ``{"document": {...}, "schema": 1, "sha256": ...}``, indented, the checksum over the
document written out again.
"""

import json
import os
import re
from collections.abc import Callable, Mapping
from pathlib import Path

from wardexam.errors import RecordsError
from wardexam.records.durable_files import read_bounded, reason
from wardexam.records.stored_record import (
    REMEDY,
    DamagedFileError,
    Record,
    StoredRecord,
    Tables,
    encoded,
    strict_loads,
)

SCHEMA = 9
LONGEST = 64_000_000  # bytes: some 7,000 full examinations of one patient
ABOUT = "about"  # the table that says what the file is

_HEAD = re.compile(rb'\{"about": \{"1": \{"schema": (\d{1,9}), "sha256": "([0-9a-f]{64})"\}\},?\n')
_HEAD_3 = re.compile(rb'\{"schema": (\d{1,9}), "sha256": "([0-9a-f]{64})", "document": ')
_HEAD_BYTES = 128  # hold either head
_NAME = re.compile("[a-z0-9_]{1,40}")


def _sha256(*pieces: bytes | memoryview) -> str:
    import hashlib  # not needed to open the ward

    digest = hashlib.sha256()
    for piece in pieces:
        digest.update(piece)
    return digest.hexdigest()


def _table_name(name: str) -> str:
    if not _NAME.fullmatch(name) or name == ABOUT:
        raise ValueError(f"'{name[:40]}' cannot name a table")
    return name


def pack(tables: Mapping[str, Mapping[str, Record]]) -> tuple[list[bytes], str]:
    """The bytes of a file with its schema and checksum, in pieces; the checksum beside them."""
    pieces: list[bytes] = []
    for name in sorted(tables):
        pieces.append(b'%b"%b": {' % (b",\n" if pieces else b"", _table_name(name).encode()))
        table, after = tables[name], b"\n"
        for number in sorted(table, key=int):
            record = table[number]
            raw = record.raw if isinstance(record, StoredRecord) else encoded(record)
            pieces += [b'%b"%d": ' % (after, int(number)), raw]
            after = b",\n"
        pieces.append(b"\n}")
    pieces.append(b"\n}\n" if tables else b"}\n")
    digest = _sha256(*pieces)
    about = b'{"%b": {"1": {"schema": %d, "sha256": "%b"}}%b\n'
    comma = b"," if tables else b""
    return [about % (ABOUT.encode(), SCHEMA, digest.encode(), comma), *pieces], digest


def _tables_in(body: bytes, where: str) -> Tables:
    """The tables in the lines of a file, their records unread.

    Raises:
        ValueError: The lines are not as they are written.
    """
    tables: Tables = {}
    rows: dict[str, Record] | None = None
    last, comma = 0, True  # whether what stood before leads on to more
    for line in body.split(b"\n") if body else ():
        if rows is None:
            quoted, brace = line.split(b": ")
            name = quoted[1:-1].decode("ascii")
            if brace != b"{" or quoted != b'"%b"' % name.encode() or name in tables or not comma:
                raise ValueError
            rows = tables[_table_name(name)] = {}
            last = 0
        elif line[:1] == b"}":
            if line not in (b"}", b"},") or (rows and comma):
                raise ValueError
            rows, comma = None, line == b"},"
        else:
            quoted, _, raw = line.partition(b": ")
            number = int(quoted[1:-1])
            if quoted != b'"%d"' % number or number <= last or not comma:
                raise ValueError
            last, comma = number, raw.endswith(b",")
            rows[str(number)] = StoredRecord(raw.removesuffix(b","), where)
    if rows is not None or (tables and comma):
        raise ValueError
    return tables


def _mismatch(where: str) -> DamagedFileError:
    return DamagedFileError("the file's checksum does not match", where, REMEDY)


def _read_4(data: bytes, where: str) -> Tables:
    head = _HEAD.match(data)
    if (
        not head
        or not data.endswith(b"\n}\n")
        or _sha256(memoryview(data)[head.end() :]) != head[2].decode()
    ):
        raise _mismatch(where)
    tables = _tables_in(data[head.end() : -3], where)
    if head[0].endswith(b",\n") != bool(tables):
        raise ValueError
    return tables


def _read_3(data: bytes, where: str) -> Tables:
    head = _HEAD_3.match(data)
    if (
        not head
        or not data.endswith(b"\n}}\n")
        or _sha256(memoryview(data)[head.end() : -2]) != head[2].decode()
    ):
        raise _mismatch(where)
    if data[head.end() : head.end() + 2] != b"{\n":
        raise ValueError
    return _tables_in(data[head.end() + 2 : -4], where)


def _read_1(data: bytes, where: str) -> Tables:
    outer = strict_loads(data)
    document = outer["document"]
    body = json.dumps(document, ensure_ascii=False, sort_keys=True, indent=1).encode()
    if _sha256(body) != outer["sha256"]:
        raise _mismatch(where)
    if not all(isinstance(r, dict) for rows in document.values() for r in rows.values()):
        raise ValueError
    return {str(name): dict(rows) for name, rows in document.items()}


READERS: dict[int, Callable[[bytes, str], Tables]] = {
    1: _read_1,
    2: _read_3,
    3: _read_3,
    4: _read_4,
    5: _read_4,
    6: _read_4,
    7: _read_4,
    8: _read_4,
    9: _read_4,
}
_SAID = re.compile(rb'\{(?:"about": \{"1": \{)?"schema": (\d{1,9}),')


def schema_of(data: bytes) -> int:
    """Which schema a file's bytes say they have.

    Raises:
        ValueError: They say none.
    """
    if said := _SAID.match(data):
        return int(said[1])
    found = strict_loads(data)
    schema = found["schema"] if "schema" in found else found[ABOUT]["1"]["schema"]
    if type(schema) is not int:
        raise ValueError
    return schema


def digest_in(head: bytes) -> str:
    """The checksum that a file's first line says it has; empty where it says none that is known here."""
    found = _HEAD.match(head) or _HEAD_3.match(head)
    return found[2].decode() if found and int(found[1]) in READERS else ""


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
        head, size = os.read(handle, _HEAD_BYTES), os.fstat(handle).st_size
    except OSError:
        return ""
    finally:
        os.close(handle)
    digest = digest_in(head)  # of what is newer there is none: it must be looked at
    return f"{digest} {size}" if digest else ""
