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


def even(value: float) -> float:
    """A weight or an amount of information, without the bits that a processor decides."""
    return round(float(value), DECIMALS) + 0.0  # never -0.0


def even_chance(value: float) -> float:
    """A probability, without the bits that a processor decides."""
    return float(f"{value:.{DIGITS}g}")
