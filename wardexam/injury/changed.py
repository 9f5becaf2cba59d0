"""What changed from one sheet to the next: what fell first, never put down to the observer."""

from collections.abc import Iterator
from dataclasses import dataclass

from wardexam.injury.computed import Computed, in_words
from wardexam.injury.segments import INTACT_NAME, NAMES, number
from wardexam.injury.sheet import (
    ANAL_WORDS,
    MOVEMENT_WORDS,
    SIDES,
    TEST_WORDS,
    TESTS,
    InjurySheet,
    Side,
    Test,
    places,
)
from wardexam.injury.tables import standard

FALL, MAYBE, RISE, OTHER, OPEN = (
    "worse", "may be worse", "better", "changed", "not known again"
)  # fmt: skip
KINDS = (FALL, MAYBE, RISE, OTHER, OPEN)  # in the order in which they are told
# The results that are compared, by their ids, with how they are called; of a side with the side behind.
WHOLE = {"impairment": "scale", "neurological_level": "neurological level"}
OF_SIDES = {
    "motor_level": "motor level",
    "sensory_level": "sensory level",
    "motor_zone": "motor zone",
    "sensory_zone": "sensory zone",
}
SUMS = {
    "arm_motor": "arm muscles",
    "leg_motor": "leg muscles",
    "light_touch": "light touch, sum",
    "pinprick": "pinprick, sum",
}


@dataclass(frozen=True, slots=True)
class Changed:
    """One difference.

    Attributes:
        kind: Whether it is worse now, may be, is better, is otherwise, or may still be what it was.
        words: What, from what to what.
    """

    kind: str
    words: str


def changes(before: Computed, now: Computed) -> tuple[Changed, ...]:
    """Every difference of results, sub-scores and single scores, what fell first.

    A result that has several values left is worse only where all of them are; where one of them may be below
    one of those before, it may be worse; where not all is entered and what it was is still among them, it is
    not known again. A single score is compared where both sheets have a number.
    """
    found = [*_results(before, now), *_sums(before, now), *_signs(before.sheet, now.sheet)]
    found += _scores(before.sheet, now.sheet)
    return tuple(sorted(found, key=lambda c: KINDS.index(c.kind)))


def told(found: tuple[Changed, ...]) -> list[str]:
    """The differences as sentences, a line for each kind."""
    return [
        f"{kind.upper() if kind in (FALL, MAYBE) else kind}: {'; '.join(words)}"
        for kind in KINDS
        if (words := [c.words for c in found if c.kind == kind])
    ]


def _rank(value: str) -> int | None:
    """How good a value is; None where it is no level and no grade."""
    grades = [*standard().grades]
    if value in grades:
        return grades.index(value)
    return len(NAMES) if value == INTACT_NAME else number(value) if value in NAMES else None


def _kind(before: tuple[str, ...], now: tuple[str, ...]) -> str:
    was, is_ = [_rank(v) for v in before], [_rank(v) for v in now]
    then, here = [r for r in was if r is not None], [r for r in is_ if r is not None]
    if len(then) < len(was) or len(here) < len(is_) or not then or not here:
        return OTHER  # not applicable now, or before
    if max(here) < min(then):
        return FALL
    if min(here) > max(then):
        return RISE
    return MAYBE if min(here) < max(then) else OTHER


def _results(before: Computed, now: Computed) -> Iterator[Changed]:
    named = dict(WHOLE)
    for id_, words in OF_SIDES.items():
        right, left = (
            tuple(c.results[f"{id_}_{side}"].values for c in (before, now)) for side in SIDES
        )
        if right == left:
            named[f"{id_}_{SIDES[0]}"] = f"{words} both"
        else:
            named |= {f"{id_}_{side}": f"{words} {side}" for side in SIDES}
    for id_, words in named.items():
        was, is_ = before.results[id_].values, now.results[id_].values
        if was == is_:
            continue
        if set(was) < set(is_) and _unfinished(now, id_):
            if "_zone_" in id_:
                continue  # follows from what else is not known
            yield Changed(OPEN, f"{words}, was {in_words(was)}")
        else:
            yield Changed(_kind(was, is_), f"{words} {in_words(was)} -> {in_words(is_)}")


def _unfinished(now: Computed, id_: str) -> bool:
    """Whether something that a result may rest on was not entered; other movements decide the scale alone."""
    movements = () if id_ == "impairment" else MOVEMENT_WORDS.values()
    return any(words not in movements for words in now.not_entered)


def _sums(before: Computed, now: Computed) -> Iterator[Changed]:
    for id_, words in SUMS.items():
        whole = before.sums[id_].determined and now.sums[id_].determined
        of_sides = [(f"{id_}_{side}", f"{words} {side}") for side in SIDES]
        for each, named in [(id_, words)] if whole else of_sides:
            was, is_ = before.sums[each], now.sums[each]
            if (was.least, was.most) == (is_.least, is_.most):
                continue
            if was.determined and is_.determined:
                kind = FALL if is_.least < was.least else RISE
                yield Changed(kind, f"{named} {was.least} -> {is_.least}")
            elif is_.most < was.least:  # at the most less than at the least before
                yield Changed(FALL, f"{named} from {was.least} or more to {is_.most} or less")
            elif is_.least > was.most:
                yield Changed(RISE, f"{named} from {was.most} or less to {is_.least} or more")


def _signs(before: InjurySheet, now: InjurySheet) -> Iterator[Changed]:
    for name, words in ANAL_WORDS.items():
        was, is_ = getattr(before, name), getattr(now, name)
        if {was, is_} == {"yes", "no"}:
            yield Changed(FALL if is_ == "no" else RISE, f"{words} {was} -> {is_}")


def _scores(before: InjurySheet, now: InjurySheet) -> Iterator[Changed]:
    for test in TESTS:
        right, left = (_of_side(before, now, test, side) for side in SIDES)
        for kind in (FALL, RISE):
            if right[kind] and right[kind] == left[kind]:
                yield Changed(kind, f"both {TEST_WORDS[test]} {', '.join(right[kind])}")
                continue
            for side, held in zip(SIDES, (right[kind], left[kind]), strict=True):
                if held:
                    yield Changed(kind, f"{side} {TEST_WORDS[test]} {', '.join(held)}")


def _of_side(before: InjurySheet, now: InjurySheet, test: Test, side: Side) -> dict[str, list[str]]:
    """The single scores of a test and side that fell, and those that rose."""
    found: dict[str, list[str]] = {FALL: [], RISE: []}
    for name in places(test):
        was, is_ = (s.score(test, side, name) for s in (before, now))
        if was is None or is_ is None or was.digit is None or is_.digit is None:
            continue
        if was.digit != is_.digit:
            kind = FALL if is_.digit < was.digit else RISE
            found[kind].append(f"{name} {was.digit} -> {is_.digit}")
    return found
