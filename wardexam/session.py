"""What comes in at the edge and goes everywhere as one: the ward, who examines, time, identity, words."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wardexam.reasoning.rules.wording import Wording
    from wardexam.records.repository import Repository


@dataclass(frozen=True, slots=True)
class Session:
    """One doctor at one ward.

    Attributes:
        ward: Where it is kept.
        examiner: Who examines.
        now: Gives the time with its zone.
        new_id: Gives a new opaque identifier.
        wording: The hospital's own words for urgency; empty for the built-in ones.
    """

    ward: "Repository"
    examiner: str
    now: Callable[[], datetime]
    new_id: Callable[[], str]
    wording: "Wording" = field(default_factory=dict)
