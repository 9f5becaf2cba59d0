"""What published cases like this one turned out to be: the nearest neighbours, beside what the model makes of it.

The model weighs each sign by itself under every site; cases know which come together. `neighbours.csv` has those of the
development part of the open benchmark: what was out of the usual on which side, the words of the story, and the places
that it was. Cases are as like as what they share, the rarer the more (cosine of weights by inverse frequency), less what
they show where this one was found usual, and count by a power of that, as they are and as their mirror image. The nearer
they are, the greater is their share in what is told, up to a bound; with nothing like it the model stands alone, and so
does what it makes of health, since the healthy are not published. Cases of two lesions have no place among these: how
many of those that are like this one had two is asked apart (`two_lesions`). None of it reaches urgency.
"""

import csv
import math
from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import files
from math import fsum

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.structures import STORY
from wardexam.errors import TableError
from wardexam.reasoning.inference.taught import ODD, Odd, named
from wardexam.reasoning.model.hypotheses import Hypotheses
from wardexam.reasoning.tables import weighing_row

Floats = NDArray[np.float64]
Word = tuple[str, str]  # a column of the story and what was told
Feature = tuple[str, str]  # a sign and its way, or a word
TABLE = "inference/neighbours.csv"
SIDES = ("right", "left", "midline")
COLUMNS = ("source", *SIDES, "told", "places")
TWO = "two lesions"  # stands for the places of a case that had two
_MIRROR = {"right": "left", "left": "right"}
_UNITS = 1000  # a weight is a whole number of such parts, so that no order of adding up matters
_NO_SIDE = "told"
_LEAST_RARITY = 0.05  # of what almost every case shows
_LEAST = 1e-6  # a case that counts for less is not like it


@dataclass(frozen=True, slots=True)
class Case:
    """A row of the table.

    Attributes:
        source: Where it is published.
        shown: What was out of the usual, or told, with its side.
        places: The share of each place that it was; none where it was of two lesions.
    """

    source: str
    shown: frozenset[tuple[Feature, str]]
    places: dict[str, float]

    @property
    def two(self) -> bool:
        """Whether it was of two lesions."""
        return not self.places


@dataclass(frozen=True, slots=True)
class Alike:
    """What the cases that are like this one were.

    Attributes:
        near: How much they are like it: 0 without any, 1 for each that is the same.
        places: The share of every place among them, shape (places,); all 0 without any.
        asked: Whether they say anything of a place, shape (places,): of the healthy they say nothing, since few are published.
        two: Log odds that a case like this one was of two lesions.
    """

    near: float
    places: Floats
    asked: NDArray[np.bool_]
    two: float

    @property
    def share(self) -> float:
        """What share they have in what is told, 0 to 1."""
        n = weighing_row("neighbours")
        return float(n["share"] * self.near / (self.near + n["near"]))

    def beside(self, chance: Floats) -> Floats:
        """The chances of the places with the share that these cases have in them, shape (places,)."""
        of_cases = float(chance[self.asked].sum()) * self.places
        return np.where(self.asked, (1 - self.share) * chance + self.share * of_cases, chance)


def _text() -> str:
    try:
        return (files("wardexam.reasoning") / TABLE).read_text(encoding="utf-8")
    except OSError as error:
        raise TableError(str(error), where=TABLE, remedy="mend the table") from error


@cache
def _sign(cell: str) -> Feature:
    """A sign and its way, ``"knee:raised"``; one that has no way of its own is odd."""
    name, _, way = cell.partition(":")
    found = name, way or ODD
    if found not in named():
        raise ValueError
    return found


@cache
def _word(cell: str) -> Feature:
    """A word of the story, ``"pain:back"``."""
    column, _, value = cell.partition(":")
    if column not in STORY:
        raise ValueError
    return column, value


def cases(known: Collection[str]) -> list[Case]:
    """The cases of the table; `known` are the names of places.

    Raises:
        TableError: It is missing, or its columns are others; or a row has no source, names a sign, a column of the
            story or a place that is none, or has no share of one.
    """
    columns, *rows = [tuple(row) for row in csv.reader(_text().splitlines())]
    if columns != COLUMNS:
        raise TableError(f"its columns are not {', '.join(COLUMNS)}", where=TABLE)
    found = []
    for number, row in enumerate(rows, 2):
        try:
            found.append(_case(*row, known=known))
        except (ValueError, TypeError) as error:
            where = f"{TABLE}, line {number}"
            raise TableError("no source, or a sign, word or place that is none", where=where) from error  # fmt: skip
    return found


def _case(
    source: str, right: str, left: str, midline: str, told: str, places: str, *, known: Collection[str]
) -> Case:  # fmt: skip
    by_side = zip(SIDES, (right, left, midline), strict=True)
    shown = {(_sign(cell), side) for side, cells in by_side for cell in cells.split()}
    shown |= {(_word(cell), _NO_SIDE) for cell in told.split()}
    if source and places == TWO:
        return Case(source, frozenset(shown), {})
    shares = {name: float(share) for name, _, share in (p.partition(":") for p in places.split())}
    if not (source and shares and min(shares.values()) > 0 and all(n in known for n in shares)):
        raise ValueError
    return Case(source, frozenset(shown), shares)


class Neighbours:
    """The cases, with all that does not depend on who is compared with them."""

    def __init__(self, hypotheses: Hypotheses) -> None:
        self._number = {group: n for n, group in enumerate(hypotheses.groups)}
        self.cases = cases(self._number)

    @cached_property
    def _weights(self) -> dict[Feature, int]:
        """What each thing weighs that is out of the usual or told: the rarer among cases of one lesion, the more."""
        count = Counter[Feature]()
        for case in self.cases:
            for what in {w for w, _ in case.shown}:
                count[what] += not case.two
        beside = weighing_row("neighbours")["words"]
        return {
            what: round(_UNITS * self._rarity(n) * (beside if what[0] in STORY else 1.0))
            for what, n in count.items()
        }

    @cached_property
    def _two(self) -> NDArray[np.bool_]:
        """Whether each case was of two lesions, shape (cases,)."""
        return np.array([case.two for case in self.cases], bool)

    @cached_property
    def _ways(self) -> dict[str, list[Feature]]:
        """What cases show of each sign, or tell in each column of the story."""
        found: dict[str, list[Feature]] = {}
        for what in self._weights:
            found.setdefault(what[0], []).append(what)
        return found

    def _rarity(self, count: int) -> float:
        return max(_LEAST_RARITY, math.log(self._of_one / (1 + count))) ** 2

    @cached_property
    def _of_one(self) -> int:
        """How many cases were of one lesion, or none."""
        return int((~self._two).sum())

    @cached_property
    def _holding(self) -> dict[tuple[Feature, str], NDArray[np.intp]]:
        """The numbers of the cases that show each thing on each side."""
        found: dict[tuple[Feature, str], list[int]] = {}
        for number, case in enumerate(self.cases):
            for key in case.shown:
                found.setdefault(key, []).append(number)
        return {key: np.array(numbers) for key, numbers in found.items()}

    @cached_property
    def _lengths(self) -> Floats:
        """The squared length of each case, shape (cases,)."""
        return np.array(
            [sum(self._weights[what] for what, _ in c.shown) for c in self.cases], float
        )

    @cached_property
    def _places(self) -> tuple[Floats, Floats]:
        """The share of each place in each case, and in its mirror image, shape (cases, places)."""
        counts = weighing_row("neighbours")["counts"]
        own = np.zeros((2, len(self.cases), len(self._number)))
        for number, case in enumerate(self.cases):
            for name, share in case.places.items():
                weight = share * counts.get(name, 1.0)
                own[0, number, self._number[name]] = weight
                own[1, number, self._number[_mirrored(name)]] = weight
        return own[0], own[1]

    @cached_property
    def _asked(self) -> NDArray[np.bool_]:
        """Of which places cases are asked, shape (places,)."""
        counts = weighing_row("neighbours")["counts"]
        return np.array([counts.get(name, 1.0) > 0 for name in self._number])

    @cached_property
    def _whole(self) -> Floats:
        """What each case counts for, shape (cases,)."""
        return np.array([fsum(places) for places in self._places[0]])

    def alike(
        self,
        shown: Mapping[tuple[Odd, str], float],
        usual: Collection[tuple[str, str]],
        words: Collection[Word],
        among: NDArray[np.bool_] | None = None,
    ) -> Alike:
        """What the cases were that are like this one.

        Args:
            shown: What is out of the usual, by its side, with what is left of its weight, 0 to 1.
            usual: The signs, or the skin of a limb, that were found usual, with their side.
            words: The words of the story; one that no case tells is not heard.
            among: Whether each case is asked, shape (cases,); all where it is None.
        """
        told = {(word, _NO_SIDE): 1.0 for word in words if word in self._weights}
        rarest = round(_UNITS * self._rarity(0))
        weights = {
            key: (self._weights.get(key[0], rarest), left)
            for key, left in {**shown, **told}.items()
        }
        length = sum(round(weight * left**2) for weight, left in weights.values())
        near, total, two, one = 0.0, np.zeros(len(self._number)), 0.0, 0.0
        if not shown or not length:  # words and what is usual are shared by too many
            return Alike(near, total, self._asked, self._odds(two, one))
        parts = {key: round(weight * left) for key, (weight, left) in weights.items()}
        spared = {
            (what, side): -self._weights[what]
            for name, side in usual
            for what in self._ways.get(name, ())
        }
        for sides, shares in zip(({}, _MIRROR), self._places, strict=True):
            common = self._common({**spared, **parts}, sides)
            by = _to_power(np.maximum(0, common) / np.sqrt(self._lengths * length))
            if among is not None:
                by = by * among
            at = np.flatnonzero(by > _LEAST)
            total = total + (by[at, None] * shares[at]).sum(axis=0)
            near += float((by * self._whole)[at].sum())
            two, one = two + float(by[self._two].sum()), one + float(by[~self._two].sum())
        places = total / near if near else total
        return Alike(near, places, self._asked, self._odds(two, one))

    def _odds(self, two: float, one: float) -> float:
        """Log odds of two lesions, from how near cases of two are and how near those of one; with none near, those of all cases."""
        every, more = len(self.cases), weighing_row("two_lesions")["unlike"]
        share = max(every - self._of_one, 1) / every
        return math.log((two + more * share) / (one + more * (1 - share)))

    def _common(self, parts: Mapping[tuple[Feature, str], int], sides: Mapping[str, str]) -> Floats:
        """What each case has in common, shape (cases,), its sides taken for others."""
        held = self._holding
        each = [
            (held.get((what, sides.get(side, side))), part) for (what, side), part in parts.items()
        ]
        holding = [(cases, part) for cases, part in each if cases is not None]
        if not holding:
            return np.zeros(len(self.cases))
        weights = np.repeat([part for _, part in holding], [len(cases) for cases, _ in holding])
        numbers = np.concatenate([cases for cases, _ in holding])
        return np.asarray(np.bincount(numbers, weights, len(self.cases)), float)


def _to_power(likeness: Floats) -> Floats:
    """The seventh power, multiplied out: no processor's own `pow` decides the last bits."""
    square = likeness * likeness
    return np.asarray(square * square * square * likeness)


def _mirrored(place: str) -> str:
    """The name of a place on the other side."""
    name, _, side = place.rpartition(".")
    return f"{name}.{_MIRROR[side]}" if side in _MIRROR else place
