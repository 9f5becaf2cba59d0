"""Completeness and the impairment scale of both sides together (rules 8 to 20)."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import product
from typing import NamedTuple

from wardexam.injury.segments import INTACT, keys_below
from wardexam.injury.sheet import SIDES
from wardexam.injury.side import SideOutcome, useful_below
from wardexam.injury.tables import standard

COMPLETE, INCOMPLETE = "complete", "incomplete"
NO_GRADE = "none"


Range = tuple[int, int]  # the least and the most


class Whole(NamedTuple):
    """Both sides, or one of them, as the grade sees them.

    Attributes:
        far: Whether there is movement more than three levels below the motor level of its side.
        spared: Whether anything is felt at S4-5.
    """

    far: bool
    spared: bool


@dataclass(slots=True)
class Grounds:
    """On what a grade rests, over every completion that gives it.

    Attributes:
        contraction: Whether voluntary anal contraction makes it motor incomplete; both where either may.
        useful: Numbers of useful key muscles below the neurological level: the least and the most.
        keys: How many key muscles lie below it.
        levels: The neurological levels.
        doubts: Ids of the doubts in `reasons.toml`, each of some completion.
    """

    contraction: set[bool] = field(default_factory=set)
    useful: set[int] = field(default_factory=set)
    keys: set[int] = field(default_factory=set)
    levels: set[int] = field(default_factory=set)
    doubts: set[str] = field(default_factory=set)


def completeness(
    right: SideOutcome, left: SideOutcome, contraction: Iterable[bool], pressure: Iterable[bool]
) -> set[str]:
    """Complete, incomplete or both (rules 9 and 10)."""
    present = product(contraction, pressure, right.spared, left.spared)
    return {INCOMPLETE if any(each) else COMPLETE for each in present}


def neurological_levels(right: SideOutcome, left: SideOutcome) -> set[int]:
    """The highest of the four levels in each completion (rule 8)."""
    return {min(pair) for pair in product(right.levels, left.levels)}


def grades(
    right: SideOutcome,
    left: SideOutcome,
    contraction: tuple[bool, ...],
    pressure: tuple[bool, ...],
    earlier: tuple[bool, ...],
) -> dict[str, Grounds]:
    """Every grade that some completion gives, with its grounds.

    Args:
        right: What the right side allows.
        left: What the left side allows.
        contraction: What voluntary anal contraction may be.
        pressure: What deep anal pressure may be.
        earlier: Whether an earlier deficit may be on record.
    """
    found: dict[str, Grounds] = {}
    signs = tuple(product(contraction, pressure))
    for level in sorted(neurological_levels(right, left)):
        for whole, useful in _wholes(right, left, level).items():
            for squeeze, felt in signs:
                _grade(found, whole, level, useful, squeeze, felt, earlier)
    return {grade: found[grade] for grade in standard().grades if grade in found}


def _wholes(right: SideOutcome, left: SideOutcome, level: int) -> dict[Whole, Range]:
    """Both sides together in completions with one neurological level, with their useful key muscles."""
    r_at, r_from = _of_side(right, level)
    l_at, l_from = _of_side(left, level)
    found: dict[Whole, Range] = {}
    for one, other in ((r_at, l_from), (r_from, l_at)):
        for (a, a_useful), (b, b_useful) in product(one.items(), other.items()):
            useful = a_useful[0] + b_useful[0], a_useful[1] + b_useful[1]
            _widen(found, Whole(a.far or b.far, a.spared or b.spared), useful)
    return found


def _of_side(side: SideOutcome, level: int) -> tuple[dict[Whole, Range], dict[Whole, Range]]:
    """A side's states with their useful key muscles below a level: those at it, and those at or below it."""
    at: dict[Whole, Range] = {}
    at_or_below: dict[Whole, Range] = {}
    for state, counts in side.states.items():
        if state.level >= level:
            useful = useful_below(state, counts, level)
            _widen(at_or_below, Whole(state.far, state.spared), useful)
            if state.level == level:
                _widen(at, Whole(state.far, state.spared), useful)
    return at, at_or_below


def _widen(found: dict[Whole, Range], whole: Whole, useful: Range) -> None:
    """Widen the range that is held for a state."""
    low, high = found.get(whole, useful)
    found[whole] = min(low, useful[0]), max(high, useful[1])


def _grade(
    found: dict[str, Grounds],
    whole: Whole,
    level: int,
    useful: Range,
    squeeze: bool,
    pressure: bool,
    earlier: tuple[bool, ...],
) -> None:
    """Add the grades of a state of both sides: the first rule that fits decides."""
    if not squeeze and not pressure and not whole.spared:
        _add(found, "A", level)
        return
    if level == INTACT and squeeze and pressure:
        for recorded in earlier:
            _add(found, "E" if recorded else NO_GRADE, level)
        return
    doubts = {"doubt_intact"} if level == INTACT else set()
    keys = keys_below(level) * len(SIDES)
    if not squeeze and not whole.far:
        if not keys and level != INTACT:
            doubts.add("doubt_odd")
        _add(found, "B", level, doubts)
        return
    if not keys and level != INTACT:
        doubts.add("doubt_none_below")
    enough = -(-keys // standard().half.of)
    if useful[1] >= enough:
        _add(found, "D", level, doubts, squeeze, keys, (max(useful[0], enough), useful[1]))
    if useful[0] < enough:
        _add(found, "C", level, doubts, squeeze, keys, (useful[0], min(useful[1], enough - 1)))


def _add(
    found: dict[str, Grounds],
    grade: str,
    level: int,
    doubts: Iterable[str] = (),
    squeeze: bool | None = None,
    keys: int | None = None,
    useful: Range = (0, 0),
) -> None:
    grounds = found.setdefault(grade, Grounds())
    grounds.levels.add(level)
    grounds.doubts.update(doubts)
    if squeeze is not None and keys is not None:
        grounds.contraction.add(squeeze)
        grounds.keys.add(keys)
        grounds.useful.update(useful)
