"""The tables of this folder: what a question costs, levels, stories, first actions. Each row with its source, checked at load."""

from functools import cache
from typing import Annotated, Literal, TypeVar, get_args

from pydantic import Field

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.examination import Complaint, Onset, Sex, YesNo
from wardexam.exam.flags import flags
from wardexam.exam.seconds import Cost
from wardexam.reasoning.rules.rule_table import rules
from wardexam.reasoning.tables import observation_row, read
from wardexam.tables import TableRow, all_known, all_there, checked_rows, read_table

Row = TypeVar("Row", bound=TableRow)
Share = Annotated[float, Field(ge=0, le=1)]
Pain = Literal["none", "head", "neck", "back", "limb", "radiating"]
Stage = Literal["shock", "early", "established"]
Level = Annotated[int, Field(ge=0, le=3)]

SECTIONS = {
    "costs.toml": ("questions", "best", "looked"),
    "story.toml": (
        "near",
        "onset",
        "age",
        "sex",
        "pain",
        "trauma",
        "complaint",
        "flag",
        "residual",
    ),
}


class Number(TableRow):
    """One number."""

    value: Annotated[float, Field(gt=0)]


class Difficulty(TableRow):
    """A level of difficulty; its columns are told in the head of the table."""

    name: str
    sites: tuple[str, ...]
    severity: tuple[Share, Share]
    stages: tuple[Stage, ...]
    briskness: tuple[Annotated[int, Field(ge=0, le=2)], ...]
    alike: bool
    common: Share
    mimics: Share


class Region(TableRow):
    """The signs of a region of the body."""

    signs: Annotated[tuple[str, ...], Field(min_length=1)]


class Told(TableRow):
    """How often something is told, and less so (`apart`) where nothing `near` is out of the usual."""

    often: Share
    near: tuple[str, ...] = ()
    apart: Share = 1.0


class AgeBand(Told):
    """How often an age band is met, and its years, first and last."""

    years: tuple[int, int]


class ComplaintRow(Told):
    """A complaint: what must be out of the usual (one of the signs, or `every`, on `both` sides), or the pain that must be there."""

    sided: bool
    signs: tuple[str, ...] = ()
    every: bool = False
    both: bool = False
    pain: tuple[Pain, ...] = ()


class FlagRow(Told):
    """A red-flag question: when it is answered yes, and how often where what it speaks of is there."""

    told: Share = 0.0
    signs: tuple[str, ...] = ()
    both: tuple[str, ...] = ()
    gait_lost: bool = False
    injury: bool = False
    onsets: tuple[Onset, ...] = ()
    complaints: tuple[Complaint, ...] = ()


class Amount(TableRow):
    """From and to, in mL."""

    amount: tuple[int, int]


class Action(TableRow):
    """Something that may be done first: the regions and first steps of the rules that it is, and up to which level."""

    words: str
    regions: tuple[str, ...]
    steps: tuple[str, ...]
    most: Level


class Place(TableRow):
    """What is done first for a place: the actions that fit it, and the reasons that it can explain, by region or name."""

    fits: Annotated[tuple[str, ...], Field(min_length=1)]
    regions: tuple[str, ...]
    rules: tuple[str, ...]


def rows(name: str, section: str, model: type[Row]) -> dict[str, Row]:
    """The rows of a section of a table, or of the whole where none is named; each checked.

    Raises:
        TableError: A row is malformed or has no source; names file, row and field.
    """
    table = read_table(name, "wardexam.practice")
    if not section:
        return checked_rows(model, table, name)
    all_there(table, SECTIONS[name], name)
    return checked_rows(model, table[section], f"{name}, {section}")


@cache
def _costs(section: str, model: type[Row], *wanted: str) -> dict[str, Row]:
    """The rows of a section of the costs, which are those wanted."""
    found = rows("costs.toml", section, model)
    all_there(found, wanted, f"costs.toml, {section}")
    return found


def question_seconds(kind: Literal["flag", "story"]) -> int:
    """What a question takes, in seconds."""
    found: dict[str, Cost] = _costs("questions", Cost, "flag", "story")
    return found[kind].seconds


def best_row(name: Literal["sure", "least", "most", "known"]) -> float:
    """A number of how the tool walks."""
    found: dict[str, Number] = _costs("best", Number, "sure", "least", "most", "known")
    return found[name].value


def few_signs() -> int:
    """Of fewer tested signs than this, with no red-flag question, finding nothing says nothing."""
    return int(_costs("looked", Number, "few")["few"].value)


@cache
def levels() -> dict[int, Difficulty]:
    """The levels of difficulty by number.

    Raises:
        TableError: A row is malformed, has no number, or is of no site.
    """
    found = rows("levels.toml", "", Difficulty)
    all_known(found, [str(n) for n in range(1, len(found) + 1)], "levels.toml")
    for number, row in found.items():
        all_known(row.sites, read("inference/sites.toml"), f"levels.toml, row {number}")
    return {int(number): row for number, row in found.items()}


@cache
def story(section: Literal["onset", "sex", "pain", "trauma"]) -> dict[str, Told]:
    """How often each answer of a question is given.

    Raises:
        TableError: A row is malformed, or of no answer.
    """
    found = rows("story.toml", section, Told)
    known = {"onset": Onset, "sex": Sex, "pain": Pain, "trauma": YesNo}[section]
    all_known(found, get_args(known), f"story.toml, {section}")
    return found


@cache
def near(regions: tuple[str, ...]) -> tuple[str, ...]:
    """The signs of some regions of the body.

    Raises:
        TableError: There is no such region, or it names no sign.
    """
    found = rows("story.toml", "near", Region)
    all_known(regions, found, "story.toml, near")
    signs = tuple(sign for region in regions for sign in found[region].signs)
    all_known(signs, catalogue(), "story.toml, near")
    return signs


@cache
def ages() -> dict[str, AgeBand]:
    """The bands of age."""
    return rows("story.toml", "age", AgeBand)


@cache
def complaints() -> dict[str, ComplaintRow]:
    """The complaints that are drawn.

    Raises:
        TableError: A row is malformed, is no complaint, or speaks of no sign.
    """
    found = rows("story.toml", "complaint", ComplaintRow)
    all_known(found, get_args(Complaint), "story.toml, complaint")
    for name, row in found.items():
        all_known(row.signs, catalogue(), f"story.toml, complaint {name}")
    return found


@cache
def flag_rows() -> dict[str, FlagRow]:
    """The red-flag questions, every one that is asked.

    Raises:
        TableError: One has no row, a row is no question, or one speaks of no sign.
    """
    found = rows("story.toml", "flag", FlagRow)
    all_there(found, flags(), "story.toml, flag")
    for name, row in found.items():
        all_known((*row.signs, *row.both), catalogue(), f"story.toml, flag {name}")
    return found


@cache
def residuals() -> dict[str, Amount]:
    """The millilitres of each band of a residual.

    Raises:
        TableError: A row is malformed, or the rows are not the bands that are observed.
    """
    found = rows("story.toml", "residual", Amount)
    all_there(found, observation_row("residual")["answers"], "story.toml, residual")
    return found


@cache
def actions() -> dict[str, Action]:
    """What may be done first, by name.

    Raises:
        TableError: A row is malformed, or names a region or a first step that no rule has.
    """
    found = rows("actions.toml", "", Action)
    regions = {rule.region or "none" for rule in rules().values()}
    firsts = "; ".join(rule.first for rule in rules().values())
    for name, row in found.items():
        where = f"actions.toml, row {name}"
        all_known(row.regions, regions, where)
        all_known([step for step in row.steps if step not in firsts], (), where)
    return found


@cache
def first_rows() -> dict[str, Place]:
    """What is done first, by place, its site, or its name with the first letter of a segment.

    Raises:
        TableError: A row names an action, a rule or a region that there is none of, or a site has none.
    """
    found, known = rows("first.toml", "", Place), rules()
    sites = read("inference/sites.toml")
    all_there({name.partition(".")[0] for name in found}, sites, "first.toml")
    regions = {rule.region for rule in known.values()}
    for name, row in found.items():
        where = f"first.toml, row {name}"
        all_known(row.fits, actions(), where)
        all_known(row.rules, known, where)
        all_known(row.regions, regions, where)
    return found
