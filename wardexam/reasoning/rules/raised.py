"""What is kept of the reasons with a saved examination, so that the next need not look further back."""

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from wardexam.exam.acts import CARRIED, Act, Raised
from wardexam.exam.examination import Examination
from wardexam.reasoning.reading import Reading
from wardexam.reasoning.rules.acts import LONGEST, kept
from wardexam.reasoning.rules.own_alarm import OWN, own_alarm
from wardexam.reasoning.rules.reason import Reason, Urgency
from wardexam.reasoning.rules.standing import standing, still_open
from wardexam.reasoning.rules.stay import Stay
from wardexam.reasoning.rules.urgency import assess

if TYPE_CHECKING:
    from wardexam.reasoning.rules.wording import Wording


def _lean(act: Act) -> Act:
    """An act without what it was written over, once that has been gone beyond."""
    return act.model_copy(update={"on": None}) if act.ended else act


def _kept(reason: Reason, own: set[tuple[str, ...]], at: datetime) -> Raised:
    alarm = reason.rule == OWN
    return Raised(
        rule=reason.rule,
        since=reason.since or at,
        again=reason.again,
        acts=tuple(_lean(a) for a in reason.acts if a.same not in own)[-CARRIED:],
        level=0 if alarm and reason.lowered else reason.urgency,
        text=reason.text[:LONGEST] if alarm else "",
        region=reason.site,
    )


def recorded(examination: Examination, urgency: Urgency) -> Examination:
    """The examination with what was raised, since when, and what was done about it, as it is saved.

    Acts that do not hold any more are marked with what ended them: they never hold again.
    """
    own = {a.same for a in examination.acts}
    marked = {a.same: a for r in urgency.reasons for a in r.acts}
    return examination.model_copy(
        update={
            "raised": tuple(
                _kept(r, own, examination.at) for r in (*urgency.reasons, *urgency.within)
            ),
            "acts": tuple(marked.get(a.same, a) for a in examination.acts),
        }
    )


def urgency_after(
    before: tuple[Examination, ...], examination: Examination, wording: "Wording | None" = None
) -> Urgency:
    """How urgent an examination is behind those of its stay, in the order saved; the tool's own alarm as it was raised."""
    return assess(
        examination, standing(before), None, wording,
        own=True, still=still_open(before), stay=Stay(before),
    )  # fmt: skip


def as_counted(examination: Examination, before: tuple[Examination, ...]) -> Examination:
    """An examination for counting: of the reasons that one entered in error raised first only those that stand by what else was found.

    Args:
        examination: One that counts, as the stay gives it (`wardexam.exam.in_error`).
        before: Those that count and were saved before it.
    """
    rows = examination.raised or ()
    if not any(r.by_error for r in rows):
        return examination
    urgency = urgency_after(before, examination)
    stand = {r.rule for r in (*urgency.reasons, *urgency.within)}
    kept_rows = tuple(r for r in rows if not r.by_error or r.rule in stand)
    return examination.model_copy(update={"raised": kept_rows})


def since_admission(begun: Examination, admitted: datetime) -> Examination:
    """A first examination, nothing entered yet, with what the reason for admission raises dated by the admission: no clock begins anew with who opens it."""
    told = assess(begun, None, None)
    if admitted >= begun.at or not told.reasons:
        return begun
    rows = (
        _kept(replace(r, since=admitted), set(), admitted) for r in (*told.reasons, *told.within)
    )
    return begun.model_copy(update={"raised": tuple(rows)})


def first_raised(
    examination: Examination, previous: Examination | None, reading: Reading, now: datetime
) -> tuple[Raised, ...] | None:
    """What is kept once the tool's own alarm is raised, the first time or more gravely; None where it is not."""
    alarm = own_alarm(examination, reading)
    before = kept(examination).get(OWN) or (kept(previous).get(OWN) if previous else None)
    if alarm is None or (before and before.level >= alarm.urgency):
        return None
    since = before.since if before else now
    others = [r for r in examination.raised or () if r.rule != OWN]
    return (*others, _kept(alarm, set(), since).model_copy(
        update={"acts": before.acts if before else (), "again": before.again if before else None}
    ))  # fmt: skip
