"""When it began: the one question of the story that stands among the signs, since urgency hangs on it."""

from dataclasses import dataclass
from typing import NamedTuple

from wardexam.exam.examination import Onset


class OnsetAnswer(NamedTuple):
    """An answer: the key that gives it, its code and its words."""

    key: str
    code: Onset
    words: str


@dataclass(frozen=True, slots=True)
class OnsetQuestion:
    """The question, asked as a row above the signs: its id, its name and how it is asked."""

    id: str
    name: str
    ask: str


ONSET = OnsetQuestion("onset", "when it began", "When did it begin?")
NEW_BEGAN = "when what is new began"  # the same later in a stay, once it was told
# The most acute first. The rules count the first four alike, what is not known among them (NICE NG127, `acute` of
# conditions.toml); that waking comes before hours is judgement: when in the night it began is not known.
ACUTE: tuple[Onset, ...] = ("sudden", "waking", "hours", "unknown", "days", "weeks", "longer")
# As they are asked, in the order of their keys; unknown is an answer all the same.
ONSETS = (
    OnsetAnswer("1", "sudden", "sudden"),
    OnsetAnswer("2", "hours", "hours"),
    OnsetAnswer("3", "waking", "on waking"),
    OnsetAnswer("4", "days", "days"),
    OnsetAnswer("5", "weeks", "weeks"),
    OnsetAnswer("6", "longer", "longer"),
    OnsetAnswer("0", "unknown", "unknown"),
)


def onset_words(code: str) -> str:
    """An onset in words, such as ``on waking``."""
    return next(answer.words for answer in ONSETS if answer.code == code)
