"""The tables of nerves, plexuses, central wires and brain lesions, validated on load.

Gives frozen records. A fault names the file, the row and the field.
"""

from functools import cache
from typing import Annotated, TypeVar

from pydantic import Field

from wardexam.anatomy.catalogue import PARTS, SEGMENTS, catalogue
from wardexam.errors import TableError
from wardexam.tables import TableRow, all_known, read_rows

Share = Annotated[float, Field(ge=0, le=1)]
Shares = dict[str, Share]


CORDS = ("lateral", "posterior", "medial")  # of the brachial plexus
# Columns of a story.
STORY = ("onset", "age", "sex", "trauma", "setting", "pain", "complaint", "flag")


Times = dict[str, Annotated[float, Field(ge=0)]]


class Storied(TableRow):
    """A lesion with how its story multiplies it, in place of what its site's row says of the same.

    `age` is by band, the others by what the context says; `flag` by a red flag that was answered yes. `alarm`
    is false where it may not be weighed by the tool's own alarm, so that it can calm nothing.
    """

    onset: Times = Field(default_factory=dict)
    age: Times = Field(default_factory=dict)
    sex: Times = Field(default_factory=dict)
    trauma: Times = Field(default_factory=dict)
    setting: Times = Field(default_factory=dict)
    pain: Times = Field(default_factory=dict)
    complaint: Times = Field(default_factory=dict)
    flag: Times = Field(default_factory=dict)
    alarm: bool = True

    @property
    def story(self) -> dict[str, dict[str, float]]:
        """What is said of the story, by column."""
        return {c: getattr(self, c) for c in STORY if getattr(self, c)}


class Branch(Storied):
    """A nerve branch: the nerve it belongs to, the branch it leaves, how often lesions sit there."""

    nerve: str
    name: str
    parent: str
    weight: Annotated[float, Field(ge=0)]


class PlexusPart(Storied):
    """A part of a plexus and what a total lesion of it takes."""

    name: str
    group: str
    weight: Annotated[float, Field(ge=0)]
    segments: Shares = Field(default_factory=dict)
    cords: Shares = Field(default_factory=dict)
    branches: Shares = Field(default_factory=dict)


class Wire(TableRow):
    """A sign wired straight to structures; rates without and with the structure lost."""

    base: Share
    sense: Share
    same: Shares = Field(default_factory=dict)
    opposite: Shares = Field(default_factory=dict)
    either: Shares = Field(default_factory=dict)
    right_body: Shares = Field(default_factory=dict)


class BrainLesion(Storied):
    """A lesion as the structures it takes on its side, on the other, and on both.

    `group` is what it is ranked with, `SIDE` in it being its side; its site and side where empty.
    """

    site: str
    name: str
    weight: Annotated[float, Field(gt=0)]
    takes: Shares = Field(default_factory=dict)
    other: Shares = Field(default_factory=dict)
    both: Shares = Field(default_factory=dict)
    paired: bool = True
    upper: bool = True
    group: str = ""


T = TypeVar("T", bound=TableRow)


def rows(name: str, model: type[T], section: str = "") -> dict[str, T]:
    """The validated rows of a table of this folder, or of one section of it, by id.

    Raises:
        TableError: A row is malformed; names file, row and field.
    """
    return read_rows(name, "wardexam.anatomy", model, section)


@cache
def branches() -> dict[str, Branch]:
    """Nerve branches by id.

    Raises:
        TableError: A row is malformed or its parent is no branch.
    """
    made = rows("nerves.toml", Branch)
    for row_id, row in made.items():
        all_known((row.parent,), ("", *made), f"nerves.toml, row {row_id}, field parent")
    return made


def ancestry(branch: str) -> tuple[str, ...]:
    """The branch and every branch above it."""
    chain = [branch]
    while parent := branches()[chain[-1]].parent:
        chain.append(parent)
    return tuple(chain)


@cache
def plexus_parts() -> dict[str, PlexusPart]:
    """Plexus parts by id.

    Raises:
        TableError: A row is malformed or names an unknown segment or branch.
    """
    made = rows("plexus.toml", PlexusPart)
    for row_id, row in made.items():
        for field, names, known in (
            ("segments", row.segments, SEGMENTS),
            ("branches", row.branches, branches()),
            ("cords", row.cords, CORDS),
        ):
            all_known(names, known, f"plexus.toml, row {row_id}, field {field}")
    return made


@cache
def wires() -> dict[str, Wire]:
    """Straight wires by sign.

    Raises:
        TableError: A row is malformed or speaks of an unknown sign.
    """
    made = rows("central.toml", Wire)
    all_known(made, catalogue(), "central.toml")
    return made


@cache
def brain_lesions() -> dict[str, BrainLesion]:
    """Lesions of brain, brainstem and cerebellum by id."""
    return rows("brain_lesions.toml", BrainLesion)


@cache
def other_lesions() -> dict[str, BrainLesion]:
    """Processes outside of the nervous system's parts, and of single structures, by id."""
    return rows("other_lesions.toml", BrainLesion)


def check_signs() -> None:
    """Hold the sign catalogue to the tables it points to.

    Raises:
        TableError: A sign names an unknown segment or branch, or shares that do not add up to 1.
    """
    for sign in catalogue().values():
        tables = " or ".join(f"signs/{name}.toml" for name in PARTS[sign.part])
        place = f"{tables}, row {sign.id}"
        for field, shares, known in (
            ("segments", sign.segments, SEGMENTS),
            ("branches", sign.branches, branches()),
            ("cords", sign.cords, CORDS),
        ):
            all_known(shares, known, f"{place}, field {field}")
            total = sum(shares.values())
            if shares and field != "cords" and abs(total - 1) > 0.011:
                raise TableError(
                    f"shares add up to {total:.2f}, not 1", where=f"{place}, field {field}"
                )
        if not sign.source:
            raise TableError("no source", where=f"{place}, field source")
