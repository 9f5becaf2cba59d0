"""What changed and since when: each sign since the examination that saw it last, with who examined then; and over the stay."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Self

from wardexam.exam.examination import Examination
from wardexam.exam.moments import moment
from wardexam.exam.text import capital, clean
from wardexam.note.sentences import changes_of
from wardexam.reasoning.rules.change import Comparison, SignChange, compare
from wardexam.reasoning.rules.stay import Slide, Stay, seen_last, slides_text
from wardexam.reasoning.tables import change_row


@dataclass(frozen=True, slots=True)
class Compared:
    """An examination beside what stood before it.

    Attributes:
        examination: What was found.
        previous: What stood before.
        change: What changed.
        stay: The examinations before; None where they are not known.
    """

    examination: Examination
    previous: Examination
    change: Comparison
    stay: Stay | None = None

    @classmethod
    def of(
        cls, examination: Examination, previous: Examination | None, stay: Stay | None
    ) -> Self | None:
        """An examination compared with what stood before it; None for a first one."""
        if previous is None:
            return None
        return cls(examination, previous, compare(previous, examination), stay)

    @property
    def over_stay(self) -> str:
        """What is worse than when the stay began, a sentence; empty where nothing is."""
        slides = self.stay.slides(self.examination, self.change) if self.stay else ()
        return slides_sentence(slides, self.examination.at)


def since_words(earlier: Examination, examination: Examination) -> str:
    """When and by whom it was examined before, and that it may be the observer where that was another, just before."""
    when, who = moment(earlier.at, examination.at), clean(earlier.examiner).strip()
    row = change_row("observers")
    soon = timedelta() <= examination.at - earlier.at < timedelta(minutes=row["minutes"])
    other = soon and who and who != clean(examination.examiner).strip()
    beside = ", ".join(filter(None, (who, row["words"] if other else "")))
    return f"{when} ({beside})" if beside else when


def by_examination(
    signs: Sequence[SignChange], stay: Stay | None, previous: Examination
) -> list[tuple[Examination, list[SignChange]]]:
    """Signs that changed, by the examination that saw each of them last, in their order."""
    found: dict[str, tuple[Examination, list[SignChange]]] = {}
    for sign in signs:
        earlier = seen_last(sign, stay, previous)
        found.setdefault(earlier.id, (earlier, []))[1].append(sign)
    return list(found.values())


def slides_sentence(slides: Sequence[Slide], beside: datetime) -> str:
    """What is worse than when the stay began, a sentence; empty where nothing is."""
    text = slides_text(slides, beside)
    return f"{capital(text)}." if text else ""


def headline_since(of: Compared) -> str:
    """Since when a headline says it: the change that it names first, by that sign's own last examination."""
    examination, previous, change, stay = of.examination, of.previous, of.change, of.stay
    if change.signs:
        return f"since {since_words(seen_last(change.gravest[0], stay, previous), examination)}"
    answered = [f.key for f in examination.findings if f.answer is not None]
    seen = [e for key in answered if stay and (e := stay.last(key))]
    times = sorted(e.at for e in seen) or [previous.at]
    if times[0] == times[-1]:
        return f"since {since_words(seen[0] if seen else previous, examination)}"
    first, last = (moment(at, examination.at) for at in (times[0], times[-1]))
    return f"since each was seen last, {first} to {last}"


def changes_since(of: Compared) -> str:
    """Every sign that changed, the gravest first; each with since when where that is not the same for all."""
    parts = by_examination(of.change.gravest, of.stay, of.previous)
    if len(parts) < 2:
        return "; ".join(changes_of(signs) for _, signs in parts)
    return ". ".join(
        f"{'Since' if n else 'since'} {moment(earlier.at, of.examination.at)}: {changes_of(signs)}"
        for n, (earlier, signs) in enumerate(parts)
    )
