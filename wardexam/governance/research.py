"""The ward without names, for research: dates shifted by patient, ages from 90 on grouped, no free text.

Names of patients and examinations, and the days by which each patient's dates are shifted, come from a secret
key. The key is drawn for one export and thrown away, or kept by the hospital in a file of its own; it is in no
file of the export.
"""

import base64
import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from wardexam.errors import RecordsError, TableError
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.outcome import Outcome
from wardexam.governance.dictionary import TABLE, columns
from wardexam.governance.facts import (
    ExaminationFact,
    FindingFact,
    age_words,
    examination_fact,
)
from wardexam.injury.kept import KeptSheet
from wardexam.reasoning.rules.raised import as_counted
from wardexam.tables import Columns
from wardexam.version import __version__

if TYPE_CHECKING:
    from wardexam.records.repository import PatientFile

FORM = 1  # of a line of `patients.jsonl`; one more where a field goes or changes its meaning
KEY = 32  # bytes of a key
LEAST_SHIFT, MOST_SHIFT = 366, 3652  # days by which dates are moved back
NAME = 10  # bytes of a random name

ABOUT = """\
RESEARCH EXPORT of wardexam {program}: {count}

Left out: names, hospital numbers, beds, birth dates, doctors, every free text
(comments, impressions, diagnoses, what was written of acts), and the opaque
identifiers of the ward. Ages from 90 on are one group. Patients and
examinations have random names that are made with a private key; the key is not
here.
{times}
Safe harbor (45 CFR 164.514(b)(2), from memory; common practice, no legal
advice). Met: names, places smaller than a state, telephone and other numbers,
record numbers, devices, pictures: none has a field. Ages over 89 are grouped.
The random names are made from nothing about the person. {dates}
Not looked at: whether what is left tells somebody who knows the patient; rare
signs together can. The hospital decides what may be handed on.

One file for each kind of row, with its columns in dictionary.csv; the same as
JSON, a patient a line, in patients.jsonl ('wardexam schema --research').
A sign, flag or score that has no row was not examined, not asked, not entered:
blank never means normal.
"""
SHIFTED = """\
Dates are moved back by a number of days that is told nowhere, the same for all
of a patient's: what lies between two of them is as it was, the hour is that of
UTC, the year and the day of the week are not the true ones.
"""
AS_MINUTES = """\
There is no date: times are minutes since the patient's admission.
"""
DATES_NOT_MET = (
    "Not met: it asks\nthat every part of a date but the year be removed, and a shifted date is still\n"
    "a date; 'wardexam research --intervals' has none."
)
DATES_MET = "No part\nof a date is there."

Told = str | int | float | None


class OutcomeFact(Columns):
    """What it was in the end, in the codes that it has."""

    imaged: datetime | None
    positive: str | None
    site: str | None
    side: str | None


class ScoreFact(Columns):
    """One score of a cord injury sheet."""

    test: str
    side: str
    segment: str
    score: str


class SheetFact(Columns):
    """One cord injury sheet, in its last revision."""

    id: str
    revision: int
    at: datetime
    scores: tuple[ScoreFact, ...]


class PatientFact(Columns):
    """One patient with all that may leave."""

    form: int
    program: str
    patient: str
    age: str
    sex: str
    admitted: datetime
    discharged: datetime | None
    examinations: tuple[ExaminationFact, ...]
    sheets: tuple[SheetFact, ...]
    outcome: OutcomeFact | None


@dataclass(frozen=True, slots=True)
class Mask:
    """What hides who it is.

    Attributes:
        key: The secret key, of `KEY` bytes.
        intervals: Whether times are minutes since the admission, and no dates.
    """

    key: bytes
    intervals: bool = False

    def _bytes(self, what: str, count: int) -> bytes:
        return hashlib.blake2b(what.encode(), key=self.key, digest_size=count).digest()

    def name(self, identifier: str) -> str:
        """The random name of a patient, an examination or a sheet."""
        return base64.b32encode(self._bytes(f"name {identifier}", NAME)).decode().lower()

    def shift(self, patient_id: str) -> timedelta:
        """How far a patient's dates are moved back: whole days."""
        drawn = int.from_bytes(self._bytes(f"shift {patient_id}", NAME), "big")
        return timedelta(days=LEAST_SHIFT + drawn % (MOST_SHIFT - LEAST_SHIFT + 1))

    def when(self, patient_id: str) -> Callable[[datetime], datetime]:
        """What moves a patient's times, in UTC; a time at the beginning of the calendar becomes its beginning."""
        shift = self.shift(patient_id)

        def moved(at: datetime) -> datetime:
            try:
                return at.astimezone(UTC) - shift
            except OverflowError:
                return datetime.min.replace(tzinfo=UTC)

        return moved


def _outcome(outcome: Outcome, when: Callable[[datetime], datetime]) -> OutcomeFact:
    return OutcomeFact(
        imaged=when(outcome.imaged) if outcome.imaged else None,
        positive=outcome.positive,
        site=outcome.site,
        side=outcome.side,
    )


def _scores(kept: KeptSheet) -> Iterator[ScoreFact]:
    sheet = kept.sheet
    for test in ("light_touch", "pinprick", "motor"):
        for side in ("right", "left"):
            for segment, code in getattr(getattr(sheet, test), side).items():
                yield ScoreFact(test=test, side=side, segment=segment, score=code)
    for test in ("anal_contraction", "anal_pressure", "earlier_deficit"):
        if (answer := getattr(sheet, test)) is not None:
            yield ScoreFact(test=test, side="", segment="", score=str(answer))
    for side in ("right", "left"):
        if (answer := getattr(sheet.movements, side)) is not None:
            yield ScoreFact(test="movements", side=side, segment="", score=answer)


def patient_fact(file: "PatientFile", mask: Mask) -> PatientFact:
    """What of a patient may leave: the last revision of every examination, sheet and outcome."""
    patient: Patient = file.patient
    when = mask.when(patient.id)
    sheets = {s.id: s for s in file.sheets}
    counting = tuple(file.examinations)
    last = [as_counted(e, counting[:n]) for n, e in enumerate(counting)]
    return PatientFact(
        form=FORM,
        program=__version__,
        patient=mask.name(patient.id),
        age=age_words(patient.age),
        sex=patient.sex,
        admitted=when(patient.admitted),
        discharged=when(patient.discharged) if patient.discharged else None,
        examinations=tuple(examination_fact(e, patient, mask.name(e.id), when) for e in last),
        sheets=tuple(
            SheetFact(
                id=mask.name(s.id), revision=s.revision, at=when(s.at), scores=tuple(_scores(s))
            )
            for s in sheets.values()
        ),
        outcome=_outcome(file.outcomes[-1], when) if file.outcomes else None,
    )


# --- as JSON


def _timed(value: Any, begin: datetime | None) -> Any:
    """The same with times as texts, or as minutes since a time where one is given."""
    if isinstance(value, dict):
        return {name: _timed(v, begin) for name, v in value.items()}
    if isinstance(value, list | tuple):
        return [_timed(v, begin) for v in value]
    if isinstance(value, datetime):
        if begin is None:
            return value.isoformat()
        return round((value - begin).total_seconds() / 60)
    return value


def patient_json(fact: PatientFact, mask: Mask) -> dict[str, Any]:
    """A line of `patients.jsonl`."""
    made: dict[str, Any] = _timed(fact.model_dump(), fact.admitted if mask.intervals else None)
    return made


def research_schema() -> dict[str, Any]:
    """The JSON Schema of a line of `patients.jsonl`: a time is a text, or minutes since the admission."""

    def either(value: Any) -> Any:
        if isinstance(value, dict):
            if value.get("format") == "date-time":
                return {"anyOf": [value, {"type": "integer"}]}
            return {name: either(v) for name, v in value.items()}
        return [either(v) for v in value] if isinstance(value, list) else value

    made = either(PatientFact.model_json_schema(mode="serialization"))
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made}


# --- as rows


def _finding(f: FindingFact, of: Examination) -> dict[str, Told]:
    finding = of.finding(f.sign, f.side)  # type: ignore[arg-type]  # it was made from one
    if finding is None:
        raise RecordsError(
            f"the examination has no finding {f.sign} {f.side}", of.id, "run 'wardexam check'"
        )
    usual = "" if finding.choice is None else int(finding.choice.usual)
    return {
        "sign": f.sign, "side": f.side, "answer": f.answer or "", "scale": f.scale or "",
        "meaning": finding.meaning, "usual": usual, "qualities": " ".join(f.qualities),
        "amount": "" if f.amount is None else f.amount, "not_testable": f.not_testable or "",
        "known": int(f.known),
    }  # fmt: skip


def _examination(e: dict[str, Any]) -> dict[str, Told]:
    story, reading = e["story"], e["reading"] or {"program": "", "tables": "", "sites": []}
    first = reading["sites"][0] if reading["sites"] else {"site": "", "side": "", "chance": ""}
    return {
        "at": e["at"], "revision": e["revision"], "scale": e["scale"],
        **{name: "" if value is None else value for name, value in story.items()},
        "stated_normal": ";".join(f"{s['part']}:{s['limb']}" for s in e["rest_normal"]),
        "program": reading["program"], "tables": reading["tables"], "suggested": first["site"],
        "suggested_side": first["side"], "chance": first["chance"],
        "accepted": int(e["suggestion_accepted"]),
    }  # fmt: skip


def rows_of(
    fact: PatientFact, file: "PatientFile", mask: Mask
) -> Iterator[tuple[str, dict[str, Told]]]:
    """The rows of a patient, each with the file it belongs to; what is not known is empty."""
    made = patient_json(fact, mask)
    who = {"patient": fact.patient}
    outcome = made["outcome"] or dict.fromkeys(OutcomeFact.model_fields)
    yield "patients", {
        **who, "age": fact.age, "sex": fact.sex, "admitted": made["admitted"],
        "discharged": made["discharged"], "examinations": len(fact.examinations), **outcome,
    }  # fmt: skip
    for e, of, told in zip(made["examinations"], file.examinations, fact.examinations, strict=True):
        where = {**who, "examination": e["id"]}
        yield "examinations", {**where, **_examination(e)}
        yield from (("findings", {**where, **_finding(f, of)}) for f in told.findings)
        yield from (("flags", {**where, "flag": n, "answer": a}) for n, a in e["flags"].items())
        for reason in e["raised"] or ():
            kept = {name: reason[name] for name in ("rule", "urgency", "since")}
            yield "reasons", {**where, **kept}
        for act in e["acts"]:
            yield "acts", {**where, **act, "ended": int(act["ended"])}
    for sheet in made["sheets"]:
        for score in sheet["scores"]:
            yield "scores", {**who, "sheet": sheet["id"], "at": sheet["at"], **score}


def in_order(name: str, row: dict[str, Told]) -> list[str]:
    """A row as the cells of its file, in the order of the columns' table; nothing that has no column.

    Raises:
        TableError: The row has a column that the table has not, or lacks one.
    """
    if other := set(row) ^ set(columns()[name]):
        what = f"the rows have other columns than the table: {', '.join(sorted(other))}"
        raise TableError(what, f"{TABLE}, {name}", "name each in both")
    return ["" if row[c] is None else str(row[c]) for c in columns()[name]]


def about(count: str, mask: Mask) -> str:
    """What the export is, what was left out, and what of a common rule it meets and does not."""
    return ABOUT.format(
        program=__version__,
        count=count,
        times=AS_MINUTES if mask.intervals else SHIFTED,
        dates=DATES_MET if mask.intervals else DATES_NOT_MET,
    )
