"""A rule of urgency that this hospital has switched off: who did, why, and since when.

It is not counted in the level, and is never silent: wherever it would have spoken, that it is switched
off is said. Where one of the three is missing it is not switched off.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from wardexam.exam.identity import day_words
from wardexam.exam.text import COLUMN
from wardexam.reasoning.rules.owners import read_day

OFF_BY, OFF_WHY, OFF_ON = OFF = ("off_by", "off_why", "off_on")


@dataclass(frozen=True, slots=True)
class SwitchedOff:
    """A rule that would have spoken and is switched off here.

    Attributes:
        rule: Its id.
        urgency: How urgent it would have been: 1 within days, 2 today, 3 now.
        text: What it would have said.
        short: The same in at most `COLUMN` columns, where it is longer; else empty.
        by: Who switched it off.
        why: Why.
        since: Since when, a day such as ``2026-11-01``.
    """

    rule: str
    urgency: int
    text: str
    short: str
    by: str
    why: str
    since: str

    @property
    def brief(self) -> str:
        """What it would have said, where there is no room for more."""
        return self.text if len(self.text) <= COLUMN else self.short or self.text

    @property
    def by_words(self) -> str:
        """Who switched it off and when: ``by Dr Ash, 1 Nov 2026``."""
        day = read_day(self.since)
        return f"by {self.by}, {day_words(day) if isinstance(day, date) else self.since}"


def is_off(row: Mapping[str, str]) -> bool:
    """Whether the hospital's own table of a rule switches it off: with name, reason and day."""
    return all(row.get(name, "").strip() for name in OFF) and read_day(row[OFF_ON]) is not None


def switched_off(wording: Mapping[str, Mapping[str, str]]) -> tuple[str, ...]:
    """The rules that the hospital's own file switches off."""
    return tuple(name for name, row in wording.items() if is_off(row))
