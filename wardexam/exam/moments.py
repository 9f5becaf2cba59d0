"""A time as it is read beside another, on the clock that hangs on the wall then.

Where this host's clock is put forward or back between the two, the offset stands beside the time.
"""

from datetime import datetime


def _here(at: datetime) -> datetime | None:
    """A time on this host's clock, with the offset that it has then; None at the ends of the calendar."""
    try:
        return at.astimezone()
    except (OverflowError, OSError, ValueError):
        return None


def there(at: datetime, beside: datetime) -> datetime:
    """A time on the clock of another: this host's as it stands then where the other was read from that, else with the other's offset."""
    read, here = _here(beside), _here(at)
    if read and here and read.utcoffset() == beside.utcoffset():
        return here
    try:
        return at.astimezone(beside.tzinfo)
    except OverflowError:  # at the end of the calendar, as it was written
        return at


def _ends(moved: datetime, beside: datetime) -> tuple[str, str]:
    """The year of a time where that is another, and its offset where the clock was changed between."""
    year = f" {moved.year}" if moved.year != beside.year else ""
    return year, f" {moved:UTC%z}" if moved.utcoffset() != beside.utcoffset() else ""


def clock(at: datetime, beside: datetime) -> str:
    """A time as it is read beside another: its clock, with the day where that is another."""
    moved = there(at, beside)
    year, offset = _ends(moved, beside)
    day = f"{moved:%d %b}{year} " if moved.date() != beside.date() else ""
    return f"{day}{moved:%H:%M}{offset}"


def moment(at: datetime, beside: datetime) -> str:
    """A time with its day, as a paper says it that is read on any other: ``4 Mar 16:30``."""
    moved = there(at, beside)
    year, offset = _ends(moved, beside)
    return f"{moved.day} {moved:%b}{year} {moved:%H:%M}{offset}"
