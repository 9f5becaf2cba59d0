"""The lines of the ward list: who lies where, how urgent, why, what is to be done by when.

A patient takes two lines where the ward fits so, else one; then all there is to say of the one who is chosen
stands below the list. What has no room is left out whole.
"""

import textwrap
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from types import MappingProxyType
from typing import NamedTuple

from wardexam.exam.text import clean, columns, cut, to_ascii
from wardexam.note.headline import off_in
from wardexam.note.limits import LATE, listed_word, rounded, running, span
from wardexam.reasoning.rules.rule_table import TODAY
from wardexam.records.repository import Bed
from wardexam.terminal.canvas import Line
from wardexam.terminal.ward_order import ahead

URGENCY = ("open", "days", "TODAY", "NOW")
SOON = timedelta(hours=12)  # a limit that ends later stands only where there is room for all
# Columns: pointer, bed and draft, name, urgency, worse, the clock of what is to be done, the next examination, the last one.
MARK, BED, NAME, WORD, WORSE, CLOCK, NEXT, LAST = 1, 6, 17, 8, 6, 16, 10, 8
INDENT = 4  # columns before the second line of a patient
AROUND = 4  # lines around the list: heading, names of the columns, what was said, the keys
BELOW = 3  # lines kept below the list for the one who is chosen, with the blank one above them
WIDE = 110  # columns from which one line has room for every column
TWICE = " (twice)"  # behind the name: another has it too
OFF = " (off)"  # behind the name: a reason is switched off here
BEGUN = "NOT SAVED yet: open it"
UNSAVED = "NOT SAVED: "  # before what an examination says that is no more than begun
WRITER = 18  # columns of who has a patient open
UNEXAMINED = "not examined"  # of a patient of whom no more is known than why they came


class Place(NamedTuple):
    """How the list lies on the screen.

    Attributes:
        each: Lines that a patient takes.
        room: How many patients show.
        first: Which is the first.
        below: What stands below the list.
    """

    each: int
    room: int
    first: int
    below: list[Line]


class Teller(NamedTuple):
    """What the lines are made with.

    Attributes:
        now: What the clock says.
        width: Columns.
        plain: Whether the terminal shows ASCII alone.
        pointer: What stands left of the one who is chosen.
        by_due: Whether the list stands in the order of the next examinations.
        alike: Those with another of the same name in the list, each with that other.
    """

    now: datetime
    width: int
    plain: bool
    pointer: str
    by_due: bool
    alike: Mapping[str, Bed] = MappingProxyType({})

    @property
    def clear(self) -> Callable[[str], str]:
        """What makes a text fit for this terminal."""
        return to_ascii if self.plain else clean


def ago(then: str | None, now: datetime) -> str:
    """How long ago it was, in few words."""
    if then is None:
        return "never"
    at = datetime.fromisoformat(then)
    return f"{at.year}?" if ahead(then, now) else span((now - at).total_seconds() / 60)


def again(bed: Bed, now: datetime) -> str:
    """When the next examination is due: ``in 2h``, ``LATE 3h``, ``FIRST``; empty without a schedule."""
    if ahead(bed.last_at, now):
        return "CLOCK"
    if bed.next_at is None:
        return "" if bed.recheck_hours is None else "FIRST"
    hours = (bed.next_at - now).total_seconds() / 3600
    words = rounded(hours, "h")
    return f"LATE {words}" if hours < 0 else f"in {words}"


def place(beds: Sequence[Bed], at: int | None, height: int, tell: Teller) -> Place:
    """How the list lies on a screen of this height, the chosen patient within it."""
    lines = height - AROUND
    chosen = None if at is None else beds[at]
    if len(beds) * 2 <= lines:
        return Place(2, lines // 2, 0, [])
    below = _whole(chosen, tell) if chosen else []
    room = lines - max(BELOW, len(below) + 1)
    first = max(0, min((at or 0) - room // 2, len(beds) - room))
    return Place(1, room, first, below)


def names(tell: Teller, each: int) -> Line:
    """What the columns are called."""
    who = f"{'':<{MARK}}{'Bed':<{BED}}{'Name':<{NAME}}{'Urgency':<{WORD}}{'':<{WORSE}}"
    more = f"{'Act by':<{CLOCK}}"
    if each == 2 or tell.width >= WIDE:
        more += f"{'Next':<{NEXT}}{'Last':<{LAST}}"
    elif tell.by_due:
        more = f"{'Next':<{CLOCK}}"
    reason = "Reason" if each == 1 else "By" if tell.width >= WIDE else ""
    return [(f"{who}{more}{reason}".rstrip(), "quiet")]


def bed_lines(bed: Bed, tell: Teller, each: int, *, chosen: bool) -> list[Line]:
    """The lines of one patient.

    The cursor lies on the bed alone, so that the alarm keeps its colour and its shape and is seen first.
    """
    now, summary = tell.now, bed.listed
    only_told = summary is not None and summary is bed.told
    known = summary and (summary.urgency or not only_told)
    word = listed_word(summary, now, URGENCY[summary.urgency]) if summary and known else ""
    if not known or (only_told and word != URGENCY[-1]):
        word += "?"  # it may be graver
    # A mark while nothing was done about one of the gravest reasons.
    new = " !" if summary and summary.new and summary.urgency else ""
    style = "alarm" if word == "NOW" else "warn" if summary and summary.urgency == TODAY else ""
    mark = "*" if bed.has_draft else " "
    heavy = "strong" if style else ""
    worse = "worse" if summary and summary.worse else ""
    line: Line = [
        (tell.pointer if chosen else " ", "accent"),
        (_padded(f"{cut(tell.clear(bed.bed), BED - 1)}{mark}", BED), "cursor" if chosen else heavy),
        (_padded(_name(bed, tell), NAME), "strong" if chosen else heavy),
        *_level(f"{word}{new}", style),
        (f"{worse:<{WORSE}}", "strong"),
    ]
    roomy = each == 2 or tell.width >= WIDE
    clock, next_time, last = (
        _clock(bed, tell, soon=not roomy),
        again(bed, now),
        ago(bed.last_at, now),
    )
    if roomy:
        line += _timed(clock, CLOCK)
        line += [(f"{next_time:<{NEXT}}", ""), (f"{last:<{LAST}}", "")]
    elif tell.by_due or not clock:
        exam = f"exam {next_time}" if next_time else ""
        line.append((f"{exam:<{CLOCK}}", ""))
    else:
        line += _timed(clock, CLOCK)
    filled = sum(len(text) for text, _ in line)
    if each == 1:
        return [[*line, (_reason(bed, tell, tell.width - filled), "")]]
    if tell.width >= WIDE and bed.last_by:
        line.append((cut(tell.clear(bed.last_by), tell.width - filled), "quiet"))
    return [line, _second(bed, tell)]


def _name(bed: Bed, tell: Teller) -> str:
    """The name, with a mark where a reason is switched off here: the reason below or beside may have no room for it."""
    said, twice = bed.summary or bed.told, bed.patient_id in tell.alike
    off = OFF if said and off_in(said) else TWICE if twice else ""
    return cut(tell.clear(bed.name), NAME - 1 - len(off)) + off


def _padded(text: str, width: int) -> str:
    """A text filled up to so many columns of the terminal."""
    return text + " " * (width - columns(text))


def _level(text: str, style: str) -> Line:
    """The level: the alarm fills its column, so that it has the same shape in every row."""
    filled = f"{text:<{WORD - 1}}" if style == "alarm" else text
    return [(filled, style), (" " * (WORD - len(filled)), "")]


def _timed(clock: str, width: int) -> Line:
    """The clock of what is to be done, in the alarm's colour once it is passed."""
    style = "alarm" if clock.startswith(LATE) else "strong"
    return [(clock, style), (" " * (width - len(clock)), "")]


def _clock(bed: Bed, tell: Teller, *, soon: bool = False) -> str:
    """By when what is to be done first is to be done; empty where no clock runs, or none that ends soon."""
    summary = bed.listed
    due = summary.due_at if summary and not bed.discharged else None
    if not summary or not due or (soon and due >= tell.now + SOON):
        return ""
    said = running(summary, tell.now, step=False)
    left = span((due - tell.now).total_seconds() / 60)
    return said if len(said) < CLOCK else f"due in {left}"


def _step(bed: Bed, tell: Teller) -> str:
    """What is to be done by then."""
    return tell.clear(bed.listed.step) if bed.listed and not bed.discharged else ""


def _why(bed: Bed, tell: Teller) -> str:
    """Why, whole."""
    text = (
        "RECORD UNREADABLE"
        if bed.trouble
        else f"{UNSAVED}{bed.graver_draft.headline}"
        if bed.graver_draft
        else bed.summary.headline
        if bed.summary
        else f"{UNEXAMINED}: {bed.told.headline}"
        if bed.told
        else BEGUN
        if bed.last_at is None and bed.has_draft and not bed.writing
        else bed.reason or UNEXAMINED
        if bed.last_at is None
        else "not worked out"
    )
    if ahead(bed.last_at, tell.now) and bed.last_at:
        text = f"dated {datetime.fromisoformat(bed.last_at):%d %b %Y}, still to come; {text}"
    if bed.has_draft and bed.last_at and not bed.graver_draft and not (bed.trouble or bed.writing):
        text = f"{text}; {BEGUN}"
    return tell.clear(text)


def _writing(bed: Bed, tell: Teller) -> str:
    """Who has an examination of the patient open now; empty where nobody has."""
    return f"{cut(tell.clear(bed.writing), WRITER)} examines now" if bed.writing else ""


def _reason(bed: Bed, tell: Teller, room: int) -> str:
    """Why, in one narrow column: whole where it fits, else in the short words, at the least in whole ones."""
    text = _why(bed, tell)
    if len(text) > room and ahead(bed.last_at, tell.now):
        text = text.partition(",")[0]
    elif len(text) > room and (draft := bed.graver_draft):
        text = tell.clear(f"{UNSAVED}{draft.short or draft.headline}")
    elif len(text) > room and bed.summary and bed.summary.short:
        text = tell.clear(bed.summary.short)
    elif len(text) > room and bed.told:
        text = tell.clear(f"{UNEXAMINED}: {bed.told.short or bed.told.headline}")
    return text if len(text) <= room else textwrap.shorten(text, max(room, 0), placeholder="")


def _second(bed: Bed, tell: Teller) -> Line:
    """Below a patient: why, and what is to be done by when; what has no room is left out whole."""
    indent = " " * INDENT
    room, text = tell.width - len(indent), _why(bed, tell)
    if (by := _writing(bed, tell)) and len(text) + len(by) + 2 > room:
        text = _reason(bed, tell, room - len(by) - 2)
    text = "; ".join(filter(None, (by, text)))
    for more in (_step(bed, tell), tell.clear(bed.trouble)):
        longer = f"{text}: {more}" if more else text
        text = longer if len(longer) <= room else text
    return [(indent, ""), (text if len(text) <= room else _reason(bed, tell, room), "")]


def _whole(bed: Bed, tell: Teller) -> list[Line]:
    """All there is to say of the one who is chosen, over as many lines as it takes."""
    now, summary = tell.now, bed.listed
    clock = running(summary, now, step=False) if summary and not bed.discharged else ""
    parts = [f"{bed.bed} {bed.name}: {_why(bed, tell)}", _writing(bed, tell)]
    parts += (
        [f"{other.bed} is {other.name} too"] if (other := tell.alike.get(bed.patient_id)) else []
    )
    parts += [f"{clock}: {_step(bed, tell)}"] if clock else []
    parts += [bed.trouble] if bed.trouble else []
    if bed.last_at:
        by = f" by {bed.last_by}" if bed.last_by else ""
        parts.append(f"last examined {ago(bed.last_at, now)} ago{by}")
    if bed.last_at and (due := again(bed, now)) and due != "CLOCK":
        parts.append(f"next examination {due}")
    text = tell.clear("; ".join(part for part in parts if part))
    style = "alarm" if clock.startswith(LATE) else "strong"
    lines = textwrap.wrap(text, tell.width - 2, initial_indent=" ", subsequent_indent="   ")
    if not clock:
        return [[(line, "strong" if n == 0 else "")] for n, line in enumerate(lines)]
    made: list[Line] = []
    for line in lines:  # the clock keeps its colour, wherever the line breaks
        before, found, after = line.partition(clock)
        made.append([(before, ""), (found, style), (after, "")] if found else [(line, "")])
    return made
