"""What the note and the referral of an examination are written from, so that no paper is given less than another."""

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Self

from wardexam.exam.examination import Amendment, Examination, Patient
from wardexam.exam.text import to_ascii
from wardexam.note.since import Compared
from wardexam.reasoning.rules.reason import Urgency
from wardexam.reasoning.rules.stay import Stay


@dataclass(frozen=True, slots=True)
class Charted:
    """An examination as its papers tell it.

    Attributes:
        patient: Whose it is.
        examination: What was found.
        previous: An earlier examination that it is compared with, if any.
        urgency: How urgent it is for the chart; a note is silent of it where it is not given.
        graver: The urgency that the ward list stands at, where that is graver.
        now: When it is read; without it a limit that is passed is not said to be.
        stay: The examinations before it, for what is worse than the stay began.
        replaced: The revision before, of a further one.
        in_error: Who says that it was entered in error, when and why.
        beside: What was found beside the examination and is not in the urgency, a sentence.
    """

    patient: Patient
    examination: Examination
    previous: Examination | None = None
    urgency: Urgency | None = None
    graver: Urgency | None = None
    now: datetime | None = None
    stay: Stay | None = None
    replaced: Examination | None = None
    in_error: Amendment | None = None
    beside: str = ""

    @property
    def compared(self) -> Compared | None:
        """What changed; None for a first examination."""
        return Compared.of(self.examination, self.previous, self.stay)

    def in_ascii(self) -> Self:
        """The same with every free text of patient and examination in ASCII, before lines are broken at their width."""
        found = self.examination
        texts = ("examiner", "saved_by", "comment", "impression", "suggestion")
        plain: dict[str, object] = {t: to_ascii(getattr(found, t)).strip() for t in texts}
        plain["entered_by"] = tuple(map(to_ascii, found.entered_by))
        plain["findings"] = tuple(
            f.model_copy(update={"comment": to_ascii(f.comment), "known": to_ascii(f.known)})
            for f in found.findings
        )
        if found.amendment:
            plain["amendment"] = found.amendment.model_copy(
                update={t: to_ascii(getattr(found.amendment, t)) for t in ("by", "why")}
            )
        names = {t: to_ascii(getattr(self.patient, t)) for t in ("name", "bed", "number", "remark")}
        return replace(
            self,
            patient=self.patient.model_copy(update=names),
            examination=found.model_copy(update=plain),
        )
