"""What of an examination may leave the ward without saying whose it is: the fields that stand here and no others.

Names, numbers, beds, birth dates, doctors and every free text have no field. Of a text that was left out only
that there was one is said.
"""

import re
from collections.abc import Callable
from datetime import datetime

from wardexam.exam.acts import Act
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.findings import Finding
from wardexam.exam.kept_reading import KeptReading
from wardexam.reasoning.rules.own_alarm import OWN
from wardexam.reasoning.rules.rule_table import rules
from wardexam.tables import Columns

GROUPED = 90  # years from which ages are one group
OLDEST = "90+"

_CODE = re.compile(r"(?:[A-Za-z0-9_][A-Za-z0-9_.+-]{0,59})?")
NO_CODE = "not a code"

When = Callable[[datetime], datetime]


def code(text: str) -> str:
    """A text that the program wrote as a code; one that could be anything else, as from a crafted archive, is not told."""
    return text if _CODE.fullmatch(text) else NO_CODE


def age_words(age: int | None) -> str:
    """An age in years; those from 90 on as one group, empty where it is not known."""
    if age is None:
        return ""
    return OLDEST if age >= GROUPED else str(age)


class FindingFact(Columns):
    """A finding; `known` says only whether it was marked as documented before."""

    sign: str
    side: str
    answer: str | None
    scale: str | None
    qualities: tuple[str, ...]
    amount: int | None
    not_testable: str | None
    known: bool

    @classmethod
    def of(cls, finding: Finding) -> "FindingFact":
        """What of a finding may leave."""
        return cls(
            sign=finding.sign, side=finding.side, answer=finding.answer, scale=finding.scale,
            qualities=finding.qualities, amount=finding.amount, not_testable=finding.not_testable,
            known=bool(finding.known),
        )  # fmt: skip


class StatementFact(Columns):
    """A statement that the rest of a part was normal in a limb."""

    part: str
    limb: str


class StoryFact(Columns):
    """What was told beside the signs; `age` in years, 90 and more as one group, empty where not known."""

    age: str
    sex: str
    onset: str
    complaint: str | None
    complaint_side: str | None
    bears_weight: str | None
    pain: str | None
    trauma: str | None
    setting: str | None


class ActFact(Columns):
    """What was done about a reason of urgency, and whether what was found since has ended it."""

    rule: str
    kind: str
    at: datetime
    ended: bool


class RaisedFact(Columns):
    """A reason of urgency that stood when it was saved; `urgency` 1 within days, 2 today, 3 now."""

    rule: str
    urgency: int
    since: datetime
    again: datetime | None


class SiteFact(Columns):
    """A place that the tool suggested, with its chance from 0 to 1."""

    id: str
    site: str
    side: str
    chance: float


class ReadingFact(Columns):
    """What the tool suggested when it was saved, by which version and tables."""

    program: str
    tables: str
    sites: tuple[SiteFact, ...]

    @classmethod
    def of(cls, reading: KeptReading) -> "ReadingFact":
        """What of a kept reading may leave: all of it."""
        return cls(
            program=code(reading.program),
            tables=code(reading.tables),
            sites=tuple(
                SiteFact(id=code(s.id), site=code(s.site), side=s.side, chance=s.chance)
                for s in reading.sites
            ),
        )


class ExaminationFact(Columns):
    """One revision of an examination.

    `raised` is None where an earlier version kept no reasons, `reading` where nothing was suggested.
    `left_out` names the free texts that there were.
    """

    id: str
    revision: int
    at: datetime
    scale: str
    story: StoryFact
    findings: tuple[FindingFact, ...]
    rest_normal: tuple[StatementFact, ...]
    flags: dict[str, str]
    acts: tuple[ActFact, ...]
    raised: tuple[RaisedFact, ...] | None
    reading: ReadingFact | None
    suggestion_accepted: bool
    left_out: tuple[str, ...]


def _act(act: Act, when: When) -> ActFact:
    return ActFact(rule=act.rule, kind=act.kind, at=when(act.at), ended=bool(act.ended))


def _raised(examination: Examination, when: When) -> tuple[RaisedFact, ...] | None:
    if examination.raised is None:
        return None
    table = rules()
    return tuple(
        RaisedFact(
            rule=r.rule,
            urgency=r.level or (table[r.rule].urgency if r.rule in table else 0),
            since=when(r.since),
            again=when(r.again) if r.again else None,
        )
        for r in examination.raised
        if r.rule in table or r.rule == OWN
    )


def _texts(examination: Examination) -> tuple[str, ...]:
    """The free texts that an examination has, by the names of their fields."""
    said = {
        "comment": examination.comment, "impression": examination.impression,
        "suggestion": examination.suggestion,
        "amendment": examination.amendment.why if examination.amendment else "",
        "finding comment": "".join(f.comment for f in examination.findings),
        "finding known": "".join(f.known for f in examination.findings),
        "act": "".join(a.what for a in examination.acts),
    }  # fmt: skip
    return tuple(name for name, text in said.items() if text.strip())


def examination_fact(
    examination: Examination, patient: Patient, name: str, when: When = lambda at: at
) -> ExaminationFact:
    """What of a revision may leave.

    Args:
        examination: The revision.
        patient: Whose it is: age and sex where the examination has none.
        name: What it is called outside.
        when: Gives a time as it may leave.
    """
    c = examination.context
    return ExaminationFact(
        id=name,
        revision=examination.revision,
        at=when(examination.at),
        scale=examination.scale,
        story=StoryFact(
            age=age_words(patient.age if c.age is None else c.age),
            sex=patient.sex if c.sex == "unknown" else c.sex,
            onset=c.onset, complaint=c.complaint, complaint_side=c.complaint_side,
            bears_weight=c.bears_weight, pain=c.pain, trauma=c.trauma,
            setting=c.setting,
        ),
        findings=tuple(FindingFact.of(f) for f in examination.findings),
        rest_normal=tuple(StatementFact(part=s.part, limb=s.limb) for s in examination.rest_normal),
        flags=dict(examination.flags),
        acts=tuple(_act(a, when) for a in examination.acts),
        raised=_raised(examination, when),
        reading=ReadingFact.of(examination.reading) if examination.reading else None,
        suggestion_accepted=bool(examination.suggestion.strip()),
        left_out=_texts(examination),
    )  # fmt: skip
