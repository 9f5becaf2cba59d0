"""The published examinations of a part, and whether an answer meets one."""

import hashlib
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.exam.examination import Findings
from wardexam.exam.typed import read_line
from wardexam.reasoning.reading import Reading, Site

FOLDER = Path(__file__).parent
PARTS = (
    "development", "validation", "sealed_28_november", "sealed_29_november", "sealed_29_november_evening",
)  # fmt: skip
OF_TWO = "two_lesions"  # a part beside them: more of two lesions, and what looks like two
NO_LESION = ("functional", "systemic", "pain_limited", "normal_variant")
CALM = ("none", "systemic", "functional", "pain_limited")  # regions that stand for them
# Of the parts that are never mended on, each scored once.
SEALS = {
    "sealed_28_november": "3288ee94484ed04e30848308d6badacce6f7a64d6c3f04db5a737762e9e7efe0",
    "sealed_29_november": "efce42ade5e872f2fddd12bb910542685b5d7b069dd3a069754f8e93038c36cc",
    "sealed_29_november_evening": "2270650c9179d4add320add80dfc23ccca53196c23e0f3247c1bc78531ca18a1",
}
PLACES = ("_wrist", "_elbow", "_forearm")  # of a nerve; the nerve itself must be named
NEAR = 1  # segments that a root's level may be off


@cache
def wanted() -> dict[str, dict[str, Any]]:
    """What the engine must name for each true site."""
    return tomllib.loads((FOLDER / "sites.toml").read_text(encoding="utf-8"))


@dataclass(frozen=True)
class Published:
    """One published examination; the fields are those of the tables."""

    id: str
    source: str
    confirmation: str
    summary: str
    entered: str
    site: str
    side: str
    level: str
    accept: tuple[str, ...]
    urgent: bool
    two: tuple[str, ...]
    wanted: str

    @property
    def findings(self) -> Findings:
        """What was found."""
        return read_line(self.entered).spelled_out()

    @property
    def no_lesion(self) -> bool:
        """Whether there was no lesion of the nervous system."""
        return self.site in NO_LESION

    @property
    def others(self) -> list[str]:
        """The sites that the first coder called not to be told from the true one on this sheet."""
        return [a for a in self.accept if a not in SEGMENTS]

    @property
    def groups(self) -> tuple[str, ...]:
        """What it is counted under."""
        kind = self.site.partition("_")[0] if self.site.startswith("nerve_") else self.site
        return (kind, "no lesion") if self.no_lesion else (kind,)

    def named_by(self, site: Site) -> bool:
        """Whether a ranked site is the true one, on whichever side; for a root the level must be near too."""
        if not _names(self.site, site):
            return False
        if self.site == "root" and self.level and site.level:
            return abs(SEGMENTS.index(site.level) - SEGMENTS.index(self.level)) <= NEAR
        return True

    def met_by(self, site: Site) -> bool:
        """Whether a ranked site is the true one, on the true side where the site is named with one."""
        sided = site.region in ("nerve", "plexus", "root", "brain") and site.side != "both"
        wrong = sided and self.side in ("right", "left") and site.side != self.side
        return self.named_by(site) and not wrong

    def accepted(self, site: Site) -> bool:
        """Whether it is the true site, or one that the findings cannot tell from it."""
        return self.met_by(site) or any(_names(other, site) for other in self.others)

    def both_named(self, site: Site) -> bool:
        """Whether a ranked site is both of two lesions: the same place on the right and on the left."""
        places = {name.partition(" ")[::2] for name in self.two}
        names = {name for name, _ in places}
        sided = {side for _, side in places} == {"right", "left"}
        return site.side == "both" and sided and len(names) == 1 and _names(*names, site)

    def two_found(self, reading: Reading) -> bool:
        """Whether two lesions are said: as a pair, that no one lesion fits, or by the site that leads, which is both of them."""
        return _two_offered(reading) or self.both_named(reading.sites[0])

    @property
    def of_both(self) -> bool:
        """Whether its one site is a nerve or a plexus of both sides, which is two lesions by another name."""
        paired = self.site.startswith(("nerve_", "cranial_nerve_")) or self.site.endswith("_plexus")
        return paired and self.side == "bilateral"

    def level_held(self, site: Site) -> bool | None:
        """Whether the range of levels holds the true one; None where there is none to hold."""
        if not self.level or site.levels is None:
            return None
        low, high = (SEGMENTS.index(s) for s in site.levels)
        return low <= SEGMENTS.index(self.level) <= high

    def chance(self, reading: Reading) -> float:
        """The probability that the reading gives to the true site."""
        return sum(s.probability for s in reading.sites if self.met_by(s))


def two_said(reading: Reading) -> bool:
    """Whether two lesions are said: as a pair, by a nerve or plexus of both sides in the lead, or that no one lesion fits."""
    first = reading.sites[0]
    return _two_offered(reading) or (first.side == "both" and first.region in ("nerve", "plexus"))


def _two_offered(reading: Reading) -> bool:
    return reading.pair is not None or not reading.fits_one


def _names(true: str, site: Site) -> bool:
    if true.startswith(("nerve_", "cranial_nerve_")):
        name = true.removeprefix("cranial_").removeprefix("nerve_")
        for place in PLACES:
            name = name.removesuffix(place)
        return site.id.startswith(f"nerve.{name}.")
    row = wanted()[true]
    return (
        site.region in row["regions"]
        and row.get("name", "") in site.id
        and (site.level is None or site.level in row.get("levels", SEGMENTS))
    )


def cases(part: str) -> list[Published]:
    """The cases of a part.

    Raises:
        ValueError: A part that is never mended on was changed.
    """
    data = (FOLDER / f"{part}.toml").read_bytes()
    if part in SEALS and hashlib.sha256(data).hexdigest() != SEALS[part]:
        raise ValueError(f"{part}.toml was changed")
    return [
        Published(**{**row, "accept": tuple(row["accept"]), "two": tuple(row["two"])})
        for row in tomllib.loads(data.decode())["case"]
    ]
