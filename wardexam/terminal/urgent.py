"""The one line that says how urgent it is: the same on every screen that shows a patient."""

from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple

from wardexam.exam.text import counted
from wardexam.note.reasons import LATE, deadline, level_of, limit_words, next_step, steps
from wardexam.reasoning.rules.deadlines import overdue
from wardexam.terminal.canvas import Line

if TYPE_CHECKING:
    from wardexam.reasoning.rules.urgency import Reason, Urgency

STYLES = {3: "alarm", 2: "warn", 1: "strong", 0: ""}  # by level
GRAVEST = 3
GAP = 2  # blanks between the parts of the line


class Told(NamedTuple):
    """How the line is filled: its parts, and what it has no room for."""

    level: str
    due: str
    why: str
    todo: tuple[str, ...]
    more: str
    left: tuple[
        str, ...
    ]  # sentences: the whole reason where it is longer, then what is to be done beside


def told(urgency: "Urgency", width: int, now: datetime, key: str) -> Told:
    """What the line says of an urgency that has a reason, and what is left for elsewhere.

    Level, deadline and the count of the other reasons always stand there; the reason in its own words where at
    least the first step fits beside it, else in the short ones; then as many steps as fit, each whole.
    """
    first, others = urgency.reasons[0], urgency.reasons[1:]
    level = level_of(first, now).upper()
    due = deadline(first.due, now, now).partition(",")[0]
    passed = sum(1 for r in others if overdue(r.due, now))
    sooner = min((r.due for r in others if r.due and first.due and r.due < first.due), default=None)
    late = f", {passed} {LATE}" if passed else f", one {deadline(sooner, now)}" if sooner else " more"  # fmt: skip
    more = f"+{len(others)}{late} {key}".rstrip() if others else ""
    parts = steps(first).split("; ")
    todo = [next_step(first, now), *parts] if first.asked else parts
    room = (
        width
        - len(level)
        - 2
        - (1 + len(due) if due else 0)
        - GAP
        - (GAP + len(more) if more else 0)
    )
    why, count = _fitting(first, todo, room)
    limit = "" if first.lowered else limit_words(first, now)
    left = [first.said] if why not in (first.said, first.text) else []
    if why == first.text != first.said and limit:
        limit = f"{limit} ({first.origin})"
    left += ["; ".join(todo[count:])] if count < len(todo) else []
    if limit and (left or limit.upper() != level):  # in words as well: the clock alone may be gone
        left[:1] = [f"{limit}: {left[0]}" if left else limit]
    return Told(level, due, why, tuple(todo[:count]), more, tuple(left))


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
        f"Not assessed: {counted(left, 'flag')} not asked."
        if left
        else "No reason for urgency in what is entered."
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
        return [(unreasoned(urgency)[:width], "")]
    said, level = told(urgency, width, now, key), urgency.reasons[0].urgency
    line: Line = [(f" {said.level} ", STYLES[level])]
    if level < GRAVEST:  # an underline goes with words alone
        line = [(" ", ""), (said.level, STYLES[level]), (" ", "")]
    if said.due:
        late = said.due.startswith(LATE)
        line += [(" ", ""), (said.due, "alarm" if late else "strong")]
    line += [(" " * GAP, ""), (said.why, "strong")]
    if said.todo:
        line.append((f": {'; '.join(said.todo)}", ""))
    if said.more:
        filled = sum(len(text) for text, _ in line)
        line.append((" " * (width - filled - len(said.more)), ""))
        line.append((said.more, "alarm" if LATE in said.more else "strong"))
    return line
