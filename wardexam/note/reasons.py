"""The reasons of urgency in words, the same for every paper: how urgent, why, what to do, by when, what was done."""

from datetime import datetime

from wardexam.exam.acts import Act, ActKind
from wardexam.exam.text import clean
from wardexam.reasoning.rules.deadlines import limits, overdue
from wardexam.reasoning.rules.urgency import WORDS, Reason, Urgency, in_time
from wardexam.records.repository import Summary

WHOLE = 3  # reasons that a paper says whole; the others are named in one line each
KINDS: dict[ActKind, str] = {
    "called": "called", "asked": "asked", "done": "image done", "not_needed": "not needed",
    "lowered": "brought down",
}  # fmt: skip
NOTHING = "nothing done yet"
LATE = "OVERDUE"
HOURS, DAYS = 100, 24
TODAY = WORDS.index("today")
NO_IMAGE = "none first"  # as the table of the rules says it; "no image first" wherever it is read


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
        said = f"{KINDS[act.kind]} {when}: {what}"
    return f"{said} (ended by what was found since)" if act.ended else said


def deadline(due: datetime | None, beside: datetime, now: datetime | None = None) -> str:
    """By when, with the clock: ``due 18:10``, or ``OVERDUE 2 h, was due 18:10``; empty where none runs."""
    if due is None:
        return ""
    late = overdue(due, now) if now else None
    if late is not None:
        return f"{LATE} {span(late.total_seconds() / 60)}, was due {clock(due, beside)}"
    return f"due {clock(due, beside)}"


def running(summary: Summary, now: datetime, *, step: bool = True) -> str:
    """The clock that runs, for a list: ``due 18:10 MRI asked 14:10``, ``OVERDUE 2 h MRI asked 14:10``."""
    due = summary.due_at
    said = deadline(due, now, now).partition(",")[0]
    return f"{said} {clean(summary.step)}".rstrip() if step and said else said


def done_about(
    reason: Reason,
    beside: datetime,
    now: datetime | None = None,
    *,
    said: frozenset[Act] = frozenset(),
) -> str:
    """What was done about a reason and by when the next is due; that nothing was done where so.

    What is in `said` was said of another reason before: it is only pointed to.
    """
    again = {_done(a) for a in said}
    words = [
        f"{KINDS[a.kind]} {clock(a.at, beside)} as above"
        if _done(a) in again
        else act_words(a, beside)
        for a in reason.acts
    ]
    if not any(not a.ended for a in reason.acts) and reason.since and not reason.lowered:
        words.append(NOTHING)
    if reason.lowered and not any(a.kind == "lowered" for a in reason.acts):
        words.append(f"brought down: {clean(reason.lowered)}")
    if due := deadline(reason.due, beside, now):
        words.append(due)
    text = ", ".join(words)
    if reason.ended:
        settled = next((a for a in reversed(reason.acts) if a.ended and a.settles), None)
        how = "brought down" if settled and settled.kind == "lowered" else "answered"
        text += f"; {how} earlier, but since then: {clean(reason.ended)}"
    return text


def _done(act: Act) -> tuple[str, ...]:
    """What tells what was done from the same about another reason."""
    return act.kind, act.what, act.by, act.at.isoformat(), act.ended


def after_midnight(due: datetime | None, beside: datetime | None) -> bool:
    """Whether a time is on a later day than that beside which it is read; not where either is not known."""
    if due is None or beside is None:
        return False
    try:
        return due.astimezone(beside.tzinfo).date() > beside.date()
    except OverflowError:  # at the end of the calendar
        return True


def limit_words(reason: Reason, beside: datetime | None) -> str:
    """The limit in words; ``today`` as the span that it stands for where it ends after midnight."""
    if in_time(reason.by) == WORDS[TODAY] and after_midnight(reason.due, beside):
        return f"within {span(limits()[reason.by].total_seconds() / 60)}"
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
    gravest = [level_of(r, beside) for r in urgency.reasons if r.urgency == urgency.level]
    if urgency.level != TODAY or WORDS[TODAY] in gravest:
        return urgency.word
    return gravest[0] if gravest else urgency.word


def listed_word(summary: Summary, now: datetime, word: str) -> str:
    """The level as a list says it; ``24 h`` for today where what is due is due after midnight."""
    late = summary.urgency == TODAY and after_midnight(summary.due_at, now)
    return "24 h" if late else word


def image_words(reason: Reason) -> str:
    """The image, or that none comes first."""
    return reason.image.replace(NO_IMAGE, "no image first")


def steps(reason: Reason) -> str:
    """What to do: first, image where one is, whom to call."""
    image = "" if reason.image == NO_IMAGE else image_words(reason)
    return "; ".join(filter(None, (reason.first, image, reason.call)))


def action(reason: Reason, beside: datetime | None) -> str:
    """What to do, in one sentence: first, image, whom to call, by when."""
    written = f"; brought down: {reason.lowered}" if reason.lowered else ""
    todo = "; ".join(filter(None, (reason.first, image_words(reason), f"call {reason.call}")))
    return f"{todo}; {limit_words(reason, beside)}{written}"


def named(reason: Reason, beside: datetime | None) -> str:
    """How urgent and why, and where it comes from: ``NOW, within 4 h: possible cauda equina (flags)``."""
    return f"{when(reason, beside).upper()}: {reason.said}"


def whole(reason: Reason, beside: datetime, now: datetime | None = None) -> str:
    """All there is to say of a reason, as one paragraph."""
    since = f" Raised {clock(reason.since, beside)}:" if reason.since else ""
    done = done_about(reason, beside, now)
    steps = [reason.first, image_words(reason), f"call {reason.call}"]
    todo = _capital("; ".join(filter(None, steps)))
    return f"{named(reason, beside)}. {todo}.{since}{f' {done}.' if done else ''}"


def paragraphs(
    urgency: Urgency, beside: datetime, now: datetime | None = None, *, most: int = WHOLE
) -> list[str]:
    """Every reason, the most urgent first: so many of the gravest whole, the others named.

    Those that are as urgent, with the same done and the same limit, are named together.
    """
    lines = [whole(reason, beside, now) for reason in urgency.reasons[:most]]
    said = frozenset(act for reason in urgency.reasons[:most] for act in reason.acts)
    alike: dict[tuple[str, str], list[str]] = {}
    for reason in urgency.reasons[most:]:
        done = done_about(reason, beside, now, said=said).removeprefix(f"{NOTHING}, ")
        alike.setdefault((when(reason, beside).upper(), done), []).append(reason.said)
        said |= set(reason.acts)
    return lines + [
        f"{urgent}: {'; '.join(texts)}{f': {done}' if done else ''}."
        for (urgent, done), texts in alike.items()
    ]


def by_deadline(urgency: Urgency) -> tuple[Reason, ...]:
    """Every reason: that which is said first, then of each level the one whose limit ends first.

    Those whose clock has ended come last.
    """
    numbered = list(enumerate(urgency.reasons))
    running = sorted((-r.urgency, n > 0, r.due, n) for n, r in numbered if r.due)
    ended = [n for n, r in numbered if not r.due]
    return tuple(urgency.reasons[n] for n in [*(n for *_, n in running), *ended])


def image_of(reason: Reason) -> str:
    """The image that is usual, by region and modality; empty where none comes first."""
    return "" if reason.image.startswith(NO_IMAGE) else reason.image


def next_step(reason: Reason, beside: datetime) -> str:
    """The step that a reason's clock runs for, in a few words."""
    if reason.asked:
        return f"{clean(reason.asked.what)} asked {clock(reason.asked.at, beside)}"
    image = image_of(reason)
    return (image or reason.first if reason.answered else reason.first or image) or reason.call


def soonest(urgency: Urgency) -> Reason | None:
    """The reason whose limit ends first; None where no clock runs."""
    first = by_deadline(urgency)[:1]
    return first[0] if first and first[0].due else None


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
