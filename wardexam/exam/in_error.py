"""Examinations entered in error: kept and shown as such, and counted nowhere.

One is left out where the examinations of a stay are given, and so by everybody who takes them from there. What was
done about a reason goes with the examination it was written on, and a reason with the one that raised it first, wherever
a later one carried it.
"""

import itertools
from collections.abc import Iterable

from wardexam.exam.acts import Raised
from wardexam.exam.examination import Amendment, Examination, Patient
from wardexam.exam.identity import full
from wardexam.exam.text import clean

LONGEST_WHY = 120  # characters of the words that say why
IN_CAPITALS = "ENTERED IN ERROR"


def error_line(said: Amendment) -> str:
    """What stands first on every paper of such an examination: that it is one, why, who says so and when."""
    why = clean(said.why).strip().rstrip(".")
    return (
        f"{IN_CAPITALS}: {why}. Not valid; so marked {said.at:%Y-%m-%d %H:%M} by {clean(said.by)}."
    )


def marked_by(examination: Examination, last: Amendment | None) -> Amendment | None:
    """Who says that an examination was entered in error: its last revision where that is known, else this one; None where it counts."""
    return last or (examination.amendment if examination.in_error else None)


def fault_of_why(why: str) -> str:
    """What is wrong with the words that say why; empty where nothing is."""
    if not why.strip():
        return "Words that say why are needed, such as wrong patient."
    if len(why.strip()) > LONGEST_WHY:
        return f"More than {LONGEST_WHY} letters: say it shorter."
    return ""


def marking(patient: Patient, examination: Examination) -> tuple[str, tuple[str, str], str]:
    """What is asked before an examination is marked as entered in error, or that is taken back.

    Returns:
        The question; of whom and of which examination it is asked; and what is said once it is done.
    """
    about = (
        f"{full(patient)}, bed {clean(patient.bed)}",
        f"examination of {examination.at.day} {examination.at:%b %Y %H:%M} by {clean(examination.by_whom)}",
    )
    if examination.in_error:
        return "It counts again. Why?", about, "It counts again."
    asked = "Entered in error, it counts no more. Why, such as wrong patient?"
    return asked, about, "Marked as entered in error. It counts no more; nothing of it is lost."


def counting(latest: Iterable[Examination]) -> tuple[Examination, ...]:
    """The examinations that count, of the last revisions of a stay."""
    every = tuple(latest)
    return tuple(without_errors(e, every) for e in every if not e.in_error)


def without_errors(examination: Examination, every: Iterable[Examination]) -> Examination:
    """An examination without what was done on one entered in error, and what that raised, as far as it has carried both.

    What an act had brought down stands as high again as it stood in the stay: nothing is calmer for what does not count.
    A reason that one entered in error raised first stands since the first that counts and carried it, and says so: it
    holds by what else was found, not by having been kept. One that it had ended stands since it stood before. The tool's
    own alarm, of which no finding tells that, is left out only where nothing that counts was abnormal until then.

    Args:
        examination: One that counts.
        every: The last revisions of its stay in the order saved, those entered in error too.
    """
    stay = tuple(every)
    errors = [e for e in stay if e.in_error]
    void = {act.same for e in errors for act in e.acts}
    begun = {(r.rule, r.since) for e in errors for r in e.raised or ()}
    behind = {e.at for before, e in itertools.pairwise(stay) if before.in_error}
    own = examination.id in {e.id for e in errors}  # its own papers say what was raised
    rows = (
        _counted(r, examination, stay)
        if not own and ((r.rule, r.since) in begun or r.since in behind)
        else r
        for r in examination.raised or ()
    )
    kept = tuple(_without(r, void, stay) for r in rows if r)
    return examination if kept == (examination.raised or ()) else examination.model_copy(update={"raised": kept})  # fmt: skip


def _counted(row: Raised, examination: Examination, stay: tuple[Examination, ...]) -> Raised | None:
    """A kept reason, which one entered in error carried too or stood before, as it counts; None where it does not."""
    carrying = [e for e in stay if any((r.rule, r.since) == (row.rule, row.since) for r in e.raised or ())]  # fmt: skip
    if not carrying:  # it was counted already
        return row
    if not carrying[0].in_error:  # had it stood before, one entered in error has ended it
        before = [*itertools.takewhile(lambda e: e.id != carrying[0].id, stay)]
        last = next((e for e in reversed(before) if not e.in_error), None)
        stood = next((r for r in (last and last.raised) or () if r.rule == row.rule), None)
        if stood is None or last is before[-1]:
            return row
        return _counted(row.model_copy(update={"since": stood.since}), examination, stay)
    until = itertools.takewhile(lambda e: e.id != examination.id, stay)
    abnormal = any(f.abnormal for e in (*until, examination) if not e.in_error for f in e.findings)
    if row.text and not abnormal:
        return None
    since = next((e.at for e in carrying if not e.in_error), examination.at)
    return row.model_copy(update={"since": since, "by_error": True})


def _without(row: Raised, void: set[tuple[str, ...]], stay: tuple[Examination, ...]) -> Raised:
    kept = tuple(act for act in row.acts if act.same not in void)
    if len(kept) == len(row.acts):
        return row
    told = [r for e in stay for r in e.raised or () if r.rule == row.rule]
    highest = max(told, key=lambda r: r.level, default=row)
    if highest.level <= row.level:
        return row.model_copy(update={"acts": kept})
    words = {"level": highest.level, "text": highest.text, "region": highest.region}
    return row.model_copy(update={"acts": kept, **words})
