"""One finding: what a sign showed, why it could not be tested, or what a whole part was said to be.

Strict: nothing is coerced, an unknown sign, side or answer is refused with what is allowed.
"""

import difflib
from functools import cache
from typing import Annotated, Any, Literal, Self, get_args

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints, model_validator

from wardexam.anatomy.catalogue import PARTS, SEGMENTS, Sign, catalogue
from wardexam.exam.answers import Answer, ScaleName, answers_for, scales
from wardexam.tables import Columns, TableRow, all_known, all_there, read_rows

Side = Literal["right", "left", "midline"]
Quality = Literal["reinforced", "inverted", "crossed", "pendular", "hung_up"]
Reason = Literal[
    "pain",
    "cast",
    "amputation",
    "cannot_relax",
    "declined",
    "sedated",
    "cannot_follow",
    "dressing",
    "contracture",
    "not_available",
    "other",
]
Limb = Literal["head", "trunk", "right arm", "left arm", "right leg", "left leg"]


class _ReasonRow(Columns):
    words: str
    limb: bool = False


def _reasons() -> dict[str, _ReasonRow]:
    """Why a sign may be not testable, by name.

    Raises:
        TableError: A row is malformed, or the rows are not those names.
    """
    rows = read_rows("not_testable.toml", "wardexam.exam", _ReasonRow)
    all_there(rows, get_args(Reason), "not_testable.toml")
    return rows


_REASONS = _reasons()
REASON_WORDS: dict[Reason, str] = {name: _REASONS[name].words for name in get_args(Reason)}
# Those that hold for all parts of a limb.
LIMB_REASONS = frozenset(name for name, row in _REASONS.items() if row.limb)


class QualityRow(TableRow):
    """How a tendon reflex came: how it is said, and the signs at which it means something."""

    words: str
    signs: tuple[str, ...]


@cache
def qualities() -> dict[Quality, QualityRow]:
    """What a tendon reflex may have beside its grade, by name.

    Raises:
        TableError: A row is malformed, has no source or names what is no sign, or the rows are not those names.
    """
    name = "qualities.toml"
    rows = read_rows(name, "wardexam.exam", QualityRow)
    all_there(rows, get_args(Quality), name)
    for quality, row in rows.items():
        all_known(row.signs, catalogue(), f"{name}, row {quality}, field signs")
    return {quality: rows[quality] for quality in get_args(Quality)}


Text = Annotated[str, StringConstraints(strip_whitespace=False, max_length=2000)]


class Model(BaseModel):
    """Base of every document: strict, frozen, unknown fields refused."""

    model_config = ConfigDict(strict=True, frozen=True, extra="forbid", hide_input_in_errors=False)


def nearest(word: str, allowed: Any) -> str:
    """The allowed words nearest to one that is not, for an error message."""
    options = [str(a) for a in allowed]
    close = difflib.get_close_matches(word, options, n=3, cutoff=0.5)
    return "did you mean " + ", ".join(close) if close else "allowed: " + ", ".join(options[:12])


def sides_of(sign: Sign) -> tuple[Side, ...]:
    """The sides on which a sign is found, right before left."""
    return ("right", "left") if sign.sides == "each" else ("midline",)


def statement_of(sign: Sign, side: Side) -> tuple[str, str] | None:
    """The part and limb of which a statement that the rest was normal speaks of a sign on a side; None where none does."""
    if sign.apart or sign.limb == "saddle":
        return None
    return sign.part, sign.limb if sign.limb in ("head", "trunk") else f"{side} {sign.limb}"


class Finding(Model):
    """One sign on one side: answered, or not testable with a reason.

    A sign that was not examined has no finding. `answer` is a code of the sign's answer set; for
    a tendon reflex a grade on `scale`; for a stated sensory level ``"none"`` or the lowest
    segment where sensation is still normal.

    Attributes:
        sign: Sign id of the catalogue.
        side: The patient's side, or midline.
        answer: What was found, or None when not testable.
        scale: The scale of a tendon grade, else None.
        qualities: How a tendon reflex came, where that means something.
        amount: Beats, degrees or mL, where the sign takes a number.
        not_testable: Why it could not be tested, or None.
        known: When and where it was documented before, unchanged since; empty for a finding that is
            not known to be old.
        comment: Free text.

    """

    sign: str
    side: Side
    answer: str | None = None
    scale: ScaleName | None = None
    qualities: tuple[Quality, ...] = Field(default=(), strict=False)
    amount: int | None = None
    not_testable: Reason | None = None
    known: Annotated[str, StringConstraints(max_length=120)] = ""
    comment: Text = ""

    @model_validator(mode="before")
    @classmethod
    def _level_alone(cls, data: Any) -> Any:
        """What an earlier version kept of a number beside a level is read without it: a record is never lost for that."""
        if isinstance(data, dict) and data.get("answer") in SEGMENTS:
            return {name: value for name, value in data.items() if name != "amount"}
        return data

    @model_validator(mode="after")
    def _fits_its_sign(self) -> Self:
        signs = catalogue()
        row = signs.get(self.sign)
        if row is None:
            raise ValueError(f"unknown sign '{self.sign}': {nearest(self.sign, signs)}")
        wanted = sides_of(row)
        if self.side not in wanted:
            raise ValueError(f"{self.sign} is found on {' or '.join(wanted)}, not '{self.side}'")
        if (self.answer is None) == (self.not_testable is None):
            raise ValueError(f"{self.sign} needs an answer or a reason why not testable, not both")
        if self.not_testable is not None:
            if self.qualities or self.amount is not None or self.scale is not None:
                raise ValueError(f"{self.sign} is not testable: no scale, quality or amount")
            return self
        self._check_answer(row)
        for quality in self.qualities:
            if self.sign not in (able := qualities()[quality].signs):
                signs_with = ", ".join(sorted(able))
                raise ValueError(
                    f"'{quality}' means nothing at {self.sign}; it belongs to {signs_with}"
                )
        if len(set(self.qualities)) != len(self.qualities):
            raise ValueError(f"{self.sign}: a quality is given twice")
        if "reinforced" in self.qualities and self.meaning == "absent":
            raise ValueError(
                f"{self.sign}: present only with reinforcement is not absent; grade it reduced"
            )
        return self

    def _check_answer(self, row: Sign) -> None:
        assert self.answer is not None
        if row.tendon:
            if self.scale is None:
                raise ValueError(f"{self.sign} is a tendon reflex: say on which scale it is graded")
        elif self.scale is not None:
            raise ValueError(f"{self.sign} takes no scale")
        if row.level and self.answer in SEGMENTS:
            return
        allowed = answers_for(row.answers, self.scale or "conventional")
        if allowed.get(self.answer) is None:
            more = " or a segment C1 to S5" if row.level else ""
            raise ValueError(
                f"{self.sign} cannot be '{self.answer}': choose {', '.join(allowed.codes)}{more}"
            )
        number = allowed.amount
        if self.amount is None:
            if number and number.required and self.answer in number.answers:
                raise ValueError(f"{self.sign} needs a number of {number.unit}")
        elif number is None or self.answer not in number.answers:
            raise ValueError(f"{self.sign} '{self.answer}' takes no number")
        elif not number.least <= self.amount <= number.most:
            raise ValueError(
                f"{self.sign}: {self.amount} {number.unit} is outside {number.least} to {number.most}"
            )

    @property
    def row(self) -> Sign:
        """The sign's row in the catalogue."""
        return catalogue()[self.sign]

    @property
    def meaning(self) -> str:
        """For a graded tendon reflex its meaning common to all scales, else the answer's code."""
        if self.answer is None:
            return ""
        if self.scale is None:
            return self.answer
        meaning = scales()[self.scale].meanings[self.answer]
        return "trace" if meaning == "reduced" and "reinforced" in self.qualities else meaning

    @property
    def choice(self) -> Answer | None:
        """The answer's row, or None when not testable or a segment level."""
        return _choice(self.sign, self.answer, self.scale)

    @property
    def abnormal(self) -> bool:
        """Whether something out of the usual was found; not where it could not be tested."""
        choice = self.choice
        return self.answer is not None and not (choice and choice.usual)

    @property
    def key(self) -> tuple[str, Side]:
        """What a finding is unique by."""
        return self.sign, self.side


@cache
def _choice(sign: str, answer: str | None, scale: ScaleName | None) -> Answer | None:
    if answer is None:
        return None
    return answers_for(catalogue()[sign].answers, scale or "conventional").get(answer)


class RestNormal(Model):
    """The doctor's explicit statement that the rest of one part in one limb was examined and normal.

    Kept and printed as that statement, never expanded into grades. It is refused for sphincters;
    saddle signs belong to no limb here, so it can never cover them.
    """

    part: str
    limb: Limb
    by: Text = ""
    at: AwareDatetime | None = Field(default=None, strict=False)

    @model_validator(mode="after")
    def _part_exists(self) -> Self:
        if self.part == "sphincters":
            raise ValueError("sphincters are never covered by 'rest normal': record each sign")
        if self.part not in PARTS:
            raise ValueError(f"unknown part '{self.part}': {nearest(self.part, PARTS)}")
        if not any(
            self.covers(sign, side) for sign in catalogue().values() for side in sides_of(sign)
        ):
            raise ValueError(f"{self.part} has nothing to examine in the {self.limb}")
        return self

    def covers(self, sign: Sign, side: Side) -> bool:
        """Whether the statement speaks of this sign on this side."""
        return statement_of(sign, side) == (self.part, self.limb)
