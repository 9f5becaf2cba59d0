"""Named sets of rows, read from the table beside this file: what shows, in which order."""

from dataclasses import dataclass
from functools import cache
from typing import Annotated

from pydantic import Field

from wardexam.anatomy.catalogue import Sign, catalogue
from wardexam.exam.examination import Complaint
from wardexam.tables import Columns, all_known, no_twice, read_rows

_NAME = "row_sets.toml"


@dataclass(frozen=True, slots=True)
class RowSet:
    """A set of rows by the name a doctor reads and a short one, in the order of examination; of which complaints."""

    id: str
    name: str
    short: str
    signs: tuple[Sign, ...]
    complaints: tuple[Complaint, ...] = ()


class _Row(Columns):
    name: str
    short: str
    signs: Annotated[tuple[str, ...], Field(min_length=1)]
    complaints: tuple[Complaint, ...] = ()


@cache
def row_sets() -> dict[str, RowSet]:
    """The sets by id, in table order; ``core`` is the first.

    Raises:
        TableError: A row is malformed, or names what is no sign or one twice; a complaint stands in two; no ``core``.
    """
    rows, signs = read_rows(_NAME, "wardexam.exam", _Row), catalogue()
    all_known(("core",), rows, _NAME)
    no_twice((c for row in rows.values() for c in row.complaints), f"{_NAME}, field complaints")
    for name, row in rows.items():
        where = f"{_NAME}, row {name}, field signs"
        all_known(row.signs, signs, where)
        no_twice(row.signs, where)
    return {
        name: RowSet(name, row.name, row.short, tuple(signs[s] for s in row.signs), row.complaints)
        for name, row in rows.items()
    }


def set_for(complaint: Complaint | None) -> str:
    """The set that a first examination opens on: that of the complaint, else the first."""
    fits = (name for name, row in row_sets().items() if complaint and complaint in row.complaints)
    return next(fits, next(iter(row_sets())))
