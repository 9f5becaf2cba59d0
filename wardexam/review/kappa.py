"""Agreement of two observers beyond chance: weighted kappa, and its interval by leaving out one patient at a time.

The weights are quadratic, by the answer's place in its order; where answers have no order each disagreement
counts the same. Both sides of a sign, and several pairs of one patient, are not independent: the interval
therefore leaves out whole patients (jackknife).
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt

from wardexam.review.intervals import Z

SPREAD = 1e-12  # below it a sum of squares is rounding
Pair = tuple[int, int]  # what each of two observers found, by its place in the order


@dataclass(frozen=True, slots=True)
class Agreement:
    """How well two observers agree.

    Attributes:
        pairs: How many pairs of answers.
        patients: Of how many patients.
        same: How many were the same.
        kappa: Beyond chance, at most 1; None where all answers are the same, so that chance explains all.
        low: The 95 % interval's lower end; None where there is no kappa, or fewer than two patients have one, or
            to leave out any of them changes nothing: then it cannot be told, and is not a point.
        high: Its upper end.
    """

    pairs: int
    patients: int
    same: int
    kappa: float | None
    low: float | None = None
    high: float | None = None


def weighted_kappa(table: Mapping[Pair, int], *, ordered: bool = True) -> float | None:
    """Cohen's kappa from how often two observers said what; None where chance explains all or there is none.

    Args:
        table: How often each pair of places was found.
        ordered: Whether weights are quadratic by place; else every disagreement counts the same.
    """
    total = sum(table.values())
    one, other = Counter[int](), Counter[int]()
    for (a, b), number in table.items():
        one[a] += number
        other[b] += number

    def weight(a: int, b: int) -> float:
        return float((a - b) ** 2) if ordered else float(a != b)

    found = sum(weight(a, b) * number for (a, b), number in table.items())
    chance = sum(weight(a, b) * one[a] * other[b] for a in one for b in other)
    return 1 - total * found / chance if chance else None


def agreement(by_patient: Sequence[Sequence[Pair]], *, ordered: bool = True) -> Agreement:
    """The agreement over patients, with its interval.

    Args:
        by_patient: The pairs of each patient.
        ordered: As `weighted_kappa`.
    """
    each = [Counter(pairs) for pairs in by_patient if pairs]
    whole = Counter[Pair]()
    for own in each:
        whole.update(own)
    kappa = weighted_kappa(whole, ordered=ordered)
    pairs, same = sum(whole.values()), sum(n for (a, b), n in whole.items() if a == b)
    if kappa is None or len(each) < 2:
        return Agreement(pairs, len(each), same, kappa)
    # Patients with the same answers leave the same behind: each kind is worked out once.
    kinds = Counter(frozenset(own.items()) for own in each)
    without = [
        (weighted_kappa(whole - Counter(dict(kind)), ordered=ordered), number)
        for kind, number in kinds.items()
    ]
    known = [(value, number) for value, number in without if value is not None]
    count = sum(number for _, number in known)
    if count < 2:
        return Agreement(pairs, len(each), same, kappa)
    mean = sum(value * number for value, number in known) / count
    spread = sum(number * (value - mean) ** 2 for value, number in known)
    if spread < SPREAD:
        return Agreement(pairs, len(each), same, kappa)
    half = Z * sqrt((count - 1) / count * spread)
    return Agreement(pairs, len(each), same, kappa, max(-1.0, kappa - half), min(1.0, kappa + half))
