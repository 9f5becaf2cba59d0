"""The command that records what it was in the end, or prints it."""

import argparse
import textwrap
from typing import TYPE_CHECKING

from wardexam.commands import edge
from wardexam.commands.whose import also_discharged
from wardexam.errors import InputError

if TYPE_CHECKING:
    from wardexam.exam.examination import Patient
    from wardexam.records.repository import Repository


WIDTH = 80
HINT = "Paste the outcomes, CSV or a JSON object a line; end with Ctrl-D."


def sites() -> str:
    """The sites that may be named, in lines for the help."""
    from wardexam.exam.final_sites import FINAL_SITES

    return textwrap.fill(f"sites: {', '.join(FINAL_SITES)}", 78, subsequent_indent="       ")


def outcome(options: argparse.Namespace) -> int:
    """Record a patient's outcome, or those of a file, or print what is recorded."""
    from wardexam.review.concluding import FIELDS

    given = {name: edge.kept_words(getattr(options, name) or "") for name in FIELDS}
    if options.file is not None:
        if options.patient or any(given.values()):
            raise InputError("a file names its patients and what is said of them", "--file")
        return _from_file(options)
    if not options.patient:
        raise InputError("say whose outcome it is", remedy="'wardexam beds' lists patients")
    if options.dry_run:
        raise InputError("--dry-run goes with --file")
    ward = edge.ward(options)
    whose = also_discharged(ward, options.patient)
    if any(given.values()):
        return _record(options, ward, whose, given)
    return _print(options, ward, whose)


def _who(patient: "Patient") -> str:
    """Whose outcome it is, before anything is said of it: bed, name, number and birth date."""
    from wardexam.exam.identity import full
    from wardexam.exam.text import clean, held, released

    left = ", discharged" if patient.discharged else ""
    said = f"{clean(patient.bed)} {full(patient, unbroken=True)}{held(left)}"
    return "".join(f"{released(row)}\n" for row in textwrap.wrap(said, WIDTH - 1))


def _record(
    options: argparse.Namespace, ward: "Repository", whose: str, given: dict[str, str]
) -> int:
    from wardexam.review.concluding import check_image, concluded, outcome_lines, still_said

    by = edge.examiner(options)
    file = ward.file(whose)
    stored = file.outcomes
    last = stored[-1] if stored else None
    made = concluded(given, whose, last, by, edge.now())
    doubt = check_image(made, last, file.patient, file.examinations)
    kept = ward.conclude(made, by)
    edge.put(_who(file.patient))
    said = "Recorded" if kept.revision == made.revision else "Recorded already"
    edge.put(f"{said}, revision {kept.revision}.\n")
    edge.put("".join(f"  {edge.on_one_line(line)}\n" for line in outcome_lines(kept)))
    if stays := still_said(given, last, kept):
        edge.put(
            f"  Not said anew, stays: {', '.join(stays)}\n  (a dash takes one away: --{stays[0]} -)\n"
        )
    if given["why"] and kept.revision != made.revision:
        edge.put("  The reason was not kept: nothing else is said anew.\n")
    if doubt:
        edge.remark(doubt)
    return 0


def _print(options: argparse.Namespace, ward: "Repository", whose: str) -> int:
    from wardexam.review.concluding import outcome_lines

    file = ward.file(whose)
    stored = file.outcomes
    ward.record("viewed", whose, edge.examiner(options), "outcome")
    edge.put(_who(file.patient))
    if not stored:
        edge.put("No outcome is recorded.\n")
    for each in stored:
        head = f"Revision {each.revision} of {len(stored)}\n" if len(stored) > 1 else ""
        edge.put(head + "".join(f"  {edge.on_one_line(line)}\n" for line in outcome_lines(each)))
    return 0


def _from_file(options: argparse.Namespace) -> int:
    """Record the outcomes of a file: none where a row is wrong."""
    from wardexam.commands.sheets import whole
    from wardexam.exam.text import counted
    from wardexam.review.outcome_file import staged

    ward, by = edge.ward(options), edge.examiner(options)
    text, name = whole(options.file, HINT)
    try:
        found = staged(
            ward, text, whose=lambda given: also_discharged(ward, given), by=by, now=edge.now()
        )
    except InputError as error:
        raise InputError(error.what, error.where or name, error.remedy) from None
    for doubt in found.doubts:
        edge.complain(doubt)
    made = found.outcomes
    words = counted(len(made), "outcome")
    there = f", {found.already} recorded already" if found.already else ""
    if options.dry_run:
        edge.put(f"{words} would be recorded{there}\n")
        return 0
    if made:
        ward.conclude_all(made, by, lambda number: edge.progress(f"recorded: {number} of {words}"))
    edge.progress("")
    edge.put(f"{words} recorded{there}\n")
    return 0
