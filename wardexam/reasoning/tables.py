"""The numbers of this folder's tables, read once, and the intervals of hidden values they cut."""

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

FAR = 99.0  # further than any hidden value lies
Interval = tuple[float, float]


@cache
def read(name: str) -> dict[str, Any]:
    """A parsed table of this folder, e.g. ``"rules/urgency.toml"``."""
    return tomllib.loads((files("wardexam.reasoning") / name).read_text(encoding="utf-8"))


def numbers() -> dict[str, Any]:
    """The numbers of how loss shows."""
    return read("model/observation.toml")


def weighing(section: str) -> dict[str, Any]:
    """The numbers of one section of how findings are weighed and what is said."""
    row: dict[str, Any] = read("inference/weighing.toml")[section]
    return row


def meaning_interval(meaning: str) -> Interval:
    """The interval of the hidden value that a meaning of a tendon grade stands for."""
    row = numbers()["tendon"]
    a, b, c, d = row["cuts"]
    mid = (b + c) / 2
    return {
        "absent": (-FAR, a), "trace": (a, row["trace"]), "reduced": (a, b), "low_normal": (b, mid),
        "normal": (b, c), "high_normal": (mid, c), "brisk": (c, d), "clonic": (d, FAR), "above": (c, FAR),
    }[meaning]  # fmt: skip


def mrc_interval(grade: str) -> Interval:
    """The interval of the hidden value that an MRC grade stands for."""
    row = numbers()["mrc"]
    cuts = [-FAR, *row["cuts"], FAR]
    low, high = row["four"]
    if grade in ("4-", "4+"):
        at = int(grade[0])
        return (cuts[at], low) if grade == "4-" else (high, cuts[at + 1])
    return cuts[int(grade)], cuts[int(grade) + 1]


def sensation_interval(answer: str) -> Interval:
    """The interval of the hidden loss for ``absent``, ``reduced`` or ``normal``."""
    reduced, absent = numbers()["sensation"]["cuts"]
    return {"absent": (absent, FAR), "reduced": (reduced, absent), "normal": (-FAR, reduced)}[
        answer
    ]
