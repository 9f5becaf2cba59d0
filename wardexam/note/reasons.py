"""The reasons of urgency in words, the same for every paper: why, what to do, what was done and what is due next."""

from datetime import datetime

from wardexam.exam.act_kinds import act_kinds
from wardexam.exam.acts import Act
from wardexam.exam.moments import clock, moment
from wardexam.exam.text import clean, sentence, with_stop
from wardexam.note.limits import deadline, level_of, limit_words, until, when
from wardexam.reasoning.rules.reason import NO_IMAGE, Reason, Urgency
from wardexam.reasoning.rules.rule_table import TODAY

KINDS = {kind: row.short for kind, row in act_kinds().items()}
NOTHING = "nothing done yet"


def act_words(act: Act, beside: datetime) -> str:
    """What was done, when and by whom: ``MRI asked 4 Mar 14:10 by Dr Ash``."""
    when = f"{moment(act.at, beside)} by {clean(act.by)}"
    what = clean(act.what)
    if act.kind in ("called", "asked"):
        return f"{what} {act.kind} {when}"
    return f"{KINDS[act.kind]} {when}: {what}"


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

    def words(ended: bool) -> list[str]:
        return [
            f"{KINDS[a.kind]} {moment(a.at, beside)} as above" if _done(a) in again else act_words(a, beside)
            for a in reason.acts if bool(a.ended) == ended
        ]  # fmt: skip

    earlier, holding = words(ended=True), words(ended=False)
    if not holding and reason.since and not reason.lowered:
        holding.append(NOTHING)
    if reason.lowered and not any(a.kind == "lowered" for a in reason.acts):
        holding.append(clean(reason.lowered))
    if due := deadline(reason.due, beside, now, until):
        holding.append(due)
    if not earlier:
        return ", ".join(holding)
    settled = next((a for a in reversed(reason.acts) if a.ended and a.settles), None)
    how = "brought down" if settled and settled.kind == "lowered" else "answered"
    since = f"{how} earlier, but since then: {clean(reason.ended)}"
    return "; ".join((", ".join(earlier), since, ", ".join(holding)))


def _done(act: Act) -> tuple[str, ...]:
    """What tells what was done from the same about another reason."""
    return act.kind, act.what, act.by, act.at.isoformat(), act.ended


def settled_by(reason: Reason) -> str:
    """How a reason is settled, in a word or two: ``not needed``, ``brought down``; empty where it is not."""
    if reason.lowered:
        return act_kinds()["lowered"].label
    last = next((a.kind for a in reversed(reason.acts) if a.settles and not a.ended), None)
    return act_kinds()[last].label if last else ""


def image_words(reason: Reason) -> str:
    """The image, or that none comes first."""
    return reason.image.replace(NO_IMAGE, "no image first")


def steps(reason: Reason) -> str:
    """What to do: first, image where one is, whom to call."""
    image = "" if reason.image == NO_IMAGE else image_words(reason)
    return "; ".join(filter(None, (reason.first, image, reason.call)))


def _todo(reason: Reason) -> str:
    return "; ".join(filter(None, (reason.first, image_words(reason), f"call {reason.call}")))


def action(reason: Reason, beside: datetime | None) -> str:
    """What to do, in one sentence: first, image, whom to call, by when; of what is brought down, if that should not be so."""
    todo = f"{_todo(reason)}; {limit_words(reason, beside)}"
    if not reason.lowered:
        return todo
    if any(act.kind == "lowered" for act in reason.acts):
        return f"brought down: {reason.lowered}; if that is not so, {todo}"
    return f"{reason.lowered}; if it is new or worse, {todo}"


def named(reason: Reason, beside: datetime | None) -> str:
    """How urgent and why, and where it comes from: ``NOW, within 4 h: possible cauda equina (history)``."""
    return f"{when(reason, beside).upper()}: {reason.said}"


def whole(reason: Reason, beside: datetime, now: datetime | None = None) -> str:
    """All there is to say of a reason, as one paragraph."""
    since = f" Raised {moment(reason.since, beside)}:" if reason.since else ""
    done = done_about(reason, beside, now)
    return f"{named(reason, beside)}. {sentence(_todo(reason))}{since}{f' {done}.' if done else ''}"


def by_deadline(urgency: Urgency) -> tuple[Reason, ...]:
    """Every reason: that which is said first, then of each level the one whose limit ends first.

    Those whose clock has ended come last.
    """
    numbered = list(enumerate(urgency.reasons))
    running = sorted((-r.urgency, n > 0, r.due, n) for n, r in numbered if r.due)
    ended = [n for n, r in numbered if not r.due]
    return tuple(urgency.reasons[n] for n in [*(n for *_, n in running), *ended])


def next_step(reason: Reason, beside: datetime) -> str:
    """The step that a reason's clock runs for, in a few words."""
    if reason.asked:
        return f"{clean(reason.asked.what)} asked {clock(reason.asked.at, beside)}"
    image, begun = reason.usual_image, any(a.kind != "called" for a in reason.acts if not a.ended)
    return (image or reason.first if begun else reason.first or image) or reason.call


def first_due(urgency: Urgency) -> Reason | None:
    """Of the gravest reasons whose clock runs, the one whose limit ends first; None where no clock runs."""
    running = [r for r in urgency.reasons if r.due]
    return min(running, key=lambda r: (-r.urgency, r.due)) if running else None


def soonest(urgency: Urgency) -> Reason | None:
    """The reason whose limit a paper names: that which is said first while its clock runs, else as `first_due`."""
    first = by_deadline(urgency)[:1]
    return first[0] if first and first[0].due else None


def _pieces(reason: Reason) -> list[str]:
    """What is to be done about a reason, piece by piece."""
    pieces = (piece.strip() for text in (reason.first, reason.image) for piece in text.split(";"))
    return [*(piece for piece in pieces if piece not in ("", NO_IMAGE)), f"call {reason.call}"]


def _as_above(reason: Reason, beside: datetime, now: datetime | None, said: set[Act]) -> str:
    """What was done about a reason that is named only; what was said of another before is pointed to in one word."""
    told = {_done(a) for a in said}
    if reason.acts and not reason.ended and all(_done(a) in told for a in reason.acts):
        last = reason.acts[-1]
        words = (
            f"{KINDS[last.kind]} {moment(last.at, beside)} as above",
            deadline(reason.due, beside, now, until),
        )
        return ", ".join(filter(None, words))
    return done_about(reason, beside, now, said=frozenset(said)).removeprefix(f"{NOTHING}, ")


def to_do_and_answered(
    urgency: Urgency, beside: datetime, now: datetime | None = None, *, told: bool = False
) -> tuple[list[str], list[str]]:
    """Every reason, a paragraph each: what is to be done, the first of all whole; and what is answered already.

    The others are in short, those that are due first before; the gravest of them with what they ask for beyond what
    was said. Those that ask for no more, are as urgent, with the same limit and the same done, are named together.

    Args:
        urgency: How urgent it is.
        beside: The time beside which others are read.
        now: What the clock says; without it a limit that is passed is not said to be.
        told: Whether the first has been said already.
    """
    first = urgency.reasons[:1]
    said = {act for reason in first for act in reason.acts}
    asked = {piece.lower() for reason in first for piece in _pieces(reason)}
    alike: dict[tuple[bool, str, str, str], list[str]] = {}
    open_ones = sorted((r for r in urgency.reasons[1:] if r.due), key=lambda r: (-r.urgency, r.due))
    for reason in (*open_ones, *(r for r in urgency.reasons[1:] if not r.due)):
        urgent = when(reason, beside) if reason.due else level_of(reason, beside)
        done = _as_above(reason, beside, now, said)
        new = (
            [p for p in _pieces(reason) if p.lower() not in asked] if asks(reason, urgency) else []
        )
        key = (reason.due is not None, urgent.upper(), "; ".join(new), done)
        alike.setdefault(key, []).append(reason.said)
        asked |= {piece.lower() for piece in new}
        said |= set(reason.acts)
    lines: dict[bool, list[str]] = {True: [], False: []}
    for (open_, urgent, new_steps, done), names in alike.items():
        ends = [f" {sentence(text)}" for text in (new_steps, done) if text]
        lines[open_].append(f"{urgent}: {with_stop('; '.join(names))}{''.join(ends)}")
    whole_ones = [] if told else [whole(reason, beside, now) for reason in first]
    return whole_ones + lines[True], lines[False]


def asks(reason: Reason, urgency: Urgency) -> bool:
    """Whether a paper says what a reason asks for that is not said first: none is graver of those whose clock runs."""
    gravest = max((r.urgency for r in urgency.reasons if r.due), default=0)
    return reason.due is not None and reason.urgency >= max(gravest, TODAY)


def paragraphs(urgency: Urgency, beside: datetime, now: datetime | None = None) -> list[str]:
    """Every reason, a paragraph each: what is to be done, then what is answered (`to_do_and_answered`)."""
    to_do, answered = to_do_and_answered(urgency, beside, now)
    return to_do + answered
