"""Patients drawn from the model: a form of a lesion at one severity and stage, a person, a story, and what they show.

Every answer is drawn from the chances that the engine itself reckons with (`wardexam.reasoning.model.observation`), given
the row that was drawn, the person's briskness, and age and onset: what observers disagree by is in these chances.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal, get_args

from wardexam.anatomy.catalogue import SEGMENTS, Sign, catalogue
from wardexam.errors import InputError
from wardexam.exam.answers import scales
from wardexam.exam.examination import Complaint, ComplaintSide, Context, Findings, YesNo
from wardexam.exam.findings import Finding, Side, sides_of
from wardexam.practice.case import LesionSide, Truth, introduced, place_of
from wardexam.practice.chance import DECIMALS, pick, stream
from wardexam.practice.tables import (
    ComplaintRow,
    Difficulty,
    Told,
    ages,
    complaints,
    flag_rows,
    levels,
    near,
    residuals,
    story,
)
from wardexam.reasoning.inference.prior import Priors, sites
from wardexam.reasoning.model import observation
from wardexam.reasoning.model.codes import BRISK_WEIGHTS
from wardexam.reasoning.model.forms import PAIRS, STAGES, Form
from wardexam.reasoning.model.hypotheses import Hypotheses
from wardexam.reasoning.model.severities import severities
from wardexam.reasoning.tables import story_row

HIGHEST_SEED = 999_999_999
SCALE: Literal["conventional"] = "conventional"  # on which tendon reflexes are shown
BRISK_WORDS = ("sluggish", "middling", "brisk")
MOST_YES = 0.95  # no question but one that repeats the story is answered yes for certain
_ONE_SIDE: tuple[Side, Side] = ("right", "left")
Asked = Literal["onset", "sex", "pain", "trauma"]


def without_lesion(site: str) -> bool:
    """Whether a site stands for no lesion."""
    return site == "none" or sites()[site].get("lesion") is False


@dataclass(frozen=True)
class Drawn:
    """A drawn patient.

    Attributes:
        made: The rows of the model.
        level: The level of difficulty.
        seed: What gives this patient again, on this level.
        form: The form of the lesion.
        draw: The number of the form's draw: one severity at one stage.
        brisk: How brisk the person's reflexes are by nature, 0 to 2.
        context: The story.
    """

    made: Hypotheses = field(repr=False, compare=False)
    level: int
    seed: int
    form: Form
    draw: int
    brisk: int
    context: Context
    kind: Literal["drawn"] = "drawn"

    @property
    def id(self) -> str:
        """Level and seed."""
        return f"{self.level}-{self.seed}"

    @property
    def told(self) -> str:
        """What is told before anything is tested."""
        return introduced(self.context)

    @property
    def row(self) -> int:
        """The row that holds the draw."""
        return int(self.made.row_of[self.draw])

    @property
    def severity(self) -> float:
        """The share of the whole lesion that is lost."""
        return float(severities(PAIRS).severity[(self.draw - self.form.draws.start) % (2 * PAIRS)])

    @property
    def stage(self) -> str:
        """How far an upper motor lesion has come; empty for others."""
        return STAGES[(self.draw - self.form.draws.start) // (2 * PAIRS)] if self.form.upper else ""

    @property
    def truth(self) -> Truth:
        """What it was."""
        form = self.form
        side: LesionSide = next((s for s in get_args(LesionSide) if s == form.side), "none")
        level = "" if form.level is None else SEGMENTS[form.level]
        sided = f"{side} " if side in _ONE_SIDE else ""
        name = f"{level} root" if form.site == "root" else form.name
        where = f", about {level}" if level and form.site != "root" else ""
        person = f"reflexes {BRISK_WORDS[self.brisk]} by nature"
        if without_lesion(form.site):
            return Truth((place_of(form.group),), side, level, name, f"{person}.".capitalize())
        stage = f", {self.stage}" if self.stage else ""
        of = f"{self.severity:.0%} of the whole lesion{stage}; {person}."
        return Truth((place_of(form.group),), side, level, f"{sided}{name}{where}", of)

    @property
    def tests(self) -> Iterable[tuple[Sign, Side]]:
        """Every sign on each side."""
        for sign in catalogue().values():
            for side in sides_of(sign):
                yield sign, side

    def chances(self, sign: Sign, side: Side) -> dict[str, float]:
        """The chance of each answer of the model for a sign of this patient."""
        return chances(self.made, self.row, self.brisk, self.context, sign, side)

    def shown(self, sign: Sign, side: Side) -> Finding:
        """What a test shows: always the same, whenever it is tested."""
        random = stream(self.id, "sign", sign.id, side)
        return as_shown(sign, side, pick(self.chances(sign, side), random), random.random())

    def answered(self, flag: str) -> YesNo:
        """What a red-flag question is answered: always the same."""
        return self._answers[flag]

    @cached_property
    def _answers(self) -> dict[str, YesNo]:
        return {flag: self._answer(flag) for flag in flag_rows()}

    def _answer(self, flag: str) -> YesNo:
        row, context = flag_rows()[flag], self.context
        odd = [key for key, f in self._likeliest.items() if not usual(f)]
        there = (
            any(sign in row.signs for sign, _ in odd)
            or all(any(s in row.both and side == own for s, side in odd) for own in _ONE_SIDE)
            or (row.gait_lost and self._likeliest["gait", "midline"].answer == "cannot")
            or (row.injury and context.trauma == "yes")
            or context.onset in row.onsets
            or context.complaint in row.complaints
        )
        chance = row.told if there else row.often * self._favoured(flag)
        yes = stream(self.id, "flag", flag).random() < (chance if there else min(chance, MOST_YES))
        return "yes" if yes else "no"

    def _favoured(self, flag: str) -> float:
        """How many times as often one with this form answers yes, as the model has it."""
        own = self.form.story.get("flag", sites()[self.form.site].get("flag", {}))
        return float(own.get(flag, 1.0))

    @cached_property
    def _likeliest(self) -> dict[tuple[str, Side], Finding]:
        """The likeliest answer of every sign: what this patient has, without what observers add."""
        found = {}
        for sign, side in self.tests:
            each = {a: round(c, DECIMALS) for a, c in self.chances(sign, side).items()}
            found[sign.id, side] = as_shown(sign, side, max(each, key=each.__getitem__), 0.5)
        return found

    @cached_property
    def whole(self) -> Findings:
        """What this patient has: every question answered, of every sign the likeliest answer.

        Not what is shown: among some three hundred signs observers find a few in anybody, and by those everybody
        would be an emergency.
        """
        return Findings(
            context=self.context,
            findings=tuple(self._likeliest.values()),
            flags={flag: self.answered(flag) for flag in flag_rows()},
        )


def usual(finding: Finding) -> bool:
    """Whether an answer is one that is found in health."""
    if finding.row.measured:
        return (finding.amount or 0) <= residuals()["under 100"].amount[1]
    return finding.choice is not None and finding.choice.usual


def chances(
    made: Hypotheses, row: int, brisk: int, context: Context, sign: Sign, side: str
) -> dict[str, float]:
    """The chance of each answer of the model for one row and person; they add up to 1."""
    table = observation.observed_level() if sign.level else observation.observed(sign, context)
    chance = table.chance[int(made.code(sign.id, side)[row]), :, brisk]
    total = float(chance.sum())
    return {a: float(c) / total for a, c in zip(table.answers, chance, strict=True)}


def as_shown(sign: Sign, side: Side, answer: str, part: float) -> Finding:
    """An answer of the model as a doctor would grade it; `part`, 0 to 1, says where in a band an amount lies."""
    fields: dict[str, Any] = {"sign": sign.id, "side": side, "answer": answer}
    if sign.tendon:
        grades = {meaning: code for code, meaning in scales()[SCALE].meanings.items()}
        fields |= {"answer": grades[answer], "scale": SCALE}
    if sign.measured:
        low, high = residuals()[answer].amount
        amount = low + round((high - low) * part / 5) * 5
        fields |= {"answer": "measured", "amount": min(high, amount)}
    return Finding.model_validate(fields)


@dataclass(frozen=True, slots=True)
class Person:
    """A row and how brisk the person is, with how far each sign that was looked at is expected out of the usual."""

    row: int
    brisk: int
    odd: dict[tuple[str, Side], float] = field(default_factory=dict)


class Drawing:
    """Draws patients from the rows of an engine.

    Args:
        made: The rows.
    """

    def __init__(self, made: Hypotheses) -> None:
        self.made = made
        self._priors = Priors(made)
        self._severity = severities(PAIRS).severity

    def draw(self, level: int, seed: int) -> Drawn:
        """The patient of a level and a seed.

        Raises:
            InputError: There is no such level, or the seed is out of bounds.
        """
        if level not in levels():
            raise InputError(f"a level is 1 to {max(levels())}, not {level}")
        if not 0 <= seed <= HIGHEST_SEED:
            raise InputError(f"a case's number is 0 to {HIGHEST_SEED}, not {seed}")
        difficulty, name = levels()[level], f"{level}-{seed}"
        number = self._form(difficulty, name)
        form = self.made.forms[number]
        context = self._answered("onset", number, Context(), name)
        at = self._draw(form, difficulty, context, name)
        brisk = pick([(b, float(BRISK_WEIGHTS[b])) for b in difficulty.briskness], stream(name, "brisk"))  # fmt: skip
        context = self._aged(number, context, name)
        person = Person(int(self.made.row_of[at]), brisk)
        for asked in ("sex", "pain", "trauma"):
            context = self._answered(asked, number, context, name, person)
        context = self._complaint(number, person, context, name)
        return Drawn(self.made, level, seed, form, at, brisk, context)

    def _form(self, row: Difficulty, name: str) -> int:
        """The number of a form: its site first, then the form within it."""
        held = {s: float(r["prior"]) for s, r in sites().items()}
        allowed = [s for s in held if not row.sites or s in row.sites]
        calm = [s for s in held if without_lesion(s)]
        mimic = stream(name, "mimic").random() < row.mimics
        pool = calm if mimic else [s for s in allowed if s not in calm]
        weights = {s: 1.0 if row.alike else held[s] for s in pool}
        site = pick(weights, stream(name, "site"))
        forms = [(n, f) for n, f in enumerate(self.made.forms) if f.site == site]
        kinds = dict.fromkeys((f.name for _, f in forms), 0.0)
        for _, form in forms:
            kinds[form.name] += form.weight
        least = row.common * max(kinds.values())
        return pick(
            [(n, f.weight) for n, f in forms if kinds[f.name] >= least], stream(name, "form")
        )

    def _draw(self, form: Form, difficulty: Difficulty, context: Context, name: str) -> int:
        """A draw of a form: its stage by the onset, its severity within the level's."""
        first, stage = form.draws.start, 0
        if form.upper:
            shares = story_row("stage")[context.onset]
            staged = {n: float(shares[s]) for n, s in enumerate(STAGES) if s in difficulty.stages}
            stage = pick(staged, stream(name, "stage"))
        low, high = difficulty.severity
        fitting = [(n, 1.0) for n, s in enumerate(self._severity) if low <= s <= high]
        return int(first + stage * 2 * PAIRS + pick(fitting, stream(name, "severity")))

    def _held(self, number: int, context: Context) -> float:
        """How likely the form is with a story; by Bayes how likely the story is with the form."""
        return float(self._priors.forms(context)[number])

    def _aged(self, number: int, context: Context, name: str) -> Context:
        """The age, given what was drawn before it."""
        random = stream(name, "story", "age")
        bands = {
            band: row.often * self._held(number, _with(context, "age", row.years[0]))
            for band, row in ages().items()
        }
        first, last = ages()[pick(bands, random)].years
        return _with(context, "age", first + int(random.random() * (last - first + 1)))

    def _answered(
        self, asked: Asked, number: int, context: Context, name: str, person: Person | None = None
    ) -> Context:
        """An answer of the story, given what was drawn before it."""
        answers = {
            answer: row.often
            * self._held(number, _with(context, asked, answer))
            * (self._near(row, person, context) if person else 1.0)
            for answer, row in story(asked).items()
        }
        return _with(context, asked, pick(answers, stream(name, "story", asked)))

    def _near(self, row: Told, person: Person, context: Context) -> float:
        """How much something is told by one in whom so much of a region is out of the usual."""
        if not row.near:
            return 1.0
        odd = max(
            self._odd(s, person, context, side) for s in near(row.near) for side in sides_of(catalogue()[s])
        )  # fmt: skip
        return row.apart + (1 - row.apart) * odd

    def _complaint(self, number: int, person: Person, context: Context, name: str) -> Context:
        """The complaint and its side, by the form and by what the row may be expected to show."""
        weights: dict[tuple[Complaint, ComplaintSide], float] = {}
        for complaint in get_args(Complaint):
            row = complaints().get(complaint)
            if row is None or (row.pain and context.pain not in row.pain):
                continue
            own = row.often * self._held(number, _with(context, "complaint", complaint))
            own *= self._near(row, person, context)
            for side, share in self._sided(row, number, person, context).items():
                weights[complaint, side] = own * share
        complaint, side = pick(weights, stream(name, "story", "complaint"))
        return context.model_copy(update={"complaint": complaint, "complaint_side": side})

    def _sided(
        self, row: ComplaintRow, number: int, person: Person, context: Context
    ) -> dict[ComplaintSide, float]:
        """How well a complaint fits the row, by the side that would be told."""
        if not row.signs:
            side = self.made.forms[number].side
            told: ComplaintSide = "right" if side == "right" else "left" if side == "left" else "both"  # fmt: skip
            return {told if row.sided else "none": 1.0}
        right, left = (self._lost(row, person, context, side) for side in _ONE_SIDE)
        if not row.sided:
            return {"none": max(right, left)}
        if row.both:
            return {"both": min(right, left)}
        return {
            "right": right * (1 - left),
            "left": left * (1 - right),
            "both": 0.0 if row.every else right * left,
        }

    def _lost(self, row: ComplaintRow, person: Person, context: Context, side: Side) -> float:
        """The chance that a sign of a complaint, or every one, is out of the usual on a side."""
        found = [self._odd(sign, person, context, side) for sign in row.signs]
        return min(found) if row.every else max(found)

    def _odd(self, name: str, person: Person, context: Context, side: Side) -> float:
        """The chance that a sign is out of the usual, beyond what it is in health."""
        sign = catalogue()[name]
        own: Side = side if sign.sides == "each" else "midline"
        if (name, own) not in person.odd:
            calm = observation.usual_answers(sign)
            here, health = (
                sum(c for a, c in chances(self.made, row, brisk, context, sign, own).items() if a not in calm)
                for row, brisk in ((person.row, person.brisk), (self._health, 1))
            )  # fmt: skip
            person.odd[name, own] = max(0.0, here - health)
        return person.odd[name, own]

    @cached_property
    def _health(self) -> int:
        """A row in which nothing is lost."""
        return int(next(f.rows.start for f in self.made.forms if f.site == "none"))


def _with(context: Context, name: str, value: Any) -> Context:
    return context.model_copy(update={name: value})
