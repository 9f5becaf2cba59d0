"""The hospital's own file on the rules: words, who owns them, and which rule is switched off here.

Words are numbers to call and times to image; they never say whether a rule fires. A rule is switched off
only with who did it, why, and since when, and is then seen wherever it would have spoken.
"""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from wardexam.errors import TableError
from wardexam.reasoning.rules.owners import (
    REVIEW,
    RULE_FILES,
    fault_of,
    fault_of_line,
    read_day,
)
from wardexam.reasoning.rules.rule_table import rules
from wardexam.reasoning.rules.switched_off import OFF, OFF_BY, OFF_ON
from wardexam.settings import line_of, read_toml

# For a rule's id its ``reason``, ``image`` and ``call``, and where it is switched off here ``off_by``,
# ``off_why`` and ``off_on``; for ``review``, and ``review.urgency`` and so on, who owns what (`owners`).
# Days are texts such as 2026-01-31.
Wording = dict[str, dict[str, str]]
FIELDS = ("reason", "image", "call")
LONGEST = 160
LONGEST_BY = 60  # characters of who switched a rule off: a line of the screen names it
STAYS = "the built-in wording stays"
NEEDED = "a rule is switched off with 'off_by' (who), 'off_why' and 'off_on' (the day)"


def _fault(row: Mapping[str, Any], field: str, today: date | None) -> str:
    """What is wrong with a field of a rule's table."""
    value = row[field]
    if field == OFF_ON:
        day = read_day(value)
        if day is None:
            return f"'{field}' is a day, such as 2026-01-31"
        return f"'{field}' is a day that is still to come" if today and day > today else ""
    if field not in (*FIELDS, *OFF):
        return (
            f"'{field}' cannot be given, only 'reason', 'image' and 'call', or who switched it off"
        )
    said = fault_of_line(value, LONGEST_BY if field == OFF_BY else LONGEST)
    return f"'{field}' {said}" if said else ""


def _rule_fault(rule: str, row: Any, today: date | None) -> tuple[str, str]:
    """The field of a rule's table that is wrong, and what is wrong with it; both empty where nothing is."""
    if rule not in rules():
        return "", f"no rule is called '{rule}'"
    if not isinstance(row, dict):
        return "", f"'{rule}' is a table with 'reason', 'image' and 'call'"
    for field in row:
        if said := _fault(row, field, today):
            return field, said
    given = [name for name in OFF if name in row]
    if given and len(given) < len(OFF):
        missing = next(name for name in OFF if name not in row)
        return given[0], f"'{missing}' is missing: {NEEDED}"
    return "", ""


def _owners(row: Any) -> dict[str, Any]:
    """The tables that say who owns what, by their names in the file."""
    if not isinstance(row, dict):
        return {REVIEW: row}
    inner = {f"{REVIEW}.{name}": value for name, value in row.items() if isinstance(value, dict)}
    own = {name: value for name, value in row.items() if not isinstance(value, dict)}
    return ({REVIEW: own} if own or not inner else {}) | inner


def _owner_fault(name: str, row: Any, files: frozenset[str]) -> tuple[str, str]:
    of = name.removeprefix(f"{REVIEW}.")
    if name != REVIEW and of not in files:
        return "", f"no rule file is called '{of}', only {', '.join(sorted(files))}"
    if not isinstance(row, dict):
        return "", f"'{name}' is a table with 'owner', 'reviewed' and 'due'"
    for field in row:
        if field not in ("owner", "reviewed", "due"):
            return field, f"'{field}' cannot be given, only 'owner', 'reviewed' and 'due'"
    return fault_of(row)


def read_wording(text: str, where: str = "wording", today: date | None = None) -> Wording:
    """The hospital's own file from TOML: a table for a rule's id, and one that says who owns it.

    Args:
        text: The file's text.
        where: The file's name.
        today: The day on which it is read: no rule was switched off later; not looked at where None.

    Raises:
        TableError: The text is not TOML, gives anything else, or switches a rule off without who, why and
            when; with the line and the reason.
    """
    table = read_toml(text, where, STAYS)
    tables = {name: row for name, row in table.items() if name != REVIEW}
    if REVIEW in table:
        tables |= _owners(table[REVIEW])
    for name, row in tables.items():
        owns = name == REVIEW or name.startswith(f"{REVIEW}.")
        field, fault = (
            _owner_fault(name, row, frozenset(RULE_FILES))
            if owns
            else _rule_fault(name, row, today)
        )
        if fault:
            raise TableError(fault, f"{where}, line {line_of(text, name, field)}", STAYS)
    return {name: {f: _text(v) for f, v in row.items()} for name, row in tables.items()}


def _text(value: str | date) -> str:
    day = read_day(value)
    return day.isoformat() if day and not isinstance(value, str | datetime) else str(value)
