"""A reason of urgency, and all of them together, as they are told."""

from dataclasses import dataclass
from datetime import datetime

from wardexam.exam.act_kinds import ActKind
from wardexam.exam.acts import Act
from wardexam.exam.text import COLUMN
from wardexam.reasoning.rules.switched_off import SwitchedOff

# Beside a rule that fired earlier in the stay, its signs not examined and its flags not asked again.
EARLIER_WORD = "earlier"
EARLIER = f" ({EARLIER_WORD})"
# As the table says that no image comes first, and what is said of it beside a reason that asks for one.
NO_IMAGE = "none first"
NOT_AWAITED = "do not wait for an image"


@dataclass(frozen=True, slots=True)
class Reason:
    """One rule that fired.

    Attributes:
        rule: Its id.
        urgency: 1 within days, 2 today, 3 now.
        text: Why.
        image: What is usually imaged.
        call: Who is usually called.
        source: Where the rule is from.
        first: What is done before anything else; empty where nothing is.
        by: By when, in words.
        region: The region of the image, as the table names it.
        modality: How it is imaged, as the table names it.
        lowers: What brings it down once a doctor has written it; empty where nothing does.
        lowered: What a doctor wrote that brought it down, with name and time, or that it is taken as known and why; empty
            where nothing did.
        origin: Where it comes from: ``history``, ``signs``, both, or ``the tool's reading``;
            ``earlier`` where it stands from an earlier examination.
        since: When it was first raised in the stay; None where no time is known.
        again: From when its clock runs anew, where what had ended it does not hold any more.
        due: When its limit ends; None where the clock has ended or no time is known.
        acts: What was done about it, in order; what does not count any more says what ended it.
        answered: Whether anything was done that counts: the alarm is not new.
        ended: What was found since the clock was ended, in words; empty where it was not or nothing was.
        site: Of the tool's own alarm, the region of the likeliest dangerous site; else empty.
        undated: Whether it hangs on an onset that is not known.
        short: Why, in at most `COLUMN` columns, where it is longer; else empty.
    """

    rule: str
    urgency: int
    text: str
    image: str
    call: str
    source: str
    first: str = ""
    by: str = ""
    region: str = ""
    modality: str = ""
    lowers: str = ""
    lowered: str = ""
    origin: str = ""
    since: datetime | None = None
    again: datetime | None = None
    due: datetime | None = None
    acts: tuple[Act, ...] = ()
    answered: bool = False
    ended: str = ""
    site: str = ""
    undated: bool = False
    short: str = ""

    @property
    def brief(self) -> str:
        """Why, where there is no room for more: whole words in at most `COLUMN` columns."""
        return self.text if len(self.text) <= COLUMN else self.short or self.text

    @property
    def imaged(self) -> bool:
        """Whether it asks for an image."""
        return bool(self.image) and not self.image.startswith((NO_IMAGE, NOT_AWAITED))

    @property
    def usual_image(self) -> str:
        """The image that is usual, by region and modality; empty where none comes first."""
        return self.image if self.imaged else ""

    def usual(self, kind: ActKind) -> str:
        """What is written of an act where nothing else is: whom to call, or the image to ask for; empty of any other."""
        return {"called": self.call, "asked": self.usual_image}.get(kind, "")

    @property
    def asked(self) -> Act | None:
        """The image that was asked for and is waited for; None where none is."""
        if self.due is None:
            return None
        return next((a for a in self.acts if a.kind == "asked" and not a.ended), None)

    @property
    def said(self) -> str:
        """Why, with where it comes from: ``possible stroke (signs)``."""
        told = EARLIER in self.text or not self.origin
        return self.text if told else f"{self.text} ({self.origin})"


@dataclass(frozen=True, slots=True)
class Urgency:
    """The urgency, 0 to 3, its word, the reasons (gravest and soonest first, of a level those that are settled last), the flags not asked and those said yes.

    `switched_off` are the rules that would have spoken and that the hospital has switched off: they are in
    neither the level nor the reasons. `within` are reasons that a graver one says and more: kept, not said.
    """

    level: int
    word: str
    reasons: tuple[Reason, ...]
    not_asked: tuple[str, ...]
    answered_yes: tuple[str, ...]
    caution: str
    switched_off: tuple[SwitchedOff, ...] = ()
    within: tuple[Reason, ...] = ()
