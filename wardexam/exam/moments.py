"""A time as it is read beside another."""

from datetime import datetime


def there(at: datetime, beside: datetime) -> tuple[datetime, str]:
    """A time on the clock of another, and its year where that is another."""
    try:
        moved = at.astimezone(beside.tzinfo)
    except OverflowError:  # at the end of the calendar, as it was written
        moved = at
    return moved, f" {moved.year}" if moved.year != beside.year else ""


def clock(at: datetime, beside: datetime) -> str:
    """A time as it is read beside another: its clock, with the day where that is another."""
    moved, year = there(at, beside)
    day = f"{moved:%d %b}{year} " if moved.date() != beside.date() else ""
    return f"{day}{moved:%H:%M}"


def moment(at: datetime, beside: datetime) -> str:
    """A time with its day, as a paper says it that is read on any other: ``4 Mar 16:30``."""
    moved, year = there(at, beside)
    return f"{moved.day} {moved:%b}{year} {moved:%H:%M}"
