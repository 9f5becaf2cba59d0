"""What testing a sign takes at the bedside, from `seconds.toml`."""

import tomllib
from functools import cache
from importlib.resources import files
from typing import Annotated

from pydantic import Field

from wardexam.anatomy.catalogue import catalogue
from wardexam.anatomy.structures import TableRow, checked_row
from wardexam.errors import TableError
from wardexam.exam.answers import answer_sets


class Cost(TableRow):
    """What something takes."""

    seconds: Annotated[int, Field(gt=0)]


@cache
def _costs() -> tuple[dict[str, Cost], dict[str, Cost]]:
    """What testing takes by kind of sign and by sign.

    Raises:
        TableError: A row is malformed or has no source, a kind of answer has none, or one speaks of no sign.
    """
    text = (files("wardexam.exam") / "seconds.toml").read_text(encoding="utf-8")
    made = []
    for section, known in (("kinds", {"tendon", *answer_sets()}), ("signs", set(catalogue()))):
        rows = tomllib.loads(text)[section]
        if unknown := set(rows) - known:
            raise TableError(f"'{min(unknown)}' is not known", where=f"seconds.toml, {section}")
        made.append({k: checked_row(Cost, r, f"seconds.toml, row {k}") for k, r in rows.items()})
    kinds, signs = made
    if missing := {s.answers for s in catalogue().values()} - set(kinds):
        raise TableError(f"no row for '{min(missing)}'", where="seconds.toml, kinds")
    return kinds, signs


def seconds(sign: str) -> int:
    """What testing a sign takes on one side, in seconds."""
    kinds, own = _costs()
    return (own.get(sign) or kinds[catalogue()[sign].answers]).seconds
