"""A case to practise on: what is told of the patient, what each test shows, and what it was."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from typing import Literal, Protocol

from wardexam.anatomy.catalogue import Sign
from wardexam.exam.examination import Context, Findings, YesNo
from wardexam.exam.findings import Finding, Side
from wardexam.exam.onset import onset_words
from wardexam.exam.story import question
from wardexam.reasoning.inference.ranking import spoken
from wardexam.reasoning.model.hypotheses import Hypotheses

LesionSide = Literal["right", "left", "both", "none"]
NOTICE = "PRACTICE, no real patient"
# Said at the start, and in short with each answer.
MODEL = (
    "Practice patients come from the tool's own model of lesions and signs. They are no evidence,"
    " and how you do here says nothing of patients. Follow local policy, ask a senior."
)
PUBLISHED = (
    "The findings are those of a published text, coded in our own words; what it does not tell is"
    " not known. They are no evidence of how you will do. Follow local policy, ask a senior."
)
SHORT = "No patient and no evidence. Follow local policy, ask a senior."
_SIDES = (".right", ".left", ".both")


@dataclass(frozen=True, slots=True)
class Truth:
    """What a case was.

    Attributes:
        places: The places that are right, the very one first (`place_of`).
        side: The side of the lesion itself.
        level: Its segment, or empty.
        words: The whole in words.
        of: How far it had come, or where the case is from, in words.
    """

    places: tuple[str, ...]
    side: LesionSide
    level: str
    words: str
    of: str


class Case(Protocol):
    """A case, drawn or published."""

    @property
    def id(self) -> str:
        """Its name, which gives it again: ``1-17``, or ``h001`` of the published ones."""

    @property
    def kind(self) -> Literal["drawn", "published"]:
        """Whether the tool's model drew it."""

    @property
    def level(self) -> int:
        """Its level of difficulty; 0 for a published one."""

    @property
    def told(self) -> str:
        """What is told before anything is tested."""

    @property
    def context(self) -> Context:
        """All of its story."""

    @property
    def truth(self) -> Truth:
        """What it was."""

    @property
    def tests(self) -> Iterable[tuple[Sign, Side]]:
        """What can be tested at all."""

    def shown(self, sign: Sign, side: Side) -> Finding | None:
        """What a test shows; None where it is not known."""

    def answered(self, flag: str) -> YesNo | None:
        """What a red-flag question is answered; None where it is not known."""

    @property
    def whole(self) -> Findings:
        """What the patient has, as far as it is known: what urgency is told by."""


def place_of(group: str) -> str:
    """The place of a group of the model without its side: ``nerve.radial`` of ``nerve.radial.left``."""
    return next((group.removesuffix(s) for s in _SIDES if group.endswith(s)), group)


def places(made: Hypotheses) -> dict[str, str]:
    """Every place that may be answered, in words, in their order."""
    return _places(tuple(made.groups))


@cache
def _places(groups: tuple[str, ...]) -> dict[str, str]:
    return {place: spoken(place) for place in dict.fromkeys(map(place_of, groups))}


def introduced(context: Context) -> str:
    """What is told before anything is tested: age, sex, complaint and when it began."""
    who = "A patient" if context.age is None else f"{context.age} years"
    sex = {"female": ", a woman", "male": ", a man"}.get(context.sex, "")
    said = f"{who}{sex}"
    if context.complaint:
        side = context.complaint_side
        where = f", {question('complaint_side').words(side)}" if side in ("right", "left", "both") else ""  # fmt: skip
        said += f"; {question('complaint').words(context.complaint)}{where}"
    if context.onset == "unknown":
        return f"{said}; when it began is not known."
    words = onset_words(context.onset)
    began = {"sudden": "suddenly", "waking": words}.get(context.onset, f"{words} ago")
    return f"{said}; it began {began}."


def told_first(context: Context) -> Context:
    """The part of a story that is told before anything is asked."""
    return Context(
        age=context.age,
        sex=context.sex,
        onset=context.onset,
        complaint=context.complaint,
        complaint_side=context.complaint_side,
    )
