"""The tables of lesions: cord, conus, cauda equina, roots and the processes without one place.

Gives frozen records, validated on load; a fault names the file, the row and the field.
"""

from functools import cache
from typing import Annotated, Literal

from pydantic import Field

from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.anatomy.structures import Share, Storied, rows
from wardexam.tables import all_known, all_there, read_table

Weight = Annotated[float, Field(ge=0)]
Amount = Annotated[float, Field(ge=0, le=2)]


class Weighted(Storied):
    """A row with how often it is the one, within its site."""

    weight: Weight


class CordPattern(Weighted):
    """How one kind of cord lesion shares its damage: grey matter, tracts, each 0 to 1.

    Attributes:
        name: In words; the row's own id where empty.
        sided: Whether it comes from one side, sparing `spare` of the other.
        root: Share of the roots at its level.
        neuropathy: Share of the large fibres of the legs.
        gap: How unlike the two sides may be.
        extent: Segments above its level that it may reach.
        lowers: Segments, at most, by which the level of sensation is now and then found further down.
        below_arms: How often it is the one below the arms, against above.
    """

    name: str = ""
    grey: Share
    pyramid_arm: Share
    pyramid_leg: Share
    column: Share
    spinothalamic: Share
    crossing: Share
    autonomic: Share
    sided: bool = False
    spare: Share = 0.0
    root: Share = 0.0
    neuropathy: Share = 0.0
    gap: Share = 1.0
    extent: Annotated[float, Field(ge=0, le=4)] = 0.0
    lowers: Annotated[float, Field(ge=0, le=20)] = 0.0
    below_arms: Share = 1.0


class Span(Weighted):
    """A run of segments, by name."""

    first: str
    last: str


class Root(Weighted):
    """A root: the limb it serves, the stretches that hurt it, its share of the sympathetic fibres to the eye."""

    limb: Literal["arm", "leg", ""]
    stretch: dict[Literal["neck", "mid", "low"], Share]
    sympathetic: Share = 0.0


class Polyneuropathy(Weighted):
    """Loss of motor, large sensory and small sensory fibres by length, and of reflexes everywhere."""

    motor: Amount
    large: Amount
    small: Amount
    reflex: Share = 0.0


class Polyradiculoneuropathy(Weighted):
    """Loss of power in legs, arms, face and throat, of sensation and of reflexes."""

    leg: Annotated[float, Field(ge=0)]
    arm: Annotated[float, Field(ge=0)]
    sense: Share
    face: Share
    bulbar: Share
    reflex: Share
    reflex_leg: Share | None = None  # where unlike the arms
    fisher: Share = 0.0
    ataxia: Share = 0.0  # without the eyes
    brisk: Share = 0.0  # reflexes brisker than usual, all over


class MotorNeuroneKind(Weighted):
    """Share of upper and of lower motor neurones lost."""

    name: str
    upper: Share
    lower: Share


class MotorNeuroneOnset(Weighted):
    """Where it began (`limb` empty: not in one limb) and how much of the rest it has reached."""

    limb: Literal["arm", "leg", ""]
    own: Share
    fellow: Share
    other: Share
    other_fellow: Share
    bulbar: Share
    ends: Share = 0.0  # how much it keeps to the end of a limb
    legs_upper: Share = 0.0  # upper neurones of the legs, where the arms lose the lower


class Junction(Weighted):
    """Loss by group of muscles; `lambert` is the share of a presynaptic disorder."""

    ocular: Share
    bulbar: Share
    proximal: Share
    limb: Share
    lambert: Share = 0.0


class Muscle(Weighted):
    """Loss by group of muscles."""

    name: str
    hips: Share
    shoulders: Share
    distal: Share
    quadriceps: Share
    neck: Share
    fingers: Share = 0.0
    face: Share = 0.0
    ocular: Share = 0.0
    bulbar: Share = 0.0
    myotonia: Share = 0.0


def _known(spans: dict[str, Span], place: str) -> dict[str, Span]:
    for row_id, row in spans.items():
        for field in ("first", "last"):
            all_known((getattr(row, field),), SEGMENTS, f"{place}, row {row_id}, field {field}")
    return spans


@cache
def cord_patterns() -> dict[str, CordPattern]:
    """Kinds of cord lesion by id."""
    return rows("cord_lesions.toml", CordPattern, "pattern")


@cache
def cord_levels() -> dict[str, Weighted]:
    """How often each segment of the cord is the one."""
    made = rows("cord_lesions.toml", Weighted, "level")
    all_known(made, SEGMENTS, "cord_lesions.toml, level")
    return made


@cache
def conus() -> dict[str, Span]:
    """Lesions of the lowest cord, by id."""
    return _known(rows("cord_lesions.toml", Span, "conus"), "cord_lesions.toml")


@cache
def cauda() -> dict[str, Span]:
    """Lesions of the roots below the cord, by id."""
    return _known(rows("cord_lesions.toml", Span, "cauda"), "cord_lesions.toml")


@cache
def roots() -> dict[str, Root]:
    """Roots by segment, from above."""
    made = rows("roots.toml", Root)
    all_known(made, SEGMENTS, "roots.toml")
    return made


@cache
def polyneuropathies() -> dict[str, Polyneuropathy]:
    """Kinds of length-dependent polyneuropathy."""
    return rows("diffuse_lesions.toml", Polyneuropathy, "polyneuropathy")


@cache
def polyradiculoneuropathies() -> dict[str, Polyradiculoneuropathy]:
    """Kinds of polyradiculoneuropathy."""
    return rows("diffuse_lesions.toml", Polyradiculoneuropathy, "polyradiculoneuropathy")


@cache
def motor_neurone_kinds() -> dict[str, MotorNeuroneKind]:
    """Kinds of motor neurone disease."""
    return rows("diffuse_lesions.toml", MotorNeuroneKind, "motor_neurone_kind")


@cache
def motor_neurone_onsets() -> dict[str, MotorNeuroneOnset]:
    """Where motor neurone disease begins and how it spreads."""
    return rows("diffuse_lesions.toml", MotorNeuroneOnset, "motor_neurone_onset")


@cache
def junctions() -> dict[str, Junction]:
    """Disorders of the neuromuscular junction."""
    return rows("diffuse_lesions.toml", Junction, "junction")


@cache
def muscles() -> dict[str, Muscle]:
    """Kinds of myopathy."""
    return rows("diffuse_lesions.toml", Muscle, "muscle")


def check_lesions() -> None:
    """Read every table of lesions.

    Raises:
        TableError: A row is malformed, or the sections of a table are not those that are read.
    """
    for read in (
        cord_patterns, cord_levels, conus, cauda, roots, polyneuropathies, polyradiculoneuropathies,
        motor_neurone_kinds, motor_neurone_onsets, junctions, muscles,
    ):  # fmt: skip
        read()
    known = {
        "cord_lesions.toml": {"pattern", "level", "conus", "cauda"},
        "diffuse_lesions.toml": {
            "polyneuropathy", "polyradiculoneuropathy", "motor_neurone_kind", "motor_neurone_onset", "junction", "muscle",
        },
    }  # fmt: skip
    for name, sections in known.items():
        all_there(read_table(name, "wardexam.anatomy"), sections, name)
