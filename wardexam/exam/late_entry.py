"""A late entry: an examination that was made before it was entered, and what papers say of that."""

import re
from datetime import datetime, timedelta

from wardexam.errors import InputError
from wardexam.exam.entry import Change
from wardexam.exam.examination import Examination
from wardexam.exam.moments import clock

HOURS = 24  # that it may have been made before it is entered: a time of day then means one moment
ASKED = (
    "When was it examined? A time such as 02:00, or how long ago: 90 min, 3 h. Enter: as entered."
)
_CLOCK = re.compile(r"(\d{1,2})[:.]?(\d{2})")
_AGO = re.compile(r"(\d{1,4})\s*(min|minutes?|m|h|hours?)(?:\s+ago)?")


def told_time(text: str, entered: datetime) -> datetime:
    """The time that was told, on the clock of the time of entry and not after it.

    Args:
        text: A time of day, the last one before the entry, or how long before it: ``02:00``, ``90 min``, ``3 h``.
        entered: When it is entered.

    Raises:
        InputError: It is neither, or further back than `HOURS`.
    """
    said = text.strip().lower()
    if found := _CLOCK.fullmatch(said):
        hour, minute = int(found[1]), int(found[2])
        if hour < 24 and minute < 60:
            at = entered.replace(hour=hour, minute=minute, second=0, microsecond=0)
            return at if at <= entered else at - timedelta(days=1)
    elif found := _AGO.fullmatch(said):
        ago = timedelta(**{"minutes" if found[2].startswith("m") else "hours": int(found[1])})
        if ago <= timedelta(hours=HOURS):
            return entered - ago
        raise InputError(f"more than {HOURS} h before it was entered", said, "say it in a comment")
    raise InputError("no time of day and no time ago", said, "such as 02:00, 90 min or 3 h")


def made_at(examination: Examination, text: str, before: datetime | None) -> Change:
    """What has an examination be made when it was told; with no text, when it was entered.

    Args:
        examination: The examination.
        text: When it was made, see `told_time`.
        before: When the examination before it was made; None for a first one.

    Raises:
        InputError: The time cannot be read, or the examination before it was made after it.
    """
    entered = examination.entered or examination.at
    at = told_time(text, entered) if text.strip() else entered
    if before is not None and at < before:
        raise InputError(
            f"the last examination was made at {clock(before, entered)}, after that",
            clock(at, entered),
            "this one stands behind it: tell a later time, or say it in a comment",
        )
    late = None if at == entered else entered.isoformat()
    return Change("made", "", [at.isoformat(), late])


def late_words(examination: Examination) -> str:
    """When it was entered, where that is later than it was made: ``LATE ENTRY, entered 05:10``; empty otherwise."""
    if examination.entered is None:
        return ""
    return f"LATE ENTRY, entered {clock(examination.entered, examination.at)}"
