"""The red-flag questions, read from the table beside this file."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files


@dataclass(frozen=True, slots=True)
class Flag:
    """One red-flag question: its id, a short label and the question as asked."""

    id: str
    short: str
    ask: str


@cache
def flags() -> dict[str, Flag]:
    """The red flags by id, in the order in which they are asked."""
    text = (files("wardexam.exam") / "flags.toml").read_text(encoding="utf-8")
    return {name: Flag(name, **row) for name, row in tomllib.loads(text).items()}


def flag_names() -> tuple[str, ...]:
    """The ids in the order in which they are asked."""
    return tuple(flags())
