"""The scores of one examination: 112 sensory, 20 motor, anal contraction and pressure, and marks.

A score that is not there was not entered; it is unknown, like one that was not testable, and never normal.
"""

import json
import re
from functools import cache
from typing import Annotated, Any, Literal, Self

from pydantic import Field, StringConstraints, ValidationError, model_validator

from wardexam.errors import InputError
from wardexam.exam.entry import first_fault
from wardexam.exam.findings import Model, Text, nearest
from wardexam.exam.sheet import LONGEST_SHEET, NESTED, no_duplicates
from wardexam.injury.segments import POINTS, named, number, runs
from wardexam.injury.tables import muscles, standard

Side = Literal["right", "left"]
Test = Literal["light_touch", "pinprick", "motor"]
SIDES: tuple[Side, ...] = ("right", "left")
SENSES: tuple[Test, ...] = ("light_touch", "pinprick")
TESTS: tuple[Test, ...] = (*SENSES, "motor")
TEST_WORDS: dict[Test, str] = {
    "light_touch": "light touch",
    "pinprick": "pinprick",
    "motor": "motor",
}
Sign = Literal["yes", "no", "NT"]
Rating = Literal["normal", "examined"]
NOT_TESTABLE = "NT"
MARK = "*"
NO_MOVEMENT = "none"
ANAL_WORDS = {"anal_contraction": "voluntary anal contraction", "anal_pressure": "deep anal pressure"}  # fmt: skip
MOVEMENT_WORDS: dict[Side, str] = {s: f"{s} movement outside the key muscles" for s in SIDES}
_SCORE = re.compile(r"([0-9]|NT)(\*?)")


class Score(Model):
    """One score.

    Attributes:
        digit: What was found; None where not testable.
        marked: Whether it is marked as not from the cord injury.
    """

    digit: int | None
    marked: bool = False

    @property
    def code(self) -> str:
        """As written: ``2``, ``NT``, ``0*``."""
        return f"{NOT_TESTABLE if self.digit is None else self.digit}{MARK if self.marked else ''}"


def normal(test: Test) -> int:
    """The normal score of a test."""
    return standard().motor.normal if test == "motor" else standard().sensory.normal


@cache
def codes(test: Test) -> tuple[str, ...]:
    """Every code that a test takes; a normal score takes no mark."""
    digits = [str(d) for d in range(normal(test))]
    plain = [*digits, str(normal(test)), NOT_TESTABLE]
    return (*plain, *(d + MARK for d in digits), NOT_TESTABLE + MARK)


def stretches(test: Test, segments: list[str]) -> str:
    """Segments of a test in words: of sensation each stretch by its ends, ``T4 to T5, S1``."""
    if test == "motor":
        return ", ".join(segments)
    parts = runs(tuple(number(s) for s in segments))
    return ", ".join(named(a) if a == b else f"{named(a)} to {named(b)}" for a, b in parts)


def places(test: Test) -> tuple[str, ...]:
    """The segments at which a test scores."""
    return tuple(muscles().key) if test == "motor" else POINTS


@cache
def score(test: Test, code: str) -> Score:
    """A score from its code.

    Raises:
        ValueError: The test takes no such code; says which it takes.
    """
    found = _SCORE.fullmatch(code)
    if not found or code not in codes(test):
        if found and code == f"{normal(test)}{MARK}":
            raise ValueError(
                f"'{code}': a normal score takes no mark; mark what was found below it"
            )
        raise ValueError(f"'{code}' is no {TEST_WORDS[test]} score: {', '.join(codes(test))}")
    return Score(digit=None if found[1] == NOT_TESTABLE else int(found[1]), marked=bool(found[2]))


class SideScores(Model):
    """The codes of one test by segment on each side."""

    right: dict[str, str] = Field(default_factory=dict)
    left: dict[str, str] = Field(default_factory=dict)


class Movements(Model):
    """The lowest movement outside the key muscles on each side: a segment, ``none``, or not entered.

    Not entered is unknown: what it would decide stays open (rule 20).
    """

    right: str | None = None
    left: str | None = None

    @model_validator(mode="after")
    def _known(self) -> Self:
        allowed = self.every()
        for side in SIDES:
            given = getattr(self, side)
            if given is not None and given not in allowed:
                raise ValueError(f"{side}: '{given}' is none of {', '.join(allowed)}")
        return self

    @classmethod
    def every(cls) -> tuple[str, ...]:
        """Every answer that a side takes."""
        return (*muscles().non_key, NO_MOVEMENT)


class Rated(Model):
    """How the examiner lets one marked score count.

    Attributes:
        counts: ``normal``, or ``examined``: as it was found.
        why: In the examiner's words.
    """

    side: Side
    test: Test
    segment: str
    counts: Rating
    why: Text = ""

    @property
    def place(self) -> tuple[Test, Side, str]:
        """Which score."""
        return self.test, self.side, self.segment


class InjurySheet(Model):
    """The scores of one examination for the classification of a cord injury.

    Attributes:
        id: Returned with the answer; any short text.
        light_touch: By side and segment, C2 to S4-5.
        pinprick: The same.
        motor: By side and segment of the key muscle.
        anal_contraction: Voluntary anal contraction; None where not entered.
        anal_pressure: Deep anal pressure; None where not entered.
        movements: The lowest working movement outside the key muscles; unknown where not entered.
        earlier_deficit: Whether an earlier deficit from a cord injury is on record; None: not said.
        rated: How single marked scores are to count.
        comment: Free text.
    """

    id: Annotated[str, StringConstraints(max_length=120)] = ""
    light_touch: SideScores = SideScores()
    pinprick: SideScores = SideScores()
    motor: SideScores = SideScores()
    anal_contraction: Sign | None = None
    anal_pressure: Sign | None = None
    movements: Movements = Movements()
    earlier_deficit: Literal["yes", "no"] | None = None
    rated: Annotated[tuple[Rated, ...], Field(strict=False, max_length=132)] = ()
    comment: Text = ""

    @model_validator(mode="after")
    def _scores_exist(self) -> Self:
        for test in TESTS:
            for side in SIDES:
                for segment, code in getattr(getattr(self, test), side).items():
                    if segment not in places(test):
                        raise ValueError(
                            f"{side} {TEST_WORDS[test]}: nothing to score at '{segment}': "
                            f"{nearest(segment, places(test))}"
                        )
                    try:
                        score(test, code)
                    except ValueError as error:
                        raise ValueError(f"{side} {TEST_WORDS[test]} {segment}: {error}") from None
        seen = set()
        for rated in self.rated:
            found = self.score(rated.test, rated.side, rated.segment)
            place = f"{rated.side} {TEST_WORDS[rated.test]} {rated.segment}"
            if found is None or not found.marked:
                raise ValueError(f"{place}: only a score marked {MARK} is rated")
            if rated.place in seen:
                raise ValueError(f"{place}: rated twice")
            seen.add(rated.place)
        return self

    def score(self, test: Test, side: Side, segment: str) -> Score | None:
        """One score, or None where it was not entered."""
        code = getattr(getattr(self, test), side).get(segment)
        return None if code is None else score(test, code)

    def rating(self, test: Test, side: Side, segment: str) -> Rating | None:
        """How the examiner lets a marked score count, if that was recorded."""
        return next((r.counts for r in self.rated if r.place == (test, side, segment)), None)

    @property
    def marked(self) -> int:
        """How many scores are marked as not from the cord injury."""
        return sum(
            code.endswith(MARK)
            for test in TESTS
            for side in SIDES
            for code in getattr(getattr(self, test), side).values()
        )

    def absent(self) -> list[str]:
        """What was not entered, in words, a line for each test and side, and for each single sign."""
        said = []
        for test in TESTS:
            for side in SIDES:
                given = getattr(getattr(self, test), side)
                missing = [s for s in places(test) if s not in given]
                if not missing:
                    continue
                said.append(f"{side} {TEST_WORDS[test]}: {stretches(test, missing)}")
        said += [words for name, words in ANAL_WORDS.items() if getattr(self, name) is None]
        said += [MOVEMENT_WORDS[side] for side in SIDES if getattr(self.movements, side) is None]
        return said


def read_document(text: str) -> InjurySheet:
    """A sheet from one JSON document.

    Raises:
        InputError: The text is not JSON or not a sheet; names field, value and what is allowed.
    """
    if len(text) > LONGEST_SHEET:
        raise InputError(f"longer than {LONGEST_SHEET} characters", where="sheet")
    try:
        json.loads(text, object_pairs_hook=no_duplicates)
        return InjurySheet.model_validate_json(text)
    except ValidationError as error:
        fault = NESTED if "recursion limit" in (said := first_fault(error)) else said
        raise InputError(fault, remedy="'wardexam schema --injury' prints the form") from None
    except RecursionError:
        raise InputError(NESTED) from None
    except ValueError as error:
        raise InputError(f"not JSON: {error}") from None


def injury_schema() -> dict[str, Any]:
    """The JSON Schema of a sheet, with the segments and scores of each test spelled out."""
    schema = InjurySheet.model_json_schema()
    for test in TESTS:
        side = {
            "type": "object",
            "additionalProperties": False,
            "properties": {s: {"enum": list(codes(test))} for s in places(test)},
        }
        schema["properties"][test] = {
            "type": "object",
            "additionalProperties": False,
            "properties": dict.fromkeys(SIDES, side),
        }
    schema["$defs"].pop("SideScores", None)
    movements = {"enum": [*Movements.every(), None]}
    schema["$defs"]["Movements"]["properties"] = dict.fromkeys(SIDES, movements)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
