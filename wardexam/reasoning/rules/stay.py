"""What the examinations of a stay say beside the last look: when each sign was seen, and what slid since the stay began.

A slide of steps that are each within what observers differ by is never worse since the last examination. So each
sign is held against the first answer of the stay as well, and counts there alone once it is worse by more than
observers differ by: two movements that are each a little weaker are not enough, since over a stay there are more
observers. The first and not the best: of many gradings the best is the most generous one, and each further
examination would raise it; an old deficit that got better and is then as at admission would be called worse.
What slides back from a recovery by small steps is told only where it falls below its beginning.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from wardexam.exam.examination import Examination, Findings
from wardexam.exam.findings import Side
from wardexam.exam.moments import moment
from wardexam.exam.naming import names_of
from wardexam.exam.wording import sided
from wardexam.reasoning.rules.acts import acts_of, answer, kept
from wardexam.reasoning.rules.change import Comparison, SignChange, compare
from wardexam.reasoning.rules.firing import WORSE
from wardexam.reasoning.rules.standing import standing
from wardexam.reasoning.tables import change_row

Key = tuple[str, Side]


def stay_words() -> str:
    """How it is said that something is worse than when the stay began."""
    words: str = change_row("stay")["words"]
    return words


@dataclass(frozen=True, slots=True)
class Slide:
    """A sign that is worse than when it was first seen in the stay.

    Attributes:
        change: How, from the first answer to that of now.
        began: When it was first seen.
        anew: Whether it is worse than at its last examination too, by however little.
    """

    change: SignChange
    began: datetime
    anew: bool

    def text(self, beside: datetime) -> str:
        """The sign with its side, and how it differs: ``left knee extension 5 (23 Nov 09:00) to 3``."""
        when = f" ({moment(self.began, beside)})"
        mark = next((m for m in (" to ", ", now ") if m in self.change.how), "")
        was, mark, now = self.change.how.partition(mark) if mark else (self.change.how, "", "")
        name = names_of((self.change.row,))
        return f"{sided(self.change.key[1], name)} {was}{when}{mark}{now}"


def slides_text(slides: Sequence[Slide], beside: datetime) -> str:
    """What is worse over the stay, in one line of text; empty where nothing is."""
    if not slides:
        return ""
    named: int = change_row("stay")["named"]
    more = f"; {len(slides) - named} more" if len(slides) > named else ""
    return f"{stay_words()}: {'; '.join(s.text(beside) for s in slides[:named])}{more}"


@dataclass(frozen=True)
class Stay:
    """The examinations of a stay before one, in the order saved; those that say nothing first and nothing last may be left out."""

    before: tuple[Examination, ...]

    @cached_property
    def first(self) -> Examination | None:
        """What was said first of each sign."""
        return standing(reversed(self.before))

    def last(self, key: Key) -> Examination | None:
        """The examination that a sign was seen in last, or that stated it to be normal; None where none was."""
        return _seen(reversed(self.before), key)

    def began(self, key: Key) -> datetime | None:
        """When a sign was first seen; None where it never was."""
        seen = _seen(self.before, key)
        return seen.at if seen else None

    def slides(self, current: Findings, change: Comparison | None) -> tuple[Slide, ...]:
        """What is worse than it began by more than observers differ by, the gravest first; not what is said the same since the last examination.

        Args:
            current: What is found now.
            change: What changed since the last examination.
        """
        if self.first is None:
            return ()
        since = {s.key: s for s in change.signs} if change else {}
        made = []
        for sign in compare(self.first, current).gravest:
            last, began = since.get(sign.key), self.began(sign.key)
            if sign.worse and sign.beyond and began and (last is None or last.how != sign.how):
                made.append(Slide(sign, began, bool(last and last.worse)))
        return tuple(made)

    def worsening(
        self, current: Findings, heard: Findings, previous: Findings, change: Comparison | None
    ) -> tuple[Slide, ...]:
        """The slides that count for urgency: those that are new, else those told earlier about which nothing was done.

        What was told, and settled by what was done and holds, is no alarm again while it is no worse.

        Args:
            current: What is found now.
            heard: The same with all that urgency still hears of the stay.
            previous: What stands from before.
            change: What changed since the last examination.
        """
        new = tuple(s for s in self.slides(current, change) if s.anew)
        if new or WORSE not in kept(previous):
            return new
        done = answer(WORSE, acts_of(previous), (), heard, "", lowers=False)
        return () if done.settled else self.slides(heard, change)


def seen_last(sign: SignChange, stay: Stay | None, previous: Examination) -> Examination:
    """The examination that a sign's change is held against; what stands from before where the stay is not known."""
    return (stay.last(sign.key) if stay else None) or previous


def _seen(examinations: Iterable[Examination], key: Key) -> Examination | None:
    """The first of some examinations that answers a sign, or states it to be normal."""
    for examination in examinations:
        found = examination.finding(*key)
        if (found and found.answer is not None) or examination.stated_normal(*key):
            return examination
    return None
