"""The review as a paper: plain lines of at most 80 columns, each figure with its denominator and what was left out."""

import textwrap
from datetime import timedelta

from wardexam.exam.text import counted
from wardexam.review.counting import Period
from wardexam.review.figures import Figure, Review
from wardexam.review.standards import Standards
from wardexam.version import __version__

WIDTH = 80
NAME = 35  # columns of a name
NAMED = 4  # patients that are named below a figure; the table holds all
TITLES = {
    "times": "How soon", "re-examinations": "Re-examinations",
    "emergencies": "Emergencies, and how they were first called",
    "suggestion": "The suggestion, against what it was in the end", "how sure": "How sure it was",
    "trail": "What this rests on",
}  # fmt: skip
NOTES = {
    "times": "Within the limit, of those with both times written and of images that were asked for, had not been done by the end of "
    "the period (or by now) and whose limit had ended: these are not within it. Then how long it took, of those with both times. "
    "What is neither written nor asked for, or was written to be not needed, is left out and named. It begins with the examination "
    "that first raised the reason. Where no time of the image was recorded, the time its result was written stands "
    "for it; the result is timed only where both are known, from the image to the first result written after it. Times in an order that cannot be are left out. A patient may be in several groups.",
    "emergencies": "By the reasons kept with each examination; the highest level up to the end of the period.",
    "re-examinations": "Those that fell due in the period, by the schedule as it stands now. One made after the period is late; "
    "never made is what had not been made by now, or until the discharge. Every examination of the period is "
    "counted or left out below.",
    "suggestion": "The last suggestion saved before the image, else before the outcome was recorded, as it was kept then.",
    "trail": "Beside the trail's own share: from the beginning of an examination to its first saving.",
    "how sure": "What was said of the first site, and how often it was right.",
}
FIRST, END = "complete, first examination", "complete, by the end"


def period_words(period: Period) -> str:
    """The days of a period; its end is its last day."""
    last = period.end - timedelta(microseconds=1)
    return f"{period.begin:%d %b %Y} to {last:%d %b %Y}"


def percent(figure: Figure) -> str:
    """A share as ``41/60  68 % (56 to 79)``; a bare number where no share is meant."""
    if figure.count is None:
        return f"{figure.of or 'none':>5}"
    if not figure.of:
        return "none"
    said = f"{figure.count}/{figure.of}"
    if figure.low is None or figure.high is None:
        return said
    share = 100 * figure.count / figure.of
    return f"{said:>9} {share:3.0f} % ({100 * figure.low:.0f} to {100 * figure.high:.0f})"


def _span(minutes: float, unit: str) -> str:
    if unit != "min":
        return f"{minutes:.0f}"
    if minutes < 120:
        return f"{minutes:.0f} min"
    return f"{minutes / 60:.1f} h" if minutes < 2880 else f"{minutes / 1440:.1f} d"


def spans_text(figure: Figure) -> str:
    """A median with its quartiles: ``35 min (20 min, 2.1 h)``."""
    if figure.spans is None:
        return ""
    low, middle, high = (_span(value, figure.unit) for value in figure.spans)
    unit = "" if figure.unit == "min" else f" {figure.unit}"
    return f"{middle}{unit}" if low == high == middle else f"{middle} ({low}, {high}){unit}"


def _below(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH - 1, initial_indent="    ", subsequent_indent="      ")


def _left_out(figure: Figure) -> list[str]:
    if not figure.left_out and not figure.why:
        return []
    bare = figure.why and not figure.left_out
    return _below(figure.why if bare else f"left out {figure.left_out}: {figure.why}")


def _whose(figure: Figure) -> list[str]:
    if not figure.patients:
        return []
    more = len(figure.patients) - NAMED
    names = " ".join(figure.patients[:NAMED]) + (f" and {more} more" if more > 0 else "")
    word = "overdue" if figure.section == "re-examinations" else "late or not written"
    return _below(f"{word}: {names}")


def _caution(figures: tuple[Figure, ...], standards: Standards) -> list[str]:
    few = any(f.few and f.of for f in figures)
    return [f"  (!) under {standards.few}: too few to say much"] if few else []


def _mark(figure: Figure) -> str:
    return "  (!)" if figure.few and figure.of else ""


def paper(review: Review, standards: Standards) -> str:
    """The paper of a review."""
    period = review.period
    lines = [
        f"Audit of the ward, {period_words(period)}",
        f"{counted(review.patients, 'patient')}, {counted(review.examinations, 'examination')}; "
        f"made {period.now:%d %b %Y %H:%M}, wardexam {__version__}",
        *textwrap.wrap(
            "Patients by opaque name; no doctor is named. Beside each share its 95 % interval (Wilson), beside each "
            "time the median and the quartiles. It counts what was written, not what was done: an item is done where it was found, stated normal or said "
            "to be not testable.",
            WIDTH - 1,
        ),
    ]
    if review.unread:
        names = " ".join(name for name, _ in review.unread[:NAMED])
        said = f"LEFT OUT of all: {counted(len(review.unread), 'patient')} whose record cannot be read: {names}"
        lines += textwrap.wrap(said, WIDTH - 1)
    lines += _complete(review, standards)
    for section, title in TITLES.items():
        figures = review.of(section)
        lines += ["", title]
        if section in NOTES:
            lines += textwrap.wrap(
                NOTES[section], WIDTH - 1, initial_indent="  ", subsequent_indent="  "
            )
        last = ""
        for figure in figures:
            if figure.group != last and section in ("times", "emergencies"):
                lines.append(
                    f"  {figure.group} ({figure.of})"
                    if section == "emergencies"
                    else f"  {figure.group}"
                )
            lines += _lines(figure, last)
            last = figure.group
        lines += _caution(figures, standards)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _lines(figure: Figure, group_before: str) -> list[str]:
    """A figure with what is below it."""
    tail = ""
    if figure.spans is not None:
        tail = f"  {spans_text(figure)}"
    made = [f"  {figure.name:<{NAME}} {percent(figure)}{tail}{_mark(figure)}"]
    if len(made[0]) >= WIDTH:
        made = [
            f"  {figure.name:<{NAME}} {percent(figure)}{_mark(figure)}",
            f"  {'':<{NAME}}   {tail.strip()}",
        ]
    below = figure.section in ("times", "suggestion", "re-examinations") or (
        figure.section in ("emergencies", "trail") and figure.group != group_before
    )
    if below:
        made += _left_out(figure)
    if figure.section in ("times", "re-examinations"):
        made += _whose(figure)
    return made


def _complete(review: Review, standards: Standards) -> list[str]:
    """How complete the examinations were: at first, and by the end, side by side."""
    lines: list[str] = []
    firsts = {(f.group, f.name): f for f in review.of(FIRST)}
    ends = {(f.group, f.name): f for f in review.of(END)}
    last = ""
    for (group, name), figure in firsts.items():
        if group != last:
            lines += ["", f"How complete: {group} ({counted(figure.of, 'patient')})"]
            lines += _left_out(figure)
            lines.append(f"  {'':<{NAME}} {'first examination':<22} by the end")
            lines += _caution((figure,), standards)
            last = group
        lines.append(f"  {name:<{NAME}} {percent(figure):<22} {_short(ends[group, name])}")
    return lines


def _short(figure: Figure) -> str:
    share = f"{100 * (figure.count or 0) / figure.of:3.0f} %" if figure.of else ""
    return f"{figure.count}/{figure.of} {share}".rstrip()
