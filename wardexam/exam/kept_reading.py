"""What the tool suggested when an examination was saved: kept with it, so that it can be held against the outcome."""

from typing import Annotated, Literal

from pydantic import Field

from wardexam.exam.acts import Line
from wardexam.exam.findings import Model

KEPT = 5  # sites, the likeliest first
NAMED = 120  # letters of the name of one


class KeptSite(Model):
    """One place as it was suggested.

    Attributes:
        id: Its name of then, with what tells it from others of its kind: ``"nerve.radial.left"``.
        site: The site, as the table of sites names it: ``"nerve"``.
        side: The lesion's own side; ``none`` where no side applies.
        chance: Its probability among the sites considered, 0 to 1.
        name: Its name as the doctor read it, with side and level: ``"left L5 root"``; empty in documents of before.
    """

    id: Line
    site: Line
    side: Literal["right", "left", "both", "midline", "none"]
    chance: Annotated[float, Field(ge=0, le=1)]
    name: Line = ""


class KeptReading(Model):
    """The first sites of a reading and what it rested on.

    Attributes:
        sites: The likeliest first, `KEPT` at most.
        program: The version of the program that made it.
        tables: The fingerprint of its tables and modules.
    """

    sites: tuple[KeptSite, ...] = Field(default=(), strict=False, max_length=KEPT)
    program: Line = ""
    tables: Line = ""
