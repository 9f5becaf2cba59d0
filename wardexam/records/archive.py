"""A ward or a patient as JSON Lines, in and out; findings as CSV for audit.

Line 1 is ``{"archive": "wardexam", "version": 1}``. Every further line is
``{"patient": {...}, "examinations": [{...}, ...]}`` with every revision, sorted by identifier, keys
sorted, so that what is read in and written out again is the same to the byte.
"""

import csv
import io
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, BinaryIO

from pydantic import ValidationError

from wardexam.errors import InputError
from wardexam.exam.entry import first_fault
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.text import clean
from wardexam.records.kept import strict_loads
from wardexam.records.repository import Arrival, Repository, Summary

HEAD = {"archive": "wardexam", "version": 1}
LONGEST_LINE = 20_000_000  # bytes


@dataclass(frozen=True, slots=True)
class Counts:
    """How many patients and examinations an archive holds."""

    patients: int
    examinations: int


def _ids(ward: Repository) -> list[str]:
    return sorted(b.patient_id for d in (False, True) for b in ward.beds(discharged=d))


def write_archive(ward: Repository, patients: list[str] | None = None) -> Iterator[str]:
    """The archive, line by line."""
    yield json.dumps(HEAD, sort_keys=True) + "\n"
    for patient_id in patients or _ids(ward):
        revisions = [
            r
            for e in ward.examinations(patient_id)
            for r in (ward.revisions(patient_id, e.id) if e.revision > 1 else (e,))
        ]
        row = {
            "patient": ward.patient(patient_id).model_dump(mode="json"),
            "examinations": [e.model_dump(mode="json") for e in revisions],
        }
        yield json.dumps(row, sort_keys=True) + "\n"


def write_csv(ward: Repository, patients: list[str] | None = None) -> Iterator[str]:
    """Findings as CSV: a row each, with the opaque patient and examination identifiers."""

    def line(cells: list[str]) -> str:
        text = io.StringIO()
        # In a name, a leading sign would be read as a formula by a spreadsheet.
        cells[4] = f"'{cells[4]}" if cells[4][:1] in ("=", "@", "+", "-") else cells[4]
        csv.writer(text, lineterminator="\n").writerow(cells)
        return text.getvalue()

    yield line(
        [
            "patient",
            "examination",
            "revision",
            "at",
            "examiner",
            "sign",
            "side",
            "answer",
            "scale",
            "qualities",
            "amount",
            "not_testable",
        ]
    )
    for patient_id in patients or _ids(ward):
        for e in ward.examinations(patient_id):
            for f in e.findings:
                amount = "" if f.amount is None else str(f.amount)
                yield line(
                    [
                        patient_id,
                        e.id,
                        str(e.revision),
                        e.at.isoformat(),
                        clean(e.examiner),
                        f.sign,
                        f.side,
                        f.answer or "",
                        f.scale or "",
                        " ".join(f.qualities),
                        amount,
                        f.not_testable or "",
                    ]
                )


def _parsed(source: BinaryIO) -> Iterator[tuple[Patient, list[Examination]]]:
    number = 0
    while line := source.readline(LONGEST_LINE + 1):
        number += 1
        where = f"archive line {number}"
        if len(line) > LONGEST_LINE:
            raise InputError(f"longer than {LONGEST_LINE} bytes", where=where)
        try:
            row: Any = strict_loads(line)
            if number == 1:
                if row != HEAD:
                    raise InputError("this is not a wardexam archive of version 1", where=where)
                continue
            if set(row) != {"patient", "examinations"}:
                raise ValueError
            patient = Patient.model_validate(row["patient"])
            examinations = [Examination.model_validate(e) for e in row["examinations"]]
        except ValidationError as error:
            raise InputError(first_fault(error), where=where) from None
        except (ValueError, KeyError, TypeError):
            raise InputError("not a line of an archive", where=where) from None
        _consistent(patient, examinations, where)
        yield patient, examinations
    if not number:
        raise InputError("the archive is empty", where="archive line 1")


def _consistent(patient: Patient, examinations: list[Examination], where: str) -> None:
    seen: set[tuple[str, int]] = set()
    for e in examinations:
        if e.patient != patient.id:
            raise InputError("an examination belongs to another patient", where=where)
        if (e.id, e.revision) in seen:
            raise InputError(f"examination {e.id} revision {e.revision} is given twice", where)
        if e.revision > 1 and (e.id, e.revision - 1) not in seen:
            raise InputError(f"examination {e.id} lacks revision {e.revision - 1}", where)
        seen.add((e.id, e.revision))


def read_archive(
    ward: Repository,
    source: BinaryIO,
    *,
    by: str,
    dry_run: bool = False,
    summarise: Callable[[Sequence[Examination]], Summary | None] = lambda _: None,
    progress: Callable[[str, int], None] = lambda _, __: None,
) -> Counts:
    """Add an archive to the ward: everything is validated before anything is written.

    Args:
        ward: Where it goes.
        source: The archive; it is read twice.
        by: Who brings it in.
        dry_run: Validate and count, change nothing.
        summarise: Gives what the ward list shows of a patient's examinations.
        progress: Told "checked" or "added" and how many patients.

    Raises:
        InputError: A line is not acceptable or a patient is on the ward already; nothing was added.
    """
    start = source.tell()
    known = set(_ids(ward))
    patients = count = 0
    for patient, examinations in _parsed(source):
        if patient.id in known:
            raise InputError("is on the ward already; nothing was added", where=patient.id)
        known.add(patient.id)
        patients, count = patients + 1, count + len(examinations)
        progress("checked", patients)
    if not dry_run:
        source.seek(start)
        ward.take_in(
            (Arrival(p, tuple(es), summarise(_latest(es))) for p, es in _parsed(source)),
            by,
            lambda number: progress("added", number),
        )
    return Counts(patients, count)


def _latest(revisions: Sequence[Examination]) -> Sequence[Examination]:
    latest = {e.id: e for e in sorted(revisions, key=lambda e: e.revision)}
    return sorted(latest.values(), key=lambda e: (e.at, e.id))
