"""The levels of a side (rules 1 to 7): each level that a box allows, with the part of the box that gives it.

The parts do not overlap, and together are the whole box.
"""

from collections.abc import Iterator
from dataclasses import replace

from wardexam.injury.box import Box, Row, named_scores, put
from wardexam.injury.segments import FIRST, INTACT, LOWEST, keys


def modality_levels(row: Row) -> list[int]:
    """The levels of one sensory modality, rostral first (rules 1 and 3)."""
    score = named_scores()
    found = []
    for segment in range(FIRST, LOWEST + 1):
        if row[segment] & score.altered:
            found.append(segment - 1)
        if not row[segment] & score.normal:
            return found
    return [*found, INTACT]


def sensory_levels(box: Box) -> Iterator[tuple[int, Box]]:
    """The sensory levels of the side, rostral first (rules 2 and 3).

    Yields:
        A level and a part of the box that has it; a level may come in two parts.
    """
    score = named_scores()
    touch, pin = box.touch, box.pin
    for segment in range(FIRST, LOWEST + 1):
        if abnormal := touch[segment] & score.altered:
            yield segment - 1, replace(box, touch=put(touch, segment, abnormal), pin=pin)
        if not touch[segment] & score.normal:
            return
        touch = put(touch, segment, score.normal)
        if abnormal := pin[segment] & score.altered:
            yield segment - 1, replace(box, touch=touch, pin=put(pin, segment, abnormal))
        if not pin[segment] & score.normal:
            return
        pin = put(pin, segment, score.normal)
    yield INTACT, replace(box, touch=touch, pin=pin)


def motor_levels(box: Box, sensory: int) -> Iterator[tuple[int, Box]]:
    """The motor levels of a side with a sensory level, rostral first (rules 4 to 7).

    Yields:
        A level and a part of the box that has it; a level may come in two parts.
    """
    score = named_scores()
    motor = box.motor
    for segment in range(FIRST, LOWEST + 1):
        if segment not in keys():
            if segment > sensory:
                yield segment - 1, replace(box, motor=motor)
                return
            continue
        held = motor[segment]
        if feeble := held & score.feeble:
            yield segment - 1, replace(box, motor=put(motor, segment, feeble))
        if partial := held & score.partial:
            yield segment, replace(box, motor=put(motor, segment, partial))
        if not held & score.full:
            return
        motor = put(motor, segment, score.full)
    yield INTACT, replace(box, motor=motor)
