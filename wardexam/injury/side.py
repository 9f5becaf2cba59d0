"""What the completions of one side allow: its levels, its zones, and what the impairment scale asks of it."""

from dataclasses import dataclass, field
from functools import cache, lru_cache

from wardexam.injury.box import Box, named_scores
from wardexam.injury.levels import modality_levels, motor_levels, sensory_levels
from wardexam.injury.segments import FIRST, LOWEST, keys, keys_below
from wardexam.injury.tables import standard


@dataclass(frozen=True, slots=True)
class State:
    """A side as the impairment scale sees it.

    Attributes:
        level: The higher of its sensory and motor level.
        far: Whether there is movement more than three levels below the motor level (rule 15).
        spared: Whether anything is felt at S4-5.
    """

    level: int
    far: bool
    spared: bool


@dataclass(slots=True)
class SideOutcome:
    """What the completions of a side allow, each a set of segments' numbers but for `states`.

    Attributes:
        touch: Light-touch levels.
        pin: Pinprick levels.
        sensory: Sensory levels.
        motor: Motor levels.
        sensory_zone: Lowest segments felt, of completions with S4-5 not felt; empty where there are none.
        motor_zone: Lowest segments with a moving key muscle, or the level.
        states: Each state with the least and the most key muscles below its level that are useful.
    """

    touch: set[int] = field(default_factory=set)
    pin: set[int] = field(default_factory=set)
    sensory: set[int] = field(default_factory=set)
    motor: set[int] = field(default_factory=set)
    sensory_zone: set[int] = field(default_factory=set)
    motor_zone: set[int] = field(default_factory=set)
    states: dict[State, tuple[int, int]] = field(default_factory=dict)

    @property
    def levels(self) -> set[int]:
        """The higher of sensory and motor level in each completion."""
        return {state.level for state in self.states}

    @property
    def spared(self) -> set[bool]:
        """Whether anything is felt at S4-5."""
        return {state.spared for state in self.states}


@cache
def _lowest_first() -> tuple[int, ...]:
    return tuple(reversed(keys()))


@lru_cache  # a change of one side leaves the other as it was
def outcome(boxes: tuple[Box, ...]) -> SideOutcome:
    """What all completions in some boxes allow; the same object for the same boxes, not to be changed."""
    found = SideOutcome()
    for box in boxes:
        found.touch.update(modality_levels(box.touch))
        found.pin.update(modality_levels(box.pin))
        for sensory, part in sensory_levels(box):
            found.sensory.add(sensory)
            spared = _spared(part)
            if False in spared:
                found.sensory_zone |= _lowest_felt(part)
            for motor, whole in motor_levels(part, sensory):
                found.motor.add(motor)
                found.motor_zone |= _lowest_moved(whole, motor)
                _states(found, whole, sensory, motor, spared)
    return found


def _spared(box: Box) -> set[bool]:
    """Whether light touch or pinprick is felt at S4-5 (rule 10)."""
    felt = named_scores().felt
    cells = (box.touch[LOWEST], box.pin[LOWEST])
    found = {True} if any(c & felt for c in cells) else set()
    return found | {False} if all(c & ~felt for c in cells) else found


def _lowest_felt(box: Box) -> set[int]:
    """The lowest segments above S4-5 at which anything may be felt; C1 where nothing is (rule 23)."""
    felt, found = named_scores().felt, set()
    for segment in range(LOWEST - 1, FIRST - 1, -1):
        cells = (box.touch[segment], box.pin[segment])
        if any(c & felt for c in cells):
            found.add(segment)
        if not all(c & ~felt for c in cells):
            return found
    return found | {FIRST - 1}


def _lowest_moved(box: Box, level: int) -> set[int]:
    """The lowest key muscles below a level that may move; the level where none does (rule 23)."""
    moved, found = named_scores().moved, set()
    for segment in _lowest_first():
        if segment <= level:
            break
        if box.motor[segment] & moved:
            found.add(segment)
        if not box.motor[segment] & ~moved:
            return found
    return found | {level}


def _states(found: SideOutcome, box: Box, sensory: int, motor: int, spared: set[bool]) -> None:
    """Add the states of a part of a box with known levels, with the useful key muscles they allow."""
    level = min(sensory, motor)
    score = named_scores()
    useful = score.partial | score.full
    far = [k for k in keys() if k > motor + standard().far.levels]
    near = [k for k in keys() if level < k <= motor + standard().far.levels]
    least = sum(not box.motor[k] & ~useful for k in near)
    most = sum(bool(box.motor[k] & useful) for k in near)
    can_move = [k for k in far if box.motor[k] & score.moved]
    must_move = [k for k in far if not box.motor[k] & ~score.moved]
    by_other = {movement > motor + standard().far.levels for movement in box.movements}
    allowed: dict[bool, tuple[int, int]] = {}
    if False in by_other and not must_move:
        allowed[False] = (least, most)
    if True in by_other or can_move:
        # Where a muscle must move for it, one below useful can: an unknown muscle has every score.
        fewest = least + sum(not box.motor[k] & ~useful for k in far)
        allowed[True] = (fewest, most + sum(bool(box.motor[k] & useful) for k in far))
    for moves, (low, high) in allowed.items():
        for felt in spared:
            state = State(level, moves, felt)
            before = found.states.get(state, (low, high))
            found.states[state] = (min(before[0], low), max(before[1], high))


def useful_below(state: State, counts: tuple[int, int], level: int) -> tuple[int, int]:
    """The least and most useful key muscles of a side below the neurological level (rule 18).

    Those between that level and the side's own are useful: its motor level lies below them.
    """
    between = keys_below(level, state.level)
    return counts[0] + between, counts[1] + between
