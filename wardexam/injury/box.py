"""What each score of a side may be: one where it was found, several where it is unknown.

A set of scores is a whole number with a bit for each score. A box holds a set for each test and segment,
and stands for every way of choosing one of each.
"""

from dataclasses import dataclass
from functools import cache

from wardexam.injury.tables import standard

Scores = int
Row = tuple[Scores, ...]  # by number of the segment; at one without a score the empty set


@cache
def scores(*digits: int) -> Scores:
    """The set of some scores."""
    return sum(1 << digit for digit in set(digits))


@cache
def digits(held: Scores) -> tuple[int, ...]:
    """The scores of a set, ascending."""
    return tuple(digit for digit in range(held.bit_length()) if held >> digit & 1)


@dataclass(frozen=True, slots=True)
class Named:
    """The sets of scores that the rules name.

    Attributes:
        normal: Normal sensation.
        altered: Every other sensory score.
        felt: Every sensory score that is not absent.
        full: Normal power.
        partial: Useful power that is not normal.
        feeble: Less than useful power.
        moved: Every motor score that is not absent.
    """

    normal: Scores
    altered: Scores
    felt: Scores
    full: Scores
    partial: Scores
    feeble: Scores
    moved: Scores


@cache
def named_scores() -> Named:
    """The sets of scores that the rules name."""
    sensory, motor = standard().sensory, standard().motor
    return Named(
        normal=scores(sensory.normal),
        altered=scores(*range(sensory.absent, sensory.normal)),
        felt=scores(*range(sensory.altered, sensory.normal + 1)),
        full=scores(motor.normal),
        partial=scores(*range(motor.useful, motor.normal)),
        feeble=scores(*range(motor.absent, motor.useful)),
        moved=scores(*range(motor.trace, motor.normal + 1)),
    )


def put(row: Row, at: int, held: Scores) -> Row:
    """A row with the set of one segment changed."""
    return (*row[:at], held, *row[at + 1 :])


@dataclass(frozen=True, slots=True)
class Box:
    """What each score of a side may be.

    Attributes:
        touch: Light touch, by number of the segment.
        pin: Pinprick.
        motor: Key muscles; empty sets at other segments.
        movements: What the lowest movement outside the key muscles may be, each a segment's number, -1 for none.
    """

    touch: Row
    pin: Row
    motor: Row
    movements: tuple[int, ...]
