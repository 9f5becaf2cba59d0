"""A way through a case: what was tested in which order, what it took, and how likely the right place was after it.

The best way is the tool's own: always the sign that is expected to tell most about the place for each second. It sees
what the learner sees, and never what the case was.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.examination import Context, Findings, YesNo
from wardexam.exam.findings import Finding
from wardexam.exam.flags import flags
from wardexam.exam.seconds import seconds
from wardexam.exam.story import question
from wardexam.exam.wording import in_short
from wardexam.practice.case import Case, place_of, told_first
from wardexam.practice.tables import best_row, few_signs
from wardexam.reasoning.engine import Engine
from wardexam.reasoning.model.hypotheses import Hypotheses
from wardexam.reasoning.ties import EQUAL, even, ordered

Kind = Literal["sign", "flag", "story"]


@dataclass(frozen=True, slots=True)
class Step:
    """One test or question.

    Attributes:
        text: What was found, in few words.
        seconds: What it took.
        chance: How likely the right place was after it, as the tool reckons.
        rank: Where the right place stood then among the tool's, 1 where it led.
        kind: Whether a sign was tested, a red-flag question asked, or the story heard.
    """

    text: str
    seconds: int
    chance: float
    rank: int
    kind: Kind = "sign"


@dataclass(frozen=True)
class Path:
    """The steps, and how likely the right place was before the first."""

    steps: tuple[Step, ...]
    before: float

    @property
    def seconds(self) -> int:
        """What it took in all."""
        return sum(s.seconds for s in self.steps)

    @property
    def signs(self) -> int:
        """How many signs were tested."""
        return sum(s.kind == "sign" for s in self.steps)

    @property
    def asked(self) -> bool:
        """Whether a red-flag question was asked."""
        return any(s.kind == "flag" for s in self.steps)

    @property
    def calms_nobody(self) -> bool:
        """Whether no sign was tested, or few and no red-flag question asked: that nothing was found says nothing."""
        return not self.signs or (self.signs < few_signs() and not self.asked)

    @property
    def known(self) -> int | None:
        """After how many steps the right place led with the chance of `known` in the costs, to the end; None where never."""
        least, at = best_row("known"), None
        for number, step in enumerate(self.steps, 1):
            if step.rank > 1 or step.chance < least:
                at = None
            elif at is None:
                at = number
        return at

    @property
    def known_seconds(self) -> int | None:
        """The seconds after which it was known."""
        return None if self.known is None else sum(s.seconds for s in self.steps[: self.known])

    @property
    def known_chance(self) -> float | None:
        """How likely the right place was when it was known."""
        return None if self.known is None else self.steps[self.known - 1].chance

    @property
    def after(self) -> float:
        """How likely the right place was at the end."""
        return self.steps[-1].chance if self.steps else self.before

    @property
    def decided(self) -> int | None:
        """The number of the step that raised the chance of the right place most; None where none did."""
        rises = []
        before = self.before
        for number, step in enumerate(self.steps, 1):
            rises.append((even(step.chance - before), -number))
            before = step.chance
        best = max(rises, default=(0.0, 0))
        return -best[1] if best[0] > 0 else None

    def chance_before(self, number: int) -> float:
        """The chance before a step, from 1."""
        return self.steps[number - 2].chance if number > 1 else self.before


class Walk:
    """A walk through a case, test by test: what was found so far, and how likely the right place is.

    Args:
        engine: The engine.
        case: The case.
    """

    def __init__(self, engine: Engine, case: Case) -> None:
        self.engine, self.case = engine, case
        self.found = Findings(context=told_first(case.context))
        self._steps: list[Step] = []
        self._before, _ = self._chance()

    @property
    def path(self) -> Path:
        """The way so far."""
        return Path(tuple(self._steps), self._before)

    @property
    def seconds(self) -> int:
        """What it took so far."""
        return sum(s.seconds for s in self._steps)

    def test(self, findings: tuple[Finding, ...]) -> None:
        """What a test showed: of one sign, on one side or on both."""
        self.found = self.found.model_copy(update={"findings": (*self.found.findings, *findings)})
        self._went(told(findings), len(findings) * seconds(findings[0].sign))

    def ask(self, flag: str, answer: YesNo, took: int) -> None:
        """What a red-flag question was answered."""
        self.found = self.found.model_copy(update={"flags": {**self.found.flags, flag: answer}})
        self._went(f"{flags()[flag].short}: {answer}", took, "flag")

    def hear(self, field: str, took: int) -> None:
        """A part of the story that was asked for."""
        value = getattr(self.case.context, field)
        context: Context = self.found.context.model_copy(update={field: value})
        self.found = self.found.model_copy(update={"context": context})
        asked = question(field)  # type: ignore[arg-type]  # a field of the story
        self._went(f"{asked.name}: {asked.words(value)}", took, "story")

    def _went(self, text: str, took: int, kind: Kind = "sign") -> None:
        self._steps.append(Step(text, took, *self._chance(), kind))

    def _chance(self) -> tuple[float, int]:
        return right_chance(self.engine, self.case, self.found)


def told(findings: tuple[Finding, ...]) -> str:
    """What a test showed in few words: ``knee 2+/0``, ``left knee 0``, ``pinprick C7 normal/reduced``."""
    first = findings[0]
    name = first.row.short or first.row.name
    marks = "/".join(map(in_short, findings))
    sided = "" if len(findings) > 1 or first.side == "midline" else f"{first.side} "
    return f"{sided}{name} {marks}"


def right_groups(made: Hypotheses, case: Case) -> list[int]:
    """The numbers of the model's groups that are right for a case: its place, on its side where the place has one."""
    side = case.truth.side
    return [
        number
        for number, group in enumerate(made.groups)
        if place_of(group) in case.truth.places
        and (side not in ("right", "left") or not group.endswith((".right", ".left")) or group.endswith(f".{side}"))
    ]  # fmt: skip


def right_chance(engine: Engine, case: Case, found: Findings) -> tuple[float, int]:
    """How likely the right place is by what was found, and where it stands among the tool's."""
    chances = engine.posterior(found, silence=False).groups
    right = right_groups(engine.hypotheses, case)
    wrong = np.delete(chances, right)
    ahead = int((wrong > chances[right].max() * (1 + EQUAL)).sum())
    return float(chances[right].sum()), ahead + 1


def best(engine: Engine, case: Case) -> Path:
    """The tool's own way: the sign that is expected to tell most for each second, until a place is likely enough."""
    walk = Walk(engine, case)
    possible = {(sign.id, side) for sign, side in case.tests}
    sure, least = best_row("sure"), best_row("least")
    for _ in range(int(best_row("most"))):
        posterior = engine.posterior(walk.found, silence=False)
        if walk.found.findings and float(posterior.groups.max()) >= sure:
            break
        worth = {
            key: bits / seconds(key[0])
            for key, bits in engine.information(walk.found, silence=False).items()
            if key in possible
        }
        if not worth:
            break
        key = ordered(worth, worth.__getitem__, lambda k: k)[0]
        if worth[key] < least:
            break
        side = next(s for sign, s in case.tests if (sign.id, s) == key)
        shown = case.shown(catalogue()[key[0]], side)
        assert shown is not None
        walk.test((shown,))
    return walk.path
