"""Records and tables as they lie in a patient's file, read only as far as somebody asks.

A save of one examination needs none of the others: their bytes are carried over as they are.
"""

import json
import math
import re
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, NoReturn

from wardexam.errors import RecordsError

if TYPE_CHECKING:
    from hashlib import _Hash

Record = Mapping[str, Any]
Tables = dict[str, Mapping[str, Record]]

REMEDY = "run 'wardexam check'"
_NAME = re.compile("[a-z0-9_]{1,40}")


class DamagedFileError(RecordsError):
    """A stored file cannot be read; it was neither changed nor guessed at."""


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise ValueError("a key is given twice")
    return made


def _finite(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise ValueError("a number is too large")
    return number


def _constant(text: str) -> NoReturn:
    raise ValueError(f"{text} is no number")


def strict_loads(data: bytes | str) -> Any:
    """JSON as we write it: no key twice, no number beyond bounds, no depth beyond bounds.

    Raises:
        ValueError: It is not.
    """
    try:
        return json.loads(
            data, object_pairs_hook=_once, parse_float=_finite, parse_constant=_constant
        )
    except RecursionError:
        raise ValueError("nested too deeply") from None


class Kept(Record):
    """A stored record as its line lies in the file."""

    __slots__ = ("_read", "raw", "where")

    def __init__(self, raw: bytes, where: str) -> None:
        self.raw, self.where = raw, where
        self._read: dict[str, Any] | None = None

    def _found(self) -> dict[str, Any]:
        if self._read is None:
            try:
                found = strict_loads(self.raw)
            except ValueError:
                found = None
            if not isinstance(found, dict):
                raise DamagedFileError("a record cannot be read", self.where, REMEDY)
            self._read = found
        return self._read

    def __getitem__(self, key: str) -> Any:
        return self._found()[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._found())

    def __len__(self) -> int:
        return len(self._found())


def name_of(quoted: bytes, where: str) -> str:
    """The name of a table or a record as it stands quoted in a file."""
    name = quoted[1:-1].decode("utf-8", "replace")
    if quoted != b'"%s"' % name.encode() or not _NAME.fullmatch(name):
        raise DamagedFileError("the file is not a stored document", where, REMEDY)
    return name


def line_of(name: str, record: Record) -> bytes:
    """A record as its line, without the end."""
    if not _NAME.fullmatch(name):
        raise ValueError(f"'{name[:40]}' cannot name a record")
    if isinstance(record, Kept):
        return b'"%s": %s' % (name.encode(), record.raw)
    text = json.dumps(record, ensure_ascii=False, sort_keys=True, allow_nan=False)
    return f'"{name}": {text}'.encode()


class KeptTable(Mapping[str, Record]):
    """A table as its lines lie in the bytes of a file, and what is added to it.

    Attributes:
        rows: The bytes of its lines.
        state: The checksum up to the end of its lines, where it is the first table.
        added: Records that come after those.
    """

    def __init__(
        self, data: bytes, start: int, end: int, where: str, state: "_Hash | None"
    ) -> None:
        self._data, self._start, self._end, self._where = data, start, end, where
        self.rows = memoryview(data)[start:end]
        self.state, self.added = state, dict[str, Record]()
        self._split: dict[str, Record] | None = None

    def _all(self) -> dict[str, Record]:
        if self._split is None:
            self._split = {}
            for line in bytes(self.rows).split(b"\n") if self.rows else ():
                quoted, _, raw = line.partition(b": ")
                name = name_of(quoted, self._where)
                if name in self._split:
                    raise DamagedFileError("a record is there twice", self._where, REMEDY)
                self._split[name] = Kept(raw.removesuffix(b","), self._where)
        return {**self._split, **self.added}

    def __getitem__(self, key: str) -> Record:
        return self._all()[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._all())

    def __len__(self) -> int:
        return len(self._all())

    def __bool__(self) -> bool:
        return bool(self.rows) or bool(self.added)

    def records(self) -> list[Record]:
        """The records in the order in which they were added."""
        return [*self._all().values()]

    def holding(self, identifier: str) -> list[Record]:
        """The records that may hold an identifier; the others are not read."""
        sought = identifier.encode()  # without its quotes: the commonest byte makes a search slow
        if self._data.find(sought, self._start, self._end) < 0:
            return list(self.added.values())
        found = self._all().values()
        return [r for r in found if not isinstance(r, Kept) or sought in r.raw]

    def add(self, record: Record) -> None:
        """Add a record after the last."""
        last = self._data.rfind(b"\n", self._start, self._end) + 1 or self._start
        names = list(self.added) or [
            name_of(self._data[last : self._end].partition(b": ")[0], self._where)
            if self.rows
            else "0"
        ]
        self.added[str(int(names[-1]) + 1)] = record


def new_hash() -> "_Hash":
    """The checksum's beginning."""
    import hashlib  # not needed to open the ward

    return hashlib.sha256()
