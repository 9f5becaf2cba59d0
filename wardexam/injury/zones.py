"""The zones of partial preservation (rules 21 to 24); None stands for not applicable."""

from collections.abc import Iterable

from wardexam.injury.side import SideOutcome


def sensory_zones(side: SideOutcome, pressure: Iterable[bool]) -> set[int | None]:
    """The lowest segment felt, in completions without deep anal pressure and with S4-5 not felt."""
    held = set(pressure)
    found: set[int | None] = {None} if True in held or True in side.spared else set()
    return found | side.sensory_zone if False in held else found


def motor_zones(side: SideOutcome, contraction: Iterable[bool]) -> set[int | None]:
    """The lowest key muscle that moves, in completions without voluntary anal contraction."""
    held = set(contraction)
    found: set[int | None] = {None} if True in held else set()
    return found | side.motor_zone if False in held else found
