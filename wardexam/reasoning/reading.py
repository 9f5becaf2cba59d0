"""What the signs mean so far: one immutable answer for the panel, the note and the command line.

A `Reading` is a suggestion for clinical correlation, made from what was entered. It never says or
implies that signs rule an emergency out. Its numbers are rounded and its equals ordered by name, so that
it is the same on every processor.
"""

from dataclasses import asdict, dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

from wardexam.exam.acts import Act
from wardexam.exam.kept_reading import KEPT, NAMED, KeptReading, KeptSite

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

FORM = 3  # of `Reading.to_dict`; one more where a field goes or changes what it means
CAUTION = (
    "Suggestion for clinical correlation; it rules nothing out. Follow local policy, ask a senior."
)

SiteSide = Literal["right", "left", "both", "midline", "none"]
Word = Literal[
    "very likely", "likely", "possible", "unlikely", "less supported by these signs"
]  # the last instead of "unlikely" where the place needs same-day action
SignKey = tuple[str, str]  # (sign id, side)


@dataclass(frozen=True, slots=True)
class Site:
    """One place the lesion may be, as a doctor groups places.

    Attributes:
        id: Stable name of the group, e.g. ``"cord"``, ``"root.left"``, ``"nerve.radial.left"``; ``"other"`` for
            all the sites together that are not told.
        region: A row of ``sites.toml``, e.g. ``brain``, ``cord``, ``nerve``, or ``none`` for no lesion; or ``other``.
        name: In words, with the side and level, e.g. ``"right L5 root"``.
        side: The side of the lesion itself; ``both`` also where right and left are as likely.
        levels: First and last segment of the range that holds 90 %, or None where no level applies.
        level: The most probable segment, or None.
        probability: 0 to 1, among the sites considered.
        word: The probability in words.
        urgent: Whether a lesion here needs same-day action in general.

    """

    id: str
    region: str
    name: str
    side: SiteSide
    levels: tuple[str, str] | None
    level: str | None
    probability: float
    word: Word
    urgent: bool = False


@dataclass(frozen=True, slots=True)
class Evidence:
    """One finding's weight for the top site, against all who are examined or against the next site.

    Attributes:
        key: Sign and side.
        text: The finding in words, e.g. ``"left knee 0"``.
        weight: Log10 likelihood ratio (bans), positive where it supports the top site.
        kind: ``finding``, ``before`` (from earlier in the stay, faded), ``stated`` (rest normal), ``story`` (a
            limb complained of or left out) or ``told`` (a word of the story, by what it makes of the prior);
            silence is weighed within bounds and is never a reason.

    """

    key: SignKey
    text: str
    weight: float
    kind: Literal["finding", "before", "stated", "story", "told"] = "finding"


@dataclass(frozen=True, slots=True)
class NextSign:
    """A sign not yet examined that may change what is done, or would tell most of where it is.

    Attributes:
        key: Sign and side; a sign on each side is proposed for the side that tells more.
        text: In the examiner's words, e.g. ``"right ankle inversion"``.
        bits: Expected information about the site.
        rise: By how much of a level the urgency is expected to rise by the rules, 0 to 3.
        seconds: What testing it takes.
        urgent: Whether it is asked since it may raise the urgency, before all that would tell more of the site.
        outcomes: Answer in words and what it would point to, likeliest first; ``either`` where right and left
            are as likely.

    """

    key: SignKey
    text: str
    bits: float
    outcomes: tuple[tuple[str, str], ...]
    rise: float = 0.0
    seconds: int = 0
    urgent: bool = False


@dataclass(frozen=True, slots=True)
class Asymmetry:
    """A sign whose two sides differ.

    Attributes:
        sign: Sign id.
        text: In words, e.g. ``"knee: right 2+, left 0"``.
        probability: That the sides truly differ, beyond what observers disagree by.
        lower: The side with the lower answer.

    """

    sign: str
    text: str
    probability: float
    lower: Literal["right", "left"]


@dataclass(frozen=True, slots=True)
class Pair:
    """Two lesions, likely enough to be thought of: by how well two fit, and by what published cases like it had.

    Attributes:
        first: The one, in words; empty where no two fit well enough to be named.
        second: The other, likewise.
        times: Odds of two lesions against one, or none.
    """

    first: str
    second: str
    times: float


@dataclass(frozen=True, slots=True)
class AlikeCases:
    """What published cases that are like the patient were, beside the model.

    Attributes:
        name: The place, in words.
        share: Its share among them, 0 to 1, the nearer cases counting more.
    """

    name: str
    share: float


@dataclass(frozen=True, slots=True)
class Fragile:
    """A grade on which the answer hangs.

    Attributes:
        key: Sign and side.
        text: The finding in words.
        instead: The same with its grade one step off.
        leads: The site that would lead then, in words.
    """

    key: SignKey
    text: str
    instead: str
    leads: str


@dataclass(frozen=True, slots=True)
class Reading:
    """Everything inferred from one examination.

    Attributes:
        sites: Ranked, most probable first; probabilities of all considered sites sum to 1.
        supports: Findings for the top site against all who are examined, health included: what is out of the usual or told,
            then what was found usual; each strongest first.
        opposes: Findings against it in the same way, strongest first.
        separates: Findings that set it apart from the next site, strongest first.
        unexplained: Findings that the top site does not explain and that speak against it, in words.
        fit: Calibrated z of the fit of the best single lesion; None until enough is entered.
        fits_one: False where no one lesion explains the findings.
        dangerous: The places that need same-day action, likeliest first, with their chances from the findings
            alone: what raises urgency.
        pair: Two lesions that fit clearly better, or None; searched where one fits doubtfully.
        alike: Of published cases that are like it, the places with the greatest shares; empty where none is near.
        fragile: Grades that would bring another site to the top if one step off, nearest first.
        next_signs: Signs to examine next: those that may raise the urgency first, then the most telling, for each second.
        asymmetries: Signs whose sides truly differ, surest first.
        level_note: Where arms and legs part, in words; else empty.
        contradictions: What was stated and cannot be both, in words: left out of the sites, not of urgency.
        before: How many findings from earlier in the stay weigh, and since when, in words; else empty.
        entered: Number of findings read, none of before among them.
        program: The version of the program that made it.
        tables: The fingerprint of the tables and modules that it rests on: equal findings, program and
            tables give an equal reading.

    """

    sites: tuple[Site, ...] = ()
    supports: tuple[Evidence, ...] = ()
    opposes: tuple[Evidence, ...] = ()
    separates: tuple[Evidence, ...] = ()
    unexplained: tuple[str, ...] = ()
    fit: float | None = None
    fits_one: bool = True
    dangerous: tuple[Site, ...] = ()
    pair: Pair | None = None
    alike: tuple[AlikeCases, ...] = ()
    fragile: tuple[Fragile, ...] = ()
    next_signs: tuple[NextSign, ...] = ()
    asymmetries: tuple[Asymmetry, ...] = ()
    level_note: str = ""
    contradictions: tuple[str, ...] = ()
    before: str = ""
    entered: int = 0
    program: str = ""
    tables: str = ""

    @property
    def proposed(self) -> NextSign | None:
        """The sign to examine next; of two sides that would tell as much the right one, since a pair is entered from there."""
        if not self.next_signs:
            return None
        first = self.next_signs[0]
        twin = first.key[0], "right"
        equal = (
            s
            for s in self.next_signs
            if s.key == twin and (s.bits, s.rise) == (first.bits, first.rise)
        )
        return next(equal, first)

    @property
    def kept(self) -> KeptReading:
        """What is kept of it with a saved examination."""
        first = (
            KeptSite(id=s.id, site=s.region, side=s.side, chance=s.probability, name=s.name[:NAMED])
            for s in self.sites[:KEPT]
        )
        return KeptReading(sites=tuple(first), program=self.program, tables=self.tables)

    def to_dict(
        self,
        id: str = "",  # noqa: A002  # what the sheet calls it
        urgency: "DataclassInstance | None" = None,
    ) -> dict[str, Any]:
        """The answer as `wardexam localise --json` prints it and `wardexam schema --answer` describes it.

        Args:
            id: The sheet's own name for itself.
            urgency: What `wardexam.assess` gave; None where it was not asked for.
        """
        told = asdict(urgency) if urgency else None
        whole = {"version": FORM, "id": id, **asdict(self), "urgency": told, "caution": CAUTION}
        made: dict[str, Any] = _listed(whole)
        return made

    def rows(
        self,
        id: str = "",  # noqa: A002  # what the sheet calls it
    ) -> list[dict[str, str | int | float | bool | None]]:
        """A row for each ranked site, first to last, every value plain: for a data frame or CSV."""
        return [
            {
                "id": id, "rank": rank, "site": s.id, "region": s.region, "name": s.name, "side": s.side,
                "level": s.level, "level_from": s.levels[0] if s.levels else None,
                "level_to": s.levels[1] if s.levels else None, "probability": s.probability,
                "word": s.word, "urgent": s.urgent, "fit": self.fit, "fits_one": self.fits_one,
                "entered": self.entered, "program": self.program, "tables": self.tables,
            }
            for rank, s in enumerate(self.sites, 1)
        ]  # fmt: skip


def _listed(value: Any) -> Any:
    """The same with lists for tuples, as JSON has them."""
    if isinstance(value, dict):
        return {k: _listed(v) for k, v in value.items()}
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, Act):
        return value.model_dump(mode="json")
    return [_listed(v) for v in value] if isinstance(value, list | tuple) else value
