"""Fixed severities over which every lesion is summed: the same draws for every lesion.

An additive recurrence (a rank-1 lattice on generalised golden ratios) fills the unit cube evenly
without randomness. Severities come in mirrored pairs that differ only in which side is worse, so that
mirror symmetry is exact.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]

DIMENSIONS = 9


def lattice(count: int, dimensions: int = DIMENSIONS) -> NDArray[np.float64]:
    """`count` points of the unit cube, shape (count, dimensions)."""
    root = 2.0
    for _ in range(40):  # the positive root of x^(d+1) = x + 1
        root = (1 + root) ** (1 / (dimensions + 1))
    steps = (1 / root) ** np.arange(1, dimensions + 1)
    return np.asarray((0.5 + np.outer(np.arange(1, count + 1), steps)) % 1)


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
        """A factor between 0.6 and 1 that differs from segment to segment."""
        return (0.6 + 0.4 * ((self.uneven + 0.618 * number) % 1)).astype(np.float32)


def severities(pairs: int, repeat: int = 1) -> Severities:
    """`pairs` mirrored pairs, the whole repeated once for each stage."""
    u = np.tile(np.repeat(lattice(pairs), 2, axis=0), (repeat, 1)).astype(np.float32)
    worse = np.tile(np.array([0, 1], np.float32), pairs * repeat)
    # A quarter of the mass is total; the rest runs from slight to nearly total.
    severity = np.where(u[:, 0] > 0.75, 1.0, 0.3 + 0.85 * u[:, 0]).astype(np.float32)
    return Severities(
        severity=severity,
        motor=np.minimum(1, 0.45 + 0.75 * np.sqrt(u[:, 1])),
        sensory=np.minimum(1, 0.25 + 0.95 * np.sqrt(u[:, 2])),
        first=u[:, 3],
        second=u[:, 4],
        third=u[:, 5],
        uneven=u[:, 6],
        worse=worse,
        gap=np.where(u[:, 7] < 0.4, 0.1 * u[:, 7], u[:, 7] - 0.4).astype(np.float32),
        offset=u[:, 8],
    )
