"""The orders of the ward list: by bed, by urgency, by worsening, by the next examination."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from wardexam.exam.text import natural
from wardexam.records.repository import Bed

AHEAD = timedelta(minutes=5)  # what two hosts' clocks may differ by
BY_DUE = "next examination"
ORDERS = ("bed", "urgency", "worsening", BY_DUE)


def ahead(then: str | None, now: datetime) -> bool:
    """Whether a time is still to come: the clock was wrong then, or is now."""
    return then is not None and datetime.fromisoformat(then) > now + AHEAD


def ordered(beds: Iterable[Bed], order: str, now: datetime) -> tuple[Bed, ...]:
    """The beds in one of `ORDERS`, at a time."""
    keys = {
        "bed": lambda bed: (natural(bed.bed), bed.name),
        "urgency": _by_urgency,
        "worsening": lambda bed: (not (bed.summary and bed.summary.worse), *_by_urgency(bed)),
        BY_DUE: lambda bed: (_next_examination(bed, now), natural(bed.bed)),
    }
    return tuple(sorted(beds, key=keys[order]))


def _next_examination(bed: Bed, now: datetime) -> float:
    """When a bed is due for the order: first who was never examined though a schedule is set, last who has none."""
    first, never = 0.0, float("inf")
    if ahead(bed.last_at, now):
        return first
    if bed.next_at:
        return bed.next_at.timestamp()
    return first if bed.recheck_hours else never


def _rank(bed: Bed) -> float:
    """How urgent a bed is for the order: who was never examined stands directly under NOW."""
    known = bed.listed.urgency if bed.listed else 0
    return known if bed.last_at else max(2.5, known)


def _by_urgency(bed: Bed) -> tuple[Any, ...]:
    """The order by urgency: of those as urgent, first those about whom nothing was done, the earliest limit first."""
    summary = bed.listed
    due = summary.due_at.timestamp() if summary and summary.due_at else float("inf")
    return -_rank(bed), not (summary and summary.new), due, natural(bed.bed)
