"""Results of practice and what they come to: how often right, emergencies recognised, how sure and how right."""

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, Field, ValidationError

from wardexam.exam.findings import Model
from wardexam.reasoning.rules.rule_table import TODAY

BINS = ((0, 49), (50, 69), (70, 89), (90, 100))  # per cent that were stated
SMALL = 10  # of fewer in a bin nothing can be told
FEW = 30  # of fewer answers in all neither
EMERGENCY = TODAY  # the level from which it is one

Percent = Annotated[int, Field(ge=0, le=100)]
Level = Annotated[int, Field(ge=0, le=3)]


class Result(Model):
    """One case that was answered.

    Attributes:
        at: When.
        kind: Drawn by the model, or published.
        case: What gives it again.
        level: Of difficulty; 0 for a published one.
        was: The place that was right.
        site: The place that was answered.
        side: The side that was answered.
        site_right: Whether the place was right.
        side_right: Whether the side was; None where the place was wrong and the true one had no side.
        urgency: The level that was answered.
        due: The level of the rules on what the patient has.
        action: What was to be done first.
        action_right: Whether that is right; None where it was not scored.
        sure: The stated certainty of place and side.
        seconds: What the tests took.
        tests: How many tests and questions.
        best_seconds: What the tool's own way took until the right place was known; None where it never was.
        known_seconds: The same of the learner's way.
        program: The version of the program.
    """

    at: AwareDatetime = Field(strict=False)
    kind: Literal["drawn", "published"]
    case: Annotated[str, Field(max_length=40)]
    level: Level
    was: Annotated[str, Field(max_length=60)]
    site: Annotated[str, Field(max_length=60)]
    side: Literal["right", "left", "both", "none"]
    site_right: bool
    side_right: bool | None
    urgency: Level
    due: Level
    action: Annotated[str, Field(max_length=40)]
    action_right: bool | None
    sure: Percent
    seconds: Annotated[int, Field(ge=0)]
    tests: Annotated[int, Field(ge=0)]
    best_seconds: Annotated[int, Field(ge=0)] | None = None
    known_seconds: Annotated[int, Field(ge=0)] | None = None
    program: Annotated[str, Field(max_length=40)] = ""

    @property
    def right(self) -> bool:
        """Whether place and side were right: what the certainty is of."""
        return self.site_right and bool(self.side_right)

    @property
    def side_scored(self) -> bool | None:
        """Whether the side was right, as it counts; None where it does not.

        Earlier programs called no side right although the place was wrong.
        """
        by_nothing = not self.site_right and self.side in ("both", "none") and self.side_right
        return None if by_nothing else self.side_right

    @property
    def emergency(self) -> bool:
        """Whether it was one, by the rules."""
        return self.due >= EMERGENCY

    @property
    def under_called(self) -> bool:
        """Whether it was called less urgent than the rules call it."""
        return self.urgency < self.due


def results(rows: Sequence[dict[str, Any]]) -> tuple[list[Result], int]:
    """The results that rows hold, and how many rows hold none that this program understands."""
    found, left = [], 0
    for row in rows:
        try:
            found.append(Result.model_validate(row))
        except ValidationError:
            left += 1
    return found, left


@dataclass(frozen=True, slots=True)
class Bin:
    """Answers of alike certainty.

    Attributes:
        least, most: The stated certainty, in per cent.
        count: How many.
        stated: What was stated on average, 0 to 1; None where there are none.
        right: The share that was right; None where there are none.
    """

    least: int
    most: int
    count: int
    stated: float | None
    right: float | None


def reliability(found: Sequence[Result]) -> tuple[Bin, ...]:
    """Stated certainty beside what was right, by bins."""
    made = []
    for least, most in BINS:
        own = [r for r in found if least <= r.sure <= most]
        count = len(own)
        stated = sum(r.sure for r in own) / count / 100 if own else None
        right = sum(r.right for r in own) / count if own else None
        made.append(Bin(least, most, count, stated, right))
    return tuple(made)


def brier(found: Sequence[Result]) -> float | None:
    """The mean square of how far the stated certainty was from what was so: 0 is best, 0.25 is what 50 % always gives."""
    if not found:
        return None
    return sum((r.sure / 100 - r.right) ** 2 for r in found) / len(found)


def first_times(found: Sequence[Result]) -> list[Result]:
    """The first answer to each case: what is answered again is known already."""
    first: dict[tuple[str, str], Result] = {}
    for result in found:
        first.setdefault((result.kind, result.case), result)
    return list(first.values())


def as_json(found: Sequence[Result]) -> str:
    """The results as one JSON document."""
    rows = [r.model_dump(mode="json") for r in found]
    return json.dumps({"practice": True, "form": 1, "results": rows}, indent=1) + "\n"


def as_csv(found: Sequence[Result]) -> str:
    """The results as CSV, a line each below the names of the columns."""
    out = io.StringIO()
    writer = csv.DictWriter(out, list(Result.model_fields), lineterminator="\n")
    writer.writeheader()
    writer.writerows(r.model_dump(mode="json") for r in found)
    return out.getvalue()
