"""What `beds`, `check`, `import` and `handover` answer with `--json`: one line of JSON each, by a schema that is printed.

A level of null is a patient whom nobody examined, 0 one in whom nothing that was asked and examined raises
urgency: neither says that anything is normal.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, Literal

from pydantic import TypeAdapter

from wardexam import __version__
from wardexam.note import handover
from wardexam.note.gone import Gone
from wardexam.reasoning.rules.deadlines import overdue
from wardexam.reasoning.rules.reason import Urgency

if TYPE_CHECKING:
    from wardexam.reasoning.rules.wording import Wording
    from wardexam.records.archive import Counts
    from wardexam.records.repository import Arrival, Bed, Papers, Report, Summary

LIST_CAUTION = " ".join(handover.END.split())


@dataclass(frozen=True, slots=True)
class Level:
    """How urgent an examination was when it was saved, or what was told at admission.

    Attributes:
        level: 0 (not assessed, or no rule fires) to 3 (now).
        word: The same in words.
        worse: Whether it was worse than what stood before.
        headline: Why.
        new: Whether nothing was done yet about one of the gravest reasons.
        due: When the first limit that runs ends; null where none runs.
        overdue_minutes: How long that is passed; null where it is not.
        step: What is to be done by then.
    """

    level: int
    word: str
    worse: bool
    headline: str
    new: bool
    due: datetime | None
    overdue_minutes: int | None
    step: str


@dataclass(frozen=True, slots=True)
class BedLine:
    """One bed.

    Attributes:
        bed: The bed; it is no identifier.
        patient: The identifier that other commands take.
        examinations: How many were saved.
        last_at: When the last was; null without one.
        urgency: Of the last; null where nobody examined.
        next_due: When the next examination is due, a first one since the admission; null without a schedule.
        draft: Whether an examination is under way.
        discharged: When the patient was discharged; null of who is on the ward.
        trouble: Why the record cannot be read; empty where it can.
        told: What the reason for admission tells of a patient whom nobody examined; null where it raises nothing.
    """

    bed: str
    patient: str
    examinations: int
    last_at: datetime | None
    urgency: Level | None
    next_due: datetime | None
    draft: bool
    discharged: datetime | None
    trouble: str
    told: Level | None


@dataclass(frozen=True, slots=True)
class Beds:
    """What `wardexam beds --json` answers; `problem` is what is wrong with the ward as a whole."""

    version: Literal[1]
    program: str
    at: datetime
    beds: tuple[BedLine, ...]
    problem: str
    caution: str


@dataclass(frozen=True, slots=True)
class Checked:
    """What `wardexam check --json` answers: whether all is sound, and what was found, line by line.

    `review` says which rules are due for review; empty where none is.
    """

    version: Literal[1]
    program: str
    at: datetime
    repair: bool
    sound: bool
    lines: tuple[str, ...]
    review: str


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A patient whose record could not be read, and why."""

    patient: str
    why: str


@dataclass(frozen=True, slots=True)
class Erased:
    """A patient whom the archive holds and who was erased from this ward, and when: not added."""

    patient: str
    when: str


@dataclass(frozen=True, slots=True)
class Arriving:
    """A patient who would be added, with how many revisions of each thing."""

    patient: str
    bed: str
    examinations: int
    sheets: int
    outcomes: int
    discharged: bool


@dataclass(frozen=True, slots=True)
class Imported:
    """What `wardexam import --json` answers.

    Attributes:
        dry_run: Whether nothing was added, and this is what would be.
        patients: How many.
        examinations: How many revisions of examinations.
        sheets: How many revisions of cord injury sheets.
        outcomes: How many revisions of outcomes.
        sealed: Whether the archive has an end by which a cut is told.
        left_out: Whom it says it was made without.
        erased: Whom it holds and who is not added.
        arriving: Of a dry run, each patient who would be added; else empty.
    """

    version: Literal[1]
    program: str
    dry_run: bool
    patients: int
    examinations: int
    sheets: int
    outcomes: int
    sealed: bool
    left_out: tuple[LeftOut, ...]
    erased: tuple[Erased, ...]
    arriving: tuple[Arriving, ...]


@dataclass(frozen=True, slots=True)
class Examined:
    """A patient's last examination on the handover.

    Attributes:
        id: Its identifier.
        at: When it was.
        by: Who examined, the last hand; empty where nobody is named.
        first: Whether it is the first of the stay.
        level: 0 to 3: the gravest of its reasons and of what was raised when it was saved.
        headline: Why.
        worse: Whether it is worse than what stood before.
        overdue_minutes: How long the first limit that runs is passed; null where it is not.
        urgency: Every reason with what was done and by when; its ``not_asked`` are the flags not asked.
        changed: What changed, the gravest first.
        found: The impression, what changed, was abnormal, not testable and not examined, in sentences.
    """

    id: str
    at: datetime
    by: str
    first: bool
    level: int
    headline: str
    worse: bool
    overdue_minutes: int | None
    urgency: Urgency
    changed: tuple[str, ...]
    found: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HandedOver:
    """One patient on the handover; what is not known of who it is, is empty or null.

    Attributes:
        patient: The identifier that other commands take.
        bed: The bed.
        name: The name.
        number: The hospital's number.
        born: The birth date.
        age: The age in years.
        next_due: When the next examination is due, a first one since the admission; null without a schedule.
        examination: The last examination; null where nobody examined.
        beside: What a cord injury sheet says that is not in the urgency.
        unsaved: What is said of an examination that was begun and is not saved; empty where there is none.
        told: What the reason for admission tells of a patient whom nobody examined; null where it raises nothing.
    """

    patient: str
    bed: str
    name: str
    number: str
    born: date | None
    age: int | None
    next_due: datetime | None
    examination: Examined | None
    beside: str
    unsaved: str
    told: Level | None


@dataclass(frozen=True, slots=True)
class Handover:
    """What `wardexam handover --json` answers, sickest and most changed first; `trail` is the head of the audit trail, `left` who left in the last day with what is not answered."""

    version: Literal[1]
    program: str
    at: datetime
    patients: tuple[HandedOver, ...]
    left: tuple[Gone, ...]
    left_out: tuple[LeftOut, ...]
    trail: str
    caution: str


Answer = Beds | Checked | Imported | Handover
FORMS: dict[str, type] = {"beds": Beds, "check": Checked, "import": Imported, "handover": Handover}


def schema(command: str) -> dict[str, Any]:
    """The JSON Schema of what a command of `FORMS` answers."""
    made: dict[str, Any] = TypeAdapter(FORMS[command]).json_schema(mode="serialization")
    for form in (made, *made.get("$defs", {}).values()):
        if "properties" in form:
            form["additionalProperties"] = False
            form["required"] = list(form["properties"])
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made}


def line(answer: Answer) -> str:
    """An answer as a line of JSON, ASCII."""
    kind: TypeAdapter[Answer] = TypeAdapter(type(answer))
    return json.dumps(kind.dump_python(answer, mode="json")) + "\n"


def _time(text: str | None) -> datetime | None:
    return datetime.fromisoformat(text) if text else None


def _minutes(due: datetime | None, now: datetime) -> int | None:
    late = overdue(due, now)
    return None if late is None else int(late.total_seconds() // 60)


def _level(head: "Summary | None", now: datetime) -> Level | None:
    return None if head is None else Level(
        head.urgency, head.urgency_word, head.worse, head.headline, head.new,
        head.due_at, _minutes(head.due_at, now), head.step,
    )  # fmt: skip


def _bed(bed: "Bed", admitted: datetime | None, now: datetime) -> BedLine:
    return BedLine(
        bed.bed, bed.patient_id, bed.examinations, _time(bed.last_at), _level(bed.summary, now),
        bed.next_since(admitted), bed.has_draft, _time(bed.discharged), bed.trouble, _level(bed.told, now),
    )  # fmt: skip


def beds(
    listed: "Iterable[Bed]", admitted: Mapping[str, datetime], problem: str, now: datetime
) -> Beds:
    """The answer of `beds`; `admitted` is when those came of whom no examination is saved."""
    lines = tuple(_bed(bed, admitted.get(bed.patient_id), now) for bed in listed)
    return Beds(1, __version__, now, lines, problem, LIST_CAUTION)


def checked(report: "Report", *, repair: bool, review: str, now: datetime) -> Checked:
    """The answer of `check`."""
    return Checked(1, __version__, now, repair, report.sound, report.lines, review)


def arriving(arrival: "Arrival") -> Arriving:
    """A patient who would be added."""
    patient = arrival.patient
    return Arriving(
        patient.id, patient.bed, len(arrival.examinations), len(arrival.sheets),
        len(arrival.outcomes), patient.discharged is not None,
    )  # fmt: skip


def imported(counts: "Counts", each: "Iterable[Arriving]", *, dry_run: bool) -> Imported:
    """The answer of `import`; `each` is who would be added, of a dry run."""
    return Imported(
        1, __version__, dry_run, counts.patients, counts.examinations, counts.sheets, counts.outcomes,
        counts.sealed, tuple(LeftOut(patient, why) for patient, why in counts.left_out),
        tuple(Erased(patient, when) for patient, when in counts.erased), tuple(each),
    )  # fmt: skip


def _examined(entry: handover.Entry, now: datetime) -> Examined | None:
    of = entry.told
    if of is None:
        return None
    return Examined(
        of.last.id, of.last.at, of.last.hands[-1] if of.last.hands else "", of.previous is None, entry.level, entry.headline,
        of.head.worse, _minutes(of.head.due_at, now), of.urgency,
        tuple(sign.text for sign in of.change.gravest) if of.change else (),
        tuple(handover.found(of)),
    )  # fmt: skip


def handed_over(
    papers: "Papers",
    trail: str,
    *,
    now: datetime,
    wording: "Wording | None",
    begun: Mapping[str, "Summary"],
    left: tuple[Gone, ...] = (),
) -> Handover:
    """The answer of `handover`: the patients of the sheet in its order."""
    rows = []
    for entry in handover.entries(papers, now=now, wording=wording, begun=begun):
        p = entry.patient
        due = handover.due(p, entry.told.last if entry.told else None)
        rows.append(
            HandedOver(p.id, p.bed, p.name, p.number, p.born, p.age, due, _examined(entry, now), entry.beside, entry.unsaved.text, _level(entry.admission, now))
        )  # fmt: skip
    out = tuple(LeftOut(bed.patient_id, bed.trouble) for bed in papers.left_out)
    return Handover(1, __version__, now, tuple(rows), left, out, trail, LIST_CAUTION)
