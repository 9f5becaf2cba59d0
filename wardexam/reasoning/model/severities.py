"""Fixed severities over which every lesion is summed: the same draws for every lesion.

An additive recurrence (a rank-1 lattice on generalised golden ratios) fills the unit cube evenly
without randomness. Severities come in mirrored pairs that differ only in which side is worse, so that
mirror symmetry is exact.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wardexam.reasoning.tables import severities_row

Array = NDArray[np.floating[Any]]

# What each dimension of the lattice draws.
COLUMNS = ("severity", "motor", "sensory", "first", "second", "third", "uneven", "gap", "offset")
DECIMALS = 9  # of a table's numbers, beyond which a difference is only arithmetic
ROUNDS = 40  # after so many the root is exact


def lattice(count: int, dimensions: int = len(COLUMNS)) -> NDArray[np.float64]:
    """`count` points of the unit cube, shape (count, dimensions)."""
    root = 2.0
    for _ in range(ROUNDS):  # the positive root of x^(d+1) = x + 1
        root = (1 + root) ** (1 / (dimensions + 1))
    steps = (1 / root) ** np.arange(1, dimensions + 1)
    return np.asarray((0.5 + np.outer(np.arange(1, count + 1), steps)) % 1)


def between(span: Sequence[float], factor: Array) -> Array:
    """From one end of a span to the other by a factor."""
    low, high = span
    return np.asarray(low + round(high - low, DECIMALS) * factor)


@dataclass(frozen=True, slots=True)
class Severities:
    """Severities for the rows of one form; every array has the shape (rows,), values 0 to 1.

    Attributes:
        severity: Overall damage, with explicit mass at total loss.
        motor: Share of the severity that reaches motor paths.
        sensory: Share that reaches sensory paths.
        first, second, third: Free factors of a form.
        uneven: A free factor that differs from segment to segment.
        worse: 0 where the right is the worse side, 1 where the left is.
        gap: How much the better side is spared.
        offset: Free factor for how far below a cord lesion its sensory level is found.
    """

    severity: Array
    motor: Array
    sensory: Array
    first: Array
    second: Array
    third: Array
    uneven: Array
    worse: Array
    gap: Array
    offset: Array

    def side(self, side: int) -> Array:
        """The factor left to one side (0 right, 1 left) when a lesion is uneven."""
        return np.where(self.worse == side, 1.0, 1.0 - self.gap).astype(np.float32)

    def jitter(self, number: int) -> Array:
        """A factor that differs from segment to segment."""
        row = severities_row("jitter")
        uneven = (self.uneven + row["step"] * number) % 1
        return np.asarray(row["from"] + row["by"] * uneven, np.float32)


def severities(pairs: int, repeat: int = 1) -> Severities:
    """`pairs` mirrored pairs, the whole repeated once for each stage."""
    u = np.tile(np.repeat(lattice(pairs), 2, axis=0), (repeat, 1)).astype(np.float32)
    worse = np.tile(np.array([0, 1], np.float32), pairs * repeat)
    column = dict(zip(COLUMNS, u.T, strict=True))
    part = column["severity"]
    total = severities_row("severity")
    severity = np.where(part > total["total_above"], 1.0, total["from"] + total["by"] * part)
    gap, apart = severities_row("gap"), column["gap"]
    return Severities(
        severity=severity.astype(np.float32),
        **{
            name: np.minimum(
                1, severities_row(name)["from"] + severities_row(name)["by"] * np.sqrt(column[name])
            )
            for name in ("motor", "sensory")
        },
        **{name: column[name] for name in ("first", "second", "third", "uneven", "offset")},
        worse=worse,
        gap=np.where(
            apart < gap["even_below"], gap["slight"] * apart, apart - gap["even_below"]
        ).astype(np.float32),
    )
