"""The reasons of urgency in words, the same for every paper: how urgent, why, what to do, by when, what was done."""

from datetime import datetime

from wardexam.exam.acts import Act
from wardexam.exam.text import clean
from wardexam.reasoning.rules.deadlines import overdue
from wardexam.reasoning.rules.urgency import Reason, Urgency

WHOLE = 3  # reasons that a paper says whole; the others are named in one line each
NOTHING = "nothing done yet"
LATE = "OVERDUE"
HOURS, DAYS = 100, 24


def clock(at: datetime, beside: datetime) -> str:
    """A time as it is read beside another: its clock, with the day where that is another."""
    try:
        there = at.astimezone(beside.tzinfo)
    except OverflowError:  # at the end of the calendar, as it was written
        there = at
    year = f" {there.year}" if there.year != beside.year else ""
    day = f"{there:%d %b}{year} " if there.date() != beside.date() else ""
    return f"{day}{there:%H:%M}"


def span(minutes: float) -> str:
    """A span in few words: ``20 min``, ``2 h``, ``5 d``."""
    if minutes < 60:
        return f"{minutes:.0f} min"
    hours = minutes // 60
    return f"{hours:.0f} h" if hours < HOURS else f"{hours // DAYS:.0f} d"


def act_words(act: Act, beside: datetime) -> str:
    """What was done, when and by whom: ``MRI asked 14:10 by Dr Ash``."""
    when = f"{clock(act.at, beside)} by {clean(act.by)}"
    what = clean(act.what)
    if act.kind in ("called", "asked"):
        said = f"{what} {act.kind} {when}"
    else:
        words = {"done": "image done", "not_needed": "not needed", "lowered": "brought down"}
        said = f"{words[act.kind]} {when}: {what}"
    return f"{said} (ended by what was found since)" if act.ended else said


def deadline(due: datetime | None, beside: datetime, now: datetime | None = None) -> str:
    """By when, with the clock: ``due 18:10``, or ``OVERDUE 2 h, was due 18:10``; empty where none runs."""
    if due is None:
        return ""
    late = overdue(due, now) if now else None
    if late is not None:
        return f"{LATE} {span(late.total_seconds() / 60)}, was due {clock(due, beside)}"
    return f"due {clock(due, beside)}"


def done_about(reason: Reason, beside: datetime, now: datetime | None = None) -> str:
    """What was done about a reason and by when the next is due; that nothing was done where so."""
    said = [act_words(a, beside) for a in reason.acts]
    if not any(not a.ended for a in reason.acts) and reason.since and not reason.lowered:
        said.append(NOTHING)
    if reason.lowered and not any(a.kind == "lowered" for a in reason.acts):
        said.append(f"brought down: {clean(reason.lowered)}")
    if due := deadline(reason.due, beside, now):
        said.append(due)
    text = ", ".join(said)
    if reason.ended:
        settled = next((a for a in reversed(reason.acts) if a.ended and a.settles), None)
        how = "brought down" if settled and settled.kind == "lowered" else "answered"
        text += f"; {how} earlier, but since then: {clean(reason.ended)}"
    return text


def named(reason: Reason) -> str:
    """How urgent and why, and where it comes from: ``NOW, within 4 h: possible cauda equina (flags)``."""
    return f"{reason.when.upper()}: {reason.said}"


def whole(reason: Reason, beside: datetime, now: datetime | None = None) -> str:
    """All there is to say of a reason, as one paragraph."""
    since = f" Raised {clock(reason.since, beside)}:" if reason.since else ""
    done = done_about(reason, beside, now)
    image = reason.image.replace("none first", "no image first")
    steps = [reason.first, image, f"call {reason.call}"]
    todo = _capital("; ".join(filter(None, steps)))
    return f"{named(reason)}. {todo}.{since}{f' {done}.' if done else ''}"


def short(reason: Reason, beside: datetime, now: datetime | None = None) -> str:
    """A reason named, with by when and what was done."""
    done = done_about(reason, beside, now).removeprefix(f"{NOTHING}, ")
    return f"{named(reason)}{f'; {done}' if done else ''}."


def paragraphs(
    urgency: Urgency, beside: datetime, now: datetime | None = None, *, most: int = WHOLE
) -> list[str]:
    """Every reason, the most urgent first: so many of the gravest whole, the others named."""
    return [
        (whole if place < most else short)(reason, beside, now)
        for place, reason in enumerate(urgency.reasons)
    ]


def image_of(reason: Reason) -> str:
    """The image that is usual, by region and modality; empty where none comes first."""
    return "" if reason.image.startswith("none first") else reason.image


def next_step(reason: Reason, beside: datetime) -> str:
    """The step that a reason's clock runs for, in a few words."""
    if reason.asked:
        return f"{clean(reason.asked.what)} asked {clock(reason.asked.at, beside)}"
    image = image_of(reason)
    return (image or reason.first if reason.answered else reason.first or image) or reason.call


def soonest(urgency: Urgency) -> Reason | None:
    """The reason whose limit ends first; None where no clock runs."""
    running = [(r.due, n) for n, r in enumerate(urgency.reasons) if r.due]
    return urgency.reasons[min(running)[1]] if running else None


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
