"""What stands in a patient's document: tables ``patient``, ``examinations``, ``meta``; ``sheets`` where there are any.

A ward that came from a server keeps the earlier details that stood there in ``former``.

What is read comes from the tables as they lie in the file; what is changed goes through TinyDB's.
``meta`` holds what the ward list shows, so that a save need not read every examination again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING, Any, TypeVar

from wardexam.errors import InputError, RecordsError
from wardexam.records.repository import (
    AmendedMeanwhileError,
    Arrival,
    Bed,
    ConcludedMeanwhileError,
    ConflictError,
    Summary,
)
from wardexam.records.stored_record import (
    REMEDY,
    DamagedFileError,
    Record,
    StoredRecord,
    Tables,
    encoded,
)

if TYPE_CHECKING:
    from pydantic import BaseModel
    from tinydb import TinyDB

    from wardexam.exam.examination import Examination, Patient
    from wardexam.exam.outcome import Outcome
    from wardexam.injury.kept import KeptSheet

    Made = TypeVar("Made", bound=BaseModel)

META = (
    "summary",
    "last_at",
    "last_by",
    "examinations",
)  # what the ward list shows of the examinations
_IN_ERROR = b'"in_error": true'  # a quote inside a text has a backslash before it
FORMER = "former"  # the table of earlier details, where there are any


def first(tables: Mapping[str, Mapping[str, Record]], name: str) -> Record:
    """The only record of a table; empty when there is none."""
    return next(iter(tables.get(name, {}).values()), {})


def _made(model: "type[Made]", record: Record) -> "Made":
    from pydantic import ValidationError

    from wardexam.exam.entry import first_fault

    try:
        return model.model_validate(dict(record))
    except ValidationError as error:
        where = record.where if isinstance(record, StoredRecord) else ""
        raise DamagedFileError(
            f"a record is not valid: {first_fault(error)}", where, REMEDY
        ) from None


def records_of(tables: Tables, name: str) -> list[Record]:
    """The records of a table, unread, in the order in which they were added."""
    return [*tables.get(name, {}).values()]


def tables_of(database: "TinyDB") -> Tables:
    """The tables of an open document; empty before the first."""
    return database.storage.read() or {}


def _put_only(database: "TinyDB", name: str, record: Record) -> None:
    """A table's only record, in place of the one that stood there."""
    table = database.table(name)
    table.truncate()
    table.insert(record)


def raw_records(tables: Tables) -> set[bytes]:
    """The records of examinations, sheets and outcomes as they lie in a file, or would."""
    return {
        r.raw if isinstance(r, StoredRecord) else encoded(r)
        for name in ("examinations", "sheets", "outcomes")
        for r in records_of(tables, name)
    }


def examination_of(record: Record) -> "Examination":
    """An examination from its record.

    Raises:
        DamagedFileError: It is not valid.
    """
    from wardexam.exam.examination import Examination

    return _made(Examination, record)


def patient_of(tables: Tables) -> "Patient":
    """The patient's details.

    Raises:
        DamagedFileError: They are not valid.
    """
    from wardexam.exam.examination import Patient

    return _made(Patient, first(tables, "patient"))


def former_details(tables: Tables) -> list["Patient"]:
    """The revisions of the details before the present one, where the ward came from a store that keeps them."""
    from wardexam.exam.examination import Patient

    return [_made(Patient, record) for record in records_of(tables, FORMER)]


def put_patient(database: "TinyDB", patient: "Patient") -> None:
    """The patient's details, in place of those that stood there."""
    _put_only(database, "patient", patient.model_dump(mode="json"))


def put_arrival(database: "TinyDB", arrival: Arrival) -> None:
    """All of a patient who arrives, into an empty document."""
    put_patient(database, arrival.patient)
    database.table("examinations").insert_multiple(
        e.model_dump(mode="json") for e in arrival.examinations
    )
    if arrival.sheets:
        database.table("sheets").insert_multiple(s.model_dump(mode="json") for s in arrival.sheets)
    if arrival.outcomes:
        database.table("outcomes").insert_multiple(
            o.model_dump(mode="json") for o in arrival.outcomes
        )
    summary = asdict(arrival.summary) if arrival.summary else None
    _put_only(database, "meta", fresh_meta(arrival.examinations, summary))


def of_patient(tables: Tables, patient_id: str, where: str) -> Tables:
    """The same tables, once it is certain that they are this patient's.

    Raises:
        DamagedFileError: They speak of another: the file is another's, under this one's name.
    """
    if tables and first(tables, "patient").get("id") != patient_id:
        raise DamagedFileError("the file speaks of another patient", where, REMEDY)
    return tables


def update_patient(database: "TinyDB", patient: "Patient") -> tuple["Patient", bool]:
    """The details saved over the revision that was read, and whether the same were saved over it already.

    Raises:
        ConflictError: Someone else saved first.
    """
    saved, stood = updated(patient_of(tables_of(database)), patient)
    if not stood:
        put_patient(database, saved)
    return saved, stood


def updated(stored: "Patient", patient: "Patient") -> tuple["Patient", bool]:
    """The details as the next revision of those stored, and whether they are stored as that already.

    Raises:
        ConflictError: Someone else saved first.
    """
    from wardexam.exam.examination import Patient

    saved = Patient.model_validate(
        patient.model_dump(mode="json") | {"revision": patient.revision + 1}
    )
    if stored != saved and stored.revision != patient.revision:
        raise ConflictError(stored)
    return saved, stored == saved


def revisions_of(tables: Tables, examination_id: str) -> list["Examination"]:
    """Every stored revision of one examination, first to last; no other record is read."""
    records = [
        r
        for r in records_of(tables, "examinations")
        if not isinstance(r, StoredRecord) or r.mentions(examination_id)
    ]
    found = [examination_of(r) for r in records if r.get("id") == examination_id]
    return sorted(found, key=lambda e: e.revision)


def all_revisions(tables: Tables) -> list["Examination"]:
    """Every stored revision: examinations in the order in which they were saved, each with its revisions.

    A clock may have been wrong on any day; what was saved after what is never in doubt.
    """
    return in_order([examination_of(r) for r in records_of(tables, "examinations")])


def sheets_of(tables: Tables) -> list["KeptSheet"]:
    """Every stored revision of every cord injury sheet, in the order saved.

    Raises:
        DamagedFileError: One is not valid.
    """
    records = records_of(tables, "sheets")
    if not records:
        return []
    from wardexam.injury.kept import KeptSheet

    return [_made(KeptSheet, r) for r in records]


def insert_sheet(database: "TinyDB", kept: "KeptSheet") -> "KeptSheet":
    """The sheet added, as it is stored; the same one again changes nothing.

    Raises:
        InputError: Another text is stored as this revision, or the one before it is not the last.
    """
    stored, fresh = sheet_before(sheets_of(tables_of(database)), kept)
    if fresh:
        database.table("sheets").insert(kept.model_dump(mode="json"))
    return stored


def sheet_before(stored: Sequence["KeptSheet"], kept: "KeptSheet") -> tuple["KeptSheet", bool]:
    """What a save of a sheet over those stored gives, and whether it is to be added.

    Raises:
        InputError: Another text is stored as this revision, or the one before it is not the last.
    """
    own = [s for s in stored if s.id == kept.id]
    same = next((s for s in own if s.revision == kept.revision), None)
    if same is not None:
        if same.unsigned == kept.unsigned:
            return same, False
        raise InputError("is saved already", kept.id, "look at it, and amend it again")
    if kept.revision != len(own) + 1:
        raise InputError("its revision before is not saved", kept.id)
    return kept, True


def in_order(revisions: Sequence["Examination"]) -> list["Examination"]:
    """Revisions by their examination, in the order in which each was first given, and by number."""
    place: dict[str, int] = {}
    for e in revisions:
        place.setdefault(e.id, len(place))
    return sorted(revisions, key=lambda e: (place[e.id], e.revision))


def insert(
    database: "TinyDB", examination: "Examination", summary: Summary | None
) -> "Examination":
    """The examination added, as it is stored; the same one again changes nothing.

    Raises:
        InputError: Another text is stored as this revision.
    """
    tables = tables_of(database)
    if stored := saved_already(revisions_of(tables, examination.id), examination):
        return stored
    meta = meta_with(row_of(tables), _last_id(tables), examination, summary)
    database.table("examinations").insert(examination.model_dump(mode="json"))
    _put_only(database, "meta", meta)
    return examination


def saved_already(
    revisions: Sequence["Examination"], examination: "Examination"
) -> "Examination | None":
    """The stored revision that says the same already; None where this one is not stored.

    Raises:
        InputError: Another text is stored as this revision.
    """
    stored = next((e for e in revisions if e.revision == examination.revision), None)
    if stored and unsigned(stored) != unsigned(examination):
        raise InputError("is saved already", examination.id, "amend it instead")
    return stored


def meta_with(
    seen: Mapping[str, Any], last: str, examination: "Examination", summary: Summary | None
) -> dict[str, Any]:
    """What ``meta`` says once an examination is added.

    Args:
        seen: What the ward list says before.
        last: The examination saved last of those that count, whichever has been amended since; empty before the first.
        examination: The one that is added.
        summary: What the ward list shall show of it.
    """
    first_revision = examination.revision == 1
    fresh = asdict(summary) if summary else None
    in_order = not seen["last_at"] or examination.at >= datetime.fromisoformat(seen["last_at"])
    # Where clock and order disagree, or an earlier examination is amended, nothing may read calmer.
    calm = (first_revision and in_order) or examination.id == last
    return {
        "summary": fresh if calm else _graver(seen["summary"], fresh),
        "last_at": examination.at.isoformat() if first_revision else seen["last_at"],
        "last_by": examination.examiner if first_revision else seen["last_by"],
        "examinations": seen["examinations"] + first_revision,
    }


def outcomes_of(tables: Tables) -> tuple["Outcome", ...]:
    """Every revision of what it was in the end, first to last; none in a file of before.

    Raises:
        DamagedFileError: One is not valid.
    """
    records = records_of(tables, "outcomes")
    if not records:
        return ()
    from wardexam.exam.outcome import Outcome

    return tuple(sorted((_made(Outcome, r) for r in records), key=lambda o: o.revision))


def concluded(stored: "Sequence[Outcome]", outcome: "Outcome") -> "Outcome | None":
    """The last stored revision where it says the same already; None where the outcome is the next one.

    Raises:
        ConcludedMeanwhileError: It was made from a revision that is not the last any more.
    """
    last = stored[-1] if stored else None
    if last and last.said == outcome.said:
        return last
    if outcome.revision != (last.revision if last else 0) + 1:
        raise ConcludedMeanwhileError(last)
    return None


def unsigned(examination: "Examination") -> "Examination":
    """The examination as it was entered: what must be the same for it to be the same.

    Without who saved it, and what saving made of it: what was raised, what the tool suggested, and which acts do
    not hold any more.
    """
    acts = tuple(a.model_copy(update={"ended": ""}) for a in examination.acts)
    return examination.model_copy(
        update={"saved_by": "", "raised": None, "reading": None, "acts": acts}
    )


def is_last_said(stored: Sequence["Examination"], drafted: "Examination") -> bool:
    """Whether what a draft says is what the last stored revision says, whichever number that has."""
    same = {"revision": 1, "amendment": None, "in_error": False}
    return bool(stored) and unsigned(stored[-1]).model_copy(update=same) == unsigned(
        drafted
    ).model_copy(update=same)


def _graver(one: dict[str, Any] | None, other: dict[str, Any] | None) -> dict[str, Any] | None:
    """The summary that says more; the first where both say the same."""
    return max(filter(None, (one, other)), key=lambda s: int(s["urgency"]), default=None)


def _last_id(tables: Tables) -> str:
    """The examination saved last of those that count, whichever has been amended since; empty before the first."""
    errors: set[str] = set()
    seen: set[str] = set()
    for record in reversed(records_of(tables, "examinations")):
        name = str(record.get("id", ""))
        if name not in seen and is_error(record):
            errors.add(name)
        seen.add(name)
        if record.get("revision") == 1 and name not in errors:
            return name
    return ""


def is_error(record: Record) -> bool:
    """Whether a record says that its examination was entered in error, off its line where it lies in a file."""
    if isinstance(record, StoredRecord):
        return _IN_ERROR in record.raw
    return record.get("in_error") is True


def amended(
    stored: Sequence["Examination"],
    examination: "Examination",
    by: str,
    why: str,
    at: datetime,
) -> "Examination":
    """The examination as the next of the stored revisions; the last one when that says the same already.

    Raises:
        InputError: It was entered in error.
        AmendedMeanwhileError: It was made from a revision that is not the last any more.
    """
    if not stored:
        raise InputError("is not saved yet", where=examination.id)
    last = stored[-1]
    if last.in_error:
        raise InputError(
            "this examination was entered in error and is amended no more",
            examination.id,
            "take that back first, or examine anew",
        )
    own = {"revision": last.revision, "amendment": last.amendment, "saved_by": last.saved_by}
    same = examination.model_copy(update=own)
    again = unsigned(same) == unsigned(last)
    if last.amendment and again and (last.amendment.by, last.amendment.why) == (by, why):
        return last
    if examination.revision != last.revision:
        raise AmendedMeanwhileError(last)
    return _behind(last, examination, by, why, at, in_error=False)  # only `marked` says so


def marked(
    stored: Sequence["Examination"],
    examination: "Examination",
    by: str,
    why: str,
    at: datetime,
    *,
    in_error: bool,
) -> "Examination":
    """The next of the stored revisions, which says that it was entered in error or takes that back; the last one where that says it already.

    Raises:
        InputError: No words say why, or too many, or it is so already.
        AmendedMeanwhileError: It was made from a revision that is not the last any more.
    """
    from wardexam.exam.in_error import fault_of_why

    if not stored:
        raise InputError("is not saved yet", where=examination.id)
    if fault := fault_of_why(why):
        raise InputError(f"not said why: {fault}", examination.id, "nothing was changed")
    last = stored[-1]
    if last.in_error == in_error:
        if last.amendment and (last.amendment.by, last.amendment.why) == (by, why):
            return last
        said = "is marked as entered in error already" if in_error else "is not marked as entered in error"  # fmt: skip
        raise InputError(said, examination.id, "nothing was changed")
    if examination.revision != last.revision:
        raise AmendedMeanwhileError(last)
    return _behind(last, last, by, why, at, in_error=in_error)


def _behind(
    last: "Examination", found: "Examination", by: str, why: str, at: datetime, *, in_error: bool
) -> "Examination":
    """The revision that follows the last one: what is found in it, and who made it, when and why."""
    from wardexam.exam.examination import Amendment, Examination

    document = found.model_dump(mode="json") | {
        "revision": last.revision + 1,
        "saved_by": by,
        "amendment": Amendment(by=by, at=at, why=why).model_dump(mode="json"),
        "in_error": in_error,
    }
    return Examination.model_validate(document)


def mark_event(*, in_error: bool) -> str:
    """What the trail calls it that an examination is marked as entered in error, or that this is taken back."""
    return "entered in error" if in_error else "valid again"


def put_marked(database: "TinyDB", examination: "Examination") -> None:
    """A revision that `marked` gave, added; what the ward list shows is for the caller, see `list_marked`."""
    database.table("examinations").insert(examination.model_dump(mode="json"))


def list_marked(database: "TinyDB", summary: Summary | None) -> None:
    """Have the ward list say what stands once an examination counts no more, or counts again."""
    shown = asdict(summary) if summary else None
    _put_only(database, "meta", fresh_meta(all_revisions(tables_of(database)), shown))


def _meta(tables: Tables) -> dict[str, Any]:
    """What ``meta`` says; found from the examinations where an earlier schema did not write it."""
    meta = dict(first(tables, "meta"))
    if set(META) <= set(meta):
        return meta
    return fresh_meta(all_revisions(tables), meta.get("summary"))


def fresh_meta(
    revisions: Sequence["Examination"], summary: dict[str, Any] | None
) -> dict[str, Any]:
    """What ``meta`` should say of these revisions, in the order saved, with the summary of the last that counts."""
    latest = {e.id: e for e in sorted(revisions, key=lambda e: e.revision)}
    order = [name for name in dict.fromkeys(e.id for e in revisions) if not latest[name].in_error]
    last = latest[order[-1]] if order else None
    return {
        "summary": summary,
        "last_at": last.at.isoformat() if last else None,
        "last_by": last.examiner if last else "",
        "examinations": len(order),
    }


def what_of(examination: "Examination") -> str:
    """What the trail says of a saved examination: which, its revision, and who entered it."""
    entered = ", ".join(dict.fromkeys((examination.examiner, *examination.entered_by)))
    return f"{examination.id} {examination.revision}, entered by {entered}"


def what_of_sheet(kept: "KeptSheet") -> str:
    """What the trail says of a saved cord injury sheet."""
    return f"cord injury sheet {kept.id} {kept.revision}, scored by {kept.examiner}"


def row_of(tables: Tables, mark: str = "", where: str = "") -> dict[str, Any]:
    """The patient's row in the ward list's index.

    Raises:
        DamagedFileError: The tables are not a patient's.
    """
    fields = ("bed", "name", "age", "sex", "recheck_hours", "discharged")
    try:
        patient, meta = first(tables, "patient"), _meta(tables)
        row = {
            "patient_id": patient["id"],
            **{field: patient[field] for field in fields},
            **{field: meta[field] for field in META},
            "reason": patient.get("remark", ""),
        }
        Bed.from_json(row)
    except (KeyError, TypeError, ValueError, AttributeError):
        raise DamagedFileError("the file is not a patient's", where, REMEDY) from None
    return {**row, "mark": mark}


def may_be_erased(why: str, *, known: bool, here: bool, held: bool, whose: str) -> None:
    """Whether a patient may be erased.

    Args:
        why: The reason that is given.
        known: Whether anything is stored of the patient.
        here: Whether the patient is on the ward.
        held: Whether somebody is writing a draft of the patient.
        whose: The patient.

    Raises:
        InputError: There is nothing to erase, no reason, or the patient is on the ward.
        RecordsError: Somebody is examining the patient.
    """
    if not known:
        raise InputError("no such patient", whose, "'wardexam beds --discharged' lists them")
    if not why.strip():
        raise InputError("a reason is needed", whose, "say why; the audit trail keeps it")
    if here:
        raise InputError("is on the ward", whose, "discharge first; nothing was erased")
    if held:
        raise RecordsError("is being examined", whose, "nothing was erased; try again later")
