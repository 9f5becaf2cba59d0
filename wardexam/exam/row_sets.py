"""Named sets of rows, read from the table beside this file: what shows, in which order."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from wardexam.anatomy.catalogue import Sign, catalogue
from wardexam.exam.examination import Complaint


@dataclass(frozen=True, slots=True)
class RowSet:
    """A set of rows by the name a doctor reads and a short one, in the order of examination; of which complaints."""

    id: str
    name: str
    short: str
    signs: tuple[Sign, ...]
    complaints: tuple[Complaint, ...] = ()


@cache
def row_sets() -> dict[str, RowSet]:
    """The sets by id, in table order; ``core`` is the first."""
    text = (files("wardexam.exam") / "row_sets.toml").read_text(encoding="utf-8")
    signs = catalogue()
    return {
        name: RowSet(
            name,
            row["name"],
            row["short"],
            tuple(signs[s] for s in row["signs"]),
            tuple(row.get("complaints", ())),
        )
        for name, row in tomllib.loads(text).items()
    }


def set_for(complaint: Complaint | None) -> str:
    """The set that a first examination opens on: that of the complaint, else the first."""
    fits = (name for name, row in row_sets().items() if complaint and complaint in row.complaints)
    return next(fits, next(iter(row_sets())))
