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
from wardexam.records.ward import Summary, Ward, latest

HEAD = {"archive": "wardexam", "version": 1}
LONGEST_LINE = 20_000_000  # bytes


@dataclass(frozen=True, slots=True)
class Counts:
    """How many patients and examinations an archive holds."""

    patients: int
    examinations: int


def _ids(ward: Ward) -> list[str]:
    return sorted(b.patient_id for d in (False, True) for b in ward.beds(discharged=d))


def write_archive(ward: Ward, patients: list[str] | None = None) -> Iterator[str]:
    """The archive, line by line."""
    yield json.dumps(HEAD, sort_keys=True) + "\n"
    for patient_id in patients or _ids(ward):
        revisions = [
            r for e in ward.examinations(patient_id) for r in ward.revisions(patient_id, e.id)
        ]
        row = {
            "patient": ward.patient(patient_id).model_dump(mode="json"),
            "examinations": [e.model_dump(mode="json") for e in revisions],
        }
        yield json.dumps(row, sort_keys=True) + "\n"


def write_csv(ward: Ward, patients: list[str] | None = None) -> Iterator[str]:
    """Findings as CSV: a row each, with the opaque patient and examination identifiers."""

    def line(cells: list[str]) -> str:
        text = io.StringIO()
        # A leading sign would be read as a formula by a spreadsheet.
        csv.writer(text, lineterminator="\n").writerow(
            [f"'{c}" if c[:1] in ("=", "@") else c for c in cells]
        )
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
            row: Any = json.loads(line)
            if number == 1:
                if row != HEAD:
                    raise InputError("this is not a wardexam archive of version 1", where=where)
                continue
            patient = Patient.model_validate(row["patient"])
            examinations = [Examination.model_validate(e) for e in row["examinations"]]
        except ValidationError as error:
            raise InputError(first_fault(error), where=where) from None
        except (ValueError, KeyError, TypeError, RecursionError):
            raise InputError("not a line of an archive", where=where) from None
        if any(e.patient != patient.id for e in examinations):
            raise InputError("an examination belongs to another patient", where=where)
        yield patient, examinations


def read_archive(
    ward: Ward,
    source: BinaryIO,
    *,
    by: str,
    dry_run: bool = False,
    progress: Callable[[int], None] | None = None,
    summary: Callable[[Sequence[Examination]], Summary | None] = lambda _: None,
) -> Counts:
    """Add an archive to the ward: everything is validated before anything is written.

    `summary` makes what the ward list shows of a patient, from the latest revisions, oldest first.

    Raises:
        InputError: A line is not acceptable or a patient is on the ward already; nothing was added.
    """
    rows = list(_parsed(source))
    known = set(_ids(ward))
    for patient, _ in rows:
        if patient.id in known:
            raise InputError("is on the ward already; nothing was added", where=patient.id)
        known.add(patient.id)
    if not dry_run:
        for number, (patient, examinations) in enumerate(rows, 1):
            ward.take_in(patient, examinations, by, summary(latest(examinations)))
            if progress:
                progress(number)
    return Counts(len(rows), sum(len(e) for _, e in rows))
