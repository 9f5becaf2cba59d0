"""One line for the ward list: urgency, whether worse, and the leading words."""

from dataclasses import dataclass

from wardexam.exam.text import to_ascii
from wardexam.reasoning.change import Change
from wardexam.reasoning.reading import Reading
from wardexam.reasoning.urgency import Urgency

LONGEST = 40


@dataclass(frozen=True, slots=True)
class Headline:
    """The fields the store keeps beside a patient for the list."""

    urgency: int
    urgency_word: str
    worse: bool
    headline: str


def summarise(urgency: Urgency, change: Change | None, reading: Reading | None) -> Headline:
    """The headline of an examination."""
    worse = bool(change and change.worse)
    if urgency.reasons:
        text = urgency.reasons[0].text
    elif reading and reading.entered >= 3 and reading.sites and reading.sites[0].probability >= 0.3:
        text = f"{reading.sites[0].word}: {reading.sites[0].name}"
    else:
        asked = len(urgency.not_asked)
        text = f"{asked} flags not asked" if asked else "no flag raised"
    return Headline(urgency.level, urgency.word, worse, to_ascii(text)[:LONGEST])
