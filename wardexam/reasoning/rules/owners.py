"""Who owns a file of rules or of the hospital's words, when it was reviewed, and when a review is due.

Nothing here reads a clock: the day comes in.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from wardexam.errors import TableError
from wardexam.exam.identity import day_words

REVIEW = "review"  # the table that says it
NOT_NAMED = "not yet named"  # what a table says that has no clinical owner
NO_OWNER = "no named owner"  # what is shown of it
LONGEST = 120  # characters of an owner
FIELDS = ("owner", "reviewed", "due")
# The rule files that have an owner each, by what the hospital calls them.
RULE_FILES = {
    "urgency": "reasoning/rules/urgency.toml",
    "conditions": "reasoning/rules/conditions.toml",
    "limits": "reasoning/rules/limits.toml",
    "asymmetry": "reasoning/rules/asymmetry.toml",
    "change": "reasoning/rules/change.toml",
    "contradictions": "reasoning/rules/contradictions.toml",
    "injury": "injury/rules.toml",
}


def read_day(value: Any) -> date | None:
    """A day as TOML writes it, or as text such as 2026-01-31; None where it is neither."""
    if isinstance(value, datetime):
        return None
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        return None


def fault_of_line(value: Any, longest: int) -> str:
    """What is wrong with a text that shall be one printable line; empty where nothing is."""
    if not isinstance(value, str) or not value.strip():
        return "is a text"
    if not value.isprintable() or len(value) > longest:
        return f"is one line of at most {longest} printable characters"
    return ""


@dataclass(frozen=True, slots=True)
class Owned:
    """Whose a file is.

    Attributes:
        owner: Who answers for it, by role and name; empty where nobody is named.
        reviewed: When it was reviewed last; None where it never was.
        due: When the next review is due; None where that is not said.
    """

    owner: str = ""
    reviewed: date | None = None
    due: date | None = None

    @property
    def owner_words(self) -> str:
        """Who owns it, or that nobody is named."""
        return self.owner or NO_OWNER

    def is_due(self, today: date) -> bool:
        """Whether a review is due on a day."""
        return self.due is not None and self.due <= today

    def words(self, today: date) -> str:
        """All of it in one line, read on a day."""
        seen = f"reviewed {day_words(self.reviewed)}" if self.reviewed else "never reviewed"
        if self.due is None:
            return f"{self.owner_words}; {seen}; no review is planned"
        word = "REVIEW DUE SINCE" if self.is_due(today) else "next review"
        return f"{self.owner_words}; {seen}; {word} {day_words(self.due)}"


def fault_of(row: Mapping[str, Any]) -> tuple[str, str]:
    """What is wrong with a review table, by its field and in words; both empty where nothing is."""
    for field in FIELDS:
        if field not in row:
            return "", f"'{field}' is missing"
        if field == "owner" and (said := fault_of_line(row[field], LONGEST)):
            return field, f"'{field}' {said}"
        if field != "owner" and read_day(row[field]) is None:
            return field, f"'{field}' is a day, such as 2026-01-31"
    reviewed, due = read_day(row["reviewed"]), read_day(row["due"])
    if reviewed and due and due <= reviewed:
        return "due", "'due' is later than 'reviewed'"
    return "", ""


def owned(row: Mapping[str, Any], where: str) -> Owned:
    """What a review table says.

    Raises:
        TableError: It is malformed; names the field.
    """
    field, fault = fault_of(row)
    if fault:
        raise TableError(fault, f"{where}, field {field}" if field else where, "mend the table")
    named = row["owner"] if row["owner"] != NOT_NAMED else ""
    return Owned(named, read_day(row["reviewed"]), read_day(row["due"]))
