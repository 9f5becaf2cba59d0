"""The red-flag questions, read from the table beside this file."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import TypeVar

from wardexam.tables import CLOSED, checked_row, read_table

Answer = TypeVar("Answer", bound=str)


@dataclass(frozen=True, slots=True)
class Flag:
    """One red-flag question: its id, a short label and the question as asked.

    One that is `retired` is asked no more, and understood where it was answered; `told_by` names the word of the story
    that answers it as well. `found_by` are answers to signs, such as ``bladder retention``, and `complaints` complaints,
    that say yes to it as well. One that `stays` asks of the past: a later "no" of the stay does not undo a "yes".
    """

    __pydantic_config__ = CLOSED
    id: str
    short: str
    ask: str
    retired: bool = False
    told_by: str = ""
    found_by: tuple[str, ...] = ()
    complaints: tuple[str, ...] = ()
    stays: bool = False


@cache
def every_flag() -> dict[str, Flag]:
    """Every red flag that an examination may hold by id, those that are asked no more among them.

    Raises:
        TableError: A row is malformed.
    """
    return {
        name: checked_row(Flag, row, f"flags.toml, row {name}", id=name)
        for name, row in read_table("flags.toml", "wardexam.exam").items()
    }


@cache
def flags() -> dict[str, Flag]:
    """The red flags by id, in the order in which they are asked."""
    return {name: row for name, row in every_flag().items() if not row.retired}


def flag_names() -> tuple[str, ...]:
    """The ids in the order in which they are asked."""
    return tuple(flags())


@cache
def staying() -> frozenset[str]:
    """The ids of those that ask of the past."""
    return frozenset(name for name, row in every_flag().items() if row.stays)


def kept_yes(earlier: Mapping[str, str], later: Mapping[str, str]) -> tuple[str, ...]:
    """The ids of what was answered yes earlier in the stay, is answered no now, and stands."""
    undone = (n for n in every_flag() if earlier.get(n) == "yes" and later.get(n) == "no")
    return tuple(n for n in undone if n in staying())


def answers_over(earlier: Mapping[str, Answer], later: Mapping[str, Answer]) -> dict[str, Answer]:
    """The later answers, with what stands of the earlier ones."""
    return {**earlier, **later, **{name: earlier[name] for name in kept_yes(earlier, later)}}
