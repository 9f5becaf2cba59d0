"""The tables of this folder, each row checked at load: scores, key muscles, rules, reasons.

A row without a source, an unknown segment or sign, or a reason that names no rule is refused.
"""

import string
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal, TypeVar

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationError,
)

from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.errors import TableError
from wardexam.exam.entry import first_fault
from wardexam.tables import read_table

Words = Annotated[str, StringConstraints(min_length=1, pattern=r"\S")]
Standing = Literal["published", "secondary", "memory", "own"]
STANDING_WORDS: dict[Standing, str] = {
    "published": "published",
    "secondary": "from a page that repeats it",
    "memory": "in part from memory",
    "own": "our own reading",
}


class Row(BaseModel):
    """A row of a table: frozen, unknown fields refused."""

    model_config = ConfigDict(strict=True, frozen=True, extra="forbid")


class Sensory(Row):
    """The sensory scores."""

    absent: int
    altered: int
    normal: int
    source: Words


class Motor(Row):
    """The motor scores that rules name: no contraction, the first, useful, and normal."""

    absent: int
    trace: int
    useful: int
    normal: int
    source: Words


class Far(Row):
    """More than how many levels below is far."""

    levels: int
    source: Words


class Half(Row):
    """One in how many key muscles is enough."""

    of: int
    source: Words


class Grade(Row):
    """A grade of the impairment scale."""

    words: Words
    source: Words


class Standard(Row):
    """The scores and what the rules count with."""

    sensory: Sensory
    motor: Motor
    far: Far
    half: Half
    grades: dict[str, Grade]


class KeyMuscle(Row):
    """A key muscle: its limb, its name, and the sign of an ordinary examination that grades it.

    `check` says what that sign leaves open.
    """

    limb: Literal["arm", "leg"]
    muscle: Words
    sign: Words
    check: str = ""
    source: Words


class NonKey(Row):
    """Movements that are no key muscle, at the segment at which they count."""

    movements: Annotated[tuple[Words, ...], Field(strict=False, min_length=1)]
    source: Words


class Muscles(Row):
    """Key muscles and other movements by segment."""

    key: dict[str, KeyMuscle]
    non_key: dict[str, NonKey]


class Rule(Row):
    """A rule in our words, how well it is known, and from where."""

    words: Words
    standing: Standing
    source: Words


class Reason(Row):
    """How a reason is worded, and the rules that decide."""

    say: Words
    rules: Annotated[tuple[int, ...], Field(strict=False, min_length=1)]


@dataclass(frozen=True, slots=True)
class Why:
    """A reason in words, with the numbers of the rules that decide."""

    words: str
    rules: tuple[int, ...]


def _row(value: object) -> object:
    """A list of a table as what a row holds."""
    return tuple(value) if isinstance(value, list) else value


class Signs(Row):
    """Signs of an ordinary examination that grade the same; for sensation how their names begin."""

    signs: Annotated[
        Annotated[tuple[Words, ...], Field(min_length=1)] | Words, BeforeValidator(_row)
    ]
    source: Words


class OneSign(Row):
    """A sign of an ordinary examination that answers the same."""

    sign: Words
    source: Words


class NoScore(Row):
    """What is said where a sign speaks of the same and is no score."""

    words: Words
    source: Words


class TakenOverTable(Row):
    """What an ordinary examination gives, and what in it is no score."""

    sensory: dict[str, Signs]
    contraction: OneSign
    movements: dict[str, Signs]
    no_score: dict[str, NoScore]


T = TypeVar("T", bound=BaseModel)


def table(name: str) -> dict[str, Any]:
    """The parsed TOML of a table of this folder.

    Raises:
        TableError: It is missing or no TOML.
    """
    return read_table(name, "wardexam.injury")


def checked(model: type[T], rows: dict[str, Any], name: str) -> T:
    """Rows of a table as a model.

    Raises:
        TableError: A row is malformed; names table, row and field.
    """
    try:
        return model.model_validate(rows)
    except ValidationError as error:
        raise TableError(first_fault(error), where=name, remedy="mend the table") from None


@cache
def standard() -> Standard:
    """The scores and what the rules count with."""
    found = checked(Standard, table("standard.toml"), "standard.toml")
    if not found.sensory.absent < found.sensory.altered < found.sensory.normal:
        raise TableError("the sensory scores are out of order", "standard.toml, sensory")
    motor = found.motor
    if not motor.absent < motor.trace < motor.useful < motor.normal:
        raise TableError("the motor scores are out of order", "standard.toml, motor")
    return found


@cache
def muscles() -> Muscles:
    """Key muscles and other movements by segment, rostral first."""
    return check_muscles(table("muscles.toml"))


def check_muscles(rows: dict[str, Any]) -> Muscles:
    """Key muscles and movements from rows.

    Raises:
        TableError: A segment or a sign is unknown, a sign serves twice, or the order is not rostral first.
    """
    found = checked(Muscles, rows, "muscles.toml")
    for part, segments in (("key", list(found.key)), ("non_key", list(found.non_key))):
        unknown = [s for s in segments if s not in SEGMENTS]
        if unknown:
            raise TableError(f"unknown segment '{unknown[0]}'", f"muscles.toml, {part}")
        if segments != sorted(segments, key=SEGMENTS.index):
            raise TableError("not in the order of the segments", f"muscles.toml, {part}")
    signs = [row.sign for row in found.key.values()]
    for segment, row in found.key.items():
        if row.sign not in catalogue() or signs.count(row.sign) > 1:
            raise TableError(f"no sign of its own: '{row.sign}'", f"muscles.toml, key, {segment}")
    return found


class _Rules(Row):
    rules: dict[int, Rule]


class _Reasons(Row):
    reasons: dict[str, Reason]


@cache
def rules() -> dict[int, Rule]:
    """The rules by number.

    Raises:
        TableError: A row is malformed or a number is missing.
    """
    numbered = (item for item in table("rules.toml").items() if item[0] != "review")
    rows = {"rules": {_number(n): row for n, row in numbered}}
    found = checked(_Rules, rows, "rules.toml").rules
    if list(found) != list(range(1, len(found) + 1)):
        raise TableError("the numbers do not run from 1", "rules.toml")
    return found


def _number(name: str) -> int:
    if not name.isdecimal():
        raise TableError(f"a rule has a number, not '{name}'", "rules.toml")
    return int(name)


@cache
def reasons() -> dict[str, Reason]:
    """How each reason is worded, by its id."""
    return check_reasons(table("reasons.toml"))


def check_reasons(rows: dict[str, Any]) -> dict[str, Reason]:
    """Reasons from rows.

    Raises:
        TableError: A reason names a rule that there is not, or its braces are malformed.
    """
    found = checked(_Reasons, {"reasons": rows}, "reasons.toml").reasons
    for name, row in found.items():
        if missing := [n for n in row.rules if n not in rules()]:
            raise TableError(f"there is no rule {missing[0]}", f"reasons.toml, {name}")
        try:
            list(string.Formatter().parse(row.say))
        except ValueError as error:
            raise TableError(str(error), f"reasons.toml, {name}") from None
    return found


@cache
def taken_over() -> TakenOverTable:
    """What an ordinary examination gives, and what in it is no score."""
    return check_taken_over(table("taking_over.toml"))


def check_taken_over(rows: dict[str, Any]) -> TakenOverTable:
    """What an ordinary examination gives, from rows.

    Raises:
        TableError: A sign is unknown, or a movement stands at a segment that has none.
    """
    name = "taking_over.toml"
    found = checked(TakenOverTable, rows, name)
    signs = [found.contraction.sign, *found.no_score]
    for segment, row in found.movements.items():
        if segment not in muscles().non_key:
            raise TableError(f"no movement counts at '{segment}'", f"{name}, movements")
        signs += row.signs
    for sign in signs:
        if sign not in catalogue():
            raise TableError(f"unknown sign '{sign}'", name)
    return found


def worded(id_: str, **names: object) -> Why:
    """A reason by its id, with every name in it filled in."""
    row = reasons()[id_]
    return Why(row.say.format(**names), row.rules)
