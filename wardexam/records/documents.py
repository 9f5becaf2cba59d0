"""What stands in a patient's document: tables ``patient``, ``examinations``, ``meta``.

``meta`` holds what the ward list shows, so that a save need not read every examination again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING, Any, TypeVar

from wardexam.errors import InputError
from wardexam.records.kept import REMEDY, DamagedFileError, Kept, KeptTable, Record, Tables
from wardexam.records.repository import Bed, ConflictError, Summary

if TYPE_CHECKING:
    from pydantic import BaseModel

    from wardexam.exam.examination import Examination, Patient

    Made = TypeVar("Made", bound=BaseModel)


def first(tables: Mapping[str, Mapping[str, Record]], name: str) -> Record:
    """The only record of a table; empty when there is none."""
    return next(iter(tables.get(name, {}).values()), {})


def _made(model: "type[Made]", record: Record) -> "Made":
    from pydantic import ValidationError

    from wardexam.exam.entry import first_fault

    try:
        return model.model_validate(dict(record))
    except ValidationError as error:
        where = record.where if isinstance(record, Kept) else ""
        raise DamagedFileError(
            f"a record is not valid: {first_fault(error)}", where, REMEDY
        ) from None


def patient_of(tables: Tables) -> "Patient":
    """The patient's details.

    Raises:
        DamagedFileError: They are not valid.
    """
    from wardexam.exam.examination import Patient

    return _made(Patient, first(tables, "patient"))


def put_patient(tables: Tables, patient: "Patient") -> None:
    """The patient's details, in place of those that stood there."""
    tables["patient"] = {"1": patient.model_dump(mode="json")}


def update_patient(tables: Tables, patient: "Patient") -> "Patient":
    """The details saved over the revision that was read.

    Raises:
        ConflictError: Someone else saved first.
    """
    from wardexam.exam.examination import Patient

    stored = patient_of(tables)
    if stored.revision != patient.revision:
        raise ConflictError(stored)
    saved = Patient.model_validate(
        patient.model_dump(mode="json") | {"revision": stored.revision + 1}
    )
    put_patient(tables, saved)
    return saved


def revisions_of(tables: Tables, examination_id: str) -> list["Examination"]:
    """Every stored revision of one examination, first to last; no other record is read."""
    from wardexam.exam.examination import Examination

    table = tables.get("examinations", {})
    records = table.holding(examination_id) if isinstance(table, KeptTable) else table.values()
    found = [_made(Examination, r) for r in records if r.get("id") == examination_id]
    return sorted(found, key=lambda e: e.revision)


def all_revisions(tables: Tables) -> list["Examination"]:
    """Every stored revision, oldest examination first."""
    from wardexam.exam.examination import Examination

    rows = tables.get("examinations", {}).values()
    return sorted((_made(Examination, r) for r in rows), key=lambda e: (e.at, e.id, e.revision))


def insert(tables: Tables, examination: "Examination", summary: Summary | None) -> None:
    """The examination added; the same one again changes nothing.

    Raises:
        InputError: Another text is stored as this revision.
    """
    for stored in revisions_of(tables, examination.id):
        if stored.revision == examination.revision:
            if stored == examination:
                return
            raise InputError("is saved already", examination.id, "amend it instead")
    seen = row_of(tables)
    table, document = tables.get("examinations", {}), examination.model_dump(mode="json")
    if isinstance(table, KeptTable):
        table.add(document)
    else:
        key = str(max(map(int, table), default=0) + 1)
        tables["examinations"] = {**table, key: document}
    latest = not seen["last_at"] or examination.at >= datetime.fromisoformat(seen["last_at"])
    tables["meta"] = {"1": {
        "summary": (asdict(summary) if summary else None) if latest else seen["summary"],
        "last_at": examination.at.isoformat() if latest else seen["last_at"],
        "last_by": examination.examiner if latest else seen["last_by"],
        "examinations": seen["examinations"] + (examination.revision == 1),
    }}  # fmt: skip


def amended(
    tables: Tables, examination: "Examination", by: str, why: str, at: datetime
) -> "Examination":
    """The examination as the next revision; the last one when that says the same already."""
    from wardexam.exam.examination import Amendment, Examination

    stored = revisions_of(tables, examination.id)
    if not stored:
        raise InputError("is not saved yet", where=examination.id)
    last = stored[-1]
    same = examination.model_copy(update={"revision": last.revision, "amendment": last.amendment})
    if last.amendment and same == last and (last.amendment.by, last.amendment.why) == (by, why):
        return last
    document = examination.model_dump(mode="json") | {
        "revision": last.revision + 1,
        "amendment": Amendment(by=by, at=at, why=why).model_dump(mode="json"),
    }
    return Examination.model_validate(document)


def _meta(tables: Tables) -> dict[str, Any]:
    """What ``meta`` says; found from the examinations where an earlier schema did not write it."""
    meta = dict(first(tables, "meta"))
    if {"summary", "last_at", "last_by", "examinations"} <= set(meta):
        return meta
    return fresh_meta(all_revisions(tables), meta.get("summary"))


def fresh_meta(
    revisions: Sequence["Examination"], summary: dict[str, Any] | None
) -> dict[str, Any]:
    """What ``meta`` should say of these revisions, with the summary of the last."""
    last = max(revisions, key=lambda e: (e.at, e.revision), default=None)
    return {
        "summary": summary,
        "last_at": last.at.isoformat() if last else None,
        "last_by": last.examiner if last else "",
        "examinations": len({e.id for e in revisions}),
    }


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
            **{field: meta[field] for field in ("summary", "last_at", "last_by", "examinations")},
        }
        Bed.from_json(row)
    except (KeyError, TypeError, ValueError, AttributeError):
        raise DamagedFileError("the file is not a patient's", where, REMEDY) from None
    return {**row, "mark": mark}
