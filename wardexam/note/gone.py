"""Who left the ward with what was to be done now or today and is not answered: the closing lines of a handover."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from wardexam.errors import WardexamError
from wardexam.exam import identity
from wardexam.note.headline import of_admission
from wardexam.note.limits import deadline, until
from wardexam.note.reasons import by_deadline, named
from wardexam.reasoning.rules.raised import urgency_after
from wardexam.reasoning.rules.rule_table import TODAY, WORDS
from wardexam.records.repository import Bed, PatientFile, Repository, Summary

if TYPE_CHECKING:
    from wardexam.reasoning.rules.wording import Wording

HOURS = 24  # that a handover looks back
HEAD = f"LEFT THE WARD IN THE LAST {HOURS} H, NOT ANSWERED"
UNREADABLE = "the record cannot be read, what was open is not known"


@dataclass(frozen=True, slots=True)
class Gone:
    """A patient who was discharged with an emergency that is not answered.

    Attributes:
        patient: The identifier.
        bed: The bed that was left.
        who: The name with the second identifier.
        at: When.
        said: What is not answered, the gravest first in words and by when, of more how many; or that it cannot be told.
    """

    patient: str
    bed: str
    who: str
    at: datetime
    said: str


def gone(ward: Repository, now: datetime, wording: "Wording | None" = None) -> tuple[Gone, ...]:
    """Who left within `HOURS` with a limit of now or today that still runs or is passed, the last first."""
    since = now - timedelta(hours=HOURS)
    left = [
        (datetime.fromisoformat(bed.discharged), bed)
        for bed in ward.beds(discharged=True)
        if bed.discharged
    ]
    found = [_of(ward, bed, at, now, wording) for at, bed in left if at >= since]
    return tuple(sorted(filter(None, found), key=lambda g: (g.at, g.patient), reverse=True))


def _of(
    ward: Repository, bed: Bed, at: datetime, now: datetime, wording: "Wording | None"
) -> Gone | None:
    try:
        file = ward.file(bed.patient_id)
        patient = file.patient
    except WardexamError:
        return Gone(bed.patient_id, bed.bed, bed.name, at, UNREADABLE)
    said = [*_open(file, bed.summary, now, wording)]
    if not said:
        return None
    more = f"; {len(said) - 1} more" if len(said) > 1 else ""
    who = f"{patient.name} {identity.mark(patient)}"
    return Gone(bed.patient_id, bed.bed, who, at, f"{said[0]}{more}")


def _open(
    file: PatientFile, stored: Summary | None, now: datetime, wording: "Wording | None"
) -> Iterator[str]:
    """What of now or today is not answered, the gravest and soonest first, each with its limit."""
    last = file.examinations[-1:]
    if not last:
        p = file.patient
        told = of_admission(p.remark, p.age, p.sex, wording, p.admitted)
        yield from _listed(told, 0, now)
        return
    urgency = urgency_after(file.telling(last[0].id), last[0], wording)
    open_ = [r for r in by_deadline(urgency) if r.due and r.urgency >= TODAY]
    # Raised by the inferred site when an earlier version saved it.
    yield from _listed(stored, urgency.level, now)
    yield from (f"{named(r, now)}, {deadline(r.due, now, now, until)}" for r in open_)


def _listed(summary: Summary | None, level: int, now: datetime) -> Iterator[str]:
    """What a list says with a limit of now or today, where that is graver than a level."""
    if summary and summary.due_at and summary.urgency >= max(TODAY, level + 1):
        limit = deadline(summary.due_at, now, now, until)
        yield f"{WORDS[summary.urgency].upper()}: {summary.headline}, {limit}"
