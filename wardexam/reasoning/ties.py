"""Order that no processor decides: values that differ by no more than arithmetic may are equal.

Sums made in another order, or by another processor's kernels, differ in their last bits. What is shown is
therefore ordered by value, and where values are equal by name; a cut among equals keeps all of them.
"""

from collections.abc import Callable, Iterable
from typing import Any, TypeVar

EQUAL = 1e-9  # values no further apart are equal
DECIMALS = 9  # of weights and information in a reading
DIGITS = 12  # significant digits of a probability in a reading

T = TypeVar("T")


def ordered(items: Iterable[T], value: Callable[[T], float], name: Callable[[T], Any]) -> list[T]:
    """The items by value, greatest first; those of equal value by name."""
    every = list(items)
    values = list(map(value, every))
    places = sorted(range(len(every)), key=values.__getitem__, reverse=True)
    found: list[T] = []
    begun = 0
    for at in range(1, len(places) + 1):
        if at < len(places) and values[places[at - 1]] - values[places[at]] <= EQUAL:
            continue
        if at - begun == 1:
            found.append(every[places[begun]])
        else:
            found += sorted((every[n] for n in places[begun:at]), key=name)
        begun = at
    return found


def even(value: float) -> float:
    """A weight or an amount of information, without the bits that a processor decides."""
    return round(float(value), DECIMALS) + 0.0  # never -0.0


def even_chance(value: float) -> float:
    """A probability, without the bits that a processor decides."""
    return float(f"{value:.{DIGITS}g}")
