"""Every completion of a side's unknown scores as boxes (rules 27, 28 and 30)."""

from collections.abc import Iterator
from dataclasses import replace
from functools import cache

from wardexam.injury.box import Box, Row, scores
from wardexam.injury.levels import motor_levels, sensory_levels
from wardexam.injury.segments import NAMES, number
from wardexam.injury.sheet import NO_MOVEMENT, InjurySheet, Side, Test, normal, places


@cache
def every_score(test: Test) -> int:
    """The set of all scores of a test."""
    return scores(*range(normal(test) + 1))


def _row(sheet: InjurySheet, test: Test, side: Side, open_: dict[int, int] | None) -> Row:
    """The sets of one test; marked scores that count by the level go to `open_`, and stand as normal.

    With no `open_` every marked score stands as examined.
    """
    row = [0] * len(NAMES)
    for name in places(test):
        found, at = sheet.score(test, side, name), number(name)
        row[at] = every_score(test) if found is None or found.digit is None else scores(found.digit)
        if found is None or not found.marked or open_ is None:
            continue
        rating = sheet.rating(test, side, name)
        if rating is None:
            open_[at] = row[at]
        if rating != "examined":
            row[at] = scores(normal(test))
    return tuple(row)


def _movements(sheet: InjurySheet, side: Side) -> tuple[int, ...]:
    """What the lowest movement outside the key muscles may be: every one where it was not entered."""
    name: str | None = getattr(sheet.movements, side)
    may_be = sheet.movements.every() if name is None else (name,)
    return tuple(-1 if each == NO_MOVEMENT else number(each) for each in may_be)


def as_examined(sheet: InjurySheet, side: Side) -> list[Box]:
    """All completions of a side with every marked score as examined."""
    touch, pin, motor = (_row(sheet, t, side, None) for t in ("light_touch", "pinprick", "motor"))
    return [Box(touch, pin, motor, _movements(sheet, side))]


def completions(sheet: InjurySheet, side: Side) -> list[Box]:
    """All completions of a side, each marked score normal above the level and as examined elsewhere."""
    touch: dict[int, int] = {}
    pin: dict[int, int] = {}
    motor: dict[int, int] = {}
    assumed = Box(
        _row(sheet, "light_touch", side, touch),
        _row(sheet, "pinprick", side, pin),
        _row(sheet, "motor", side, motor),
        _movements(sheet, side),
    )
    if not (touch or pin or motor):
        return [assumed]
    return list(dict.fromkeys(_resolved(assumed, touch, pin, motor)))


def _resolved(
    assumed: Box, touch: dict[int, int], pin: dict[int, int], motor: dict[int, int]
) -> Iterator[Box]:
    """The parts of a box by its levels, each with its marked scores settled (rule 28)."""
    for sensory, part in sensory_levels(assumed):
        for level, box in motor_levels(part, sensory):
            yield replace(
                box,
                touch=_reverted(box.touch, touch, sensory),
                pin=_reverted(box.pin, pin, sensory),
                motor=_reverted(box.motor, motor, level),
            )


def _reverted(row: Row, marked: dict[int, int], level: int) -> Row:
    """A row with the marked scores at or below a level as examined."""
    if not marked:
        return row
    return tuple(
        marked[at] if at in marked and at >= level else held for at, held in enumerate(row)
    )
