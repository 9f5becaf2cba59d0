"""Everything of a ward as JSON Lines, whichever store keeps it: what a backup holds, and how it is read again.

Every line is one JSON object of one key, in ASCII, keys sorted:

1. ``{"backup": {"schema": 9, "version": 1}}``
2. for each patient, by identifier: ``{"patient": {...}}`` for each revision of the details that the store has,
   the present one last; ``{"listed": {...}}``, what the ward list says of the examinations; then
   ``{"examination": {...}}``, ``{"sheet": {...}}`` and ``{"outcome": {...}}`` for each revision, in the order saved
3. ``{"trail": "..."}`` for each line of the audit trail, as it stands, to the byte
4. for each draft, of examinations and of cord injury sheets, also those set aside: ``{"draft": {...}}``, then
   ``{"row": "..."}`` for each of its rows, as it stands
5. ``{"end": {...}}``: how much of each, patients whose record is not what the trail says of it, whether the
   trail holds, and the SHA-256 of all bytes before this line

No time and no place stands in it: of one state there is one backup, to the byte, in a folder and on a server.
"""

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any, BinaryIO, Protocol

from pydantic import ValidationError

from wardexam.errors import InputError, WardexamError
from wardexam.exam.entry import first_fault
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.outcome import Outcome
from wardexam.exam.text import counted
from wardexam.injury.kept import KeptSheet
from wardexam.records import patient_tables
from wardexam.records.archive import placed_lines
from wardexam.records.audit import LONGEST_LINE as LONGEST_EVENT
from wardexam.records.audit import Following
from wardexam.records.draft_file import KINDS
from wardexam.records.layout import NAME
from wardexam.records.repository import Bed
from wardexam.records.schemas import LONGEST, SCHEMA
from wardexam.records.stored_record import REMEDY, DamagedFileError, Record, Tables, strict_loads

if TYPE_CHECKING:
    from hashlib import _Hash

VERSION = 1
LONGEST_LINE = LONGEST  # bytes: a row of a draft, each byte of it written as six, is the longest
OUT = "nothing was restored"
_SUFFIX = re.compile("[0-9a-z]{0,40}")


def line_of(kind: str, value: Any) -> bytes:
    """A line of a backup, with its end."""
    return json.dumps({kind: value}, sort_keys=True, allow_nan=False).encode() + b"\n"


def text_of(raw: bytes) -> str:
    """A line of a trail or draft as text; what is no UTF-8 comes back by `raw_of`."""
    return raw.decode("utf-8", "surrogateescape")


def raw_of(text: str) -> bytes:
    """The bytes that a text was made from.

    Raises:
        ValueError: It was made from none.
    """
    raw = text.encode("utf-8", "surrogateescape")
    if b"\n" in raw:
        raise ValueError("holds a line end")
    return raw


@dataclass(frozen=True, slots=True)
class Held:
    """One patient with all that is kept of them.

    Attributes:
        details: The revisions of the details, the present one last.
        listed: What the ward list says of the examinations (`patient_tables.META`).
        examinations: Every revision, in the order saved.
        sheets: Every revision, in the order saved.
        outcomes: Every revision, first to last.
    """

    details: tuple[Patient, ...]
    listed: dict[str, Any]
    examinations: tuple[Examination, ...] = ()
    sheets: tuple[KeptSheet, ...] = ()
    outcomes: tuple[Outcome, ...] = ()

    @property
    def patient(self) -> Patient:
        """The details as they are now."""
        return self.details[-1]

    @property
    def id(self) -> str:
        """Whose."""
        return self.patient.id

    @property
    def owners(self) -> set[str]:
        """Whose its records say to be: one patient's, where all is as it should be."""
        return {
            *(p.id for p in self.details), *(e.patient for e in self.examinations),
            *(s.patient for s in self.sheets), *(o.patient for o in self.outcomes),
        }  # fmt: skip

    def lines(self) -> Iterator[bytes]:
        """The lines of a backup."""
        yield from (line_of("patient", p.model_dump(mode="json")) for p in self.details)
        yield line_of("listed", self.listed)
        yield from (line_of("examination", e.model_dump(mode="json")) for e in self.examinations)
        yield from (line_of("sheet", s.model_dump(mode="json")) for s in self.sheets)
        yield from (line_of("outcome", o.model_dump(mode="json")) for o in self.outcomes)

    def tables(self) -> Tables:
        """The tables of the patient's file in a folder."""

        def table(documents: Iterable[Any]) -> dict[str, Record]:
            return {str(n): d.model_dump(mode="json") for n, d in enumerate(documents, 1)}

        tables: Tables = {
            "patient": table([self.patient]),
            "examinations": table(self.examinations),
            "meta": {"1": self.listed},
        }
        more = {"sheets": self.sheets, "outcomes": self.outcomes, patient_tables.FORMER: self.details[:-1]}  # fmt: skip
        return tables | {name: table(documents) for name, documents in more.items() if documents}


def held_of(tables: Tables, where: str) -> Held:
    """All of a patient from the tables of a file, every record read.

    Raises:
        DamagedFileError: A record is not valid, or another patient's.
    """
    row = patient_tables.row_of(tables, where=where)
    made = map(patient_tables.examination_of, patient_tables.records_of(tables, "examinations"))
    held = Held(
        (*patient_tables.former_details(tables), patient_tables.patient_of(tables)),
        {name: row[name] for name in patient_tables.META},
        tuple(made),
        tuple(patient_tables.sheets_of(tables)),
        patient_tables.outcomes_of(tables),
    )
    if held.owners != {held.id}:
        raise DamagedFileError("a record in it is another patient's", where, REMEDY)
    return held


@dataclass(frozen=True, slots=True)
class KeptDraft:
    """A draft as it is kept.

    Attributes:
        kind: How the name of its file ends: ``draft`` or ``sheet``.
        id: That of its examination or sheet.
        aside: Whether it was set aside.
        suffix: What tells it from another set aside of the same name.
        last: When it was last added to, to the microsecond, in UTC.
        rows: Its rows, without their ends.
    """

    kind: str
    id: str
    aside: bool
    suffix: str
    last: str
    rows: tuple[bytes, ...]

    @property
    def order(self) -> tuple[str, str, bool, str]:
        """By what drafts stand in a backup."""
        return self.kind, self.id, self.aside, self.suffix

    def lines(self) -> Iterator[bytes]:
        """The lines of a backup."""
        head = {"kind": self.kind, "id": self.id, "aside": self.aside, "suffix": self.suffix, "last": self.last}  # fmt: skip
        yield line_of("draft", {**head, "rows": len(self.rows)})
        yield from (line_of("row", text_of(row)) for row in self.rows)


class Source(Protocol):
    """A ward as it stands at one moment.

    Attributes:
        changed: Patients whose record is not what the trail's last line on them says.
        missing: Patients whom the trail knows and of whom nothing is stored.
    """

    changed: tuple[str, ...]
    missing: tuple[str, ...]

    def patients(self) -> Iterator[bytes]:
        """The lines of every patient, by identifier."""
        ...

    def trail(self) -> Iterator[bytes]:
        """The lines of the trail, without their ends."""
        ...

    def drafts(self) -> Iterator[KeptDraft]:
        """The drafts, in the order of a backup."""
        ...


COUNTED = {
    "listed": "patients", "patient": "details", "examination": "examinations", "sheet": "sheets",
    "outcome": "outcomes", "trail": "trail", "draft": "drafts", "row": "rows",
}  # fmt: skip


@dataclass
class Seal:
    """What the end of a backup says of the lines before it."""

    counts: dict[str, int] = field(default_factory=lambda: dict.fromkeys(COUNTED.values(), 0))
    digest: "_Hash" = field(default_factory=hashlib.sha256)

    def over(self, line: bytes) -> bytes:
        """Go on over a line; gives it."""
        self.digest.update(line)
        if name := COUNTED.get(line[2 : line.index(b'"', 2)].decode()):
            self.counts[name] += 1
        return line

    def end(self, changed: Iterable[str], faults: int) -> bytes:
        """The last line."""
        more = {"changed": sorted(changed), "faults": faults, "sha256": self.digest.hexdigest()}
        return line_of("end", {**self.counts, **more})


def follow(following: Following, raw: bytes) -> None:
    """Go along one more line of a trail; one that is none is a fault of it."""
    try:
        if len(raw) > LONGEST_EVENT:
            raise ValueError
        following.line(raw)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        following.trail.faults.append(f"audit line {following.trail.lines} is not readable")


@dataclass(slots=True)
class Contents:
    """What a backup holds.

    Attributes:
        counts: How much of each kind, by the name that the end gives it.
        sha256: The checksum that its end gives.
        anew: The checksum that a backup of the same has when this program makes it.
        changed: Patients whose record was not what the trail said of it when the backup was made.
        faults: What is wrong with the trail.
        missing: Patients whom the trail knows and of whom nothing was stored.
    """

    counts: dict[str, int]
    sha256: str
    anew: str = ""
    changed: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()

    @property
    def lines(self) -> tuple[str, str, str]:
        """How much it holds, in words that fit a narrow screen."""
        counts = self.counts
        revisions = counted(
            counts["examinations"], "revision of examinations", "revisions of examinations"
        )
        trail = counted(counts["trail"], "line of the audit trail", "lines of the audit trail")
        return (
            counted(counts["patients"], "patient"),
            f"{revisions}, {counts['sheets']} of cord injury sheets, {counts['outcomes']} of outcomes",
            f"{trail}, {counted(counts['drafts'], 'draft')}",
        )

    @property
    def warnings(self) -> list[str]:
        """What was not as it should be in the ward that it was made of."""
        return [
            *(f"the trail knows patient {name}, of whom nothing is stored: not in it" for name in self.missing),
            *(f"patient {name} had been changed outside this program" for name in self.changed),
            *self.faults[:3],
            *([f"{len(self.faults) - 3} more faults of the audit trail"] if self.faults[3:] else []),
        ]  # fmt: skip


class Written:
    """The lines of a backup of a ward; what they held stands in `contents` once they are through."""

    def __init__(self, source: Source) -> None:
        self._source = source
        self.contents = Contents({}, "")

    def __iter__(self) -> Iterator[bytes]:
        """Each line with its end."""
        seal, following = Seal(), Following()
        yield seal.over(line_of("backup", {"schema": SCHEMA, "version": VERSION}))
        for line in self._source.patients():
            yield seal.over(line)
        for raw in self._source.trail():
            follow(following, raw)
            yield seal.over(line_of("trail", text_of(raw)))
        for draft in self._source.drafts():
            for line in draft.lines():
                yield seal.over(line)
        faults = tuple(following.end().faults)
        changed = tuple(sorted(self._source.changed))
        digest = seal.digest.hexdigest()
        self.contents = Contents(seal.counts, digest, digest, changed, faults, self._source.missing)
        yield seal.end(changed, len(faults))


def contents_of(source: Source) -> Contents:
    """What a backup of a ward would hold."""
    written = Written(source)
    for _ in written:
        pass
    return written.contents


# --- read again

Part = Held | bytes | KeptDraft  # a patient, a line of the trail, a draft


class Reading:
    """A backup as it is read, part by part; each is verified before it is given.

    Args:
        source: The backup, from its beginning.

    Attributes:
        contents: What it holds, once it is read to its end.
    """

    def __init__(self, source: BinaryIO) -> None:
        self._source, self._where = source, "backup line 1"
        self._seal, self._anew, self._following = Seal(), Seal(), Following()
        self._ids: set[str] = set()
        self._last_id = ""
        self._last: tuple[str, str, bool, str] = ("", "", False, "")
        self.contents = Contents({}, "")

    def _refused(self, what: str, remedy: str = "") -> InputError:
        return InputError(f"{what}; {OUT}", self._where, remedy)

    def parts(self) -> Iterator[Part]:
        """Every part, in order.

        Raises:
            InputError: It is no backup, was cut or changed, or holds what cannot be.
        """
        rows = self._rows()
        self._head(rows)
        stage, ended = 0, False
        patient: _Patient | None = None
        draft: _Draft | None = None
        for kind, value, line in rows:
            if ended:
                raise self._refused("stands after the end of the backup")
            now = _STAGES.get(kind, -1)
            if now < stage or (draft and kind == "trail"):
                raise self._refused("not a line of a backup, or out of its place")
            if patient and (now > 0 or (kind == "patient" and patient.listed is not None)):
                yield self._patient(patient)
                patient = None
            if draft and kind in ("draft", "end"):
                yield self._draft(draft)
                draft = None
            stage = now
            if kind == "end":
                self._end(value, line)
                ended = True
                continue
            self._seal.over(line)
            try:
                if kind == "trail":
                    raw = raw_of(value)
                    follow(self._following, raw)
                    self._anew.over(line_of("trail", text_of(raw)))
                    yield raw
                elif kind == "draft":
                    draft = _Draft.begun(value)
                elif kind == "row" and draft:
                    draft.rows.append(raw_of(value))
                elif now == 0:
                    patient = patient or _Patient()
                    patient.add(kind, value)
                else:
                    raise ValueError
            except InputError as error:
                raise self._refused(error.what) from None
            except ValidationError as error:
                raise self._refused(first_fault(error)) from None
            except (ValueError, KeyError, TypeError, AttributeError):
                raise self._refused("not a line of a backup") from None
        if not ended:
            raise self._refused("the backup has no end: it was cut", "take another backup")

    def _rows(self) -> Iterator[tuple[str, Any, bytes]]:
        for where, line in placed_lines(self._source, "backup", LONGEST_LINE, then=OUT):
            self._where = where
            if not line.endswith(b"\n"):
                raise self._refused("the backup has no end: it was cut", "take another backup")
            if line.startswith(b'{"archive": "wardexam"'):
                raise self._refused("this is an archive and no backup", "'wardexam import' reads it")  # fmt: skip
            try:
                ((kind, value),) = strict_loads(line).items()
            except (ValueError, AttributeError):
                first = self._where == "backup line 1"
                raise self._refused("this is not a backup of a ward" if first else "not a line of a backup") from None  # fmt: skip
            yield kind, value, line

    def _head(self, rows: Iterator[tuple[str, Any, bytes]]) -> None:
        kind, value, line = next(rows, ("", {}, b""))
        if not line:
            raise self._refused("the backup is empty")
        numbers = {"schema": SCHEMA, "version": VERSION}
        if kind != "backup" or not isinstance(value, dict):
            raise self._refused("this is not a backup of a ward")
        if any(type(value.get(name)) is not int for name in numbers):
            raise self._refused("this is not a backup of a ward")
        if any(value[name] > number for name, number in numbers.items()):
            raise self._refused("the backup was made by a newer program", "update wardexam")
        if line != line_of("backup", value) or set(value) != set(numbers):
            raise self._refused("this is not a backup of a ward")
        self._seal.over(line)
        self._anew.over(line_of("backup", numbers))

    def _patient(self, patient: "_Patient") -> Held:
        try:
            held = patient.whole()
        except InputError as error:
            raise self._refused(error.what) from None
        if held.id <= self._last_id:
            raise self._refused(f"patient {held.id} is given twice, or out of order")
        self._last_id = held.id
        self._ids.add(held.id)
        for line in held.lines():
            self._anew.over(line)
        return held

    def _draft(self, draft: "_Draft") -> KeptDraft:
        if len(draft.rows) != draft.count:
            raise self._refused("a draft lacks rows, or has too many")
        kept = draft.whole()
        if kept.order <= self._last:
            raise self._refused(f"draft {kept.id} is given twice, or out of order")
        self._last = kept.order
        for line in kept.lines():
            self._anew.over(line)
        return kept

    def _end(self, value: Any, line: bytes) -> None:
        trail = self._following.end()
        faults = tuple(trail.faults)
        changed = value.get("changed") if isinstance(value, dict) else None
        fine = isinstance(changed, list) and all(isinstance(name, str) for name in changed)
        if not fine or line != self._seal.end(changed or (), len(faults)):
            raise self._refused(
                "the backup's end does not fit what is before it: it was cut or changed",
                "take another backup",
            )
        self.contents = Contents(
            self._seal.counts, str(value["sha256"]), self._anew.digest.hexdigest(), tuple(changed or ()), faults,
            tuple(sorted(trail.known - self._ids)),
        )  # fmt: skip


_STAGES = {
    "patient": 0, "listed": 0, "examination": 0, "sheet": 0, "outcome": 0, "trail": 1, "draft": 2, "row": 2, "end": 3,
}  # fmt: skip


class _Patient:
    """A patient while the lines are read."""

    def __init__(self) -> None:
        self.details: list[Patient] = []
        self.listed: dict[str, Any] | None = None
        self.examinations: list[Examination] = []
        self.sheets: list[KeptSheet] = []
        self.outcomes: list[Outcome] = []

    def add(self, kind: str, value: Any) -> None:
        """One more line."""
        if kind == "patient":
            self.details.append(Patient.model_validate(value))
        elif kind == "listed":
            if self.listed is not None or set(value) != set(patient_tables.META):
                raise ValueError
            self.listed = dict(value)
        elif self.listed is None:
            raise ValueError
        elif kind == "examination":
            self.examinations.append(Examination.model_validate(value))
        elif kind == "sheet":
            self.sheets.append(KeptSheet.model_validate(value))
        else:
            self.outcomes.append(Outcome.model_validate(value))

    def whole(self) -> Held:
        """All of it, if it fits together.

        Raises:
            InputError: It does not.
        """
        if not self.details or self.listed is None:
            raise InputError("a patient has no details, or no line of the ward list")
        held = Held(
            tuple(self.details), self.listed, tuple(self.examinations), tuple(self.sheets), tuple(self.outcomes)
        )  # fmt: skip
        if held.owners != {held.id}:
            raise InputError(f"what is said of {held.id} belongs to another patient")
        numbers = [
            [("", p.revision) for p in held.details],
            [(e.id, e.revision) for e in held.examinations],
            [(s.id, s.revision) for s in held.sheets],
            [("", o.revision) for o in held.outcomes],
        ]
        if any(len(set(each)) != len(each) for each in numbers):
            raise InputError(f"a revision of {held.id} is given twice")
        try:
            row = patient_tables.row_of(held.tables(), where=held.id)
            Bed.from_json({k: v for k, v in row.items() if k != "mark"})
        except (WardexamError, KeyError, TypeError, ValueError):
            raise InputError(f"what the ward list says of {held.id} cannot be") from None
        return held


@dataclass
class _Draft:
    """A draft while its rows are read."""

    kind: str
    id: str
    aside: bool
    suffix: str
    last: str
    count: int
    rows: list[bytes] = field(default_factory=list)

    @classmethod
    def begun(cls, value: Any) -> "_Draft":
        """Its first line.

        Raises:
            ValueError, KeyError, TypeError: It is none.
        """
        fields = {"kind", "id", "aside", "suffix", "last", "rows"}
        if set(value) != fields or value["kind"] not in {k.ending for k in KINDS}:
            raise ValueError
        if not NAME.fullmatch(value["id"]) or not _SUFFIX.fullmatch(value["suffix"]):
            raise ValueError
        if type(value["aside"]) is not bool or type(value["rows"]) is not int:
            raise ValueError
        if (value["suffix"] and not value["aside"]) or moment(micros(value["last"])) != value["last"]:  # fmt: skip
            raise ValueError
        return cls(value["kind"], value["id"], value["aside"], value["suffix"], value["last"], value["rows"])  # fmt: skip

    def whole(self) -> KeptDraft:
        """All of it."""
        return KeptDraft(self.kind, self.id, self.aside, self.suffix, self.last, tuple(self.rows))


def moment(microseconds: int) -> str:
    """A time as drafts have it, from microseconds since 1970."""
    from datetime import UTC

    at = datetime.fromtimestamp(microseconds // 1_000_000, UTC)
    return at.replace(microsecond=microseconds % 1_000_000).isoformat(timespec="microseconds")


def micros(text: str) -> int:
    """The microseconds since 1970 of such a time.

    Raises:
        ValueError: It is none.
    """
    at = datetime.fromisoformat(text)
    if at.tzinfo is None:
        raise ValueError("no zone")
    return int(at.replace(microsecond=0).timestamp()) * 1_000_000 + at.microsecond


def verified(source: BinaryIO, progress: Callable[[str, int], object] = lambda *_: None) -> Contents:  # fmt: skip
    """What a backup holds, read to its end; the file stands at its beginning again.

    Raises:
        InputError: It is no backup, was cut or changed, or holds what cannot be.
    """
    start, reading, patients = source.tell(), Reading(source), 0
    for part in reading.parts():
        if isinstance(part, Held):
            patients += 1
            progress("checked", patients)
    source.seek(start)
    return reading.contents
