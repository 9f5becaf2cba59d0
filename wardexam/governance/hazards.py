"""The hazard log: each way to mislead or harm, its cause, its guard, and the tests that hold the guard.

Rows of `hazards.toml`. Every urgency rule stands in exactly one of them; a mistake of the table is an error at load.
"""

from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Annotated

from pydantic import Field, StringConstraints

from wardexam.errors import InputError, TableError
from wardexam.reasoning.rules.rule_table import rules
from wardexam.tables import TableRow, checked_row, checked_rows, parsed

TABLE = "hazards.toml"
LEVELS = 5  # of severity and of likelihood

Words = Annotated[str, StringConstraints(min_length=3)]
Level = Annotated[int, Field(ge=1, le=LEVELS)]
Named = Annotated[str, StringConstraints(pattern=r"^tests/[a-z_/]+\.py::test_[a-z0-9_]+$")]


class Scale(TableRow):
    """What the levels of severity and likelihood are called, the least first, and whose judgement they are."""

    severity: tuple[Words, ...] = Field(min_length=LEVELS, max_length=LEVELS)
    likelihood: tuple[Words, ...] = Field(min_length=LEVELS, max_length=LEVELS)
    judgement: Words


class Hazard(TableRow):
    """One row of the log.

    Attributes:
        hazard: What may go wrong.
        cause: What leads there.
        consequence: What it may come to.
        before: Severity and likelihood, 1 to 5 each, without the guard.
        after: The same with it; never more than before.
        guard: What stands against it.
        tests: What holds the guard, each as ``tests/path.py::name``.
        rules: The urgency rules that are missed by it; none where it is another way to mislead.
    """

    hazard: Words
    cause: Words
    consequence: Words
    before: tuple[Level, Level]
    after: tuple[Level, Level]
    guard: Words
    tests: tuple[Named, ...] = Field(min_length=1)
    rules: tuple[str, ...] = ()


def read_log(text: str, known: Mapping[str, object]) -> tuple[Scale, dict[str, Hazard]]:
    """The scale and the hazards by name.

    Args:
        text: The table.
        known: The urgency rules, by name.

    Raises:
        TableError: It is no TOML, a row is malformed, a rule is unknown, or does not stand in exactly one row.
    """
    table = parsed(text, TABLE)
    if extra := set(table) - {"scale", "hazards"}:
        raise TableError(f"unknown section '{sorted(extra)[0]}'", TABLE)
    scale = checked_row(Scale, table.get("scale"), f"{TABLE}, scale")
    made = checked_rows(Hazard, table.get("hazards"), f"{TABLE}, hazards")
    covered: dict[str, str] = {}
    for name, row in made.items():
        where = f"{TABLE}, hazards, row {name}"
        if any(left > stood for left, stood in zip(row.after, row.before, strict=True)):
            raise TableError("is worse with its guard than without", where)
        for rule in row.rules:
            if rule not in known:
                raise TableError(f"unknown rule '{rule}'", where)
            if rule in covered:
                raise TableError(f"rule '{rule}' stands in '{covered[rule]}' as well", where)
            covered[rule] = name
        if row.rules and "missed if " not in row.cause:
            raise TableError("does not say when its rules are missed", f"{where}, field cause")
    if left := [rule for rule in known if rule not in covered]:
        raise TableError(f"rule '{left[0]}' stands in no hazard", TABLE, "name it in a row")
    return scale, made


@cache
def _log() -> tuple[Scale, dict[str, Hazard]]:
    text = (files("wardexam.governance") / TABLE).read_text(encoding="utf-8")
    return read_log(text, rules())


def scale() -> Scale:
    """What severity and likelihood are called. Raises TableError as `read_log` does."""
    return _log()[0]


def hazards() -> dict[str, Hazard]:
    """The hazards by name. Raises TableError as `read_log` does."""
    return _log()[1]


def chosen(name: str) -> dict[str, Hazard]:
    """The hazard of this name, or that of the urgency rule of this name.

    Raises:
        InputError: There is none.
    """
    found = {n: row for n, row in hazards().items() if name == n or name in row.rules}
    if not found:
        raise InputError(
            "no hazard and no rule is called so", name, "'wardexam hazards' lists them"
        )
    return found
