"""The reading and the urgency in words that can be listened to: no bars, no columns."""

from datetime import datetime

from wardexam.exam.findings import Side
from wardexam.exam.text import capital, counted
from wardexam.note.limits import level_of, level_word
from wardexam.note.reasons import action, by_deadline, whole
from wardexam.note.suggestion import alike_words, contradiction_text, pair_text
from wardexam.note.switched_off import off_lines
from wardexam.note.telling import worth_telling
from wardexam.reasoning.reading import CAUTION, Reading, Site
from wardexam.reasoning.rules.reason import Urgency


def ago(minutes: int) -> str:
    """A time that has passed, e.g. ``"5 minutes ago"``."""
    number, unit = (minutes, "minute") if minutes < 120 else (minutes // 60, "hour")
    if minutes >= 2880:
        number, unit = minutes // 1440, "day"
    return f"{counted(number, unit)} ago" if number else "just now"


def place(side: Side) -> str:
    """The side after a sign's name: ``", right"``; empty for a sign in the midline."""
    return "" if side == "midline" else f", {side}"


def _site(site: Site) -> str:
    levels = f", {site.levels[0]} to {site.levels[1]}" if site.levels else ""
    return f"{site.word.capitalize()}: {site.name}{levels}, {site.probability:.0%}."


def reading(reading: Reading, *, sites: int = 4, reasons: int = 3) -> list[str]:
    """A reading in sentences, the likeliest site first, the caution last."""
    if not reading.entered:
        lines = ["Nothing is entered yet, so no site is more likely than before."]
    else:
        lines = [f"{contradiction_text(c)}." for c in reading.contradictions]
        lines += [] if reading.fits_one else ["These findings do not fit one lesion."]
        lines += [
            _site(s)
            for s in reading.sites[:sites]
            if worth_telling("site_on_plain_lines", s.probability)
        ]
        lines += [f"{capital(reading.before)}."] if reading.before else []
        lines += [f"For the first: {e.text}." for e in reading.supports[:reasons]]
        lines += [f"Against it: {e.text}." for e in reading.opposes[:reasons]]
        lines += [f"Not explained by it: {text}." for text in reading.unexplained[:reasons]]
        lines += [f"{text}."] if (text := pair_text(reading)) else []
        if alike := alike_words(reading):
            lines.append(f"Published cases like it: {', '.join(alike)}.")
        sure = [a for a in reading.asymmetries if worth_telling("sides_that_differ", a.probability)]
        lines += [f"Sides differ, {a.text}." for a in sure[:reasons]]
        if reading.level_note:
            lines.append(f"{reading.level_note}.")
    lines += [
        f"Test next: {s.text}{', which may change how urgent it is' if s.urgent else ''}."
        for s in reading.next_signs[:2]
    ]
    return [*lines, CAUTION]


GRAVEST = 2  # reasons that are said at once


def urgency(urgency: Urgency, now: datetime) -> list[str]:
    """The urgency in sentences: the two gravest reasons, and what is switched off here; nothing where none stands."""
    said = [
        f"Urgency: {level_of(reason, now)}: {reason.said}. First: {action(reason, now)}."
        for reason in urgency.reasons[:GRAVEST]
    ]
    return said + off_lines(urgency)


def more(urgency: Urgency) -> list[str]:
    """How many reasons there are beside the gravest; nothing where there is none."""
    left = len(urgency.reasons) - GRAVEST
    return [f"And {counted(left, 'more reason')}: type why."] if left > 0 else []


def reasons(urgency: Urgency, beside: datetime, now: datetime) -> list[str]:
    """Every reason whole, with its deadline and what was done; the one that is due first before the others."""
    lines = [whole(reason, beside, now) for reason in by_deadline(urgency)]
    off = off_lines(urgency)
    return [f"Urgency: {level_word(urgency, beside)}.", *off, *lines, urgency.caution]
