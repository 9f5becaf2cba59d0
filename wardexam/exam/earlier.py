"""What stands of a stay beside what is found now: each finding with when it was found last, the story, the flags."""

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Self

from wardexam.exam.examination import Context, Findings, YesNo
from wardexam.exam.findings import Finding
from wardexam.exam.flags import answers_over
from wardexam.exam.text import counted

_MINUTES = 60  # in an hour
_HOURS = 24  # in a day
_IN_HOURS = 48  # hours from which days are said


@dataclass(frozen=True, slots=True)
class Earlier:
    """What stands of a stay.

    Attributes:
        found: The findings that stand, each with when it was found.
        context: The story as told last.
        flags: The flags as answered last.
        now: When it is examined again.
    """

    found: tuple[tuple[Finding, datetime], ...]
    context: Context
    flags: dict[str, YesNo]
    now: datetime

    def as_of(self, now: datetime) -> Self:
        """The same for an examination of another time."""
        return self if now == self.now else replace(self, now=now)

    def beside(self, later: Findings) -> tuple[tuple[Finding, float], ...]:
        """The findings that a later examination says nothing of, each with how many hours old it is."""
        answered = {f.key for f in later.findings if f.answer is not None}
        return tuple(
            (f, self.hours(at))
            for f, at in self.found
            if f.key not in answered and not later.stated_normal(*f.key)
        )

    def hours(self, at: datetime) -> float:
        """How many hours ago; 0 where the clock says that it is yet to come."""
        return max(0.0, (self.now - at).total_seconds() / _MINUTES**2)

    def told(self, later: Findings) -> Findings:
        """The later examination with the story and the flags of before where it says nothing."""
        context = later.context.over(self.context)
        flags = answers_over(self.flags, later.flags)
        return later.model_copy(update={"context": context, "flags": flags})

    def words(self, keys: frozenset[tuple[str, str]]) -> str:
        """How many findings of before weigh, and since when: ``with 5 findings from 08:00, faded``; empty for none."""
        times = sorted(at for f, at in self.found if f.key in keys)
        if not times:
            return ""
        first, last = (self._moment(at) for at in (times[0], times[-1]))
        since = first if first == last else f"{first} to {last}"
        return f"with {counted(len(times), 'finding')} from {since}, faded"

    def _moment(self, at: datetime) -> str:
        here = at.astimezone(self.now.tzinfo)
        return f"{here:%H:%M}" if here.date() == self.now.date() else f"{here:%d %b %H:%M}"


def ago(hours: float) -> str:
    """How long ago: ``20 min ago``, ``6 h ago``, ``3 days ago``."""
    if hours < 1:
        return f"{hours * _MINUTES:.0f} min ago"
    return f"{hours:.0f} h ago" if hours < _IN_HOURS else f"{hours / _HOURS:.0f} days ago"
