"""Levels and limits of urgency in words, the same for every paper and list: how urgent, by when, how far that is passed."""

import math
from collections.abc import Callable
from datetime import datetime, time, timedelta

from wardexam.exam.moments import clock, moment, there
from wardexam.exam.text import clean
from wardexam.reasoning.rules.deadlines import limits, overdue
from wardexam.reasoning.rules.reason import Reason, Urgency
from wardexam.reasoning.rules.rule_table import TODAY, WORDS, in_time
from wardexam.records.repository import Summary

LATE = "OVERDUE"
HOURS, DAYS = 100, 24
_MINUTES = 60


def until(at: datetime, beside: datetime) -> str:
    """When a limit ends, as `moment`; midnight ends its day, ``4 Mar 24:00``, and does not begin the next."""
    moved = there(at, beside)
    if moved.time() == time() and moved.replace(tzinfo=None) - datetime.min > timedelta(days=1):
        return moment(at - timedelta(minutes=1), beside).replace("23:59", "24:00")
    return moment(at, beside)


def span(minutes: float) -> str:
    """A span in few words, its whole units: ``20 min``, ``2 h``, ``5 d``; of a negative one, how late, a unit that has begun counts."""
    whole = math.floor(minutes)
    if abs(whole) < _MINUTES:
        return f"{abs(whole)} min"
    hours = whole // _MINUTES
    return f"{abs(hours)} h" if abs(hours) < HOURS else f"{abs(hours // DAYS)} d"


def rounded(hours: float, of_hours: str) -> str:
    """A number of hours as `span` has it in at most three digits, behind it what an hour is called; of more, days: ``99h``, ``4d``."""
    whole = math.floor(hours)
    return f"{abs(whole)}{of_hours}" if abs(whole) < HOURS else f"{abs(whole // DAYS)}d"


def _in_hours(limit: timedelta) -> str:
    return span(limit.total_seconds() / _MINUTES)


def late_words(late: timedelta) -> str:
    """How far a limit is passed: ``OVERDUE 2 h``; an hour that has begun counts, so that it is never said to be less."""
    return f"{LATE} {span(min(-1, -late // timedelta(minutes=1)))}"


def deadline(
    due: datetime | None,
    beside: datetime,
    now: datetime | None = None,
    say: Callable[[datetime, datetime], str] = clock,
) -> str:
    """By when, with the clock: ``due 18:10``, or ``OVERDUE 2 h, was due 18:10``; empty where none runs.

    Args:
        due: When the limit ends.
        beside: The time beside which it is read.
        now: What the clock says; without it a limit that is passed is not said to be.
        say: How a time is said: `clock` on a screen, `until` on a paper.
    """
    if due is None:
        return ""
    late = overdue(due, now) if now else None
    if late is not None:
        return f"{late_words(late)}, was due {say(due, beside)}"
    return f"due {say(due, beside)}"


def running(summary: Summary, now: datetime, *, step: bool = True) -> str:
    """The clock that runs, for a list: ``due 18:10 MRI asked 14:10``, ``OVERDUE 2 h MRI asked 14:10``."""
    due = summary.due_at
    said = deadline(due, now, now).partition(",")[0]
    return f"{said} {clean(summary.step)}".rstrip() if step and said else said


def after_midnight(due: datetime | None, beside: datetime | None) -> bool:
    """Whether a time is on a later day than that beside which it is read; not where either is not known."""
    if due is None or beside is None:
        return False
    return there(due, beside).date() > beside.date()


def limit_words(reason: Reason, beside: datetime | None) -> str:
    """The limit in words; ``today`` as the span that it stands for where it ends after midnight."""
    if in_time(reason.by) == WORDS[TODAY] and after_midnight(reason.due, beside):
        return f"within {_in_hours(limits()[reason.by])}"
    return in_time(reason.by)


def level_of(reason: Reason, beside: datetime | None) -> str:
    """The level of a reason; in the place of ``today`` its limit where that ends after midnight."""
    if reason.urgency == TODAY and after_midnight(reason.due, beside):
        return limit_words(reason, beside)
    return WORDS[reason.urgency]


def when(reason: Reason, beside: datetime | None) -> str:
    """The urgency of a reason and its limit: ``now, within 4 h``; ``within 12 h`` for today after midnight."""
    word, limit = level_of(reason, beside), limit_words(reason, beside)
    return word if word == limit or reason.lowered else f"{word}, {limit}"


def level_word(urgency: Urgency, beside: datetime) -> str:
    """The urgency in one word, or the limit where all that is to be done today ends after midnight."""
    word = urgency.word
    gravest = [level_of(r, beside) for r in urgency.reasons if r.urgency == urgency.level]
    if urgency.level != TODAY or WORDS[TODAY] in gravest:
        return word
    return gravest[0] if gravest else word


def listed_word(summary: Summary, now: datetime, word: str) -> str:
    """The level as a list says it; in the place of ``today`` its span, ``12 h``, where what is due is due after midnight."""
    due = summary.due_at
    if summary.urgency != TODAY or due is None or not after_midnight(due, now):
        return word
    least = max(limits()[WORDS[TODAY]], due - now)
    return _in_hours(next((limit for limit in limits().values() if limit >= least), least))
