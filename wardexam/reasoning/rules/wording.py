"""The hospital's own words for the rules: numbers to call, times to image; never whether a rule fires."""

from typing import Any

from wardexam.errors import TableError
from wardexam.reasoning.rules.urgency import rules
from wardexam.settings import line_of, read_toml

# For a rule's id its ``reason``, ``image`` and ``call``, in the hospital's words.
Wording = dict[str, dict[str, str]]
FIELDS = ("reason", "image", "call")
LONGEST = 160
STAYS = "the built-in wording stays"


def _fault(row: Any, field: str) -> str:
    text = row[field]
    if field not in FIELDS:
        return f"'{field}' cannot be given, only 'reason', 'image' and 'call'"
    if not isinstance(text, str) or not text.strip():
        return f"'{field}' is a text"
    if not text.isprintable() or len(text) > LONGEST:
        return f"'{field}' is one line of at most {LONGEST} printable characters"
    return ""


def read_wording(text: str, where: str = "wording") -> Wording:
    """The hospital's own words from TOML: a table for a rule's id, with `FIELDS`.

    Raises:
        TableError: The text is not TOML, or gives anything else; with the line and the reason.
    """
    table = read_toml(text, where, STAYS)
    for rule, row in table.items():
        if rule not in rules():
            fault, field = f"no rule is called '{rule}'", ""
        elif not isinstance(row, dict):
            fault, field = f"'{rule}' is a table with 'reason', 'image' and 'call'", ""
        else:
            faults = {f: said for f in row if (said := _fault(row, f))}
            field, fault = next(iter(faults.items()), ("", ""))
        if fault:
            raise TableError(fault, f"{where}, line {line_of(text, rule, field)}", STAYS)
    return table
