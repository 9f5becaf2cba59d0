"""Which sign to examine next: what is expected to change the action first, then what tells most about the site.

Both for each second that it takes. Which answers would raise the urgency is not known here: `Told.possible` gives
the findings to ask the rules about, and `next_signs` takes what is expected of them.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import cache, lru_cache
from math import fsum
from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import Sign, catalogue
from wardexam.exam.answers import ScaleName, scales
from wardexam.exam.examination import Context, Findings, Onset
from wardexam.exam.findings import Finding, Side, sides_of
from wardexam.exam.seconds import seconds
from wardexam.reasoning.inference.greatest import all_likely
from wardexam.reasoning.inference.posterior import Posterior
from wardexam.reasoning.inference.prior import is_urgent
from wardexam.reasoning.inference.ranking import either, spoken
from wardexam.reasoning.model import observation
from wardexam.reasoning.model.codes import CODES
from wardexam.reasoning.model.hypotheses import Hypotheses, lines
from wardexam.reasoning.reading import NextSign, SignKey
from wardexam.reasoning.tables import read, weighing_row
from wardexam.reasoning.ties import EQUAL, even, ordered

_KEPT = 16  # batches of tables kept, 0.1 MB each
_DRAWS = 240  # the most probable, half of them of places that need same-day action
_LEAST = 1e-30  # no chance is less, so that it has a logarithm
_KEPT_ODD = 1000  # signs and sides with their answers
_RARE = 1e-3  # an answer less likely than this changes nothing that is expected
_SCALE: ScaleName = "conventional"


@cache
def askable() -> tuple[Sign, ...]:
    """Signs worth proposing, by `next_sign.toml`: what a ward doctor can do at the bedside."""
    rows = read("inference/next_sign.toml")["worth"]
    return tuple(
        s
        for s in catalogue().values()
        if s.id in (*rows["signs"], *of_head())
        or s.part in rows["parts"]
        or (rows["territories"] and s.territory)
    )


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

    signs: tuple[tuple[Sign, Side], ...]
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
    members = tuple((sign, side) for sign in signs for side in sides_of(sign))
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


class Told(NamedTuple):
    """What an unexamined sign is expected to tell.

    Attributes:
        bits: About the site.
        sign: Which.
        side: On which side.
        joint: The chance of each site with each answer, shape (sites, answers), 1 in all.
    """

    bits: float
    sign: Sign
    side: Side
    joint: NDArray[np.float64]

    def possible(self, urgent: NDArray[np.float64]) -> list[tuple[float, Finding]]:
        """Each answer out of the usual that it may show: how likely it is with an urgent place behind it, and the finding.

        Args:
            urgent: For how much each site counts as urgent, shape (sites,); 0 where it is not.
        """
        chances = (urgent @ self.joint).tolist()
        return [
            (chances[number], finding)
            for number, finding in _odd(self.sign.id, self.side)
            if chances[number] > _RARE
        ]


@lru_cache(maxsize=_KEPT_ODD)
def _odd(sign_id: str, side: Side) -> tuple[tuple[int, Finding], ...]:
    """The answers of a sign that are out of the usual, by their number, each as a finding."""
    sign = catalogue()[sign_id]
    answers, usual = observation.observed(sign, Context()).answers, observation.usual_answers(sign)
    measured = read("inference/next_sign.toml")["residual"]
    found = []
    for number, answer in enumerate(answers):
        if answer in usual:
            continue
        fields: dict[str, Any] = {"sign": sign_id, "side": side, "answer": answer}
        if sign.tendon:
            fields |= {"answer": _grade(answer), "scale": _SCALE}
        elif sign.measured:
            fields |= {"answer": "measured", "amount": measured[answer]}
        found.append((number, Finding.model_construct(**fields)))
    return tuple(found)


def _grade(meaning: str) -> str:
    """The first grade that means so."""
    meanings = scales()[_SCALE].meanings
    return next(code for code, said in meanings.items() if said == meaning)


@dataclass(frozen=True, slots=True)
class Informed:
    """What unexamined signs are expected to tell.

    Attributes:
        groups: The groups that matter.
        share: What chance they have together, of all.
        urgent: By how much more likely each is that needs same-day action where the model makes more of it than the
            reading says, at least 1; 0 of the others. Shape (groups,).
        told: What each sign is expected to tell of them.
    """

    groups: NDArray[np.int16]
    share: float
    urgent: NDArray[np.float64]
    told: list[Told]


def informed(posterior: Posterior, examination: Findings) -> Informed:
    """What each unexamined bedside sign that the patient can help with is expected to tell of the groups that matter.

    The chance of each group is what the reading says, so that what is expected of it once the answer is known is,
    in the mean, what it is now.
    """
    made = posterior.hypotheses
    top, weight = _foremost(posterior)
    rows = posterior.kept[top]
    groups, member = np.unique(made.group_of[rows], return_inverse=True)
    said = posterior.groups[groups]
    share = float(said.sum())
    held = np.bincount(member, weight.sum(axis=1))
    weight = weight * (said / (share * held))[member][:, None]
    more = np.maximum(1.0, share * held / np.maximum(said, _LEAST))
    urgent = np.where([is_urgent(made.groups[g]) for g in groups], more, 0.0)
    by_group = np.zeros((len(groups), len(rows)))
    by_group[member, np.arange(len(rows))] = 1
    flat = by_group * weight.sum(axis=1)
    brisk = (by_group[:, :, None] * weight[None]).reshape(len(groups), -1)
    prior = flat.sum(axis=1)
    before = float(_entropy(prior, 0))
    recorded = {f.key for f in examination.findings}
    left_out = frozenset() if _helps(examination) else _with_help()
    found = []
    for batch in _batches(examination.context):
        numbers = [
            number
            for number, (sign, side) in enumerate(batch.signs)
            if (sign.id, side) not in recorded and sign.id not in left_out
        ]
        if not numbers:
            continue
        codes = made.taken(batch.lines[numbers], rows)
        shown = batch.chance.take(batch.first[numbers] + codes, axis=0)
        if batch.brisk:
            joint = brisk @ shown.reshape(len(numbers), -1, shown.shape[-1])
        else:
            joint = flat @ shown
        # Information is the entropy of the site less its mean once the answer is known.
        known = _entropy(joint, (1, 2)) - _entropy(joint.sum(axis=1), 1)
        told = ((before - known) / np.log(2)).tolist()
        for bits, number, of_sign in zip(told, numbers, joint, strict=True):
            found.append(Told(bits, *batch.signs[number], of_sign))
    return Informed(groups, share, urgent, found)


def _helps(examination: Findings) -> bool:
    """Whether nothing found keeps the patient from helping."""
    row = read("inference/next_sign.toml")["unable"]
    return not any(
        f.sign == row["sign"] and f.answer in row["answers"] for f in examination.findings
    )


def _speaks_of_head(examination: Findings) -> bool:
    """Whether the story, or something out of the usual, speaks of head or eyes."""
    head, story = read("inference/next_sign.toml")["head"], examination.context
    return (
        story.complaint in head["complaints"]
        or story.pain in head["pain"]
        or any(f.row.part == head["part"] and f.abnormal for f in examination.findings)
    )


@cache
def of_head() -> frozenset[str]:
    """The signs that are asked for what they tell of the place only where something speaks of the head."""
    return frozenset(read("inference/next_sign.toml")["head"]["signs"])


@cache
def _with_help() -> frozenset[str]:
    """The signs that need the patient's help."""
    row = read("inference/next_sign.toml")["unable"]
    return frozenset(s.id for s in askable() if s.part in row["parts"] or s.id in row["signs"])


def _foremost(posterior: Posterior) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """The rows asked of the places that need same-day action and of the others, and their weights, shape (rows, 3).

    The chosen of either stand for all of it, so that many likely rows of the one do not hide the other.
    """
    made = posterior.hypotheses
    urgent = np.array([is_urgent(group) for group in made.groups])[posterior.group_of]
    tops, weights = [], []
    for those in (urgent, ~urgent):
        among = np.flatnonzero(those)
        if len(among):
            top = posterior.foremost(_DRAWS // 2, among)
            share = posterior.rows[among].sum() / posterior.rows[top].sum()
            tops.append(top)
            weights.append(posterior.joint[top] * share)
    return np.concatenate(tops), np.concatenate(weights)


def information(posterior: Posterior, examination: Findings) -> dict[SignKey, float]:
    """Bits about the site that each unexamined bedside sign is expected to tell, by sign and side."""
    return {(t.sign.id, t.side): even(t.bits) for t in informed(posterior, examination).told}


class Rises(Protocol):
    """By how many levels the urgency would rise with each of some findings.

    Attributes:
        most: By how many at most.
    """

    most: int

    def __call__(self, possible: Iterable[Finding]) -> list[int]:
        """By how many with each."""
        ...


_Possible = list[tuple[float, Finding]]  # how likely each answer out of the usual is
# Answers, each with the place that would lead and its chance in per cent.
_Outcomes = tuple[tuple[str, str, int], ...]


def worth(bits: float, rise: float, each: int, least: float | None = None) -> tuple[bool, float]:
    """Whether a sign may raise the urgency, and its worth for each second: in levels then, else in bits.

    Args:
        bits: About the site.
        rise: Expected, in levels.
        each: Seconds that it takes.
        least: From which rise on it is asked first; None for that of any sign.
    """
    first = rise >= (_least_rise() if least is None else least)
    return (True, rise / each) if first else (False, bits / each)


def _least_of(told: Told, most: float, apart: frozenset[str]) -> float:
    """From which rise on a sign is asked first: a greater one where it tells little beside the best, or is of the head alone."""
    row = read("inference/next_sign.toml")["order"]
    aside = told.sign.id in apart or told.bits < row["tells"] * most
    least: float = row["apart"] if aside else row["worth"]
    return least


def _least_rise() -> float:
    """From which rise on, in levels, a sign is asked first."""
    least: float = read("inference/next_sign.toml")["order"]["worth"]
    return least


def next_signs(
    posterior: Posterior, examination: Findings, rises: Rises | None = None
) -> tuple[NextSign, ...]:
    """Unexamined bedside signs, best first: by the rise of urgency expected of them, then by bits, each for a second.

    Of signs of one part, limb and side that would all point to the same places the best alone.

    Args:
        posterior: What is likely.
        examination: What was found.
        rises: What the rules say of answers that may be found; None where they can say no more.
    """
    made, context = posterior.hypotheses, examination.context
    asked = informed(posterior, examination)
    told = asked.told
    expected: dict[int, float] = {}
    possible: list[_Possible] = []
    if rises:
        possible = [t.possible(asked.urgent) for t in told]
        may = [n for n, those in enumerate(possible) if _may_be_worth(those, rises)]
        expected = _expected(possible, may, rises)

    among, least_bits = weighing_row("next_sign")["among"], weighing_row("next_sign")["least"]
    best, apart = list[int](), frozenset() if _speaks_of_head(examination) else of_head()
    telling = {n for n, t in enumerate(told) if t.bits >= least_bits and t.sign.id not in apart}
    most = max((told[n].bits for n in telling), default=0.0)
    from_rise = {n: _least_of(told[n], most, apart) for n in telling | expected.keys()}
    each = {
        n: worth(told[n].bits, expected.get(n, 0.0), seconds(told[n].sign.id), from_rise[n])
        for n in sorted(from_rise)
    }
    for urgent_first in (True, False):
        those = [
            n for n, (first, _) in each.items() if first == urgent_first and (first or n in telling)
        ]
        if len(those) > among:  # all that equal the last of them are ordered as well
            least = sorted(each[n][1] for n in those)[-among] - EQUAL
            those = [n for n in those if each[n][1] >= least]
        best += ordered(those, lambda n: each[n][1], lambda n: (told[n].sign.id, told[n].side))
    first = {n for n in best if each[n][0]}
    outcomes = _unlike(made, best, asked, context, first)
    if rises:
        expected |= _expected(possible, [n for n in outcomes if n not in expected], rises)
    return tuple(
        _next_sign(told[n], expected.get(n, 0.0), o, from_rise[n]) for n, o in outcomes.items()
    )


def _unlike(
    made: Hypotheses, best: list[int], asked: Informed, context: Context, first: Collection[int]
) -> dict[int, _Outcomes]:
    """The first signs, by their numbers, with their outcomes: none that would tell what one before it does.

    Nor one whose likely answers all leave a place as sure as it is, unless it is of those asked `first`, or there is no other.
    """
    row, found, told = weighing_row("next_sign"), dict[int, _Outcomes](), set[tuple[object, ...]]()
    idle: dict[int, _Outcomes] = {}
    for n in best:
        sign, side = asked.told[n].sign, asked.told[n].side
        outcomes = _outcomes(made, asked.told[n], asked, context)
        if n not in first and _idle(outcomes):
            idle = idle or {n: outcomes}
            continue
        places = tuple(place for _, place, _ in outcomes)
        if (alike := (sign.part, sign.limb, side, places)) not in told:
            told.add(alike)
            found[n] = outcomes
        if len(found) == row["shown"]:
            break
    return found or idle


def _idle(outcomes: _Outcomes) -> bool:
    """Whether all answers leave one place as sure as it is."""
    row, (_, places, chances) = weighing_row("next_sign"), zip(*outcomes, strict=True)
    least, most = min(chances), max(chances)
    return len(set(places)) == 1 and least >= row["sure"] and most - least < row["moves"]


def _may_be_worth(possible: _Possible, rises: Rises) -> bool:
    """Whether a sign may be expected to raise the urgency by so much that it is asked first."""
    return fsum(chance for chance, _ in possible) * rises.most >= _least_rise() - EQUAL


def _expected(possible: list[_Possible], of: list[int], rises: Rises) -> dict[int, float]:
    """The rise of urgency, in levels, that is expected of some signs, by their numbers."""
    each = iter(rises([finding for n in of for _, finding in possible[n]]))
    return {n: fsum(chance * next(each) for chance, _ in possible[n]) for n in of}


def _outcomes(made: Hypotheses, told: Told, asked: Informed, context: Context) -> _Outcomes:
    """Each of the likeliest answers, and the place that would lead then with its chance."""
    answers, n = observation.observed(told.sign, context).answers, weighing_row("next_sign")
    chances, groups = told.joint.sum(axis=0).tolist(), asked.groups.tolist()
    meanings = []
    for number in ordered(range(len(answers)), chances.__getitem__, int)[: n["answers"]]:
        after = (asked.share * told.joint[:, number] / chances[number]).tolist()
        equals = [made.groups[groups[g]] for g in all_likely(after)]
        place = either(spoken(equals[0]), equals)
        chance = even(min(max(after), n["most"]))
        meanings.append((answers[number], place, int(f"{chance:.0%}".rstrip("%"))))
    return tuple(meanings)


def _next_sign(told: Told, rise: float, outcomes: _Outcomes, least: float) -> NextSign:
    sign, side = told.sign, told.side
    text = sign.name if side == "midline" else f"{side} {sign.name}"
    said = tuple((answer, f"{place} {chance}%") for answer, place, chance in outcomes)
    return NextSign(
        (sign.id, side), text, even(told.bits), said, even(rise), seconds(sign.id),
        worth(told.bits, rise, seconds(sign.id), least)[0],
    )  # fmt: skip
