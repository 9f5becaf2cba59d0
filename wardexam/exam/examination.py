"""What was found, the examination it was found in, and the patient it belongs to.

`Findings` is all that a question needs: the engine, the rules and the comparison take nothing else.
An `Examination` adds who, when and of whom, and is what the store keeps. `schema` is the version of the document's form; a reader for every version ever written stays in
`wardexam.records`.
"""

import re
from datetime import date, datetime
from functools import cache
from typing import Annotated, Any, Final, Literal, Self, get_args

from pydantic import AwareDatetime, BeforeValidator, Field, StringConstraints, model_validator

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.acts import MOST, Act, Line, Raised
from wardexam.exam.answers import ScaleName, answers_for
from wardexam.exam.findings import Finding, Model, RestNormal, Side, Text
from wardexam.exam.flags import Flag, every_flag, flags
from wardexam.exam.identity import LONGEST_NUMBER, fault_of_birth, full
from wardexam.exam.kept_reading import KeptReading
from wardexam.tables import all_known

SCHEMA: Final = 1

Sex = Literal["female", "male", "other", "unknown"]
Onset = Literal["sudden", "hours", "waking", "days", "weeks", "longer", "unknown"]
Complaint = Literal[
    "weak_leg",
    "weak_arm",
    "weak_one_side",
    "weak_all",
    "face",
    "back_pain",
    "leg_pain",
    "neck_pain",
    "arm_pain",
    "numb_hands",
    "numb_feet",
    "numb_one_side",
    "unsteady",
    "dizzy",
    "speech",
    "vision",
    "double_vision",
    "headache",
    "fit",
    "confused",
    "unconscious",
    "after_surgery",
    "bladder",
    "other",
]
ComplaintSide = Literal["right", "left", "both", "none"]
Setting = Literal[
    "none", "operation", "pregnancy", "childbirth", "intensive_care", "pressed", "injection"
]
YesNo = Literal["yes", "no"]
Identifier = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]{8,40}$")]


def _day(value: Any) -> Any:
    """A stored day as a date."""
    if isinstance(value, str) and re.fullmatch("[0-9]{4}-[0-9]{2}-[0-9]{2}", value):
        return date.fromisoformat(value)
    return value


Day = Annotated[date, BeforeValidator(_day)]


class Context(Model):
    """What is known beside the signs. Everything may be left unknown; nothing is assumed."""

    age: Annotated[int, Field(ge=0, le=120)] | None = None
    sex: Sex = "unknown"
    onset: Onset = "unknown"
    complaint: Complaint | None = None
    complaint_side: ComplaintSide | None = None
    bears_weight: YesNo | None = None
    pain: Literal["none", "head", "neck", "back", "limb", "radiating"] | None = None
    trauma: YesNo | None = None
    setting: Setting | None = None

    def over(self, earlier: Self) -> Self:
        """The same, with what it leaves unknown from an earlier one."""
        known = {k: v for k, v in self.model_dump().items() if v not in (None, "unknown")}
        return self.model_validate({**earlier.model_dump(), **known})

    def told(self, word: str) -> bool:
        """Whether a word of the story is known."""
        return getattr(self, word) not in (None, "unknown")

    def tells(self, flag: Flag) -> bool:
        """Whether a word of the story answers a question."""
        word = _told_by().get(flag.id)
        return word is not None and self.told(word)


@cache
def _told_by() -> dict[str, str]:
    """The word of the story that answers a question as well, by flag.

    Raises:
        TableError: It is none.
    """
    words = {flag.id: flag.told_by for flag in every_flag().values() if flag.told_by}
    for flag, word in words.items():
        all_known((word,), Context.model_fields, f"flags.toml, row {flag}, field told_by")
    return words


@cache
def _said_yes_by() -> dict[str, frozenset[tuple[str, str | None]]]:
    """The answers to signs that say yes to a question as well, by flag.

    Raises:
        TableError: One is of no sign, no answer to it, or a usual one; or a complaint is none.
    """
    made: dict[str, frozenset[tuple[str, str | None]]] = {}
    for name, row in every_flag().items():
        where = f"flags.toml, row {name}, field"
        all_known(row.complaints, get_args(Complaint), f"{where} complaints")
        said = set[tuple[str, str | None]]()
        for words in row.found_by:
            sign, _, answer = words.partition(" ")
            all_known((sign,), catalogue(), f"{where} found_by")
            odd = [a.code for a in answers_for(catalogue()[sign].answers).answers if not a.usual]
            all_known((answer,), odd, f"{where} found_by")
            said.add((sign, answer))
        made[name] = frozenset(said)
    return made


class Amendment(Model):
    """Why a saved examination has a further revision."""

    by: Line
    at: AwareDatetime = Field(strict=False)
    why: Line


class Also(Model):
    """What a sheet says of a sign beside the answer that is kept of it.

    Attributes:
        finding: The other answer.
        group: The group of signs that it was said of, by its id; empty where the sign was given twice.
    """

    finding: Finding
    group: str = ""


class Findings(Model):
    """What was found, stated and answered at one time; of whom, by whom and when is not asked.

    Attributes:
        scale: The tendon scale the examiner chose; findings carry their own.
        context: Age, sex, onset and complaint as they stood.
        findings: At most one per sign and side.
        rest_normal: Explicit statements; see `RestNormal`.
        flags: Red-flag questions answered; one that was not asked is not here.
        acts: What was done about reasons of urgency, in its order.
        also: What a sheet said otherwise of the same signs; never kept, since an examination has one answer each.

    """

    scale: ScaleName = "conventional"
    context: Context = Context()
    findings: tuple[Finding, ...] = Field(default=(), strict=False)
    rest_normal: tuple[RestNormal, ...] = Field(default=(), strict=False)
    flags: dict[str, YesNo] = Field(default_factory=dict)
    acts: tuple[Act, ...] = Field(default=(), strict=False, max_length=MOST)
    also: tuple[Also, ...] = Field(default=(), strict=False, exclude=True)

    @property
    def flags_open(self) -> tuple[str, ...]:
        """The ids of the questions that no answer, no word of the story and no abnormal sign answers, in the order of the table."""
        told, found = self.context.tells, {(f.sign, f.answer) for f in self.new.findings}
        yes = _said_yes_by()
        return tuple(
            n for n, row in flags().items()
            if n not in self.flags and not told(row)
            and self.context.complaint not in row.complaints and found.isdisjoint(yes[n])
        )  # fmt: skip

    @property
    def new(self) -> Self:
        """The same without what is marked as known before."""
        return self.model_copy(update={"findings": tuple(f for f in self.findings if not f.known)})

    @model_validator(mode="after")
    def _once_and_known(self) -> Self:
        seen: set[tuple[str, Side]] = set()
        for finding in self.findings:
            if finding.key in seen:
                raise ValueError(f"{finding.sign} {finding.side} is given twice")
            seen.add(finding.key)
        unknown = set(self.flags) - set(every_flag())
        if unknown:
            raise ValueError(f"unknown red flag '{sorted(unknown)[0]}'")
        return self

    def finding(self, sign: str, side: Side) -> Finding | None:
        """The finding of a sign on a side, or None when it was not examined."""
        for found in self.findings:  # a plain loop: asked of every cell of the grid
            if found.sign == sign and found.side == side:
                return found
        return None

    def stated_normal(self, sign: str, side: Side) -> bool:
        """Whether an unrecorded sign is covered by a statement that the rest was normal."""
        row = catalogue()[sign]
        return self.finding(sign, side) is None and any(
            s.covers(row, side) for s in self.rest_normal
        )


class Examination(Findings):
    """One bedside examination: what was found, with who examined whom and when.

    Attributes:
        id: Opaque; the same for every revision.
        patient: Opaque id of the patient.
        revision: 1 when first saved, one more with each amendment.
        examiner: Who examined.
        at: When, with its zone.
        entered: When it was entered, where it was told to have been made before that; None where both are one.
        comment: Free text.
        impression: The doctor's own words.
        suggestion: The tool's suggestion as the doctor accepted it; empty until then.
        entered_by: Who else entered something: those who resumed the draft, in their order.
        saved_by: Who saved this revision; empty until then, and in documents of before.
        amendment: Who amended this revision, when and why.
        raised: The reasons of urgency that stood when it was saved, since when, and what was done about
            them earlier; while it is entered the tool's own alarm, once raised; None where none was kept.
        reading: What the tool suggested when it was saved; None where it had read nothing, and in documents of
            before. No paper of the chart shows it.
        in_error: Whether this revision says that the examination was entered in error: then it is shown as such
            and counts nowhere (`wardexam.exam.in_error`). Who says so, when and why is its amendment.

    """

    schema_version: Literal[1] = SCHEMA
    id: Identifier
    patient: Identifier
    revision: Annotated[int, Field(ge=1)] = 1
    examiner: Line
    at: AwareDatetime = Field(strict=False)
    entered: AwareDatetime | None = Field(default=None, strict=False)
    comment: Text = ""
    impression: Text = ""
    suggestion: Text = ""
    entered_by: tuple[Line, ...] = Field(default=(), strict=False, max_length=20)
    saved_by: Line = ""
    amendment: Amendment | None = None
    raised: tuple[Raised, ...] | None = Field(default=None, strict=False, max_length=200)
    reading: KeptReading | None = None
    in_error: bool = False

    @model_validator(mode="after")
    def _amended_by_somebody(self) -> Self:
        if (self.revision > 1) != (self.amendment is not None):
            raise ValueError("a revision after the first says who amended it, when and why")
        if self.in_error and not (self.amendment and self.amendment.why.strip()):
            raise ValueError("that it was entered in error is said with who says so, when and why")
        return self

    @model_validator(mode="after")
    def _made_before_entered(self) -> Self:
        if self.entered is not None and self.entered <= self.at:
            raise ValueError("an examination that is entered late was made before that")
        return self

    @classmethod
    def of(
        cls,
        findings: Findings,
        *,
        id: str,  # noqa: A002  # the name of the field
        patient: str,
        examiner: str,
        at: datetime,
    ) -> Self:
        """Findings as the examination they were found in.

        Raises:
            ValidationError: The examination cannot be called so, or the time has no zone.
        """
        found = {name: getattr(findings, name) for name in Findings.model_fields}
        return cls(**found, id=id, patient=patient, examiner=examiner, at=at)

    @property
    def by_whom(self) -> str:
        """Who examined, who went on with it and who saved it, in words; each named once."""
        text = self.examiner
        if others := [name for name in self.entered_by if name != self.examiner]:
            text += f", continued by {', '.join(others)}"
        if self.saved_by not in ("", self.examiner if not others else others[-1]):
            text += f", saved by {self.saved_by}"
        return text

    @property
    def hands(self) -> tuple[str, ...]:
        """Everyone who had a hand in it, the first examiner first, who saved it last."""
        return tuple(dict.fromkeys(filter(None, (self.examiner, *self.entered_by, self.saved_by))))


class Patient(Model):
    """One patient on the ward.

    Attributes:
        id: Opaque; names the patient's file.
        revision: Grows with each change of details.
        bed: Where, as the ward writes it.
        name: As the ward writes it.
        number: The hospital's number, if known.
        born: The birth date, if known.
        age: In years, if known.
        sex: If known.
        recheck_hours: Re-examine every so many hours; None for no schedule.
        admitted: When.
        discharged: When, or None while on the ward.
        remark: Why admitted, in one line: a complaint in the words of `wardexam.exam.story`, or free text.

    """

    schema_version: Literal[1] = SCHEMA
    id: Identifier
    revision: Annotated[int, Field(ge=1)] = 1
    bed: Annotated[str, StringConstraints(min_length=1, max_length=12)]
    name: Annotated[str, StringConstraints(min_length=1, max_length=60)]
    number: Annotated[str, StringConstraints(max_length=LONGEST_NUMBER)] = ""
    born: Day | None = None
    age: Annotated[int, Field(ge=0, le=120)] | None = None
    sex: Sex = "unknown"
    recheck_hours: Annotated[int, Field(ge=1, le=168)] | None = None
    admitted: AwareDatetime = Field(strict=False)
    discharged: AwareDatetime | None = Field(default=None, strict=False)
    remark: Line = ""

    @model_validator(mode="after")
    def _born_before(self) -> Self:
        if self.born and (fault := fault_of_birth(self.born, self.admitted.date())):
            raise ValueError(fault)
        return self

    @property
    def identity(self) -> str:
        """Name, number and birth date as far as they are known, for papers; what is missing is said."""
        return full(self)
