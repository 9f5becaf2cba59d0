"""The panel: what the signs mean so far, in fixed places, so that the eye learns them."""

import textwrap
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from wardexam.exam.examination import Examination, Findings
from wardexam.exam.flags import flags
from wardexam.note.reasons import LATE, action, deadline, steps, when
from wardexam.note.suggestion import pair_text
from wardexam.reasoning.rules.change import compare
from wardexam.reasoning.rules.deadlines import overdue
from wardexam.terminal.canvas import Line
from wardexam.terminal.looks import ASCII, Glyphs

if TYPE_CHECKING:
    from wardexam.reasoning.reading import Reading, Site
    from wardexam.reasoning.rules.urgency import Urgency


CAUTION = "Rules nothing out. Follow local policy."
MOST = 7  # changes said where there is room for them
SITES = 3
URGENT = 8  # lines for the urgency: reason, limit and what to do; it takes more where it needs them
EMPTY = 9  # what an empty line gives way to


# Most lines are as they were a key ago, and breaking them is the dear part.
_shorten = lru_cache(512)(textwrap.shorten)


@lru_cache(512)
def _wrap(text: str, width: int, **options: Any) -> tuple[str, ...]:
    return tuple(textwrap.wrap(text, width, **options))


def _block(text: str, width: int, lines: int, style: str = "") -> list[Line]:
    wrapped = _wrap(text, width, max_lines=lines, placeholder=" ..")
    found: list[Line] = [[(line, style)] for line in wrapped]
    return found + [[] for _ in range(lines - len(found))]


def headline(
    urgency: "Urgency", width: int, *, now: datetime | None = None, why: str = "!"
) -> list[Line]:
    """How urgent and why, by when and how many reasons more, what to do: as many lines as it takes, nothing cut.

    Args:
        urgency: How urgent it is.
        width: Columns.
        now: What the clock says; without it a limit that is passed is not said to be.
        why: The key that shows every reason.
    """
    if not urgency.reasons:
        yes = ", ".join(urgency.answered_yes)
        text = f"{urgency.word.capitalize()}." + (f" Flags yes: {yes}." if yes else "")
        return [[(line, "")] for line in _wrap(text, width)]
    first, more = urgency.reasons[0], len(urgency.reasons) - 1
    style = "alarm" if urgency.level == 3 else "warn"
    passed = sum(1 for r in urgency.reasons[1:] if now and overdue(r.due, now))
    due = deadline(first.due, now or first.due, now) if first.due else ""
    late, weight = due.startswith(LATE), "alarm" if passed else "strong"
    lines: list[Line] = [
        [(line, style)] for line in _wrap(f"{when(first, now).upper()}: {first.said}", width)
    ]
    others = f"+{more} more{f', {passed} {LATE}' if passed else ''} ({why})" if more else ""
    if due and others and len(due) + 2 + len(others) <= width:
        lines.append([(due, "alarm" if late else "strong"), ("  ", ""), (others, weight)])
    else:
        lines += [[(line, "alarm" if late else "strong")] for line in _wrap(due, width)]
        lines += [[(others, weight)]] if others else []
    lines += [[(line, "")] for line in _wrap(steps(first), width)]
    return lines


def panel_lines(
    examination: Findings,
    urgency: "Urgency",
    reading: "Reading | None",
    width: int,
    *,
    failed: bool = False,
    glyphs: Glyphs = ASCII,
    suggested: str = "t",
    asks: str = "f",
    why: str = "!",
    now: datetime | None = None,
) -> list[Line]:
    """The panel's twenty-one lines, all that 80x24 leaves; a line that has nothing to say stays empty.

    The urgency is never cut: where it takes more than its lines, what is told least below it gives way.

    Args:
        examination: What was entered.
        urgency: How urgent it is.
        reading: What it may mean; None before there is any.
        width: Columns.
        failed: Whether the reasoning failed.
        glyphs: What bars are drawn with.
        suggested: The key that goes to the suggested sign.
        asks: The key that asks the red flags.
        why: The key that shows every reason.
        now: What the clock says.
    """
    top = headline(urgency, width, now=now, why=why)
    top += [[] for _ in range(URGENT - len(top))]
    rest = _rest(examination, reading, width, failed, glyphs, suggested, asks)
    for _ in range(len(top) - URGENT):
        least = max(range(len(rest)), key=lambda n: (rest[n][0] if rest[n][1] else EMPTY, n))
        del rest[least]
    return top + [line for _, line in rest]


def _rest(
    examination: Findings, reading: "Reading | None", width: int, failed: bool, glyphs: Glyphs,
    suggested: str, asks: str,
) -> list[tuple[int, Line]]:  # fmt: skip
    """What stands below the urgency: each line with when it gives way, the highest first."""
    lines: list[tuple[int, Line]] = []

    def put(gives_way: int, *those: Line) -> None:
        lines.extend((gives_way, line) for line in those)

    entered = reading is not None and reading.entered > 0
    if failed:
        put(1, *_block("Reasoning unavailable; the grid works on.", width, SITES + 1, "warn"))
    elif reading is None or not entered:
        waits = reading is None and examination.findings
        none_yet = "Working it out .." if waits else "Nothing entered yet."
        put(1, [("Where (suggestion)", "accent")], *_block(none_yet, width, SITES))
    else:
        title = "Where (suggestion)" if reading.fits_one else "Where: DOES NOT FIT ONE LESION"
        put(1, [(title, "accent")])
        for number, site in enumerate(reading.sites[:SITES]):
            put(1 + number, _site_line(site, width, glyphs))
        put(EMPTY, *([] for _ in range(SITES - len(reading.sites[:SITES]))))
    supports = reading.supports if reading else ()
    reasons = "; ".join(e.text for e in supports[:3])
    rival = reading.sites[1].name if reading and len(reading.sites) > 1 else ""
    put(4, *_block(f"Over {rival}: {reasons}" if reasons and entered else "", width, 1))
    misfit = "; ".join(reading.unexplained[:2]) if reading else ""
    if reading and reading.pair:
        put(3, *_block(pair_text(reading), width, 1, "warn"))
    else:
        put(3, *_block(f"Does not fit: {misfit}" if misfit and entered else "", width, 1))
    sure = [a.text for a in reading.asymmetries if a.probability >= 0.5] if reading else []
    differ = "; ".join(sure[:2])
    note = reading.level_note if reading else ""
    style = "warn" if differ else ""
    put(3, *_block(f"Sides differ: {differ}" if differ else note, width, 2, style))
    if reading and reading.next_signs:
        sign = reading.next_signs[0]
        meaning = "; ".join(f"{a}: {p}" for a, p in sign.outcomes[:2])
        put(2, *_block(f"Next ({suggested}): {sign.text}. {meaning}", width, 2))
    else:
        put(EMPTY, [], [])
    put(0, [(_not_asked(examination, width, asks), "")])
    put(0, *_block(CAUTION, width, 2, "quiet"))
    return lines


def _site_line(site: "Site", width: int, glyphs: Glyphs) -> Line:
    bar = glyphs.bar(site.probability, 5)
    levels = (
        f" {site.levels[0]}-{site.levels[1]}"
        if site.levels and site.levels[0] != site.levels[1]
        else ""
    )
    # Of an urgent place that is less supported the first two words, of all others the whole.
    word = f"{' '.join(site.word.split()[:2]):<14} " if width >= 50 else ""
    name = _shorten(f"{site.name}{levels}", width - 11 - len(word), placeholder="..")
    return [(f"{word}{site.probability:4.0%} {bar:<5} {name}", "")]


def _not_asked(examination: Findings, width: int, asks: str) -> str:
    """How many flags were not asked, with as many of their names as fit whole."""
    left = [row.short for name, row in flags().items() if name not in examination.flags]
    if not left:
        return "All flags asked."
    text = f"{len(left)} flags not asked ({asks})"
    for number, name in enumerate(left):
        longer = f"{text}{', ' if number else ': '}{name}"
        if len(longer) > width:
            break
        text = longer
    return text


def more_lines(
    examination: Findings,
    previous: Examination | None,
    urgency: "Urgency",
    width: int,
    now: datetime | None = None,
) -> list[Line]:
    """What stands below the panel where a screen has more lines: further reasons, and every change."""
    lines: list[Line] = []
    if previous:
        change = compare(previous, examination)
        lines += [[], [(f"Since {previous.at:%d %b %H:%M}", "accent")]]
        said = [change.headline, *(f"{'-' if s.worse else '+'} {s.text}" for s in change.gravest)]
        if len(said) > MOST:
            said[MOST:] = [f"and {len(said) - MOST} more"]
        lines += [[(line, "")] for text in said for line in _wrap(text, width)]
    if len(urgency.reasons) > 1:
        lines += [[], [("Also", "accent")]]
    for reason in urgency.reasons[1:]:
        wrapped = _wrap(f"{reason.text}: {action(reason, now)}", width)
        lines += [[(line, "")] for line in wrapped]
    return lines
