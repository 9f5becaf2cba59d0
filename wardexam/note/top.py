"""The top of a note: how urgent it is, what is done first and by when, in as many lines as there are."""

from datetime import datetime

from wardexam.exam.moments import moment
from wardexam.exam.text import clean, counted, sentence, with_stop
from wardexam.note.limits import (
    LATE,
    deadline,
    late_words,
    level_word,
    limit_words,
    until,
    when,
)
from wardexam.note.page import wrapped
from wardexam.note.reasons import (
    KINDS,
    NOTHING,
    act_words,
    first_due,
    next_step,
    soonest,
)
from wardexam.reasoning.rules.deadlines import overdue
from wardexam.reasoning.rules.reason import Reason, Urgency
from wardexam.reasoning.rules.rule_table import SOONEST
from wardexam.reasoning.rules.urgency import NOT_ASSESSED, NOT_EXAMINED, OFF_HERE

TOP = 2  # lines in which a note says how urgent, what is done first and by when
# Why the ward list may stand at a graver level than what a paper tells of.
OWN_ALARM = (
    "an alarm of the tool's own reading, which is not told here until its suggestion is accepted"
)


def top(
    urgency: Urgency, beside: datetime, room: int = TOP, now: datetime | None = None, *,
    not_asked: str = "",
) -> tuple[str, bool]:  # fmt: skip
    """How urgent, what is done first and by when; and whether nothing of the first reason is left to say.

    What is done first and its limit always stand in the first `TOP` lines, with the limit of another reason where
    that ends before; why, the image and the call as far as they fit into the room.

    Args:
        urgency: How urgent it is.
        beside: The time of the examination.
        room: Lines of a note that there are.
        now: When it is read; without it a limit that is passed is not said to be.
        not_asked: How many flags were not asked, see `charted_word`.
    """
    head = urgency_at(urgency, beside, now)
    if not urgency.reasons:
        yes = f" Yes to {', '.join(urgency.answered_yes)}." if urgency.answered_yes else ""
        return f"{head}{charted_word(urgency, beside, not_asked)}.{yes}", True
    first, run = urgency.reasons[0], soonest(urgency)
    word = level_word(urgency, beside).upper()
    last = _last(first, beside)
    names = (first.text, first.brief or first.text)
    # What was done in its words before the reason in all of its own; at the least that something was done, and when.
    ends = [f"{sentence(name)} {end}".rstrip() for name in names for end in last[:2]]
    ends += [f"{sentence(name)} {last[-1]}".rstrip() for name in names]
    if run is None or run.due is None:
        heads = [f"{head}{word}, no deadline left."]
        return _fitting([f"{said} {end}" for end in ends for said in heads], room), False
    due = deadline(run.due, beside, now, until)
    soonest_due = min(r.due for r in urgency.reasons if r.due)
    late = bool(now and overdue(run.due, now))
    listed = first_due(urgency)
    if now and late:  # of the others the one that the ward list goes by
        passed = overdue(listed.due, now) if listed else None
        gone = late_words(passed) if passed else ""
        due += f", another {gone}" if gone and gone not in due else ""
    elif soonest_due < run.due:
        passed = overdue(soonest_due, now) if now else None
        due += f", another {LATE if passed else until(soonest_due, beside)}"
    if run.urgency < urgency.level:
        step = f"{head}{word}, no deadline left. Next, {due}: {with_stop(_next(run, beside))}"
        return _fitting([*(f"{step} {end}" for end in ends), step]), False
    limit = f"{word}, {limit_words(run, beside)}" if run.by == SOONEST else word
    said = (word,) if late else (when(run, beside).upper(), limit, word)
    heads = [f"{head}{urgent}, {due}." for urgent in said]
    if not run.answered:
        return _not_begun(run, heads, room, whole=run is first and run.since == beside, late=late)
    why, bare = sentence(run.said), sentence(run.text)
    step = f"Next: {with_stop(_next(run, beside))}"
    brief = sentence(run.brief or run.text)
    bodies = [f"{why} {step}", f"{bare} {step}", f"{step} {bare}", f"{step} {brief}"]
    return _fitting([f"{said} {body}" for body in bodies for said in heads]), False


def urgency_at(urgency: Urgency, beside: datetime, now: datetime | None) -> str:
    """What an urgency is headed by: when it is read as well, where a limit is passed by then."""
    late = now and any(overdue(r.due, now) for r in urgency.reasons)
    return f"Urgency at {moment(now, beside)}: " if now and late else "Urgency: "


def led_by_graver(
    said: str, urgency: Urgency, graver: Urgency | None, beside: datetime, now: datetime | None
) -> str:
    """What a paper is headed by, led by the graver urgency that the ward list stands at, where there is one, and why.

    Args:
        said: What the paper says of its own urgency, behind `urgency_at`.
        urgency: That urgency.
        graver: The one of the list; None where it is no graver.
        beside: The time of the examination.
        now: When it is read.
    """
    if graver is None:
        return said
    run = first_due(graver)
    due = (
        f", {deadline(run.due, beside, now, until)}" if run and run.urgency == graver.level else ""
    )
    rest = said.removeprefix(urgency_at(urgency, beside, now))
    return f"{urgency_at(graver, beside, now)}{level_word(graver, beside).upper()}{due}, as on the ward list: {OWN_ALARM}. By the rules alone: {rest}"


def charted_word(urgency: Urgency, beside: datetime, not_asked: str = "") -> str:
    """The urgency in one word for the chart; where it is not known until more is asked, that it is not low.

    Args:
        urgency: How urgent it is.
        beside: The time of the examination.
        not_asked: How many flags were not asked beside those of earlier in the stay (`sentences.count_open`); all where it is empty.
    """
    if not urgency.level and urgency.not_asked:
        every = f"{counted(len(urgency.not_asked), 'flag')} not asked"
        return f"UNKNOWN, not low: {not_asked or every}"
    if NOT_EXAMINED in urgency.word:
        return f"UNKNOWN, not low: {urgency.word.removeprefix(f'{NOT_ASSESSED}, ')}"
    if not urgency.level and urgency.switched_off:
        return f"UNKNOWN, not low: {len(urgency.switched_off)} {OFF_HERE}"
    return level_word(urgency, beside)


def _next(reason: Reason, beside: datetime) -> str:
    """The step that a reason's clock runs for, as a paper says it: an image that was asked for is not done."""
    if reason.asked:
        return f"{clean(reason.asked.what)}, asked {moment(reason.asked.at, beside)}, not done"
    return next_step(reason, beside)


def _not_begun(
    reason: Reason, heads: list[str], room: int, *, whole: bool, late: bool
) -> tuple[str, bool]:
    """The top of a note where nothing was done yet about the reason that is due first."""
    image, call = reason.usual_image, f"call {reason.call}"
    why, bare = sentence(reason.said), sentence(reason.text)
    begun = f"First: {with_stop(reason.first or image or call)}"
    most = f"{heads[0]} {why} {_steps(reason.first, image, call)}"
    fits = len(wrapped(most)) <= room and len(wrapped(f"{heads[0]} {why} {begun}")) <= TOP
    if whole and fits and image and not reason.acts and not reason.ended:
        told = f"{most} {sentence(NOTHING)}"
        return (told if len(wrapped(told)) <= room else most), True
    steps = [_steps(reason.first, image, call), _steps(reason.first, image), _steps(reason.first, call), begun]  # fmt: skip
    # The words for a limit that is passed take room from the steps, of which the first stays in the first lines.
    led = [head for head in heads if late and len(wrapped(f"{head} {begun}")) <= TOP]
    names = (bare, sentence(reason.brief or reason.text))
    tried = [f"{head} {step} {name}" for step in steps for name in names for head in led]
    bodies = [*(f"{bare} {step}" for step in steps), f"{begun} {bare}"]
    usual = [f"{head} {body}" for body in bodies for head in heads]
    return _fitting(tried, room) if tried else _fitting(usual), False


def _steps(*pieces: str) -> str:
    return f"First: {with_stop('; '.join(filter(None, pieces)))}"


def _fitting(tried: list[str], room: int = TOP) -> str:
    """The first that fits into so many lines of a note, else the last."""
    return next((text for text in tried if len(wrapped(text)) <= room), tried[-1])


def _last(reason: Reason, beside: datetime) -> list[str]:
    """The last that was done about a reason, as a sentence, the fullest first."""
    if not reason.acts:
        return [sentence(clean(reason.lowered))] if reason.lowered else [""]
    act = reason.acts[-1]
    short = f"{KINDS[act.kind]} {moment(act.at, beside)}"
    return [
        sentence(text) for text in (act_words(act, beside), f"{short}: {clean(act.what)}", short)
    ]
