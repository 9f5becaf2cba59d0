"""The panel: what the signs mean so far, in fixed places, so that the eye learns them."""

import textwrap
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from wardexam.exam.examination import Examination, Findings
from wardexam.exam.flags import flags
from wardexam.note.suggestion import pair_text
from wardexam.reasoning.rules.change import compare
from wardexam.terminal.canvas import Line
from wardexam.terminal.looks import ASCII, Glyphs

if TYPE_CHECKING:
    from wardexam.reasoning.reading import Reading
    from wardexam.reasoning.rules.urgency import Urgency


CAUTION = "Rules nothing out. Follow local policy."
MOST = 7  # changes said where there is room for them
SITES = 3
URGENT = 8  # lines for the urgency: reason and limit, what first, imaging and whom to call


# Most lines are as they were a key ago, and breaking them is the dear part.
_shorten = lru_cache(512)(textwrap.shorten)


@lru_cache(512)
def _wrap(text: str, width: int, **options: Any) -> tuple[str, ...]:
    return tuple(textwrap.wrap(text, width, **options))


def _block(text: str, width: int, lines: int, style: str = "") -> list[Line]:
    wrapped = _wrap(text, width, max_lines=lines, placeholder=" ..")
    found: list[Line] = [[(line, style)] for line in wrapped]
    return found + [[] for _ in range(lines - len(found))]


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
) -> list[Line]:
    """The panel's twenty-one lines, all that 80x24 leaves; a line that has nothing to say stays empty.

    Args:
        examination: What was entered.
        urgency: How urgent it is.
        reading: What it may mean; None before there is any.
        width: Columns.
        failed: Whether the reasoning failed.
        glyphs: What bars are drawn with.
        suggested: The key that goes to the suggested sign.
        asks: The key that asks the red flags.
    """
    lines: list[Line] = []
    if urgency.reasons:
        style = "alarm" if urgency.level == 3 else "warn"
        first = urgency.reasons[0]
        reason = _wrap(f"{first.when.upper()}: {first.text}", width)[:4]
        lines += [[(line, style)] for line in reason]
        lines += _block(first.steps, width, URGENT - len(reason))
    else:
        yes = ", ".join(urgency.answered_yes)
        text = (
            f"{urgency.word.capitalize()}. Flags yes: {yes}."
            if yes
            else f"{urgency.word.capitalize()}."
        )
        lines += _block(text, width, URGENT)
    entered = reading is not None and reading.entered > 0
    if failed:
        lines += _block("Reasoning unavailable; the grid works on.", width, SITES + 1, "warn")
    elif reading is None or not entered:
        waits = reading is None and examination.findings
        none_yet = "Working it out .." if waits else "Nothing entered yet."
        lines += [[("Where (suggestion)", "accent")], *_block(none_yet, width, SITES)]
    else:
        title = "Where (suggestion)" if reading.fits_one else "Where: DOES NOT FIT ONE LESION"
        lines.append([(title, "accent")])
        for site in reading.sites[:SITES]:
            bar = glyphs.bar(site.probability, 5)
            levels = (
                f" {site.levels[0]}-{site.levels[1]}"
                if site.levels and site.levels[0] != site.levels[1]
                else ""
            )
            # Of an urgent place that is less supported the first two words, of all others the whole.
            word = f"{' '.join(site.word.split()[:2]):<14} " if width >= 50 else ""
            name = _shorten(f"{site.name}{levels}", width - 11 - len(word), placeholder="..")
            lines.append([(f"{word}{site.probability:4.0%} {bar:<5} {name}", "")])
        lines += [[] for _ in range(SITES - len(reading.sites[:SITES]))]
    supports = reading.supports if reading else ()
    why = "; ".join(e.text for e in supports[:3])
    rival = reading.sites[1].name if reading and len(reading.sites) > 1 else ""
    lines += _block(f"Over {rival}: {why}" if why and entered else "", width, 1)
    misfit = "; ".join(reading.unexplained[:2]) if reading else ""
    if reading and reading.pair:
        lines += _block(pair_text(reading), width, 1, "warn")
    else:
        lines += _block(f"Does not fit: {misfit}" if misfit and entered else "", width, 1)
    sure = [a.text for a in reading.asymmetries if a.probability >= 0.5] if reading else []
    differ = "; ".join(sure[:2])
    note = reading.level_note if reading else ""
    lines += _block(
        f"Sides differ: {differ}" if differ else note, width, 2, "warn" if differ else ""
    )
    if reading and reading.next_signs:
        sign = reading.next_signs[0]
        meaning = "; ".join(f"{a}: {p}" for a, p in sign.outcomes[:2])
        lines += _block(f"Next ({suggested}): {sign.text}. {meaning}", width, 2)
    else:
        lines += [[], []]
    left = [row.short for name, row in flags().items() if name not in examination.flags]
    asked = (
        f"{len(left)} flags not asked ({asks}): {', '.join(left)}" if left else "All flags asked."
    )
    lines.append([(_shorten(asked, width, placeholder=".."), "")])
    lines += _block(CAUTION, width, 2, "quiet")
    return lines


def more_lines(
    examination: Findings, previous: Examination | None, urgency: "Urgency", width: int
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
        wrapped = _wrap(f"{reason.text}: {reason.action}", width)
        lines += [[(line, "")] for line in wrapped]
    return lines
