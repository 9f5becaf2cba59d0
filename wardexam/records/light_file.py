"""A patient's file as it is read for counting: opened only as far as something is needed.

A year of a ward is half a gigabyte. Nearly all of it are findings, of which a count needs the names in
some examinations and the answers in few; so a record is read without them, and they when asked for. A record
is not validated again: the checksum says that it is as this program wrote it.
"""

import json
import re
from dataclasses import dataclass
from typing import Any, Protocol

from wardexam.records.stored_record import Record, StoredRecord

# Keys are written sorted, and a quote inside a text has a backslash before it.
_BEGIN, _END = b'"findings": [', b'], "flags": {'
_NAMED = re.compile(rb'"side": "(\w+)", "sign": "(\w+)"')


class LightExamination:
    """One revision of an examination.

    Attributes:
        fields: Its fields but for the findings, as they lie.
    """

    __slots__ = ("_findings", "fields")

    def __init__(self, record: Record) -> None:
        if not isinstance(record, StoredRecord):
            self.fields: dict[str, Any] = dict(record)
            self._findings = json.dumps(self.fields.pop("findings", []), sort_keys=True).encode()
            return
        raw = record.raw
        begin = raw.find(_BEGIN)
        end = raw.find(_END, begin)
        if begin < 0 or end < 0:
            self.fields = json.loads(raw)
            self._findings = json.dumps(self.fields.pop("findings", []), sort_keys=True).encode()
            return
        self.fields = json.loads(raw[:begin] + raw[end + 3 :])
        self._findings = raw[begin + len(_BEGIN) - 1 : end + 1]

    @property
    def named(self) -> set[tuple[str, str]]:
        """The signs that have a finding, each with its side; also one that could not be tested."""
        return {(sign.decode(), side.decode()) for side, sign in _NAMED.findall(self._findings)}

    @property
    def findings(self) -> list[dict[str, Any]]:
        """The findings as they lie."""
        found: list[dict[str, Any]] = json.loads(self._findings)
        return found


@dataclass(frozen=True, slots=True)
class LightFile:
    """A patient's file.

    Attributes:
        patient: The details as they lie.
        revisions: Every revision of each examination that counts, by its identifier in the order saved, first to last.
        outcome: The last revision of the outcome as it lies; None where none was recorded.
        stay: Where one was entered in error the last revision of every examination, that too, in the order saved: what
            others kept of it is in no figure either.
    """

    patient: dict[str, Any]
    revisions: dict[str, list[LightExamination]]
    outcome: dict[str, Any] | None
    stay: tuple[LightExamination, ...] = ()


class Stay(Protocol):
    """One patient's stay where it is kept; it may be handed to another process.

    Attributes:
        name: Whose.
    """

    @property
    def name(self) -> str:
        """Whose."""
        ...

    def read(self) -> LightFile:
        """The patient's file. RecordsError where it cannot be read, is damaged, or is of a newer program."""
        ...


@dataclass(frozen=True, slots=True)
class Event:
    """A line of the trail: what was done to whom, when, and more about it.

    Attributes:
        event: What was done.
        patient: To whom; empty for the ward.
        at: When, as an ISO text.
        what: More about it.
        by: Who did it, as given.
        record: The checksum of the patient's file after it; empty where it was not written.
        line: The number of the line.
        hash: The hash that chains it.
    """

    event: str
    patient: str
    at: str
    what: str
    by: str = ""
    record: str = ""
    line: int = 0
    hash: str = ""


def event_of(line: bytes, number: int) -> Event:
    """A line of the trail as it lies, and its number.

    Raises:
        ValueError, KeyError, TypeError: It is none.
    """
    row = json.loads(line)
    return Event(
        row["event"], row["patient"], row["at"], row.get("what", ""), row.get("by", ""), row.get("record", ""),
        number, row.get("hash", ""),
    )  # fmt: skip
