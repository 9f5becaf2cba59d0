"""Order that no processor decides: values that differ by no more than arithmetic may are equal.

Sums made in another order, or by another processor's kernels, differ in their last bits. What is shown is
therefore ordered by value, and where values are equal by name; a cut among equals keeps all of them.
"""

from collections.abc import Callable, Iterable
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

EQUAL = 1e-9  # values no further apart are equal
ALIKE = 1e-12  # the same, as a share of the value
DECIMALS = 9  # of weights and information in a reading
DIGITS = 12  # significant digits of a probability in a reading

T = TypeVar("T")
Values = NDArray[np.floating[Any]]


def ordered(items: Iterable[T], value: Callable[[T], float], name: Callable[[T], Any]) -> list[T]:
    """The items by value, greatest first; those of equal value by name."""
    found: list[T] = []
    equals: list[T] = []
    last = 0.0
    for item in sorted(items, key=lambda i: -value(i)):
        if equals and last - value(item) > EQUAL:
            found += sorted(equals, key=name)
            equals = []
        equals.append(item)
        last = value(item)
    return found + sorted(equals, key=name)


def leading(values: Values) -> int:
    """Where the greatest value is: the first of those equal to it."""
    most = values.max()
    return int(np.flatnonzero(values >= most - EQUAL * max(1.0, abs(float(most))))[0])


def most_likely(chances: Values) -> NDArray[np.intp]:
    """Where the greatest of some chances is, and all that equal it; they need not add up to 1."""
    return np.flatnonzero(chances >= chances.max() * (1 - EQUAL))


def leading_chance(chances: Values) -> int:
    """Where the greatest of some chances is: the first of those equal to it."""
    return int(most_likely(chances)[0])


def largest(values: Values, count: int) -> NDArray[np.intp]:
    """Where the largest values are, ascending by place: so many, and all that equal the last of them."""
    if len(values) <= count:
        return np.arange(len(values))
    least = float(np.partition(values, len(values) - count)[len(values) - count])
    return np.flatnonzero(values >= least - ALIKE * abs(least))


def even(value: float) -> float:
    """A weight or an amount of information, without the bits that a processor decides."""
    return round(float(value), DECIMALS) + 0.0  # never -0.0


def even_chance(value: float) -> float:
    """A probability, without the bits that a processor decides."""
    return float(f"{value:.{DIGITS}g}")
