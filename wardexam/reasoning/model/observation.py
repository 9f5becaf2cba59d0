"""How loss shows: the probability of each answer of a sign, given its two losses and the stage.

A table for each kind of sign, indexed by a code that stands for (lower, upper, stage), by answer and
by the person's hidden briskness. Numbers are in `observation.toml`.
"""

import math
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import SEGMENTS, Sign, catalogue
from wardexam.anatomy.structures import wires
from wardexam.exam.examination import Context, Onset
from wardexam.reasoning.model.codes import BRISK, CODES, DEPTHS, GAIT_CODES, LEVELS, decoded
from wardexam.reasoning.model.forms import STAGES
from wardexam.reasoning.model.losses import GAITS
from wardexam.reasoning.tables import (
    meaning_interval,
    mrc_interval,
    numbers,
    sensation_interval,
)


@cache
def _erf() -> Any:
    return np.frompyfunc(math.erf, 1, 1)


def normal_cdf(x: Any) -> NDArray[np.float64]:
    """The standard normal distribution function."""
    return np.asarray(0.5 * (1 + _erf()(np.asarray(x, float) / math.sqrt(2)).astype(float)))


def probit(x: NDArray[np.float64], low: float, high: float, spread: float) -> NDArray[np.float64]:
    """Probability that a hidden value of mean `x` is read between two cuts (an ordinal probit)."""
    return normal_cdf((high - x) / spread) - normal_cdf((low - x) / spread)


@dataclass(frozen=True, slots=True)
class Observation:
    """Answers of one kind of sign and their probabilities, shape (codes, answers, 3 briskness)."""

    answers: tuple[str, ...]
    chance: NDArray[np.float64]

    def floored(self, kind: str = "each") -> "Observation":
        """The same with the floor under every answer."""
        each = numbers()["floor"][kind]
        count = self.chance.shape[1]
        total = self.chance.sum(axis=1, keepdims=True)
        return Observation(
            self.answers, (1 - each * count) * self.chance / np.where(total > 0, total, 1) + each
        )


def _spread_brisk(chance: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.repeat(chance[:, :, None], 3, axis=2)


def tendon_mean(sign: Sign, context: Context) -> NDArray[np.float64]:
    """The hidden value of a tendon reflex, shape (codes, 3)."""
    row = numbers()["tendon"]
    lower, upper, stage = decoded()
    gain = np.array([row["upper"][s] for s in STAGES])[stage]
    # Reflexes are brisk before power is lost.
    mean = gain * upper ** row["upper_power"] * (1 - row["kept"] * lower) + row["lower"] * lower
    if sign.id == "ankle" and context.age is not None:
        age = row["ankle_age"]
        if context.age > age["from"]:
            mean = mean - min(
                age["most"], age["at_once"] + age["per_year"] * (context.age - age["from"])
            )
    if sign.id == "jaw":
        mean = mean + row["jaw_shift"]
    return np.asarray(mean[:, None] + row["briskness"] * BRISK[None, :])


def _tendon(sign: Sign, context: Context) -> Observation:
    mean = tendon_mean(sign, context)
    spread = numbers()["tendon"]["spread"]
    answers = ("absent", "reduced", "normal", "brisk", "clonic")
    chance = np.stack([probit(mean, *meaning_interval(m), spread) for m in answers], axis=1)
    return Observation(answers, chance).floored("tendon")


def weakness(sign: Sign) -> NDArray[np.float64]:
    """Loss of power in a movement by code, 0 to 1."""
    lower, upper, _ = decoded()
    # Raising, not multiplying: whatever the weight, total loss above is total paralysis.
    return np.asarray(
        1 - (1 - lower) * (1 - upper ** (numbers()["mrc"]["upper_power"] / sign.pyramidal))
    )


_MRC = ("0", "1", "2", "3", "4", "5")


def _mrc(sign: Sign) -> Observation:
    row = numbers()["mrc"]
    mean = row["start"] + row["loss"] * weakness(sign)
    chance = np.stack([probit(mean, *mrc_interval(g), row["spread"]) for g in _MRC], axis=1)
    return Observation(_MRC, _spread_brisk(chance)).floored("mrc")


def _sensation(sign: Sign, context: Context) -> Observation:
    row = numbers()["sensation"]
    lower, _, _ = decoded()
    start = row["start"]
    if sign.modality == "vibration" and sign.limb == "leg" and (context.age or 0) > 60:
        start += 1.2  # absent at the toes in 29 % of healthy people over 60 (Vrancken 2006)
    if sign.id.startswith("territory_"):
        start += row["territory"]
    mean = start + (row["loss"] - (start - row["start"])) * lower
    answers = ("absent", "reduced", "normal")
    chance = np.stack(
        [probit(mean, *sensation_interval(a), row["spread"]) for a in answers], axis=1
    )
    over = 0.02 + 0.05 * (1 - chance[:, 2])
    chance = np.concatenate([chance * (1 - over[:, None]), over[:, None]], axis=1)
    return Observation((*answers, "heightened"), _spread_brisk(chance)).floored()


def _mixed(kind: str, context: Context) -> Observation:
    """Answers without order: a mixture of health, control lost and arc lost."""
    row = numbers()[kind]
    lower, upper, stage = decoded()
    health = np.array(row["health"])
    if kind == "superficial" and (context.age or 0) >= 50:
        health = np.array([0.3, 0.08, 0.62])
    lower, upper = lower ** row["power"], upper ** row["power"]
    above = (
        np.stack([np.array(row["upper"][s]) for s in STAGES])[stage]
        if "upper" in row
        else health[None, :]
    )
    arc = np.array(row["lower"])
    if kind == "amount" and context.onset in ("sudden", "hours", "days"):
        arc = np.array(row["new"])
    governed = (1 - upper[:, None]) * health + upper[:, None] * above
    chance = (1 - lower[:, None]) * governed + lower[:, None] * arc
    table = _spread_brisk(chance)
    if kind in ("hoffmann", "clonus"):
        # A brisk person shows a Hoffmann or a few beats more often.
        free = ((1 - upper) * (1 - lower))[:, None]
        table[:, 1, 2] += (0.12 if kind == "clonus" else 0.1) * free[:, 0]
        table[:, 0, 2] -= (0.12 if kind == "clonus" else 0.1) * free[:, 0]
    return Observation(tuple(row["answers"]), np.maximum(table, 1e-6)).floored()


def _ataxia() -> Observation:
    row = numbers()["ataxia"]
    lower, upper, _ = decoded()
    health, own, position = (np.array(row[k]) for k in ("health", "lower", "upper_only"))
    governed = (1 - upper[:, None]) * health + upper[:, None] * position
    share = lower[:, None] ** row["power"]
    return Observation(
        tuple(row["answers"]), _spread_brisk((1 - share) * governed + share * own)
    ).floored()


def _wired(sign: Sign) -> Observation:
    row = wires()[sign.id]
    lower, _, _ = decoded()
    shown = row.base + (row.sense - row.base) * lower
    answers: tuple[str, ...]
    if sign.answers == "amount":
        answers, parts = ("none", "slight", "marked"), [1 - shown, 0.5 * shown, 0.5 * shown]
    elif sign.answers == "ataxia":
        answers, parts = ("none", "slight", "marked"), [1 - shown, 0.45 * shown, 0.55 * shown]
    elif sign.answers == "angle_test":
        answers, parts = ("negative", "positive"), [1 - shown, shown]
    else:
        answers, parts = ("absent", "present"), [1 - shown, shown]
    return Observation(answers, _spread_brisk(np.stack(parts, axis=1))).floored("wired")


def _length(kind: str) -> Observation:
    lower, _, _ = decoded()
    answers = (
        ("none", "toes", "ankle", "shin", "knee", "thigh")
        if kind == "stocking"
        else ("none", "fingers", "wrist", "elbow")
    )
    steps = np.linspace(0.15, 0.95, len(answers) - 1)
    cuts = [-99.0, *steps, 99.0]
    chance = np.stack(
        [probit(lower, cuts[i], cuts[i + 1], 0.16) for i in range(len(answers))], axis=1
    )
    return Observation(answers, _spread_brisk(chance)).floored()


def _gait() -> Observation:
    row = numbers()["gait"]
    lower, upper, _ = decoded()  # here `lower` is the kind of gait, `upper` how bad it is
    free = np.array(row["free"])
    chance = np.empty((CODES, len(row["answers"])))
    for code in range(CODES):
        kind = int(np.argmin(np.abs(GAIT_CODES - lower[code])))
        chance[code] = (1 - upper[code]) * free + upper[code] * np.array(row[GAITS[kind]])
        # The worse, the likelier that walking has gone altogether.
        lost = 0.55 * upper[code] ** 3 if kind else 0.0
        chance[code] *= 1 - lost
        chance[code, 0] += lost
    return Observation(tuple(row["answers"]), _spread_brisk(chance)).floored()


def bearing(context: Context) -> Context:
    """The part of the context on which an answer depends."""
    return Context(age=context.age, onset=context.onset)


def observed(sign: Sign, context: Context) -> Observation:
    """The answers of a sign and their probabilities in this context (age and onset count)."""
    return _made(_alike(sign), context.age, context.onset)


def _alike(sign: Sign) -> str:
    """The first sign of the catalogue that shows loss in just the same way; they share an observation."""
    return _first_alike()[sign.id]


@cache
def _first_alike() -> dict[str, str]:
    first: dict[tuple[object, ...], str] = {}
    found = {}
    for sign in catalogue().values():
        own = sign.id in wires() or sign.id in ("ankle", "jaw", "romberg")
        kind = (
            sign.answers, sign.id if own else "", sign.pyramidal if sign.answers == "mrc" else 0,
            sign.modality == "vibration" and sign.limb == "leg", sign.limb == "saddle",
            sign.id.startswith("territory_"),
        )  # fmt: skip
        found[sign.id] = first.setdefault(kind, sign.id)
    return found


@lru_cache(maxsize=140)  # about 30 kB each: the kinds of sign of two patients
def _made(sign_id: str, age: int | None, onset: Onset) -> Observation:
    sign, context = catalogue()[sign_id], Context(age=age, onset=onset)
    if sign.id in wires():
        return _wired(sign)
    match sign.answers:
        case "tendon":
            return _tendon(sign, context)
        case "mrc":
            return _mrc(sign)
        case "sensation":
            return _sensation(sign, context)
        case "superficial":
            return _mixed("sacral" if sign.limb == "saddle" else "superficial", context)
        case "present":
            if sign.id == "romberg":
                lower, _, _ = decoded()
                shown = 0.04 + 0.7 * lower
                return Observation(
                    ("absent", "present"), _spread_brisk(np.stack([1 - shown, shown], axis=1))
                ).floored()
            return _mixed("hoffmann", context)
        case "ataxia":
            return _ataxia()
        case "stocking" | "glove":
            return _length(sign.answers)
        case "gait":
            return _gait()
        case kind:
            return _mixed(kind, context)


@cache
def observed_level() -> Observation:
    """Chance that a level is stated, and where: sharp within two segments (judgement)."""
    segments, row = len(SEGMENTS), numbers()["level"]
    chance = np.empty((segments * DEPTHS, LEVELS))
    at = np.arange(segments)
    for code in range(len(chance)):
        level, depth = divmod(code, DEPTHS)
        found = (0.03, 0.45, 0.8, 0.92)[depth]
        # The last normal and the first abnormal segment are both called the level.
        near = np.exp(-np.abs(at - level - 0.5) / 1.1)
        # A cord lesion may give a level well below its own, seldom above (published: false localising).
        below = (at > level).astype(float)
        spread = row["near"] * near / near.sum() + row["below"] * below / max(1.0, below.sum())
        chance[code, 1:] = found * (spread + (1 - spread.sum()) / segments)
        chance[code, 0] = 1 - found
    return Observation(("none", *SEGMENTS), _spread_brisk(chance))


def usual_answers(sign: Sign) -> tuple[str, ...]:
    """The answers that "normal" stands for when a doctor states it or leaves a sign unsaid."""
    return {
        "tendon": ("normal",), "mrc": ("5",), "sensation": ("normal",), "plantar": ("flexor",),
        "clonus": ("none",), "superficial": ("present",), "tone": ("normal",), "gait": ("normal",),
        "bladder": ("normal",), "bowel": ("normal",), "anal_tone": ("normal",), "residual": ("under 100",),
        "angle_test": ("negative",), "level": ("none",), "amount": ("none",), "ataxia": ("none",),
        "stocking": ("none",), "glove": ("none",), "present": ("absent",),
    }[sign.answers]  # fmt: skip
