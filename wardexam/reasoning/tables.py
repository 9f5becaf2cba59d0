"""The numbers of this folder's tables, read once, and the intervals of hidden values they cut."""

import tomllib
from collections.abc import Callable
from functools import cache
from importlib.resources import files
from typing import Any

from wardexam.errors import TableError

FAR = 99.0  # further than any hidden value lies
Interval = tuple[float, float]


class Section(dict[str, Any]):
    """A section or row of a table; a name it does not hold is a fault of the table."""

    __slots__ = ("place",)

    def __init__(self, row: dict[str, Any], place: str) -> None:
        self.place = place
        super().__init__({k: _checked(v, f"{place}, {k}") for k, v in row.items()})

    def __missing__(self, name: str) -> Any:
        raise TableError(f"no '{name}'", where=self.place)


def _checked(value: Any, place: str) -> Any:
    if isinstance(value, dict):
        return Section(value, place)
    return [_checked(v, place) for v in value] if isinstance(value, list) else value


def _sourced(value: Any) -> bool:
    """Whether a section names its source, or every row in it does."""
    if isinstance(value, dict):
        own = value.get("source")
        if own is not None:
            return isinstance(own, str) and bool(own.strip())
        rows = [v for v in value.values() if isinstance(v, dict | list)]
        return bool(rows) and len(rows) == len(value) and all(map(_sourced, rows))
    return isinstance(value, list) and bool(value) and all(map(_sourced, value))


@cache
def read(name: str) -> Section:
    """A table of this folder, e.g. ``"rules/urgency.toml"``.

    Raises:
        TableError: It is missing or is no TOML, or a section has no source; and later, where something
            asks it for a name that it does not hold.
    """
    try:
        text = (files("wardexam.reasoning") / name).read_text(encoding="utf-8")
        rows = tomllib.loads(text)
    except (OSError, tomllib.TOMLDecodeError) as error:
        raise TableError(str(error), where=name, remedy="mend the table") from error
    for section, row in rows.items():
        if not _sourced(row):
            raise TableError("no source", where=f"{name}, {section}")
    rows.pop("review", None)  # who owns it and when it is due: no row of it
    return Section(rows, name)


def _rows(name: str) -> Callable[[str], Section]:
    """A function that gives a section of a table by its name."""

    def row(section: str) -> Section:
        found: Section = read(name)[section]
        return found

    return row


# A section of each table of numbers.
damage_row = _rows("model/damage.toml")
severities_row = _rows("model/severities.toml")
losses_row = _rows("model/losses.toml")
observation_row = _rows("model/observation.toml")
weighing_row = _rows("inference/weighing.toml")
story_row = _rows("inference/story.toml")
asymmetry_row = _rows("rules/asymmetry.toml")
contradictions_row = _rows("rules/contradictions.toml")
change_row = _rows("rules/change.toml")
conditions_row = _rows("rules/conditions.toml")


def meaning_interval(meaning: str) -> Interval:
    """The interval of the hidden value that a meaning of a tendon grade stands for."""
    row = observation_row("tendon")
    a, b, c, d = row["cuts"]
    mid = (b + c) / 2
    return {
        "absent": (-FAR, a), "trace": (a, row["trace"]), "reduced": (a, b), "low_normal": (b, mid),
        "normal": (b, c), "high_normal": (mid, c), "brisk": (c, d), "clonic": (d, FAR), "above": (c, FAR),
    }[meaning]  # fmt: skip


def mrc_interval(grade: str) -> Interval:
    """The interval of the hidden value that an MRC grade stands for."""
    row = observation_row("mrc")
    cuts = [-FAR, *row["cuts"], FAR]
    low, high = row["four"]
    if grade in ("4-", "4+"):
        at = int(grade[0])
        return (cuts[at], low) if grade == "4-" else (high, cuts[at + 1])
    return cuts[int(grade)], cuts[int(grade) + 1]


def sensation_interval(answer: str) -> Interval:
    """The interval of the hidden loss for ``absent``, ``reduced`` or ``normal``."""
    reduced, absent = observation_row("sensation")["cuts"]
    return {"absent": (absent, FAR), "reduced": (reduced, absent), "normal": (-FAR, reduced)}[
        answer
    ]
