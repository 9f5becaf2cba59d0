"""The standards that a review counts against, read from `standards.toml` and checked."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Annotated, Literal

from pydantic import Field

from wardexam.anatomy.catalogue import catalogue
from wardexam.anatomy.structures import TableRow, checked_row
from wardexam.errors import TableError
from wardexam.exam.flags import every_flag
from wardexam.reasoning.rules.rule_table import rules

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
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise TableError(str(error), where=NAME, remedy="mend the table") from None
    wanted = {"suspicion", "item", "interval", "counting"}
    if set(table) != wanted:
        raise TableError(f"the sections are {', '.join(sorted(wanted))}", where=NAME)

    def place(kind: str, name: str) -> str:
        return f"{NAME}, {kind} {name}"

    suspicions = {
        n: checked_row(Suspicion, row, place("suspicion", n))
        for n, row in table["suspicion"].items()
    }
    items = {n: checked_row(Item, row, place("item", n)) for n, row in table["item"].items()}
    made = [
        checked_row(Interval, row, place("interval", n)) for n, row in table["interval"].items()
    ]
    counting = table["counting"]
    for n, suspicion in suspicions.items():
        _all_known(suspicion.rules, rules(), place("suspicion", n))
    for n, item in items.items():
        _all_known((*item.every, *item.some), catalogue(), place("item", n))
        _all_known(item.flags, every_flag(), place("item", n))
        _all_known((item.of,), suspicions, place("item", n))
        if not (item.every or item.some or item.flags):
            raise TableError("names nothing to examine", place("item", n))
    for interval in made:
        _all_known(interval.groups, suspicions, place("interval", interval.name))
    intervals = {interval.ends: interval for interval in made}
    if len(intervals) != len(made):
        raise TableError("two intervals end with the same", NAME)
    bins = checked_row(_Bins, counting["bins"], place("counting", "bins")).edges
    if list(bins) != sorted(set(bins)) or (bins[0], bins[-1]) != (0.0, 1.0):
        raise TableError("the edges rise from 0 to 1", place("counting", "bins"))
    few = checked_row(_Number, counting["few"], place("counting", "few")).number
    first = checked_row(_Number, counting["first_sites"], place("counting", "first_sites")).number
    earliest = counting["before_admission"]
    before = checked_row(_Number, earliest, place("counting", "before_admission")).number
    return Standards(suspicions, items, intervals, few, bins, first, before)


def _all_known(names: tuple[str, ...], known: object, where: str) -> None:
    assert hasattr(known, "__contains__")
    for name in names:
        if name not in known:
            raise TableError(f"unknown '{name}'", where)


@cache
def standards() -> Standards:
    """The standards of the program.

    Raises:
        TableError: The table is malformed.
    """
    return read_standards((files("wardexam.review") / NAME).read_text(encoding="utf-8"))
