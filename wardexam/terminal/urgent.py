"""The one line that says how urgent it is: the same on every screen that shows a patient."""

from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple

from wardexam.exam.text import capital, counted
from wardexam.note.limits import LATE, deadline, level_of, limit_words
from wardexam.note.reasons import next_step, settled_by, steps
from wardexam.note.switched_off import off_short
from wardexam.reasoning.rules.deadlines import overdue
from wardexam.terminal.canvas import Line

if TYPE_CHECKING:
    from wardexam.reasoning.rules.reason import Reason, Urgency

STYLES = {3: "alarm", 2: "warn", 1: "strong", 0: ""}  # by level
GRAVEST = 3
GAP = 2  # blanks between the parts of the line
OFF = "OFF here"  # of a rule that the hospital has switched off


class Told(NamedTuple):
    """How the line is filled: its parts, and what it has no room for.

    Attributes:
        level: How urgent.
        due: By when, or how it is settled; empty where no clock runs and it is not.
        why: The reason.
        todo: As many steps as fit.
        more: How many reasons there are beside it.
        left: Sentences: the whole reason where it is longer, then what is to be done beside.
    """

    level: str
    due: str
    why: str
    todo: tuple[str, ...]
    more: str
    left: tuple[str, ...]


def told(urgency: "Urgency", width: int, now: datetime, key: str) -> Told:
    """What the line says of an urgency that has a reason, and what is left for elsewhere.

    Level, deadline or how it is settled, and the count of the other reasons always stand there; the reason in its own words where at
    least the first step fits beside it, else in the short ones; then as many steps as fit, each whole.
    """
    first, others = urgency.reasons[0], urgency.reasons[1:]
    level = level_of(first, now).upper()
    due = deadline(first.due, now, now).partition(",")[0] or settled_by(first)
    passed = sum(1 for r in others if overdue(r.due, now))
    ahead = bool(overdue(first.due, now))  # a limit that is passed hides none that is still to come
    sooner = min(
        (r.due for r in others if r.due and first.due and (ahead or r.due < first.due)),
        default=None,
    )
    late = f", {passed} {LATE}" if passed else f", one {deadline(sooner, now)}" if sooner else " more"  # fmt: skip
    parts = steps(first).split("; ")
    todo = [next_step(first, now), *parts] if first.asked else parts
    whole = width - len(level) - 2 - (1 + len(due) if due else 0) - GAP
    # A rule that is switched off is named where the first step still fits beside it, or where it is graver than
    # all that speak; else it is counted.
    graver = any(off.urgency > first.urgency for off in urgency.switched_off)
    least = len(first.brief) if graver else len(f"{first.brief}: {todo[0]}")
    counts = [f"+{len(others)}{late}", f"+{len(others)}"] if others else [""]
    more = _more(counts, urgency, whole - GAP - least, whole - GAP - len(first.brief), key)
    room = whole - (GAP + len(more) if more else 0)
    why, count = _fitting(first, todo, room)
    limit = "" if first.lowered else limit_words(first, now)
    left = [first.said] if why not in (first.said, first.text) else []
    if why == first.text != first.said and limit:
        limit = f"{limit} ({first.origin})"
    left += ["; ".join(todo[count:])] if count < len(todo) else []
    if limit and (left or limit.upper() != level):  # in words as well: the clock alone may be gone
        left[:1] = [f"{limit}: {left[0]}" if left else limit]
    left += [off_short(urgency)] if urgency.switched_off else []
    return Told(level, due, why, tuple(todo[:count]), more, tuple(left))


def _more(counts: list[str], urgency: "Urgency", named_room: int, room: int, key: str) -> str:
    """How many reasons there are beside the first, what is switched off here, and the key that shows them.

    Args:
        counts: How many there are, the fullest words first.
        urgency: How urgent it is.
        named_room: Columns in which a rule that is switched off is named.
        room: Columns in which it is counted.
        key: The key.
    """
    off = urgency.switched_off
    also = f" +{len(off) - 1}" if len(off) > 1 else ""
    named = [(counts[0], f"{OFF}: {off[0].brief}{also}", named_room)] if off else []
    counted_ = [(count, f"{len(off)} {OFF}" if off else "", room) for count in counts]
    for count, said, columns in (*named, *counted_):
        text = ", ".join(filter(None, (count, said)))
        line = f"{text} {key}".rstrip() if text else ""
        if len(line) <= columns:
            return line
    return line


def _fitting(first: "Reason", todo: list[str], room: int) -> tuple[str, int]:
    """The words of a reason and how many of its steps stand beside them in so many columns."""
    words = list(dict.fromkeys((first.said, first.text, first.brief)))
    for why in words:
        for count in range(len(todo), 0, -1):
            if len(f"{why}: {'; '.join(todo[:count])}") <= room:
                return why, count
    return next((why for why in words if len(why) <= room), words[-1]), 0


def unreasoned(urgency: "Urgency") -> str:
    """What there is to say where no rule asks for anything: never that nothing is urgent."""
    yes = ", ".join(urgency.answered_yes)
    left = len(urgency.not_asked)
    said = (
        f"Not assessed: {counted(left, 'flag')} not asked." if left else f"{capital(urgency.word)}."
    )
    return said + (f" Flags yes: {yes}." if yes else "")


def urgent_line(urgency: "Urgency", width: int, *, now: datetime, key: str) -> Line:
    """How urgent, by when, why, what to do first, and how many reasons more.

    Args:
        urgency: How urgent it is.
        width: Columns.
        now: What the clock says.
        key: The key that shows every reason.
    """
    if not urgency.reasons:
        off = _more([""], urgency, width, width, key)
        said = unreasoned(urgency)[: width - len(off) - GAP if off else width]
        gap = " " * (width - len(said) - len(off)) if off else ""
        return [(said, ""), (gap, ""), (off, "strong")] if off else [(said, "")]
    filling, level = told(urgency, width, now, key), urgency.reasons[0].urgency
    line: Line = [(f" {filling.level} ", STYLES[level])]
    if level < GRAVEST:  # an underline goes with words alone
        line = [(" ", ""), (filling.level, STYLES[level]), (" ", "")]
    if filling.due:
        late = filling.due.startswith(LATE)
        line += [(" ", ""), (filling.due, "alarm" if late else "strong")]
    line += [(" " * GAP, ""), (filling.why, "strong")]
    if filling.todo:
        line.append((f": {'; '.join(filling.todo)}", ""))
    if filling.more:
        filled = sum(len(text) for text, _ in line)
        line.append((" " * (width - filled - len(filling.more)), ""))
        line.append((filling.more, "alarm" if LATE in filling.more else "strong"))
    return line
