"""What was done about a reason of urgency, and since when each was raised: what is kept of both."""

from typing import Annotated

from pydantic import AwareDatetime, Field, StringConstraints

from wardexam.exam.act_kinds import ActKind, act_kinds
from wardexam.exam.findings import Model

Line = Annotated[str, StringConstraints(max_length=120)]
RuleName = Annotated[str, StringConstraints(pattern=r"^[a-z_0-9]{1,40}$")]
MOST = 300  # acts in an examination: several about each of many reasons
CARRIED = 8  # acts of earlier examinations that are kept for each reason, the last ones


class Act(Model):
    """What was done about a reason of urgency, or why it is not pressing: by whom and when.

    An act of any kind answers the reason: its alarm is no longer new. ``done``, ``not_needed`` and
    ``lowered`` also end its clock. Only ``lowered`` brings its level down, and only where the rule's row
    says that something does.

    Attributes:
        rule: The reason's rule.
        kind: Who was ``called``; an image ``asked`` for, or ``done`` with what it showed; ``not_needed``
            with why; or ``lowered``: what was found of that which the rule's row names as bringing it down.
        what: Whom, which image, what it showed, or why.
        by: Who says so.
        at: When.
        on: For what ends the clock, all that was abnormal, answered yes or told when it was written, as
            `wardexam.reasoning.rules.acts.written_over` gives it: it holds while nothing is found beyond.
            One without holds for its own examination only.
        ended: What was found beyond, once an examination was saved in which it did not hold any more.
    """

    rule: RuleName
    kind: ActKind
    what: Line
    by: Line
    at: AwareDatetime = Field(strict=False)
    on: tuple[Line, ...] | None = Field(default=None, strict=False, max_length=600)
    ended: Line = ""

    @property
    def settles(self) -> bool:
        """Whether it is of a kind that ends the clock."""
        return act_kinds()[self.kind].ends

    @property
    def same(self) -> tuple[str, ...]:
        """What tells it from other acts."""
        return self.rule, self.kind, self.what, self.by, self.at.isoformat()


class Raised(Model):
    """A reason of urgency as it stood when an examination was saved.

    Attributes:
        rule: Its rule.
        since: When it was first raised in the stay.
        again: From when its clock runs anew, where an act that had ended it does not hold any more.
        acts: What was done about it in earlier examinations.
        level: How urgent it was, with what brought it down; 0 for the tool's own alarm once brought down, and for
            a rule that an earlier version kept: its row says it.
        text: Of the tool's own alarm, why.
        region: Of the tool's own alarm, the region of the likeliest dangerous site.
        by_error: Whether only an examination entered in error is known to have raised it; worked out, never kept.
    """

    rule: RuleName
    since: AwareDatetime = Field(strict=False)
    again: AwareDatetime | None = Field(default=None, strict=False)
    acts: tuple[Act, ...] = Field(default=(), strict=False, max_length=CARRIED)
    level: Annotated[int, Field(ge=0, le=3)] = 0
    text: Line = ""
    region: Line = ""
    by_error: bool = Field(default=False, exclude=True)
