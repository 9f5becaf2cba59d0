"""The command that records what it was in the end, or prints it."""

import argparse
from typing import TYPE_CHECKING

from wardexam.commands import edge
from wardexam.commands.whose import identifier
from wardexam.errors import InputError

if TYPE_CHECKING:
    from wardexam.records.ward import Ward


HINT = "Paste the outcomes, CSV or a JSON object a line; end with Ctrl-D."


def sites() -> str:
    """The sites that may be named, in lines for the help."""
    import textwrap

    from wardexam.exam.final_sites import FINAL_SITES

    return textwrap.fill(f"sites: {', '.join(FINAL_SITES)}", 78, subsequent_indent="       ")


def outcome(options: argparse.Namespace) -> int:
    """Record a patient's outcome, or those of a file, or print what is recorded."""
    from wardexam.review.concluding import FIELDS

    given = {name: str(getattr(options, name) or "") for name in FIELDS}
    if options.file is not None:
        if options.patient or any(given.values()):
            raise InputError("a file names its patients and what is said of them", "--file")
        return _from_file(options)
    if not options.patient:
        raise InputError("say whose outcome it is", remedy="'wardexam beds' lists patients")
    if options.dry_run:
        raise InputError("--dry-run goes with --file")
    ward = edge.ward(options)
    whose = identifier(ward, options.patient)
    if any(given.values()):
        return _record(options, ward, whose, given)
    return _print(options, ward, whose)


def _record(options: argparse.Namespace, ward: "Ward", whose: str, given: dict[str, str]) -> int:
    from wardexam.review.concluding import concluded, outcome_lines

    by = edge.examiner(options)
    stored = ward.outcomes(whose)
    made = concluded(given, whose, stored[-1] if stored else None, by, edge.now())
    kept = ward.conclude(made, by)
    said = "Recorded" if kept.revision == made.revision else "Recorded already"
    edge.put(f"{said}, revision {kept.revision}.\n")
    edge.put("".join(f"  {edge.on_one_line(line)}\n" for line in outcome_lines(kept)))
    return 0


def _print(options: argparse.Namespace, ward: "Ward", whose: str) -> int:
    from wardexam.review.concluding import outcome_lines

    stored = ward.outcomes(whose)
    ward.record("viewed", whose, edge.examiner(options), "outcome")
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
        made = staged(
            ward, text, whose=lambda given: identifier(ward, given), by=by, now=edge.now()
        )
    except InputError as error:
        raise InputError(error.what, error.where or name, error.remedy) from None
    words = counted(len(made), "outcome")
    if options.dry_run:
        edge.put(f"{words} would be recorded\n")
        return 0
    ward.conclude_all(made, by, lambda number: edge.progress(f"recorded: {number} of {words}"))
    edge.progress("")
    edge.put(f"{words} recorded\n")
    return 0
