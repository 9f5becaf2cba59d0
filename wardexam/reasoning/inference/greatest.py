"""Where the greatest values of an array are, with all that equal them (`wardexam.reasoning.ties`)."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wardexam.reasoning.ties import EQUAL

ALIKE = 1e-12  # how far apart equal values at a cut may be, as a share of the value

Values = NDArray[np.floating[Any]]


def leading(values: Sequence[float]) -> int:
    """Where the greatest value of a few in a list is: the first of those equal to it."""
    most = max(values)
    least = most - EQUAL * max(1.0, abs(most))
    return next(n for n, value in enumerate(values) if value >= least)


def most_likely(chances: Values) -> NDArray[np.intp]:
    """Where the greatest of some chances is, and all that equal it; they need not add up to 1."""
    return np.flatnonzero(chances >= chances.max() * (1 - EQUAL))


def all_likely(chances: Sequence[float]) -> list[int]:
    """As `most_likely`, of a few chances in a list."""
    least = max(chances) * (1 - EQUAL)
    return [n for n, chance in enumerate(chances) if chance >= least]


def first_likely(chances: Sequence[float]) -> int:
    """As `leading_chance`, of a few chances in a list."""
    least = max(chances) * (1 - EQUAL)
    return next(n for n, chance in enumerate(chances) if chance >= least)


def leading_chance(chances: Values) -> int:
    """Where the greatest of some chances is: the first of those equal to it."""
    return int(most_likely(chances)[0])


def largest(
    values: Values, count: int, times: NDArray[np.integer[Any]] | None = None
) -> NDArray[np.intp]:
    """Where the largest values are, ascending by place: so many, and all that equal the last of them.

    Args:
        values: Where to look.
        count: How many.
        times: As how many each value counts; as one where it is not given.
    """
    if (len(values) if times is None else times.sum()) <= count:
        return np.arange(len(values))
    place = max(0, len(values) - count)
    least = float(np.partition(values, place)[place])
    if times is not None:
        # Each counts at least as one: what is sought is among them.
        top = np.flatnonzero(values >= least)
        down = top[np.argsort(-values[top], kind="stable")]
        least = float(values[down[np.searchsorted(times[down].cumsum(), count)]])
    return np.flatnonzero(values >= least - ALIKE * abs(least))
