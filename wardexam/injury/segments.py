"""The segments in the order of the standard, rostral first, as whole numbers.

0 is C1, which has no key point; the last, `INTACT`, stands below the lowest: nothing is abnormal.
"""

from functools import cache
from itertools import pairwise

from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.injury.tables import muscles

# The two lowest sacral segments are tested as one.
LOWEST_NAME = f"{SEGMENTS[-2]}-{SEGMENTS[-1][1:]}"
NAMES: tuple[str, ...] = (*SEGMENTS[:-2], LOWEST_NAME)
POINTS: tuple[str, ...] = NAMES[1:]  # those with a key point
FIRST = 1
LOWEST = len(NAMES) - 1
INTACT = len(NAMES)
INTACT_NAME = "INT"
_NUMBERS = {name: number for number, name in enumerate(NAMES)}


def number(name: str) -> int:
    """The number of a segment by its name."""
    return _NUMBERS[name]


def named(level: int) -> str:
    """The name of a level, ``INT`` where nothing is abnormal."""
    return INTACT_NAME if level == INTACT else NAMES[level]


@cache
def keys() -> tuple[int, ...]:
    """The segments with a key muscle."""
    return tuple(number(name) for name in muscles().key)


@cache
def limb(name: str) -> tuple[int, ...]:
    """The segments with a key muscle of the arm, or of the leg."""
    return tuple(number(s) for s, row in muscles().key.items() if row.limb == name)


@cache
def keys_below(level: int, down_to: int = INTACT) -> int:
    """How many segments with a key muscle lie strictly below a level, down to another and with it."""
    return sum(level < key <= down_to for key in keys())


def runs(numbers: tuple[int, ...]) -> list[tuple[int, int]]:
    """Ascending numbers as first and last of each unbroken run."""
    starts = [numbers[0], *(b for a, b in pairwise(numbers) if b != a + 1)] if numbers else []
    ends = [a for a, b in pairwise(numbers) if b != a + 1] + list(numbers[-1:])
    return list(zip(starts, ends, strict=True))
