"""Why a result is what it is: the deciding rule and row, worded by `reasons.toml`."""

from wardexam.injury.allowed import NOT_APPLICABLE, Allowed
from wardexam.injury.box import named_scores
from wardexam.injury.completion import completions
from wardexam.injury.impairment import COMPLETE
from wardexam.injury.segments import (
    FIRST,
    INTACT_NAME,
    LOWEST,
    LOWEST_NAME,
    NAMES,
    keys,
    named,
    number,
)
from wardexam.injury.sheet import (
    ANAL_WORDS,
    SENSES,
    SIDES,
    TEST_WORDS,
    InjurySheet,
    Side,
    Test,
)
from wardexam.injury.tables import Why, muscles, standard, worded


def _written(sheet: InjurySheet, test: Test, side: Side, at: int) -> str:
    """A score as it stands on the sheet."""
    found = sheet.score(test, side, NAMES[at])
    return "not entered" if found is None else found.code.replace("NT", "not testable")


def _modality(sheet: InjurySheet, test: Test, side: Side, value: str) -> Why:
    if value == INTACT_NAME:
        return worded("level_intact")
    level = number(value)
    stop = level + 1
    told = {"segment": NAMES[stop], "score": _written(sheet, test, side, stop)}
    return (
        worded("level_stops", level=value, **told)
        if level >= FIRST
        else worded("level_top", **told)
    )


def _sensory(found: Allowed, side: Side, value: str) -> Why:
    if value == INTACT_NAME:
        return worded("level_both_intact")
    touch, pin = (" or ".join(found.values[f"{test}_level_{side}"]) for test in SENSES)
    return worded("level_higher", touch=touch, pin=pin)


def _motor(sheet: InjurySheet, found: Allowed, side: Side, value: str) -> Why:
    if value == INTACT_NAME:
        return worded("motor_intact")
    level = number(value)
    here = _key(sheet, side, level)
    if here and _partial(sheet, side, level):
        return worded("motor_here", **here)
    if level < LOWEST and (below := _key(sheet, side, level + 1)):
        return worded("motor_above", **below)
    sensory = " or ".join(found.values[f"sensory_level_{side}"])
    return worded("motor_follows", segment=NAMES[level + 1], sensory=sensory)


def _key(sheet: InjurySheet, side: Side, at: int) -> dict[str, str]:
    """A key muscle's names for a reason; empty where the segment has none."""
    row = muscles().key.get(NAMES[at])
    if row is None:
        return {}
    shown = _written(sheet, "motor", side, at)
    return {"muscle": row.muscle, "segment": NAMES[at], "score": shown}


def _partial(sheet: InjurySheet, side: Side, at: int) -> bool:
    """Whether a key muscle is useful and not normal."""
    found = sheet.score("motor", side, NAMES[at])
    if found is None or found.digit is None:
        return False
    assumed = found.marked and sheet.rating("motor", side, NAMES[at]) == "normal"
    return not assumed and bool(1 << found.digit & named_scores().partial)


def _highest(found: Allowed, value: str) -> Why:
    names = [
        f"{side} {kind}"
        for kind in ("sensory", "motor")
        for side in SIDES
        if value in found.values[f"{kind}_level_{side}"]
    ]
    return worded("highest", names=", ".join(names))


def _complete(sheet: InjurySheet, value: str) -> Why:
    if value == COMPLETE:
        return worded("complete")
    present = [words for name, words in ANAL_WORDS.items() if getattr(sheet, name) == "yes"]
    for test in SENSES:
        for side in SIDES:
            found = sheet.score(test, side, LOWEST_NAME)
            if found is not None and found.digit:
                present.append(f"{side} {TEST_WORDS[test]} {LOWEST_NAME}")
    return worded(
        "incomplete",
        present=", ".join(present) or f"a marked score at {LOWEST_NAME}, counted as normal",
    )


def _range(numbers: set[int]) -> str:
    low, high = min(numbers), max(numbers)
    return str(low) if low == high else f"{low} to {high}"


def _grade(sheet: InjurySheet, found: Allowed, grade: str) -> Why:
    grounds = found.grades[grade]
    if not grounds.contraction:
        return worded(f"grade_{grade}")
    ways = [worded("motor_by_contraction")] if True in grounds.contraction else []
    if False in grounds.contraction:
        ways.append(worded("motor_by_movement", where=_where(sheet, found)))
    motor = " or ".join(way.words for way in ways)
    level = named(*grounds.levels) if len(grounds.levels) == 1 else "the neurological level"
    none_below = grounds.keys == {0}
    told = worded(
        "grade_D_none_below" if none_below else f"grade_{grade}",
        motor=motor,
        useful=_range(grounds.useful),
        keys=_range(grounds.keys),
        level=level,
    )
    numbers = tuple(sorted({n for way in (*ways, told) for n in way.rules}))
    return Why(told.words, numbers)


def _where(sheet: InjurySheet, found: Allowed) -> str:
    """Which movement is surely more than three levels below the motor level; empty where none is."""
    for side in SIDES:
        lowest = max(found.sides[side].motor)
        far = lowest + standard().far.levels
        boxes = completions(sheet, side)
        moved = named_scores().moved
        for key in reversed(keys()):
            if key > far and not any(box.motor[key] & ~moved for box in boxes):
                return f" ({side} {muscles().key[NAMES[key]].muscle}, {NAMES[key]})"
        other = min(boxes[0].movements)
        if other > far:
            return f" ({side}, a movement at {NAMES[other]} outside the key muscles)"
    return ""


def _zone(found: Allowed, kind: str, side: Side, value: str) -> Why:
    if value == NOT_APPLICABLE:
        if kind == "motor":
            return worded("zone_contraction")
        if found.pressure == (True,):
            return worded("zone_pressure")
        return worded("zone_spared")
    if found.values[f"{kind}_level_{side}"] == (value,):
        return worded("zone_repeats")
    return worded(f"{kind}_zone")


def because(sheet: InjurySheet, found: Allowed, id_: str, value: str) -> Why:
    """Why one result has, or may have, a value."""
    if len(found.values[id_]) > 1 and id_ != "impairment":
        return worded("remains")
    if id_ == "neurological_level":
        return _highest(found, value)
    if id_ == "completeness":
        return _complete(sheet, value)
    if id_ == "impairment":
        return _grade(sheet, found, value)
    kind, _, end = id_.rpartition("_")
    side: Side = "right" if end == "right" else "left"
    if kind == "sensory_level":
        return _sensory(found, side, value)
    if kind == "motor_level":
        return _motor(sheet, found, side, value)
    if kind.endswith("_zone"):
        return _zone(found, kind.removesuffix("_zone"), side, value)
    test: Test = "pinprick" if kind.startswith("pinprick") else "light_touch"
    return _modality(sheet, test, side, value)


def doubts(sheet: InjurySheet, found: Allowed) -> list[Why]:
    """What the user must be told beside the results: no rule, a convention, or something not recorded."""
    told = []
    for grade, grounds in found.grades.items():
        told += [worded(id_, grade=grade) for id_ in sorted(grounds.doubts)]
    not_recorded = any(getattr(sheet.movements, side) is None for side in SIDES)
    if not_recorded and "B" in found.grades and found.grades.keys() & {"C", "D"}:
        told.append(worded("doubt_movement"))
    if sheet.marked > len(sheet.rated):  # some not rated by the examiner
        told.append(worded("doubt_marks"))
    return list(dict.fromkeys(told))
