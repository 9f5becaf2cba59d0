"""Every result as the values that all completions of a sheet allow (rules 30 and 31)."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from wardexam.injury.box import Box
from wardexam.injury.completion import completions
from wardexam.injury.impairment import Grounds, completeness, grades, neurological_levels
from wardexam.injury.segments import named
from wardexam.injury.sheet import SIDES, InjurySheet, Side, Sign
from wardexam.injury.side import SideOutcome, outcome
from wardexam.injury.zones import motor_zones, sensory_zones

NOT_APPLICABLE = "NA"
# The results in the order in which they are told, each of a side with that side behind.
OF_A_SIDE = (
    "light_touch_level",
    "pinprick_level",
    "sensory_level",
    "motor_level",
    "sensory_zone",
    "motor_zone",
)


@dataclass(frozen=True, slots=True)
class Allowed:
    """What all completions of a sheet allow.

    Attributes:
        sides: What each side allows.
        contraction: What voluntary anal contraction may be.
        pressure: What deep anal pressure may be.
        grades: Each grade with its grounds.
        values: The values of each result by its id, rostral first.
    """

    sides: dict[Side, SideOutcome]
    contraction: tuple[bool, ...]
    pressure: tuple[bool, ...]
    grades: dict[str, Grounds]
    values: dict[str, tuple[str, ...]]


def _may_be(sign: Sign | None) -> tuple[bool, ...]:
    return (sign == "yes",) if sign in ("yes", "no") else (False, True)


def _levels(levels: Iterable[int | None]) -> tuple[str, ...]:
    found = set(levels)
    known = tuple(named(n) for n in sorted(n for n in found if n is not None))
    return (*known, NOT_APPLICABLE) if None in found else known


def allowed(
    sheet: InjurySheet, boxes: Callable[[InjurySheet, Side], list[Box]] = completions
) -> Allowed:
    """What all completions of a sheet allow.

    Args:
        sheet: The scores.
        boxes: How the completions of a side are made: with marked scores by the level, or as examined.
    """
    sides = {side: outcome(tuple(boxes(sheet, side))) for side in SIDES}
    right, left = sides["right"], sides["left"]
    contraction, pressure = _may_be(sheet.anal_contraction), _may_be(sheet.anal_pressure)
    found = grades(right, left, contraction, pressure, _may_be(sheet.earlier_deficit))
    values: dict[str, tuple[str, ...]] = {}
    for side, has in sides.items():
        of: dict[str, Iterable[int | None]] = {
            "light_touch_level": has.touch,
            "pinprick_level": has.pin,
            "sensory_level": has.sensory,
            "motor_level": has.motor,
            "sensory_zone": sensory_zones(has, pressure),
            "motor_zone": motor_zones(has, contraction),
        }
        values |= {f"{name}_{side}": _levels(of[name]) for name in OF_A_SIDE}
    values["neurological_level"] = _levels(neurological_levels(right, left))
    values["completeness"] = tuple(sorted(completeness(right, left, contraction, pressure)))
    values["impairment"] = tuple(found)
    return Allowed(sides, contraction, pressure, found, values)
