"""What papers say of a cord injury sheet that urgency has not heard of, the same on each: one sentence."""

from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING

from wardexam.exam.examination import Examination
from wardexam.exam.moments import moment
from wardexam.exam.text import clean, counted

if TYPE_CHECKING:
    from wardexam.injury.kept import KeptSheet


def unheard(sheets: "Iterable[KeptSheet]", last: Examination | None) -> "list[KeptSheet]":
    """The sheets, in their last revisions, whose scores urgency has not heard of.

    They are no older than the examination saved last, and not all their signs stand in it as they were
    scored; without an examination all are. A sheet that an examination followed is left to that examination.

    Args:
        sheets: Every revision of a patient's sheets, in the order saved.
        last: The examination saved last, in its last revision.
    """
    revisions = {s.id: s for s in sheets}
    if last is None:
        return [*revisions.values()]
    return [s for s in revisions.values() if _written(s) >= last.at and not _stands_in(s, last)]


def line(sheets: "Iterable[KeptSheet]", last: Examination | None, beside: datetime) -> str:
    """The sheet that urgency has not heard of, when and by whom, with its levels and scale; empty without one.

    Args:
        sheets: Every revision of a patient's sheets, in the order saved.
        last: The examination saved last.
        beside: The time beside which the paper is read.
    """
    left = unheard(sheets, last)
    if not left:
        return ""
    from wardexam.injury.computed import compute
    from wardexam.injury.worksheet import in_few_words

    *others, kept = left
    when = "after this examination" if last else "no examination saved"
    found = in_few_words(compute(kept.sheet, deciding=False))
    more = f"; so {counted(len(others), 'sheet')} before it" if others else ""
    who = f"Cord injury sheet of {moment(_written(kept), beside)} by {clean(kept.examiner)}"
    return f"{who}, {when}: {found}; not in the urgency above{more}."


def _written(kept: "KeptSheet") -> datetime:
    """When its last revision was written."""
    return kept.amendment.at if kept.amendment else kept.at


def _stands_in(kept: "KeptSheet", last: Examination) -> bool:
    """Whether every sign that the scores give stands in an examination; not where they give none."""
    from wardexam.injury.signs import as_signs

    signs = as_signs(kept.sheet).findings
    held = {(f.sign, f.side): f.answer for f in last.findings}
    return bool(signs) and all(held.get((f.sign, f.side)) == f.answer for f in signs)
