"""The scores that are not known, and which of them a result depends on."""

from collections.abc import Iterator

from wardexam.injury.sheet import (
    ANAL_WORDS,
    MARK,
    MOVEMENT_WORDS,
    SIDES,
    TEST_WORDS,
    TESTS,
    InjurySheet,
    SideScores,
    places,
)
from wardexam.injury.tables import standard

Place = tuple[str, ...]  # of the sheet's document, outermost name first
MOVEMENTS = "movements"
SIGN_WORDS = {**ANAL_WORDS, "earlier_deficit": "an earlier deficit"}


def unknown(sheet: InjurySheet, *, entered: bool | None = None) -> dict[Place, str]:
    """Every unknown score with its words.

    Args:
        sheet: The scores.
        entered: True for those entered as not testable, False for those not entered, None for both.
    """
    found: dict[Place, str] = {}
    for test in TESTS:
        for side in SIDES:
            for name in places(test):
                score = sheet.score(test, side, name)
                if score is None or score.digit is None:
                    said = score is not None
                    if entered is None or entered == said:
                        found[test, side, name] = f"{side} {TEST_WORDS[test]} {name}"
    for sign, words in SIGN_WORDS.items():
        value = getattr(sheet, sign)
        if value in (None, "NT") and entered in (None, value is not None):
            found[(sign,)] = words
    if not entered:  # a movement is never entered as not testable
        for side, words in MOVEMENT_WORDS.items():
            if getattr(sheet.movements, side) is None:
                found[MOVEMENTS, side] = words
    return found


def fillings(sheet: InjurySheet, place: Place) -> Iterator[InjurySheet]:
    """The sheet with an unknown score as each of those that rules tell apart."""
    if len(place) == 1:
        for answer in ("yes", "no"):
            yield sheet.model_copy(update={place[0]: answer})
        return
    if place[0] == MOVEMENTS:
        for answer in sheet.movements.every():
            moved = sheet.movements.model_copy(update={place[1]: answer})
            yield sheet.model_copy(update={MOVEMENTS: moved})
        return
    test, side, name = place
    motor = standard().motor
    digits = (
        (motor.absent, motor.trace, motor.useful, motor.normal)
        if test == "motor"
        else tuple(range(standard().sensory.normal + 1))
    )
    codes: SideScores = getattr(sheet, test)
    before: dict[str, str] = getattr(codes, side)
    for digit in digits:
        mark = MARK if MARK in before.get(name, "") and digit != digits[-1] else ""
        filled = codes.model_copy(update={side: {**before, name: f"{digit}{mark}"}})
        rated = sheet.rated if mark else tuple(r for r in sheet.rated if r.place != place)
        yield sheet.model_copy(update={test: filled, "rated": rated})
