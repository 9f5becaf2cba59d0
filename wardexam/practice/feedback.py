"""What an answer comes to: place, side, urgency and first action beside what was so, and the way beside the tool's own."""

from dataclasses import dataclass
from datetime import datetime

from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.practice.case import Case, LesionSide
from wardexam.practice.first import First, calms, first
from wardexam.practice.path import Path, best
from wardexam.practice.progress import EMERGENCY, Result
from wardexam.reasoning.engine import Engine
from wardexam.reasoning.rules.reason import Urgency
from wardexam.reasoning.rules.urgency import assess
from wardexam.version import __version__

_ONE_SIDE = ("right", "left")


@dataclass(frozen=True, slots=True)
class Answer:
    """What the learner commits to; `sure` is of place and side, in per cent; the segment may be left out."""

    place: str
    side: LesionSide
    urgency: int
    action: str
    sure: int
    level: str = ""


@dataclass(frozen=True)
class Feedback:
    """What an answer comes to.

    Attributes:
        case: The case.
        answer: The answer.
        path: The learner's way.
        best: The tool's own.
        urgency: By the rules, on what the patient has.
        first: What may be done first, by name.
    """

    case: Case
    answer: Answer
    path: Path
    best: Path
    urgency: Urgency
    first: First

    @property
    def site_right(self) -> bool:
        """Whether the place is right."""
        return self.answer.place in self.case.truth.places

    @property
    def side_right(self) -> bool | None:
        """Whether the side is, both and none being the same; None where the place is wrong and the true one has no side."""
        if not self.site_right and self.case.truth.side not in _ONE_SIDE:
            return None
        own, true = (
            side if side in _ONE_SIDE else "both"
            for side in (self.answer.side, self.case.truth.side)
        )
        return own == true

    @property
    def segments_off(self) -> int | None:
        """How many segments the answered level is off; None where there is none to compare."""
        own, true = self.answer.level, self.case.truth.level
        return abs(SEGMENTS.index(own) - SEGMENTS.index(true)) if own and true else None

    @property
    def action_right(self) -> bool | None:
        """Whether the first action is right; None where it is not scored.

        Not where nothing sound can be said, nor for what the rules, which know no place, would do, nor for nothing
        at once where nothing was looked for.
        """
        own = self.answer.action
        if calms(own) and self.path.calms_nobody and own in (*self.first.fit, *self.first.ruled):
            return None
        if own in self.first.fit:
            return True
        return None if not self.first.fit or own in self.first.ruled else False

    @property
    def emergency(self) -> bool:
        """Whether it is one, by the rules."""
        return self.urgency.level >= EMERGENCY

    @property
    def under_called(self) -> bool:
        """Whether it was called less urgent than the rules call it."""
        return self.answer.urgency < self.urgency.level

    @property
    def saved(self) -> int | None:
        """Seconds by which the tool's own way knew the right place sooner; None where either never did."""
        mine, own = self.path.known_seconds, self.best.known_seconds
        return None if mine is None or own is None else mine - own

    def result(self, at: datetime) -> Result:
        """The same as it is kept."""
        answer = self.answer
        return Result(
            at=at, kind=self.case.kind, case=self.case.id, level=self.case.level,
            was=self.case.truth.places[0], site=answer.place, side=answer.side,
            site_right=self.site_right, side_right=self.side_right, urgency=answer.urgency,
            due=self.urgency.level, action=answer.action, action_right=self.action_right,
            sure=answer.sure, seconds=self.path.seconds, tests=len(self.path.steps),
            best_seconds=self.best.known_seconds, known_seconds=self.path.known_seconds,
            program=__version__,
        )  # fmt: skip


def urgency_of(engine: Engine, case: Case) -> Urgency:
    """How urgent a case is by the rules, on what the patient has."""
    return assess(case.whole, None, engine.read(case.whole, silence=False))


def feedback(engine: Engine, case: Case, answer: Answer, path: Path) -> Feedback:
    """What an answer comes to."""
    urgency = urgency_of(engine, case)
    return Feedback(case, answer, path, best(engine, case), urgency, first(case.truth, urgency))
