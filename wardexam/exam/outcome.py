"""What it was in the end: what the image showed, the final site and diagnosis, by whom and when recorded.

A patient has one outcome for the stay. A further revision says what is known better since; the earlier stay.
"""

from typing import Annotated, Literal

from pydantic import AwareDatetime, Field, StringConstraints, model_validator

from wardexam.exam.acts import Line
from wardexam.exam.examination import Identifier, YesNo
from wardexam.exam.final_sites import FinalSide, FinalSite
from wardexam.exam.findings import Model

SAYS_SOMETHING = ("imaged", "image", "positive", "site", "diagnosis")


class Outcome(Model):
    """What a patient's illness was in the end. What is not known stays unsaid.

    Attributes:
        patient: Opaque id of the patient.
        revision: 1 when first recorded, one more each time.
        imaged: When the deciding image was done.
        image: What it showed, in words.
        positive: Whether it showed what needed action: compression, a bleed, an infarct or the like.
        site: Where the lesion was, by a name of the reasoning; ``none`` where there was no lesion.
        side: The lesion's own side.
        diagnosis: The final diagnosis in words.
        by: Who says so.
        at: When it was recorded.
        why: Why this revision was made, where it is a further one and a reason was given.
    """

    schema_version: Literal[1] = 1
    patient: Identifier
    revision: Annotated[int, Field(ge=1)] = 1
    imaged: AwareDatetime | None = Field(default=None, strict=False)
    image: Line = ""
    positive: YesNo | None = None
    site: FinalSite | None = None
    side: FinalSide | None = None
    diagnosis: Line = ""
    by: Annotated[str, StringConstraints(min_length=1, max_length=120)]
    at: AwareDatetime = Field(strict=False)
    why: Line = ""

    @model_validator(mode="after")
    def _fits_together(self) -> "Outcome":
        if not any(getattr(self, name) for name in SAYS_SOMETHING):
            raise ValueError("an outcome says at least one thing: image, site or diagnosis")
        if self.side and self.site is None:
            raise ValueError("a side is that of a site: name the site")
        if self.imaged and self.imaged > self.at:
            raise ValueError("the image is later than now")
        return self

    @property
    def said(self) -> dict[str, object]:
        """What it says, whoever recorded it and when."""
        return {name: getattr(self, name) for name in (*SAYS_SOMETHING, "side", "by")}
