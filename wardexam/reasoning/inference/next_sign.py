"""Which sign to examine next: the one whose answer is expected to tell most about the site."""

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import Sign, catalogue
from wardexam.exam.examination import Context, Findings, Onset
from wardexam.reasoning.inference.greatest import largest, most_likely
from wardexam.reasoning.inference.posterior import Posterior
from wardexam.reasoning.inference.ranking import either, spoken
from wardexam.reasoning.model import losses, observation
from wardexam.reasoning.model.codes import CODES
from wardexam.reasoning.model.hypotheses import Hypotheses, lines
from wardexam.reasoning.reading import NextSign, SignKey
from wardexam.reasoning.tables import read, weighing_row
from wardexam.reasoning.ties import even, ordered

_KEPT = 16  # batches of tables kept, 0.1 MB each
_ROWS = 180  # the most probable rows decide; more change the order no more
_LEAST = 1e-30  # no chance is less, so that it has a logarithm


@cache
def ease() -> dict[str, float]:
    """Signs worth proposing, by id, and how readily each is done, 0 to 1 (`next_sign.toml`)."""
    rows = read("inference/next_sign.toml")
    found = {}
    for sign in catalogue().values():
        kind = rows["kinds"]["territory"] if sign.territory else None
        value = rows["signs"].get(sign.id, kind) or rows["parts"].get(sign.part)
        if value:
            found[sign.id] = float(value)
    return found


@cache
def askable() -> tuple[Sign, ...]:
    """Signs worth proposing: what a ward doctor can do at the bedside."""
    return tuple(s for s in catalogue().values() if s.id in ease())


Kind = tuple[
    str, int | None, Onset
]  # the first sign of those that show loss alike, and what bears on it


@dataclass(frozen=True, slots=True)
class _Batch:
    """Signs with the same number of answers, worked out together.

    Attributes:
        signs: Signs and sides.
        lines: Their lines among the codes, shape (signs,).
        brisk: Whether briskness makes a difference to them.
        first: Where the table of each begins in `chance`, shape (signs, 1).
        chance: Tables one after the other, shape (codes, answers) or (codes, 3, answers).
    """

    signs: tuple[tuple[Sign, str], ...]
    lines: NDArray[np.intp]
    brisk: bool
    first: NDArray[np.intp]
    chance: NDArray[np.float64]


def _batches(context: Context) -> tuple[_Batch, ...]:
    found = []
    for number, signs in enumerate(_groups()):
        kinds = ((observation.alike(s), *observation.bearing(s, context)) for s in signs)
        found.append(_made(number, tuple(dict.fromkeys(kinds))))
    return tuple(found)


def _brisk(chance: NDArray[np.float64]) -> bool:
    return bool((chance != chance[:, :, :1]).any())


@cache
def _groups() -> tuple[tuple[Sign, ...], ...]:
    """The askable signs by their number of answers and whether briskness makes a difference to them."""
    groups: dict[tuple[int, bool], list[Sign]] = {}
    for sign in askable():
        chance = observation.observed(sign, Context()).chance
        groups.setdefault((chance.shape[1], _brisk(chance)), []).append(sign)
    return tuple(map(tuple, groups.values()))


@lru_cache(maxsize=_KEPT)
def _made(number: int, kinds: tuple[Kind, ...]) -> _Batch:
    """The batch of a group of signs that show loss in these ways; some 0.1 MB."""
    at, known, signs = lines(), {kind[0]: kind[1:] for kind in kinds}, _groups()[number]
    tables: dict[str, NDArray[np.float64]] = {}
    brisk = False
    for sign in signs:
        name = observation.alike(sign)
        if name not in tables:
            age, onset = known[name]
            chance = observation.observed(sign, Context(age=age, onset=onset)).chance
            brisk = _brisk(chance)
            tables[name] = chance.transpose(0, 2, 1) if brisk else chance[:, :, 0]
    members = tuple((sign, side) for sign in signs for side, _ in losses.sides(sign))
    place = {name: CODES * n for n, name in enumerate(tables)}
    return _Batch(
        members,
        np.array([at[sign.id, side] for sign, side in members]),
        brisk,
        np.array([[place[observation.alike(sign)]] for sign, _ in members]),
        np.concatenate(list(tables.values())),
    )


def _entropy(chance: NDArray[np.float64], axis: tuple[int, ...] | int) -> NDArray[np.float64]:
    safe = np.maximum(chance, _LEAST)
    return np.asarray(-(chance * np.log(safe)).sum(axis=axis))


@dataclass(frozen=True, slots=True)
class _Told:
    """What an unexamined sign is expected to tell: bits about the site, and the chance of each site with each answer."""

    bits: float
    sign: Sign
    side: str
    joint: NDArray[np.float64]


def _told(posterior: Posterior, examination: Findings) -> tuple[NDArray[np.int16], list[_Told]]:
    """The groups that matter, and what each unexamined bedside sign is expected to tell of them."""
    made = posterior.hypotheses
    top = largest(posterior.rows, _ROWS)
    weight = posterior.joint[top] / posterior.joint[top].sum()
    rows = posterior.kept[top]
    groups, member = np.unique(made.group_of[rows], return_inverse=True)
    by_group = np.zeros((len(groups), len(rows)))
    by_group[member, np.arange(len(rows))] = 1
    flat = by_group * weight.sum(axis=1)
    brisk = (by_group[:, :, None] * weight[None]).reshape(len(groups), -1)
    prior = flat.sum(axis=1)
    before = float(_entropy(prior, 0))
    recorded = {f.key for f in examination.findings}
    found = []
    codes = made.codes.take(rows, axis=1)
    for batch in _batches(examination.context):
        shown = batch.chance.take(batch.first + codes[batch.lines], axis=0)
        if batch.brisk:
            joint = brisk @ shown.reshape(len(batch.lines), -1, shown.shape[-1])
        else:
            joint = flat @ shown
        # Information is the entropy of the site less its mean once the answer is known.
        known = _entropy(joint, (1, 2)) - _entropy(joint.sum(axis=1), 1)
        told = ((before - known) / np.log(2)).tolist()
        for number, (sign, side) in enumerate(batch.signs):
            if (sign.id, side) not in recorded:
                found.append(_Told(told[number], sign, side, joint[number]))
    return groups, found


def information(posterior: Posterior, examination: Findings) -> dict[SignKey, float]:
    """Bits about the site that each unexamined bedside sign is expected to tell, by sign and side."""
    return {(t.sign.id, t.side): even(t.bits) for t in _told(posterior, examination)[1]}


def next_signs(posterior: Posterior, examination: Findings) -> tuple[NextSign, ...]:
    """Unexamined bedside signs by expected information about the site, weighed by ease, best first."""
    made, context = posterior.hypotheses, examination.context
    groups, told = _told(posterior, examination)
    best = ordered(told, lambda t: t.bits * ease()[t.sign.id], lambda t: (t.sign.id, t.side))
    return tuple(
        _next_sign(made, t.bits, t.sign, t.side, t.joint, groups, context)
        for t in best[: weighing_row("next_sign")["shown"]]
    )


def _next_sign(
    made: Hypotheses,
    bits: float,
    sign: Sign,
    side: str,
    joint: NDArray[np.float64],
    groups: NDArray[np.int16],
    context: Context,
) -> NextSign:
    answers = observation.observed(sign, context).answers
    chances, n = joint.sum(axis=0), weighing_row("next_sign")
    meanings = []
    for number in ordered(range(len(answers)), chances.__getitem__, int)[: n["answers"]]:
        after = joint[:, number] / chances[number]
        equals = [made.groups[groups[g]] for g in most_likely(after)]
        site = either(spoken(equals[0]), equals)
        meanings.append((answers[number], f"{site} {even(after.max()):.0%}"))
    text = sign.name if side == "midline" else f"{side} {sign.name}"
    return NextSign((sign.id, side), text, even(bits), tuple(meanings))
