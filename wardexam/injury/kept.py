"""A sheet of a patient as it is kept: with who scored it and when, and with every revision."""

from datetime import datetime
from typing import Annotated, Self

from pydantic import AwareDatetime, Field, model_validator

from wardexam.exam.acts import Line
from wardexam.exam.examination import Amendment, Identifier
from wardexam.exam.findings import Model
from wardexam.exam.text import clean
from wardexam.injury.sheet import InjurySheet


def at_words(at: datetime) -> str:
    """A time in words: ``4 Mar 2026 14:00``."""
    return f"{at.day} {at:%b %Y %H:%M}"


class KeptSheet(Model):
    """One cord injury sheet of one patient.

    Attributes:
        id: Opaque; the same for every revision.
        patient: Opaque id of the patient.
        revision: 1 when first saved, one more with each amendment.
        examiner: Who scored it.
        at: When, with its zone.
        saved_by: Who saved this revision; empty until then.
        amendment: Who amended this revision, when and why.
        sheet: The scores.
    """

    id: Identifier
    patient: Identifier
    revision: Annotated[int, Field(ge=1)] = 1
    examiner: Line
    at: AwareDatetime = Field(strict=False)
    saved_by: Line = ""
    amendment: Amendment | None = None
    sheet: InjurySheet = InjurySheet()

    @model_validator(mode="after")
    def _amended_by_somebody(self) -> Self:
        if (self.revision > 1) != (self.amendment is not None):
            raise ValueError("a revision after the first says who amended it, when and why")
        return self

    @property
    def about(self) -> list[str]:
        """Who scored it and when, and of which revision it is, a sentence each."""
        said = [f"Scored {at_words(self.at)} by {clean(self.examiner)}"]
        if self.saved_by not in ("", self.examiner):
            said[0] += f", saved by {clean(self.saved_by)}"
        if self.amendment:
            a = self.amendment
            said.append(
                f"Revision {self.revision}, amended {at_words(a.at)} by {clean(a.by)}: {clean(a.why)}"
            )
        return said

    @property
    def unsigned(self) -> Self:
        """The same without who saved it: what must be the same for it to be the same."""
        return self.model_copy(update={"saved_by": ""})
