"""Named sets of rows, read from the table beside this file: what shows, in which order."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from wardexam.anatomy.catalogue import Sign, catalogue


@dataclass(frozen=True, slots=True)
class RowSet:
    """A set of rows by the name a doctor reads and a short one, in the order of examination."""

    id: str
    name: str
    short: str
    signs: tuple[Sign, ...]


@cache
def row_sets() -> dict[str, RowSet]:
    """The sets by id, in table order; ``core`` is the first."""
    text = (files("wardexam.exam") / "row_sets.toml").read_text(encoding="utf-8")
    signs = catalogue()
    return {
        name: RowSet(name, row["name"], row["short"], tuple(signs[s] for s in row["signs"]))
        for name, row in tomllib.loads(text).items()
    }
