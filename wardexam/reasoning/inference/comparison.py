"""What findings weigh beside each other: a border of lost sensation, and sides that are unlike."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import cache, lru_cache

import numpy as np

from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.exam.examination import Context, Onset
from wardexam.exam.findings import Finding
from wardexam.reasoning.inference.pieces import (
    LEAST,
    Log,
    Piece,
    Place,
    dermatome,
    lean,
    usual_log,
)
from wardexam.reasoning.model import observation
from wardexam.reasoning.model.hypotheses import Key
from wardexam.reasoning.tables import weighing_row

_OTHER = {"right": "left", "left": "right"}
_KEPT_CONTRASTS = 20  # 0.5 MB each
_KEPT = 100  # signs that are worse on one side, some 0.1 kB each


@cache
def _border(level: Key, count: int) -> Piece:
    """That skin is lost from some segment down, one of so many that say so: by how plain a level each row has, wherever it is."""
    factor = count ** (weighing_row("weight")["repeats"] - 1)
    none = observation.observed_level().chance[:, 0, :]
    return Piece(level, factor * lean(1 - none))


def borders(
    graded: Sequence[Finding], stated: Sequence[Place], levels: Collection[Key]
) -> dict[Key, Piece]:
    """What the border of sensation above or on the trunk weighs, by the level or the uppermost lost dermatome that tells it.

    Brain and nerves make none, and their dermatomes may end there by chance.
    """
    told: dict[Key, dict[int, Key | None]] = {}
    for key, usual in _told(graded, stated):
        row = catalogue()[key[0]]
        place = dermatome(row)
        if place is not None:
            told.setdefault((f"level_{row.modality}", key[1]), {})[place] = None if usual else key
    lowest = SEGMENTS.index(weighing_row("border")["between"][1])
    found: dict[Key, Key] = {
        f.key: f.key for f in graded if f.key in levels and SEGMENTS.index(str(f.answer)) < lowest
    }
    for level, skin in told.items():
        upper = _uppermost(skin)
        if upper is not None and level not in levels:
            found[level] = upper
    return {at: _border(level, len(found)) for level, at in found.items()}


@lru_cache(maxsize=_KEPT_CONTRASTS)
def _contrast(sign_id: str, worse: str, age: int | None, onset: Onset) -> Log:
    """How much rarer odd on one side and not on the other is than two sides apart would give it, by both codes.

    Odd is what is not usual, or a grade of power of no more than `worse`. What the model misses is alike on both sides, so
    much of it as the table says, and sides that were compared are seldom found unlike by a slip.
    """
    alike = weighing_row("weight")["sides_alike"]
    made = observation.observed(catalogue()[sign_id], Context(age=age, onset=onset))
    beyond = made.answers.index(worse) + 1 if worse else 0
    chance = (
        made.chance[:, beyond:, :].sum(axis=1) if worse else np.exp(usual_log(sign_id, age, onset))
    )
    better = np.clip(chance.mean(axis=1), LEAST, 1 - LEAST)
    odd, other = 1 - better[:, None], better[None, :]
    together = np.maximum(0, odd + other - 1) / (odd * other)
    return np.asarray(np.minimum(0, np.log(1 - alike + alike * together)).reshape(-1, 1))


@lru_cache(maxsize=_KEPT)
def _compared(
    key: Key, other: Key, worse: str, share: float, age: int | None, onset: Onset
) -> Piece:
    """That a sign is worse than on the other side, tempered with the other signs that are."""
    row = catalogue()[key[0]]
    return Piece(key, _contrast(observation.alike(row), worse, age, onset), other, share)


def contrasts(
    graded: Sequence[Finding], stated: Sequence[Place], context: Context
) -> dict[Key, Piece]:
    """What it weighs that one side is worse than the other, by the worse: no disease of the whole body makes it so."""
    told, weight = dict(_told(graded, stated)), weighing_row("weight")
    power: dict[Key, int] = {f.key: int((f.answer or "")[0]) for f in graded if f.row.mrc}
    unlike: dict[Key, tuple[Key, str]] = {}
    for (sign_id, side), usual in told.items():
        key, other, row = (sign_id, side), (sign_id, _OTHER.get(side, "")), catalogue()[sign_id]
        if usual or other not in told or row.apart or row.tendon:
            continue
        if told[other]:
            unlike[key] = other, ""
        elif row.mrc and power[other] - power[key] >= weight["grades_unlike"]:
            unlike[key] = other, str(power[key])
    factor = max(1, len(unlike)) ** (weight["repeats"] - 1)
    made = {}
    for key, (other, worse) in unlike.items():
        row = catalogue()[key[0]]
        bearing = observation.bearing(row, context)
        made[key] = _compared(key, other, worse, factor, *bearing)
    return made


def _told(graded: Sequence[Finding], stated: Sequence[Place]) -> Iterator[tuple[Key, bool]]:
    """The signs that were found or stated normal, and whether each is usual."""
    yield from ((f.key, f.choice.usual) for f in graded if f.choice is not None)
    yield from (((sign.id, side), True) for sign, side, _ in stated)


def _uppermost(skin: Mapping[int, Key | None]) -> Key | None:
    """The uppermost lost dermatome, where those told are usual (None) down to a segment and lost below it, the trunk with them."""
    row = weighing_row("border")
    first, last = (SEGMENTS.index(s) for s in row["between"])
    usual = [at for at, lost in skin.items() if lost is None]
    lost = sorted(skin.keys() - usual)
    on_trunk = any(first < at <= last for at in lost)
    if len(lost) < row["lost"] or not usual or not max(usual) < lost[0] <= last or not on_trunk:
        return None
    return skin[lost[0]]
