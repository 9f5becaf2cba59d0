"""The standards that a review counts against, read from `standards.toml` and checked."""

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Annotated, Literal

from pydantic import Field

from wardexam.anatomy.catalogue import catalogue
from wardexam.errors import TableError
from wardexam.exam.flags import every_flag
from wardexam.reasoning.rules.rule_table import rules
from wardexam.tables import MEND, Columns, TableRow, all_known, checked_row, checked_rows, parsed

Ends = Literal["call", "image", "result"]
NAME = "standards.toml"


class Suspicion(TableRow):
    """Which reasons of urgency make a patient one of a group."""

    name: str
    rules: Annotated[tuple[str, ...], Field(min_length=1)]


class Item(TableRow):
    """What an examination of a group shall hold."""

    of: str
    name: str
    every: tuple[str, ...] = Field(default=(), alias="all")
    some: tuple[str, ...] = Field(default=(), alias="any")
    flags: tuple[str, ...] = ()
    counts: bool = True


class Interval(TableRow):
    """How long from one thing to another, with its limit."""

    name: str
    ends: Ends
    groups: tuple[str, ...] = ()
    minutes: Annotated[int, Field(ge=1)] | None = None


class _Number(TableRow):
    number: Annotated[int, Field(ge=1)]


class _Bins(TableRow):
    edges: Annotated[tuple[float, ...], Field(min_length=2)]


class _Counting(Columns):
    bins: _Bins
    few: _Number
    first_sites: _Number
    before_admission: _Number


@dataclass(frozen=True, slots=True)
class Standards:
    """All of the table.

    Attributes:
        suspicions: The groups by id.
        items: What shall be examined, by id, in order.
        intervals: What is timed, by what it ends with.
        few: From how many on a share is said without a word of caution.
        bins: The edges of the bins of chance, from 0 to 1.
        first_sites: Among how many of the first sites the true one is looked for.
        before_admission: How many days before the admission a patient's image may have been done.
    """

    suspicions: dict[str, Suspicion]
    items: dict[str, Item]
    intervals: dict[Ends, Interval]
    few: int
    bins: tuple[float, ...]
    first_sites: int
    before_admission: int

    def items_of(self, group: str) -> dict[str, Item]:
        """What shall be examined in a group."""
        return {name: item for name, item in self.items.items() if item.of == group}


def read_standards(text: str) -> Standards:
    """The standards of a text in the form of the table.

    Raises:
        TableError: A row is malformed or has no source, or names a rule, sign, flag or group that there is not.
    """
    table = parsed(text, NAME)
    wanted = {"suspicion", "item", "interval", "counting"}
    if set(table) != wanted:
        raise TableError(f"the sections are {', '.join(sorted(wanted))}", NAME, MEND)

    def place(kind: str, name: str) -> str:
        return f"{NAME}, {kind}, row {name}"

    suspicions = checked_rows(Suspicion, table["suspicion"], f"{NAME}, suspicion")
    items = checked_rows(Item, table["item"], f"{NAME}, item")
    made = checked_rows(Interval, table["interval"], f"{NAME}, interval")
    counting = checked_row(_Counting, table["counting"], f"{NAME}, counting")
    for n, suspicion in suspicions.items():
        all_known(suspicion.rules, rules(), place("suspicion", n))
    for n, item in items.items():
        all_known((*item.every, *item.some), catalogue(), place("item", n))
        all_known(item.flags, every_flag(), place("item", n))
        all_known((item.of,), suspicions, place("item", n))
        if not (item.every or item.some or item.flags):
            raise TableError("names nothing to examine", place("item", n), MEND)
    for n, interval in made.items():
        all_known(interval.groups, suspicions, place("interval", n))
    intervals = {interval.ends: interval for interval in made.values()}
    if len(intervals) != len(made):
        raise TableError("two intervals end with the same", NAME, MEND)
    bins = counting.bins.edges
    if list(bins) != sorted(set(bins)) or (bins[0], bins[-1]) != (0.0, 1.0):
        raise TableError("the edges rise from 0 to 1", place("counting", "bins"), MEND)
    return Standards(
        suspicions,
        items,
        intervals,
        counting.few.number,
        bins,
        counting.first_sites.number,
        counting.before_admission.number,
    )


@cache
def standards() -> Standards:
    """The standards of the program.

    Raises:
        TableError: The table is malformed.
    """
    return read_standards((files("wardexam.review") / NAME).read_text(encoding="utf-8"))
