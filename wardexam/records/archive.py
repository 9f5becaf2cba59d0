"""A ward or a patient as JSON Lines, in and out; findings as CSV for audit.

Version 7, written now; every line is one JSON object with its keys sorted:

1. ``{"archive": "wardexam", "version": 7}``; beside these ``"left_out": [[identifier, why], ...]`` where
   records could not be read
2. for each patient ``{"patient": {...}}``, then ``{"examination": {...}}`` for each examination, oldest
   first, each with all its revisions, first to last; then ``{"sheet": {...}}`` for each revision of a cord
   injury sheet, in the order saved, and ``{"outcome": {...}}`` for each revision of the outcome
3. ``{"end": {"examinations": m, "patients": n, "sha256": "<of all bytes before this line>"}}``

An archive that was cut or changed is told by its end and refused. What is read in and written out again
is the same to the byte. Version 6 was the same but that its examinations do not hold what the complaint came after
(`setting`). Version 5 was the same as that but that its examinations do not hold when they were entered, where
that is later than they were made. Version 4 was the same as that but that its examinations do not hold whether they
were entered in error. Version 3 was the same as that but that it has no outcomes, and that its examinations do not hold what
the tool suggested. Version 2 was the same as that but that its examinations do not hold since when a reason of
urgency stands and what was done about it. Version 1 had a line for each patient, ``{"patient": {...}, "examinations":
[...]}``, and no end; it is read still.
"""

import csv
import hashlib
import io
import json
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, BinaryIO

from pydantic import ValidationError

from wardexam.errors import InputError, WardexamError
from wardexam.exam.entry import first_fault
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.in_error import counting
from wardexam.exam.outcome import Outcome
from wardexam.exam.text import clean
from wardexam.injury.kept import KeptSheet
from wardexam.records.bulk_import import packed_size
from wardexam.records.patient_tables import sheet_before
from wardexam.records.repository import Arrival, PatientFile, Repository, Summary
from wardexam.records.schemas import LONGEST
from wardexam.records.stored_record import strict_loads

if TYPE_CHECKING:
    from hashlib import _Hash

HEAD: dict[str, Any] = {"archive": "wardexam", "version": 7}
LONGEST_LINE = 20_000_000  # bytes; the longest examination takes about 10 million
LONGEST_LINE_1 = LONGEST  # a patient with all examinations
LONGEST_PATIENT = (
    3 * LONGEST
)  # bytes: in ASCII a text takes at most three times what it takes stored
# What a spreadsheet may take for the beginning of a formula, also in full width.
FORMULA = tuple("=+-@\uff1d\uff0b\uff0d\uff20")
CSV_HEAD = (
    "patient", "examination", "revision", "at", "examiner", "sign", "side", "answer", "scale",
    "qualities", "amount", "not_testable",
)  # fmt: skip

Missed = Callable[[str, WardexamError], object]


@dataclass(frozen=True, slots=True)
class Counts:
    """How many patients and examinations, with every revision, an archive or a bundle holds.

    Attributes:
        patients: How many patients.
        examinations: How many revisions of examinations.
        sheets: How many revisions of cord injury sheets.
        outcomes: How many revisions of outcomes.
        sealed: Whether it has an end by which a cut is told; version 1 has none.
        left_out: Whom it says it was made without, and why.
        erased: Whom it holds and who was erased from this ward, with when: they are not added.
    """

    patients: int
    examinations: int
    sheets: int = 0
    outcomes: int = 0
    sealed: bool = True
    left_out: tuple[tuple[str, str], ...] = ()
    erased: tuple[tuple[str, str], ...] = ()


# --- out


def _ids(ward: Repository) -> list[str]:
    return sorted({b.patient_id for d in (False, True) for b in ward.beds(discharged=d)})


def _revisions(file: PatientFile) -> Iterator[Examination]:
    """Every revision of every examination, in the order in which they were saved."""
    for name in dict.fromkeys(name for name, _ in file.numbered()):
        yield from file.revisions(name)


def _readable(
    ward: Repository, patients: list[str] | None, missed: Missed
) -> tuple[list[str], list[list[str]]]:
    """Whose record can be read, and whose cannot with the reason.

    Raises:
        RecordsError: It is of a patient who was asked for.
    """
    found, left_out = [], []
    for patient_id in patients or _ids(ward):
        try:
            file = ward.file(patient_id)
            deque(_revisions(file), 0)  # read whole, or refused
            deque(file.sheets, 0)
            found.append(patient_id)
        except WardexamError as error:
            if patients:
                raise
            missed(patient_id, error)
            left_out.append([patient_id, clean(error.what)])
    return found, left_out


@dataclass
class Seal:
    """What the end of an archive says of the lines before it."""

    patients: int = 0
    examinations: int = 0
    digest: "_Hash" = field(default_factory=hashlib.sha256)

    def over(self, line: bytes) -> None:
        """Go on over a line."""
        self.digest.update(line)
        self.patients += line.startswith(b'{"patient": ')
        self.examinations += line.startswith(b'{"examination": ')

    def line(self, row: dict[str, Any]) -> str:
        """A line, gone over."""
        text = json.dumps(row, sort_keys=True) + "\n"
        self.over(text.encode())
        return text

    @property
    def end(self) -> str:
        """The last line."""
        counts = {"patients": self.patients, "examinations": self.examinations}
        row = {"end": {**counts, "sha256": self.digest.hexdigest()}}
        return json.dumps(row, sort_keys=True) + "\n"


def write_archive(
    ward: Repository, patients: list[str] | None = None, *, missed: Missed = lambda *_: None
) -> Iterator[str]:
    """The archive, line by line.

    Args:
        ward: What is written.
        patients: Only these; all of them without.
        missed: Told before the first line who is left out, since the record cannot be read, and why.

    Raises:
        RecordsError: A patient who was asked for, or one who could be read before, cannot be read.
    """
    found, left_out = _readable(ward, patients, missed)
    seal = Seal()
    yield seal.line(HEAD | ({"left_out": left_out} if left_out else {}))
    for patient_id in found:
        file = ward.file(patient_id)
        yield seal.line({"patient": file.patient.model_dump(mode="json")})
        for e in _revisions(file):
            yield seal.line({"examination": e.model_dump(mode="json")})
        for sheet in file.sheets:
            yield seal.line({"sheet": sheet.model_dump(mode="json")})
        for o in file.outcomes:
            yield seal.line({"outcome": o.model_dump(mode="json")})
    yield seal.end


def write_csv(
    ward: Repository, patients: list[str] | None = None, *, missed: Missed = lambda *_: None
) -> Iterator[str]:
    """Findings as CSV: a row each, with the opaque patient and examination identifiers.

    A first line beginning with ``# `` says who is left out, where a record cannot be read.
    """

    def line(cells: Sequence[str]) -> str:
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerow(map(cell, cells))
        return text.getvalue()

    found, left_out = _readable(ward, patients, missed)
    if left_out:
        yield f"# left out: {'; '.join(': '.join(pair) for pair in left_out)}\n"
    yield line(CSV_HEAD)
    for patient_id in found:
        for e in ward.file(patient_id).examinations:
            for f in e.findings:
                yield line([
                    patient_id, e.id, str(e.revision), e.at.isoformat(), e.examiner, f.sign, f.side,
                    f.answer or "", f.scale or "", " ".join(f.qualities),
                    "" if f.amount is None else str(f.amount), f.not_testable or "",
                ])  # fmt: skip


def cell(text: str) -> str:
    """A cell's text, cleaned; one that a spreadsheet may read as a formula begins with a quote."""
    formula = text.startswith(("\t", "\r", "\n")) or text.lstrip().startswith(FORMULA)
    return f"'{clean(text)}" if formula else clean(text)


# --- in


def placed_lines(
    source: BinaryIO, what: str, longest: int, number: int = 1, then: str = ""
) -> Iterator[tuple[str, bytes]]:
    """Each line of an archive or a backup with its place, such as ``archive line 3``.

    Args:
        source: Where it is read from.
        what: What it is.
        longest: Bytes that a line may have.
        number: That of the first.
        then: What follows from a line that is longer, in words.

    Raises:
        InputError: It cannot be read, or a line is longer.
    """
    while True:
        where = f"{what} line {number}"
        try:
            line = source.readline(longest + 1)
        except OSError as error:
            raise InputError(f"cannot be read: {error.strerror}", where=where) from None
        if len(line) > longest:
            said = f"longer than {longest} bytes"
            raise InputError(f"{said}; {then}" if then else said, where=where)
        if not line:
            return
        yield where, line
        number += 1


@dataclass
class Gathered:
    """One patient while an archive or a bundle is read; whether all of it fits together is checked piece by piece."""

    patient: Patient
    examinations: list[Examination] = field(default_factory=list)
    outcomes: list[Outcome] = field(default_factory=list)
    size: int = 0
    seen: set[tuple[str, int]] = field(default_factory=set)
    sheets: list[KeptSheet] = field(default_factory=list)

    def add(self, e: Examination, where: str) -> None:
        """A further revision of an examination."""
        if e.patient != self.patient.id:
            raise InputError("an examination belongs to another patient", where=where)
        if (e.id, e.revision) in self.seen:
            raise InputError(f"examination {e.id} revision {e.revision} is given twice", where)
        if e.revision > 1 and (e.id, e.revision - 1) not in self.seen:
            raise InputError(f"examination {e.id} lacks revision {e.revision - 1}", where)
        self.seen.add((e.id, e.revision))
        self.examinations.append(e)

    def add_sheet(self, kept: KeptSheet, where: str) -> None:
        """A further revision of a cord injury sheet."""
        if kept.patient != self.patient.id:
            raise InputError("a cord injury sheet belongs to another patient", where=where)
        try:
            fresh = sheet_before(self.sheets, kept)[1]
        except InputError as error:
            raise InputError(f"cord injury sheet {kept.id} {error.what}", where) from None
        if not fresh:
            raise InputError(f"cord injury sheet {kept.id} is given twice", where)
        self.sheets.append(kept)

    def conclude(self, o: Outcome, where: str) -> None:
        """A further revision of the outcome."""
        if o.patient != self.patient.id:
            raise InputError("an outcome belongs to another patient", where=where)
        if o.revision != len(self.outcomes) + 1:
            raise InputError(f"outcome revision {o.revision} is out of its order", where)
        self.outcomes.append(o)

    def grow(self, size: int, where: str) -> None:
        """Count the bytes that were read."""
        self.size += size
        if self.size > LONGEST_PATIENT:
            raise InputError(f"a patient takes more than {LONGEST_PATIENT} bytes", where=where)

    def whole(self, where: str) -> Arrival:
        """What was read, if it can be kept."""
        arrival = Arrival(
            self.patient,
            tuple(self.examinations),
            sheets=tuple(self.sheets),
            outcomes=tuple(self.outcomes),
        )
        if self.size > LONGEST // 2:  # else it is shorter when stored, too
            size = packed_size(arrival)
            if size > LONGEST:
                raise InputError(
                    f"a patient's file may have {LONGEST} bytes; that of {self.patient.id} would have {size}",
                    where=where,
                )
        return arrival


Incoming = Iterator[Arrival]


def _refusing(where: str, error: Exception) -> InputError:
    """Why a line is not acceptable."""
    if isinstance(error, ValidationError):
        return InputError(first_fault(error), where=where)
    return InputError("not a line of an archive", where=where)


def _opened(source: BinaryIO) -> tuple[int, tuple[tuple[str, str], ...], Incoming]:
    """An archive's version, whom it was made without, and its patients in turn."""
    where, line = next(placed_lines(source, "archive", LONGEST_LINE), ("archive line 1", b""))
    if not line:
        raise InputError("the archive is empty", where=where)
    try:
        row = strict_loads(line)
        version = row.pop("version")
        left_out = tuple((str(name), str(why)) for name, why in row.pop("left_out", []))
    except (ValueError, KeyError, TypeError, AttributeError):
        raise InputError("this is not a wardexam archive", where=where) from None
    if row != {"archive": "wardexam"} or type(version) is not int or (version == 1 and left_out):
        raise InputError("this is not a wardexam archive", where=where)
    if version not in (1, 2, 3, 4, 5, 6, 7):
        raise InputError(
            f"an archive of version {version} is not known to this program",
            where,
            "update wardexam",
        )
    if version == 1:
        return version, (), _of_version_1(source)
    seal = Seal()
    seal.over(line)
    return version, left_out, _of_version_2_on(source, seal)


def _of_version_1(source: BinaryIO) -> Incoming:
    for where, line in placed_lines(source, "archive", LONGEST_LINE_1, 2):
        try:
            row = strict_loads(line)
            if set(row) != {"patient", "examinations"}:
                raise ValueError
            incoming = Gathered(Patient.model_validate(row["patient"]))
            examinations = [Examination.model_validate(e) for e in row["examinations"]]
        except (ValueError, KeyError, TypeError) as error:
            raise _refusing(where, error) from None
        for e in examinations:
            incoming.add(e, where)
        incoming.grow(len(line), where)
        yield incoming.whole(where)


def _of_version_2_on(source: BinaryIO, seal: Seal) -> Incoming:
    incoming: Gathered | None = None
    ended, where = False, "archive line 1"
    for where, line in placed_lines(source, "archive", LONGEST_LINE, 2):
        if ended:
            raise InputError("stands after the end of the archive", where=where)
        try:
            ((kind, row),) = strict_loads(line).items()
            if kind == "end":
                if line != seal.end.encode():
                    raise InputError(
                        "the archive's end does not fit what is before it: it was cut or changed; nothing was added",
                        where,
                    )
                ended = True
                continue
            patient = Patient.model_validate(row) if kind == "patient" else None
            examination = Examination.model_validate(row) if kind == "examination" else None
            sheet = KeptSheet.model_validate(row) if kind == "sheet" else None
            outcome = Outcome.model_validate(row) if kind == "outcome" else None
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise _refusing(where, error) from None
        seal.over(line)
        if patient:
            if incoming:
                yield incoming.whole(where)
            incoming = Gathered(patient)
        elif examination and incoming:
            incoming.add(examination, where)
        elif sheet and incoming:
            incoming.add_sheet(sheet, where)
        elif outcome and incoming:
            incoming.conclude(outcome, where)
        else:
            raise InputError("not a line of an archive", where=where)
        incoming.grow(len(line), where)
    if not ended:
        raise InputError(
            "the archive has no end: it was cut; nothing was added", where, "export again"
        )
    if incoming:
        yield incoming.whole(where)


def read_archive(
    ward: Repository,
    source: BinaryIO,
    *,
    by: str,
    dry_run: bool = False,
    summarise: Callable[[Sequence[Examination]], Summary | None] = lambda _: None,
    progress: Callable[[str, int], None] = lambda _, __: None,
    told: Callable[[Arrival], object] = lambda _: None,
) -> Counts:
    """Add an archive to the ward: everything is validated before anything is written.

    Args:
        ward: Where it goes.
        source: The archive; it is read twice, a patient at a time.
        by: Who brings it in.
        dry_run: Validate and count, change nothing.
        summarise: Gives what the ward list shows of a patient's examinations.
        progress: Told "checked" or "added" and how many patients.
        told: Told of each patient once it was checked.

    Raises:
        InputError: A line is not acceptable, the archive was cut or changed, or a patient is on the
            ward already; nothing was added.
    """
    start = source.tell()

    def arrivals() -> Incoming:
        source.seek(start)
        return _opened(source)[2]

    version, left_out, _ = _opened(source)
    counts = bring_in(
        ward, arrivals, by=by, dry_run=dry_run, summarise=summarise, progress=progress, told=told
    )
    return replace(counts, sealed=version > 1, left_out=left_out)


def bring_in(
    ward: Repository,
    arrivals: Callable[[], Incoming],
    *,
    by: str,
    dry_run: bool = False,
    summarise: Callable[[Sequence[Examination]], Summary | None] = lambda _: None,
    progress: Callable[[str, int], None] = lambda _, __: None,
    told: Callable[[Arrival], object] = lambda _: None,
) -> Counts:
    """Add patients to the ward, all or none; see `read_archive`.

    Args:
        ward: Where they go.
        arrivals: Gives the patients from the first on; asked twice, where not only counted.
        by: Who brings them in.
        dry_run: Validate and count, change nothing.
        summarise: Gives what the ward list shows of a patient's examinations.
        progress: Told "checked" or "added" and how many patients.
        told: Told of each patient once it was checked.

    Raises:
        InputError: One is not acceptable, or is on the ward already; nothing was added.
    """
    known, gone = set(_ids(ward)), ward.erased()
    patients = count = sheets = outcomes = 0
    erased: list[tuple[str, str]] = []
    for arrival in arrivals():
        whose = arrival.patient.id
        if whose in known:
            raise InputError("is on the ward already; nothing was added", where=whose)
        known.add(whose)
        if whose in gone:
            erased.append((whose, gone[whose]))
            continue
        patients, count = patients + 1, count + len(arrival.examinations)
        sheets, outcomes = sheets + len(arrival.sheets), outcomes + len(arrival.outcomes)
        progress("checked", patients)
        told(arrival)
    if not dry_run:
        ward.take_in(
            (
                replace(a, summary=summarise(_latest(a.examinations)))
                for a in arrivals()
                if a.patient.id not in gone
            ),
            by,
            lambda number: progress("added", number),
        )
    return Counts(patients, count, sheets=sheets, outcomes=outcomes, erased=tuple(erased))


def _latest(revisions: Sequence[Examination]) -> Sequence[Examination]:
    """The examinations that count, by their time."""
    latest = {e.id: e for e in sorted(revisions, key=lambda e: e.revision)}
    return sorted(counting(latest.values()), key=lambda e: (e.at, e.id))
