"""Names that claim only what was found: whole only with the sacral signs lost, both sides only with both found.

A form's name says more than a place where a row of `claims.toml` says so; where what it claims was not found, the
plainer name of that row is said. One place among several of a group is named where it holds enough of the group.
"""

from collections.abc import Collection
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any, Literal

from wardexam.anatomy.catalogue import PARTS, SEGMENTS, Sign, catalogue
from wardexam.errors import TableError
from wardexam.exam.answers import answers_for, scales
from wardexam.exam.examination import Onset
from wardexam.reasoning.inference.evidence import USUAL
from wardexam.reasoning.inference.pieces import Term
from wardexam.reasoning.tables import read
from wardexam.tables import Columns, TableRow, checked_row

_BOTH = {"right", "left"}


class Need(Columns):
    """What must have been found; see the table's head."""

    signs: tuple[str, ...] = ()
    part: str = ""
    limb: tuple[str, ...] = ()
    modality: str = ""
    found: Literal["any", "odd", "usual"] = "any"
    answers: tuple[str, ...] = ()
    each: bool = False
    onset: tuple[Onset, ...] = ()

    @cached_property
    def spoken_of(self) -> frozenset[str]:
        """The signs that it speaks of."""
        return frozenset(s.id for s in catalogue().values() if self._speaks_of(s))

    def _speaks_of(self, sign: Sign) -> bool:
        return (
            (not self.signs or sign.id in self.signs)
            and (not self.part or sign.part in self.part.split(","))
            and (not self.limb or sign.limb in self.limb)
            and (not self.modality or sign.modality in self.modality.split(","))
        )


class Claim(TableRow):
    """A name that claims something."""

    plainer: str
    needs: tuple[Need, ...] = ()


@cache
def _table() -> Any:
    return read("inference/claims.toml")


@cache
def claims() -> dict[str, Claim]:
    """The names that claim something, each with what must have been found.

    Raises:
        TableError: A row is malformed, or names a sign that there is not.
    """
    made = {}
    for name, row in _table()["name"].items():
        where = f"claims.toml, {name}"
        document = {("plainer" if key == "else" else key): value for key, value in row.items()}
        made[name] = checked_row(Claim, document, where)
        for need in made[name].needs:
            if not need.onset and not need.spoken_of:
                raise TableError("a need that no sign meets", where)
            if unknown := _unknown(need):
                raise TableError(f"unknown {min(unknown)}", where)
    return made


def _codes(sign: Sign) -> tuple[str, ...]:
    """What may be answered to a sign, of a reflex in every scale."""
    return tuple(code for scale in scales() for code in answers_for(sign.answers, scale).codes)


def _unknown(need: Need) -> set[str]:
    """What a need names that there is not, as ``part 'powr'``."""
    signs = catalogue().values()
    named = {
        "sign": (need.signs, {s.id for s in signs}),
        "part": (need.part.split(",") if need.part else (), set(PARTS)),
        "limb": (need.limb, {s.limb for s in signs}),
        "modality": (
            need.modality.split(",") if need.modality else (),
            {s.modality for s in signs},
        ),
        "answer": (need.answers, {c for s in signs if s.id in need.spoken_of for c in _codes(s)}),
    }
    return {f"{kind} '{w}'" for kind, (words, known) in named.items() for w in set(words) - known}


@dataclass(frozen=True)
class Known:
    """What was found, as far as names may claim it.

    Attributes:
        found: Each sign and side found now or before, with its answer; every usual answer is `USUAL`.
        onset: When it began.
    """

    found: tuple[tuple[str, str, str], ...]
    onset: Onset = "unknown"

    @classmethod
    def of(cls, terms: Collection[Term], onset: Onset) -> "Known":
        """What some terms say was found, now or before."""
        kinds = ("finding", "before")
        return cls(tuple((*t.key, t.bundle[-1]) for t in terms if t.kind in kinds), onset)

    def meets(self, need: Need) -> bool:
        """Whether what is needed was found."""
        if need.onset:
            return self.onset in need.onset
        sides = {
            side
            for sign, side, answer in self.found
            if sign in need.spoken_of
            and need.found in ("any", USUAL if answer == USUAL else "odd")
            and (not need.answers or answer in need.answers)
        }
        return sides >= _BOTH if need.each else bool(sides)

    @cached_property
    def level(self) -> str:
        """The highest level of sensation that was found; empty where none was."""
        levels = [
            answer for sign, _, answer in self.found
            if catalogue()[sign].level and answer in SEGMENTS
        ]  # fmt: skip
        return min(levels, key=SEGMENTS.index, default="")


def limit(name: str) -> Any:
    """A number of [limits]."""
    return _table()["limits"][name]


def plain_name(group: str) -> str:
    """The name in [general] of a group, with its side or without; empty where it has none."""
    return str(_table()["general"].get(group, ""))


def claimed(name: str, group: str, share: float, known: Known) -> str:
    """The name of a form, or the plainer one that claims no more than what was found.

    Args:
        name: As the form is called.
        group: The group that it is of.
        share: What of the group's chance the forms of this name hold.
        known: What was found.
    """
    if share < limit("share"):
        whole = group.removesuffix(".right").removesuffix(".left").removesuffix(".both")
        name = plain_name(group) or plain_name(whole) or name
    row = claims().get(name)
    if row is None or (row.needs and all(map(known.meets, row.needs))):
        return name
    return claimed(row.plainer, group, 1.0, known)
