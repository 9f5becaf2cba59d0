"""Published examinations to practise on, coded in our own words, each with its source."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Literal

from wardexam.anatomy.catalogue import SEGMENTS, Sign
from wardexam.errors import InputError, TableError
from wardexam.exam.examination import Context, Findings, YesNo
from wardexam.exam.findings import Finding, Side
from wardexam.exam.typed import read_line
from wardexam.practice.case import LesionSide, Truth, introduced
from wardexam.practice.tables import rows
from wardexam.reasoning.inference.prior import sites
from wardexam.reasoning.inference.ranking import spoken
from wardexam.tables import TableRow, all_known


class Row(TableRow):
    """A row of the table; its columns are told in the head of it."""

    confirmation: str
    told: str
    summary: str
    entered: str
    places: tuple[str, ...]
    accept: tuple[str, ...]
    side: LesionSide
    level: str


@dataclass(frozen=True)
class Published:
    """A published examination. What its text does not tell is not known."""

    id: str
    row: Row
    kind: Literal["published"] = "published"
    level: int = 0

    @cached_property
    def whole(self) -> Findings:
        """All that the text tells."""
        return read_line(self.row.entered).spelled_out()

    @property
    def told(self) -> str:
        """What is told before anything is tested."""
        return f"{introduced(self.context)} {self.row.told}"

    @property
    def context(self) -> Context:
        """The story."""
        return self.whole.context

    @property
    def truth(self) -> Truth:
        """What it was."""
        row = self.row
        sided = f"{row.side} " if row.side in ("right", "left") else ""
        where = f", about {row.level}" if row.level else ""
        words = f"{sided}{spoken(row.places[0])}{where}"
        of = f"{row.summary} Source: {row.source}; the place rests on: {row.confirmation}."
        return Truth((*row.places, *row.accept), row.side, row.level, words, of)

    @property
    def tests(self) -> Iterable[tuple[Sign, Side]]:
        """The signs that the text tells of."""
        return [(f.row, f.side) for f in self.whole.findings]

    def shown(self, sign: Sign, side: Side) -> Finding | None:
        """What the text tells of a sign."""
        return self.whole.finding(sign.id, side)

    def answered(self, flag: str) -> YesNo | None:
        """What the text tells of a red-flag question."""
        return self.whole.flags.get(flag)


@cache
def published() -> dict[str, Published]:
    """The published examinations by name, in the order of their table.

    Raises:
        TableError: A row is malformed, names no source, or cannot be read; names it.
    """
    found = {}
    for name, row in rows("published.toml", "", Row).items():
        case, where = Published(name, row), f"published.toml, row {name}"
        try:
            read_line(row.entered).spelled_out()
        except InputError as error:
            raise TableError(str(error), where=where) from None
        if not row.places or row.level not in ("", *SEGMENTS):
            raise TableError("no place, or a level that is not known", where=where)
        all_known([place.partition(".")[0] for place in (*row.places, *row.accept)], sites(), where)
        found[name] = case
    return found
