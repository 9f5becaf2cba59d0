"""By when: the limits of the rules as spans. No clock is read here; times come in."""

from datetime import datetime, timedelta
from functools import cache
from typing import Annotated

from pydantic import Field

from wardexam.reasoning.tables import read
from wardexam.tables import TableRow, checked_row


class Limit(TableRow):
    """A row of `limits.toml`: how long a limit is."""

    minutes: Annotated[int, Field(ge=1)]


@cache
def limits() -> dict[str, timedelta]:
    """The limits in words, the shortest first, with their spans.

    Raises:
        TableError: A row is malformed.
    """
    rows = read("rules/limits.toml")
    made = {n: checked_row(Limit, row, f"limits.toml, limit {n}") for n, row in rows.items()}
    spans = {name: timedelta(minutes=row.minutes) for name, row in made.items()}
    return dict(sorted(spans.items(), key=lambda item: item[1]))


def end_of(start: datetime, limit: str) -> datetime:
    """When a limit that runs from a time ends; the last moment that there is where that would be later."""
    try:
        return start + limits()[limit]
    except OverflowError:
        return datetime.max.replace(tzinfo=start.tzinfo)


def overdue(due: datetime | None, now: datetime) -> timedelta | None:
    """How far a limit is passed; None where there is none or it is not passed."""
    return now - due if due is not None and due < now else None
