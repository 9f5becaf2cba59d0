"""Intervals of a share, and quartiles: what stands beside every figure."""

from collections.abc import Sequence
from math import sqrt
from statistics import NormalDist, quantiles

CONFIDENCE = 0.95
Z = NormalDist().inv_cdf(0.5 + CONFIDENCE / 2)


def wilson(count: int, of: int) -> tuple[float, float]:
    """The 95 % interval of a share by Wilson's score (1927), from 0 to 1; all of it where there is none to count.

    Args:
        count: How many of them.
        of: How many there are.
    """
    if not of:
        return 0.0, 1.0
    share, square = count / of, Z * Z / of
    middle = (share + square / 2) / (1 + square)
    half = Z * sqrt(share * (1 - share) / of + square / of / 4) / (1 + square)
    low = 0.0 if count == 0 else max(0.0, middle - half)
    high = 1.0 if count == of else min(1.0, middle + half)
    return low, high


def quartiles(values: Sequence[float]) -> tuple[float, float, float]:
    """Lower quartile, median and upper quartile, between neighbours by their distance.

    Raises:
        ValueError: There are none.
    """
    if not values:
        raise ValueError("no values")
    low, middle, high = quantiles(values, method="inclusive") if len(values) > 1 else [*values] * 3
    return low, middle, high
