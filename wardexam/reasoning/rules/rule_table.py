"""The rules by id, rows of `urgency.toml`, checked as they are read; levels and limits in words."""

from functools import cache
from typing import Annotated, Literal

from pydantic import Field

from wardexam.errors import TableError
from wardexam.exam.flags import every_flag
from wardexam.exam.text import COLUMN
from wardexam.reasoning.rules.change import PATTERNS
from wardexam.reasoning.rules.conditions import conditions
from wardexam.reasoning.rules.deadlines import limits
from wardexam.reasoning.tables import conditions_row, read
from wardexam.tables import TableRow, all_known, checked_row

# Own plain words, least to most.
_TIMES = {"minutes": "within minutes", "today": "today", "within days": "within days"}


def in_time(by: str) -> str:
    """A limit in words, such as ``within 4 h``."""
    return _TIMES.get(by, f"within {by}")


WORDS = ("none raised by what was asked and examined", "within days", "today", "now")
LOWERED = WORDS.index("within days")  # also the level of a reason that a doctor has brought down
TODAY = WORDS.index("today")
NOW = WORDS.index("now")
SOONEST = "minutes"


class Rule(TableRow):
    """One row of `urgency.toml`; its head says what each column is."""

    some: tuple[str, ...] = Field(alias="any")
    every: tuple[str, ...] = Field(alias="all")
    urgency: Annotated[int, Field(ge=1, lt=len(WORDS))]
    reason: str
    short: str = ""
    first: str
    region: str
    modality: str
    image: str
    call: str
    by: str
    known: Literal["yields", "stands"]
    said_after: tuple[str, ...]
    first_with: tuple[str, ...] = ()
    within: tuple[str, ...] = ()
    lowers: str
    clock: Literal["raised", "asked"] = "raised"


@cache
def rules() -> dict[str, Rule]:
    """The rules by id.

    Raises:
        TableError: A row is malformed, or speaks of an unknown flag, condition, change or limit.
    """
    known = {f"flag:{f}" for f in every_flag()} | {f"sign:{c}" for c in conditions()}
    known |= {f"change:{pattern}" for pattern in ("worse", *PATTERNS)}
    told = conditions_row("unchanged")
    for flag in (*told["no"], *told["not_yes"]):
        if flag not in every_flag():
            raise TableError(f"unknown flag '{flag}'", "conditions.toml, unchanged")
    all_known((told["unless"],), conditions(), "conditions.toml, unchanged")
    made = {}
    for name, row in read("rules/urgency.toml").items():
        where = f"urgency.toml, rule {name}"
        made[name] = checked_row(Rule, row, where)
        if not made[name].some:
            raise TableError("nothing raises it", where)
        for item in (*made[name].some, *made[name].every, *made[name].first_with):
            if item not in known:
                raise TableError(f"unknown condition '{item}'", where)
        brief = made[name].short or made[name].reason
        if len(brief) > COLUMN or (made[name].short and len(made[name].reason) <= COLUMN):
            raise TableError(
                f"'short' says in {COLUMN} columns what is longer as 'reason', and nothing else",
                where,
            )
        if made[name].by not in limits():
            raise TableError(f"unknown limit '{made[name].by}'", where)
        if made[name].urgency > TODAY and made[name].by in (WORDS[TODAY], WORDS[LOWERED]):
            raise TableError(f"'{made[name].by}' is no limit of what is '{WORDS[-1]}'", where)
    for name, row in made.items():
        for other in row.within:
            graver = other in made and made[other].urgency >= row.urgency
            if (
                not graver
                or limits()[made[other].by] > limits()[row.by]
                or name in (other, *made[other].within)
            ):
                raise TableError(
                    f"'{other}' is no rule that says '{name}' and more",
                    f"urgency.toml, rule {name}",
                )
        for other in row.said_after:
            if other not in made or other == name:
                raise TableError(f"unknown rule '{other}'", f"urgency.toml, rule {name}")
            if row.by == SOONEST != made[other].by:
                raise TableError(
                    f"'{other}' has more time and would be said first", f"urgency.toml, rule {name}"
                )
    return made
