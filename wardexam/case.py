"""An examination with whose it is and what stood before it: all that its papers and the ward list say of it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from pydantic import ValidationError

from wardexam.errors import InputError
from wardexam.exam.act_kinds import ActKind, act_kinds
from wardexam.exam.acts import Act
from wardexam.exam.entry import first_fault
from wardexam.exam.examination import Amendment, Examination, Findings, Patient
from wardexam.reasoning.rules.acts import written_over
from wardexam.reasoning.rules.change import Comparison, compare
from wardexam.reasoning.rules.own_alarm import OWN
from wardexam.reasoning.rules.raised import recorded
from wardexam.reasoning.rules.reason import Urgency
from wardexam.reasoning.rules.standing import Open, earlier, standing, still_open, unrelieved
from wardexam.reasoning.rules.stay import Slide, Stay
from wardexam.reasoning.rules.urgency import assess, lowered_by

if TYPE_CHECKING:
    from wardexam.exam.answers import ScaleName
    from wardexam.exam.earlier import Earlier
    from wardexam.injury.kept import KeptSheet
    from wardexam.note.charted import Charted
    from wardexam.note.reflexes import Form
    from wardexam.reasoning.reading import Reading
    from wardexam.reasoning.rules.wording import Wording
    from wardexam.records.repository import PatientFile, Summary


@dataclass(frozen=True, slots=True)
class Case:
    """An examination with whose it is and what stood before it: all that its papers say.

    Attributes:
        patient: Whose it is.
        examination: What was found.
        previous: What stands from earlier in the stay; None for a first examination.
        wording: The hospital's own words for urgency.
        still: What urgency still hears of the stay; of `previous` alone where it is not given.
        replaced: The revision before this one; None for a first one.
        read_at: When its papers are read, where it is the last of the stay: they then say which limits are passed.
        sheets: The stay's cord injury sheets, where it is the last: papers name one that urgency has not heard of.
        earlier: What stands of the stay for the reading, each finding with when it was found.
        stay: The examinations before, for what changed over more than the last one.
        in_error: Who says that the examination was entered in error, when and why; None where it counts.
    """

    patient: Patient
    examination: Examination
    previous: Examination | None
    wording: "Wording"
    still: Open | None = None
    replaced: Examination | None = None
    read_at: "datetime | None" = None
    sheets: "tuple[KeptSheet, ...]" = ()
    earlier: "Earlier | None" = None
    stay: Stay | None = None
    in_error: Amendment | None = None

    def urgency(self, reading: "Reading | None" = None, *, own: bool = False) -> Urgency:
        """How urgent it is.

        Args:
            reading: The tool's reading, where it counts.
            own: Whether the tool's own alarm counts as it was raised before, also without a reading.
        """
        return assess(
            self.examination,
            self.previous,
            reading,
            self.wording,
            own=own,
            still=self.still,
            stay=self.stay,
        )

    @property
    def heard(self) -> Findings:
        """What urgency hears of the stay and of this examination."""
        still = self.still or (still_open((self.previous,)) if self.previous else None)
        return unrelieved(still, self.examination)[0] if still else self.examination

    @property
    def told(self) -> Urgency:
        """How urgent it is for the chart: the tool's own alarm is in it once the suggestion is accepted."""
        return self.urgency(own=bool(self.examination.suggestion))

    def acts(
        self, rule: str | Sequence[str], kind: ActKind, what: str, by: str, at: datetime
    ) -> tuple[Act, ...]:
        """The same done about one reason or several, as `act`; where one is refused all are."""
        rules = [rule] if isinstance(rule, str) else list(dict.fromkeys(rule))
        if not rules:
            raise InputError("no reason is named", remedy="name one that stands")
        return tuple(self.act(r, kind, what, by, at) for r in rules)

    def act(self, rule: str, kind: ActKind, what: str, by: str, at: datetime) -> Act:
        """What was done about one of the reasons, as it is kept with the examination.

        Args:
            rule: The reason's rule.
            kind: What was done; see `Act`.
            what: Whom, which image, what it showed or why; of whom was called and which image was asked
                for the reason's own words where empty.
            by: Who did it, or says so.
            at: When.

        Raises:
            InputError: The reason does not stand, words are missing, or nothing brings it down.
        """
        reasons = {r.rule: r for r in self.urgency(own=True).reasons}
        if rule not in reasons and rule != OWN:
            known = ", ".join(reasons) or "none"
            raise InputError(f"no reason '{rule}' stands", remedy=f"those that stand: {known}")
        words = what.strip() or (reasons[rule].usual(kind) if rule in reasons else "")
        if not words:
            raise InputError(f"{act_kinds()[kind].words}: no words say how", remedy="write a few")
        if kind == "lowered" and not lowered_by(rule):
            raise InputError(
                "nothing brings this reason down",
                rule,
                "write why it is not needed; its level stays",
            )
        found = self.examination
        on = written_over(self.heard) if kind not in ("called", "asked") else None
        try:
            act = Act(rule=rule, kind=kind, what=words, by=by[:120], at=at, on=on)
        except ValidationError as error:
            raise InputError(first_fault(error)) from None
        if kind == "lowered":
            tried = found.model_copy(update={"acts": (*found.acts, act)})
            case = replace(self, examination=tried)
            reason = next((r for r in case.urgency(own=True).reasons if r.rule == rule), None)
            if reason and not reason.lowered:
                raise InputError(f"cannot be brought down: {reason.ended}", rule)
        return act

    def comparison(self) -> Comparison | None:
        """What changed from what stood before; None for a first examination."""
        return compare(self.previous, self.examination) if self.previous else None

    @property
    def slides(self) -> tuple[Slide, ...]:
        """What is worse than when the stay began."""
        return self.stay.slides(self.examination, self.comparison()) if self.stay else ()

    def to_save(self, reading: "Reading | None" = None) -> tuple[Examination, "Summary"]:
        """The examination with its reasons, as it is saved, and what the ward list then shows of it."""
        from wardexam.note.headline import summarise
        from wardexam.note.sentences import count_open

        urgency = self.urgency(reading, own=True)
        kept = recorded(self.examination, urgency)
        if reading:
            kept = kept.model_copy(update={"reading": reading.kept})
        return kept, summarise(
            urgency,
            self.comparison(),
            reading,
            self.slides,
            count_open(self.examination, self.previous),
        )

    def note(
        self,
        form: "Form" = "sentences",
        scale: "ScaleName | None" = None,
        *,
        line_end: str = "\n",
        ascii_only: bool = True,
    ) -> str:
        """The note; the tool's reading stays out of it until it is accepted."""
        from wardexam.note.note import render

        return render(self._charted, form, scale, line_end=line_end, ascii_only=ascii_only)

    def referral(self) -> str:
        """The referral."""
        from wardexam.note.referral import render

        return render(self._charted)

    @property
    def _charted(self) -> "Charted":
        """What both are written from."""
        from wardexam.note.charted import Charted
        from wardexam.note.cord_sheet import line

        told = self.told
        # The tool's own alarm is in the urgency of the ward list, also while no paper tells of it.
        whole = told if self.examination.suggestion else self.urgency(own=True)
        return Charted(
            self.patient,
            self.examination,
            self.previous,
            told,
            graver=whole if whole.level > told.level else None,
            now=self.read_at,
            stay=self.stay,
            replaced=self.replaced,
            in_error=self.in_error,
            beside=line(self.sheets, self.examination, self.examination.at),
        )

    def picture(self) -> str:
        """The figure as an SVG picture."""
        from wardexam.note.svg import render

        return render(self.patient, self.examination, self.in_error)


def case_of(file: "PatientFile", examination: Examination, wording: "Wording") -> Case:
    """One of a patient's examinations, in any of its revisions, with what stood before it."""
    told = file.telling(examination.id)
    before = (
        r for r in file.revisions(examination.id) if r.revision == examination.revision - 1
    ) if examination.revision > 1 else iter(())  # fmt: skip
    return Case(
        file.patient, file.counted(examination), standing(told), wording, still_open(told), next(before, None),
        earlier=earlier(told, examination.at), stay=Stay(told), in_error=file.in_error(examination.id),
    )  # fmt: skip
