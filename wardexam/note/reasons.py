"""The reasons of urgency in words, the same for every paper: how urgent, why, what to do, by when, what was done."""

from collections.abc import Callable
from datetime import datetime, time, timedelta

from wardexam.exam.act_kinds import act_kinds
from wardexam.exam.acts import Act
from wardexam.exam.moments import clock, moment, there
from wardexam.exam.text import capital, clean, counted
from wardexam.note.page import wrapped
from wardexam.reasoning.rules.deadlines import limits, overdue
from wardexam.reasoning.rules.reason import NO_IMAGE, Reason, Urgency
from wardexam.reasoning.rules.rule_table import SOONEST, TODAY, WORDS, in_time
from wardexam.reasoning.rules.switched_off import SwitchedOff
from wardexam.reasoning.rules.urgency import NOT_ASSESSED, NOT_EXAMINED, OFF_HERE
from wardexam.records.repository import Summary

TOP = 2  # lines in which a note says how urgent, what is done first and by when
KINDS = {kind: row.short for kind, row in act_kinds().items()}
NOTHING = "nothing done yet"
LATE = "OVERDUE"
HOURS, DAYS = 100, 24
# Why the ward list may stand at a graver level than what a paper tells of.
OWN_ALARM = (
    "an alarm of the tool's own reading, which is not told here until its suggestion is accepted"
)


def until(at: datetime, beside: datetime) -> str:
    """When a limit ends, as `moment`; midnight ends its day, ``4 Mar 24:00``, and does not begin the next."""
    moved, _ = there(at, beside)
    if moved.time() == time() and moved.replace(tzinfo=None) - datetime.min > timedelta(days=1):
        return moment(at - timedelta(minutes=1), beside).removesuffix("23:59") + "24:00"
    return moment(at, beside)


def span(minutes: float) -> str:
    """A span in few words: ``20 min``, ``2 h``, ``5 d``."""
    if minutes < 60:
        return f"{minutes:.0f} min"
    hours = minutes // 60
    return f"{hours:.0f} h" if hours < HOURS else f"{hours // DAYS:.0f} d"


def _in_hours(limit: timedelta) -> str:
    return span(limit.total_seconds() / 60)


def act_words(act: Act, beside: datetime) -> str:
    """What was done, when and by whom: ``MRI asked 4 Mar 14:10 by Dr Ash``."""
    when = f"{moment(act.at, beside)} by {clean(act.by)}"
    what = clean(act.what)
    if act.kind in ("called", "asked"):
        return f"{what} {act.kind} {when}"
    return f"{KINDS[act.kind]} {when}: {what}"


def late_words(late: timedelta) -> str:
    """How far a limit is passed: ``OVERDUE 2 h``; whole minutes that have gone by, one from the start."""
    return f"{LATE} {span(max(1, late // timedelta(minutes=1)))}"


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
    return (
        f"{named(reason, beside)}. {_sentence(_todo(reason))}{since}{f' {done}.' if done else ''}"
    )


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
    return reason.image if reason.imaged else ""


def next_step(reason: Reason, beside: datetime) -> str:
    """The step that a reason's clock runs for, in a few words."""
    if reason.asked:
        return f"{clean(reason.asked.what)} asked {clock(reason.asked.at, beside)}"
    image, begun = image_of(reason), any(a.kind != "called" for a in reason.acts if not a.ended)
    return (image or reason.first if begun else reason.first or image) or reason.call


def _next(reason: Reason, beside: datetime) -> str:
    """The step that a reason's clock runs for, as a paper says it: an image that was asked for is not done."""
    if reason.asked:
        return f"{clean(reason.asked.what)}, asked {moment(reason.asked.at, beside)}, not done"
    return next_step(reason, beside)


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
        ends = [f" {_sentence(text)}" for text in (new_steps, done) if text]
        lines[open_].append(f"{urgent}: {_stop('; '.join(names))}{''.join(ends)}")
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


def urgency_at(urgency: Urgency, beside: datetime, now: datetime | None) -> str:
    """What an urgency is headed by: when it is read as well, where a limit is passed by then."""
    late = now and any(overdue(r.due, now) for r in urgency.reasons)
    return f"Urgency at {moment(now, beside)}: " if now and late else "Urgency: "


def with_graver(
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


def off_words(off: SwitchedOff) -> str:
    """That a rule is switched off here, what it would have said, who switched it off, when and why."""
    said = f"{clean(off.text)} ({WORDS[off.urgency]})"
    return f"{OFF_HERE.capitalize()}: {said}, {clean(off.by_words)}: {_stop(clean(off.why))}"


def off_lines(urgency: Urgency) -> list[str]:
    """Every rule that would have spoken and is switched off here, a sentence each, for every paper."""
    return [off_words(off) for off in urgency.switched_off]


def off_short(urgency: Urgency) -> str:
    """The same of all in one sentence without why, for a screen: what they would have said, by whom and when."""
    by: dict[str, list[str]] = {}
    for off in urgency.switched_off:
        by.setdefault(clean(off.by_words), []).append(clean(off.brief))
    said = "; ".join(f"{', '.join(names)}, {who}" for who, names in by.items())
    return f"{OFF_HERE.capitalize()}: {_stop(said)}" if said else ""


def off_brief(urgency: Urgency) -> str:
    """The rules that would have spoken and are switched off here, in a few words; empty where none is."""
    first, *more = urgency.switched_off or (None,)
    if first is None:
        return ""
    also = f" and {len(more)} more" if more else ""
    return f"{OFF_HERE}: {clean(first.brief)}{also}"


def charted_word(urgency: Urgency, beside: datetime) -> str:
    """The urgency in one word for the chart; where it is not known until more is asked, that it is not low."""
    if not urgency.level and urgency.not_asked:
        return f"UNKNOWN, not low: {counted(len(urgency.not_asked), 'flag')} not asked"
    if NOT_EXAMINED in urgency.word:
        return f"UNKNOWN, not low: {urgency.word.removeprefix(f'{NOT_ASSESSED}, ')}"
    if not urgency.level and urgency.switched_off:
        return f"UNKNOWN, not low: {len(urgency.switched_off)} {OFF_HERE}"
    return level_word(urgency, beside)


def top(
    urgency: Urgency, beside: datetime, room: int = TOP, now: datetime | None = None
) -> tuple[str, bool]:
    """How urgent, what is done first and by when; and whether nothing of the first reason is left to say.

    What is done first and its limit always stand in the first `TOP` lines, with the limit of another reason where
    that ends before; why, the image and the call as far as they fit into the room.

    Args:
        urgency: How urgent it is.
        beside: The time of the examination.
        room: Lines of a note that there are.
        now: When it is read; without it a limit that is passed is not said to be.
    """
    head = urgency_at(urgency, beside, now)
    if not urgency.reasons:
        yes = f" Yes to {', '.join(urgency.answered_yes)}." if urgency.answered_yes else ""
        return f"{head}{charted_word(urgency, beside)}.{yes}", True
    first, run = urgency.reasons[0], soonest(urgency)
    word = level_word(urgency, beside).upper()
    last = _last(first, beside)
    names = (first.text, first.brief or first.text)
    # What was done in its words before the reason in all of its own; at the least that something was done, and when.
    ends = [f"{_sentence(name)} {end}".rstrip() for name in names for end in last[:2]]
    ends += [f"{_sentence(name)} {last[-1]}".rstrip() for name in names]
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
        due += f", another {LATE if passed else until(soonest_due, run.due)}"
    if run.urgency < urgency.level:
        step = f"{head}{word}, no deadline left. Next, {due}: {_stop(_next(run, beside))}"
        return _fitting([*(f"{step} {end}" for end in ends), step]), False
    limit = f"{word}, {limit_words(run, beside)}" if run.by == SOONEST else word
    said = (word,) if late else (when(run, beside).upper(), limit, word)
    heads = [f"{head}{urgent}, {due}." for urgent in said]
    if not run.answered:
        return _not_begun(run, heads, room, whole=run is first and run.since == beside, late=late)
    why, bare = _sentence(run.said), _sentence(run.text)
    step = f"Next: {_stop(_next(run, beside))}"
    brief = _sentence(run.brief or run.text)
    bodies = [f"{why} {step}", f"{bare} {step}", f"{step} {bare}", f"{step} {brief}"]
    return _fitting([f"{said} {body}" for body in bodies for said in heads]), False


def _not_begun(
    reason: Reason, heads: list[str], room: int, *, whole: bool, late: bool
) -> tuple[str, bool]:
    """The top of a note where nothing was done yet about the reason that is due first."""
    image, call = image_of(reason), f"call {reason.call}"
    why, bare = _sentence(reason.said), _sentence(reason.text)
    begun = f"First: {_stop(reason.first or image or call)}"
    most = f"{heads[0]} {why} {_steps(reason.first, image, call)}"
    fits = len(wrapped(most)) <= room and len(wrapped(f"{heads[0]} {why} {begun}")) <= TOP
    if whole and fits and image and not reason.acts and not reason.ended:
        told = f"{most} {_sentence(NOTHING)}"
        return (told if len(wrapped(told)) <= room else most), True
    steps = [_steps(reason.first, image, call), _steps(reason.first, image), _steps(reason.first, call), begun]  # fmt: skip
    # The words for a limit that is passed take room from the steps, of which the first stays in the first lines.
    led = [head for head in heads if late and len(wrapped(f"{head} {begun}")) <= TOP]
    names = (bare, _sentence(reason.brief or reason.text))
    tried = [f"{head} {step} {name}" for step in steps for name in names for head in led]
    bodies = [*(f"{bare} {step}" for step in steps), f"{begun} {bare}"]
    usual = [f"{head} {body}" for body in bodies for head in heads]
    return _fitting(tried, room) if tried else _fitting(usual), False


def _steps(*pieces: str) -> str:
    return f"First: {_stop('; '.join(filter(None, pieces)))}"


def _fitting(tried: list[str], room: int = TOP) -> str:
    """The first that fits into so many lines of a note, else the last."""
    return next((text for text in tried if len(wrapped(text)) <= room), tried[-1])


def _last(reason: Reason, beside: datetime) -> list[str]:
    """The last that was done about a reason, as a sentence, the fullest first."""
    if not reason.acts:
        return [_sentence(clean(reason.lowered))] if reason.lowered else [""]
    act = reason.acts[-1]
    short = f"{KINDS[act.kind]} {moment(act.at, beside)}"
    return [
        _sentence(text) for text in (act_words(act, beside), f"{short}: {clean(act.what)}", short)
    ]


def _stop(text: str) -> str:
    """A sentence with its end."""
    return text if text.endswith((".", "?")) else f"{text}."


def _sentence(text: str) -> str:
    return _stop(capital(text))
