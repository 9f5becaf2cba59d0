"""The classic patterns, and whether an answer meets one."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.exam.examination import Findings
from wardexam.exam.typed import read_line
from wardexam.reasoning.reading import Site


@dataclass(frozen=True)
class Case:
    """One pattern: the signs and where the lesion is."""

    title: str
    signs: str
    site: str
    source: str
    name: str = ""
    side: str = ""
    level: str = ""

    @property
    def examination(self) -> Findings:
        """The signs as an examination."""
        return read_line(self.signs).spelled_out()

    def met_by(self, site: Site) -> bool:
        """Whether a ranked site is the right one; for a root the level must be near too."""
        if site.region != self.site or self.name not in site.name:
            return False
        if (
            self.site in ("nerve", "plexus", "root", "brainstem", "brain", "cerebellum")
            and self.side
            and site.side != self.side
        ):
            return False
        if self.site == "root" and self.level:
            return abs(SEGMENTS.index(site.level or "C1") - SEGMENTS.index(self.level)) <= 1
        return True

    def level_held(self, site: Site) -> bool:
        """Whether the stated range holds the level."""
        if not self.level or site.levels is None:
            return True
        low, high = (SEGMENTS.index(s) for s in site.levels)
        return low <= SEGMENTS.index(self.level) <= high


def cases() -> list[Case]:
    """Every pattern of the table."""
    text = (Path(__file__).parent / "localisation.toml").read_text(encoding="utf-8")
    return [Case(**row) for row in tomllib.loads(text)["case"]]
