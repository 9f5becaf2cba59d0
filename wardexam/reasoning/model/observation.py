"""How loss shows: the probability of each answer of a sign, given its two losses and the stage.

A table for each kind of sign, indexed by a code that stands for (lower, upper, stage), by answer and
by the person's hidden briskness. Numbers are in `observation.toml`.
"""

import math
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import pairwise
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
    FAR,
    meaning_interval,
    mrc_interval,
    observation_row,
    sensation_interval,
)

_KEPT = 200  # about 30 kB each: every kind of sign, and some again by age and onset


@cache
def _erf() -> Any:
    return np.frompyfunc(math.erf, 1, 1)


def normal_cdf(x: Any) -> NDArray[np.float64]:
    """The standard normal distribution function."""
    return np.asarray(0.5 * (1 + _erf()(np.asarray(x, float) / math.sqrt(2)).astype(float)))


def probit(
    x: NDArray[np.float64], low: float, high: float, spread: float | NDArray[np.float64]
) -> NDArray[np.float64]:
    """Probability that a hidden value of mean `x` is read between two cuts (an ordinal probit)."""
    return normal_cdf((high - x) / spread) - normal_cdf((low - x) / spread)


@dataclass(frozen=True, slots=True)
class Observation:
    """Answers of one kind of sign and their probabilities, shape (codes, answers, 3 briskness)."""

    answers: tuple[str, ...]
    chance: NDArray[np.float64]

    def floored(self, kind: str = "each") -> "Observation":
        """The same with the floor under every answer."""
        each = observation_row("floor")[kind]
        count = self.chance.shape[1]
        # Where briskness makes no difference the three are one and the same memory.
        own = self.chance if self.chance.strides[2] else self.chance[:, :, :1]
        total = own.sum(axis=1, keepdims=True)
        floored = (1 - each * count) * own / np.where(total > 0, total, 1) + each
        return Observation(self.answers, np.broadcast_to(floored, self.chance.shape))


def _spread_brisk(chance: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.broadcast_to(chance[:, :, None], (*chance.shape, len(BRISK)))


def tendon_mean(sign: Sign, context: Context) -> NDArray[np.float64]:
    """The hidden value of a tendon reflex, shape (codes, 3)."""
    row = observation_row("tendon")
    lower, upper, stage = decoded()
    gain = np.array([row["upper"][s] for s in STAGES])[stage]
    # Reflexes are brisk before power is lost.
    mean = gain * upper ** row["upper_power"] * (1 - row["kept"] * lower) + row["lower"] * lower
    if sign.id in row["age_counts"] and context.age is not None:
        age = row["ankle_age"]
        if context.age > age["from"]:
            mean = mean - min(
                age["most"], age["at_once"] + age["per_year"] * (context.age - age["from"])
            )
    if sign.id in row["shift"]:
        mean = mean + row["shift"][sign.id]
    return np.asarray(mean[:, None] + row["briskness"] * BRISK[None, :])


def _tendon(sign: Sign, context: Context) -> Observation:
    mean = tendon_mean(sign, context)
    spread = observation_row("tendon")["spread"]
    answers = tuple(observation_row("tendon")["meanings"])
    chance = np.stack([probit(mean, *meaning_interval(m), spread) for m in answers], axis=1)
    return Observation(answers, chance).floored("tendon")


def weakness(sign: Sign) -> NDArray[np.float64]:
    """Loss of power in a movement by code, 0 to 1."""
    lower, upper, _ = decoded()
    # Raising, not multiplying: whatever the weight, total loss above is total paralysis.
    return np.asarray(
        1 - (1 - lower) * (1 - upper ** (observation_row("mrc")["upper_power"] / sign.pyramidal))
    )


def hidden_power(sign: Sign) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The mean of the hidden power of a movement and its spread, each by code."""
    row, loss = observation_row("mrc"), weakness(sign)
    start = row["start"] + row["sure"].get(sign.id, 0.0)
    mean = start + (row["loss"] - (start - row["start"])) * loss
    return mean, row["spread"] - row["surer_in_health"] * np.maximum(0, 1 - loss / row["ill_from"])


def _mrc(sign: Sign) -> Observation:
    row = observation_row("mrc")
    mean, spread = hidden_power(sign)
    chance = np.stack([probit(mean, *mrc_interval(g), spread) for g in row["grades"]], axis=1)
    return Observation(tuple(row["grades"]), _spread_brisk(chance)).floored("mrc")


def _sensation(sign: Sign, context: Context) -> Observation:
    row = observation_row("sensation")
    lower, _, _ = decoded()
    start, age = row["start"], row["vibration_age"]
    if _by_age(sign) and (context.age or 0) > age["over"]:
        start += age["shift"]
    if sign.territory:
        start += row["territory"]
    if sign.limb == "saddle":
        start += row["saddle"]
    mean = start + (row["loss"] - (start - row["start"])) * lower
    answers = tuple(row["answers"])
    chance = np.stack(
        [probit(mean, *sensation_interval(a), row["spread"]) for a in answers], axis=1
    )
    base, more = row["heightened_territory" if sign.territory else "heightened"]
    over = base + more * (1 - chance[:, answers.index("normal")])
    chance = np.concatenate([chance * (1 - over[:, None]), over[:, None]], axis=1)
    kind = "territory" if sign.territory else "each"
    return Observation((*answers, "heightened"), _spread_brisk(chance)).floored(kind)


def _by_age(sign: Sign) -> bool:
    """Whether age takes this sensation."""
    age = observation_row("sensation")["vibration_age"]
    return bool((sign.modality, sign.limb) == (age["modality"], age["limb"]))


def _mixed(kind: str, context: Context) -> Observation:
    """Answers without order: a mixture of health, control lost and arc lost."""
    row = observation_row(kind)
    lower, upper, stage = decoded()
    health, arc = np.array(row["health"]), np.array(row["lower"])
    if "older" in row and (context.age or 0) >= row["older"]["from"]:
        health = np.array(row["older"]["health"])
    for new in row.get("new", ()):
        if context.onset in new["onset"]:
            arc = np.array(new["lower"])
    lower, upper = lower ** row["power"], upper ** row["power"]
    above = (
        np.stack([np.array(row["upper"][s]) for s in STAGES])[stage]
        if "upper" in row
        else health[None, :]
    )
    governed = (1 - upper[:, None]) * health + upper[:, None] * above
    chance = (1 - lower[:, None]) * governed + lower[:, None] * arc
    if "rigid" in row:
        last = decoded()[0] == 1
        stiff = (1 - upper[:, None]) * health + upper[:, None] * np.array(row["rigid"])
        chance = np.where(last[:, None], stiff, chance)
    answers, least = tuple(row["answers"]), observation_row("floor")["least"]
    if "brisk" not in row:
        return Observation(answers, _spread_brisk(np.maximum(chance, least))).floored()
    free = (1 - upper) * (1 - lower)
    shown = _spread_brisk(chance).copy()
    shown[:, 1, 2] += row["brisk"] * free
    shown[:, 0, 2] -= row["brisk"] * free
    return Observation(answers, np.maximum(shown, least)).floored()


def _ataxia() -> Observation:
    row = observation_row("ataxia")
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
    kinds = observation_row("wired")
    shown = row.base + (row.sense - row.base) * lower ** kinds["power"]
    kind = kinds.get(sign.answers, kinds["present"])
    parts = [1 - shown, *(share * shown for share in kind["shares"])]
    chance = _spread_brisk(np.stack(parts, axis=1))
    return Observation(tuple(kind["answers"]), chance).floored("wired")


def _plain(kind: str) -> Observation:
    """A sign that is there or not, the more often the more is lost."""
    row = observation_row(kind)
    lower, _, _ = decoded()
    shown = row["health"] + row["lost"] * lower
    chance = _spread_brisk(np.stack([1 - shown, shown], axis=1))
    return Observation(tuple(row["answers"]), chance).floored()


def _length(kind: str) -> Observation:
    row = observation_row(kind)
    lower, _, _ = decoded()
    answers = tuple(row["answers"])
    first, last = row["steps"]
    cuts = [-FAR, *np.linspace(first, last, len(answers) - 1), FAR]
    chance = np.stack(
        [probit(lower, low, high, row["spread"]) for low, high in pairwise(cuts)], axis=1
    )
    return Observation(answers, _spread_brisk(chance)).floored()


def _gait() -> Observation:
    row = observation_row("gait")
    lower, upper, _ = decoded()  # here `lower` is the kind of gait, `upper` how bad it is
    free = np.array(row["free"])
    chance = np.empty((CODES, len(row["answers"])))
    for code in range(CODES):
        kind = int(np.argmin(np.abs(GAIT_CODES - lower[code])))
        share = upper[code] ** row["power"]
        chance[code] = (1 - share) * free + share * np.array(row[GAITS[kind]])
        gone = row["gone"]
        most = gone["most"] * gone["part"].get(GAITS[kind], 1.0)
        lost = most * upper[code] ** gone["power"] if kind else 0.0
        chance[code] *= 1 - lost
        chance[code, 0] += lost
    return Observation(tuple(row["answers"]), _spread_brisk(chance)).floored()


Bearing = tuple[int | None, Onset]  # the age and the onset as far as they bear on a sign


def bearing(sign: Sign, context: Context) -> Bearing:
    """What of the context the answers of a sign depend on, the same for all contexts that make no difference."""
    return _bearing(alike(sign), context.age, context.onset)


@cache
def _bearing(sign_id: str, age: int | None, onset: Onset) -> Bearing:
    sign, years = catalogue()[sign_id], age or 0
    if sign.id in wires() or sign.answers in (
        "mrc",
        "ataxia",
        "stocking",
        "glove",
        "gait",
        "level",
    ):
        return None, "unknown"
    if sign.tendon:
        row = observation_row("tendon")
        counts = sign.id in row["age_counts"] and years > row["ankle_age"]["from"]
        return (age if counts else None), "unknown"
    if sign.answers == "sensation":
        over: int = observation_row("sensation")["vibration_age"]["over"]
        return (over + 1 if _by_age(sign) and years > over else None), "unknown"
    row = observation_row(observation_row("own").get(sign.id, "") or sign.answers)
    older = row["older"]["from"] if "older" in row else None
    told = [new["onset"] for new in row.get("new", ())]
    alike_to: Onset = next((group[0] for group in told if onset in group), "unknown")
    return (older if older and years >= older else None), alike_to


def observed(sign: Sign, context: Context) -> Observation:
    """The answers of a sign and their probabilities in this context (age and onset count)."""
    return _made(alike(sign), *bearing(sign, context))


def alike(sign: Sign) -> str:
    """The first sign of the catalogue that shows loss in just the same way; they share an observation."""
    return _first_alike()[sign.id]


@cache
def _first_alike() -> dict[str, str]:
    first: dict[tuple[object, ...], str] = {}
    found = {}
    for sign in catalogue().values():
        row = observation_row("tendon")
        own = sign.id in (
            *wires(),
            *row["age_counts"],
            *row["shift"],
            *observation_row("mrc")["sure"],
        )
        kind = (
            sign.answers, sign.id if own else "", sign.pyramidal if sign.mrc else 0,
            _by_age(sign), observation_row("own").get(sign.id, ""), sign.territory, sign.limb == "saddle",
        )  # fmt: skip
        found[sign.id] = first.setdefault(kind, sign.id)
    return found


@lru_cache(maxsize=_KEPT)
def _made(sign_id: str, age: int | None, onset: Onset) -> Observation:
    sign, context = catalogue()[sign_id], Context(age=age, onset=onset)
    if sign.id in wires():
        return _wired(sign)
    own = observation_row("own").get(sign.id, "")
    match sign.answers:
        case "tendon":
            return _tendon(sign, context)
        case "mrc":
            return _mrc(sign)
        case "sensation":
            return _sensation(sign, context)
        case "ataxia":
            return _ataxia()
        case "stocking" | "glove":
            return _length(sign.answers)
        case "gait":
            return _gait()
        case kind:
            kind = own or kind
            return _plain(kind) if "lost" in observation_row(kind) else _mixed(kind, context)


@cache
def observed_level() -> Observation:
    """Chance that a level is stated, and where: sharp within two segments (judgement)."""
    segments, row = len(SEGMENTS), observation_row("level")
    chance = np.empty((segments * DEPTHS, LEVELS))
    at = np.arange(segments)
    for code in range(len(chance)):
        level, depth = divmod(code, DEPTHS)
        found = row["stated"][depth]
        near = np.exp(-np.abs(at - level - row["between"]) / row["spread"])
        # A cord lesion may give a level well below its own, seldom above (published: false localising).
        below = (at > level).astype(float)
        spread = row["near"] * near / near.sum() + row["below"] * below / max(1.0, below.sum())
        chance[code, 1:] = found * (spread + (1 - spread.sum()) / segments)
        chance[code, 0] = 1 - found
    return Observation(("none", *SEGMENTS), _spread_brisk(chance))


def usual_answers(sign: Sign) -> tuple[str, ...]:
    """The answers that "normal" stands for when a doctor states it or leaves a sign unsaid."""
    return tuple(observation_row("usual")[sign.answers])
