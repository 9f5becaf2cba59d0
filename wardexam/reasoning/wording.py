"""The hospital's own words for the rules: numbers to call, times to image; never whether a rule fires."""

import re
import tomllib
from typing import Any

from wardexam.errors import TableError
from wardexam.reasoning.urgency import rules

# For a rule's id its ``reason``, ``image`` and ``call``, in the hospital's words.
Wording = dict[str, dict[str, str]]
FIELDS = ("reason", "image", "call")
LONGEST = 160
STAYS = "the built-in wording stays"


def _line_of(text: str, rule: str, field: str = "") -> int:
    """The line, from 1, where a rule's table stands, or where its field is set."""
    inside = False
    first = 0
    for number, line in enumerate(text.splitlines(), 1):
        if head := re.match(r"\s*\[\s*[\"']?([^\]\"']*?)[\"']?\s*\]", line):
            inside = head[1] == rule
            first = first or (number if inside else 0)
        elif re.match(rf"\s*[\"']?{re.escape(rule)}\b", line):  # written as one inline table
            first = first or number
        elif inside and field and re.match(rf"\s*[\"']?{re.escape(field)}[\"']?\s*=", line):
            return number
    return first or 1


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
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"\(at line (\d+),[^)]*\)|\(at end of document\)", str(error))
        number = (line and line[1]) or str(len(text.splitlines()) or 1)
        reason = str(error)[: line.start()].strip() if line else str(error)
        raise TableError(reason, f"{where}, line {number}", STAYS) from None
    for rule, row in table.items():
        if rule not in rules():
            fault, field = f"no rule is called '{rule}'", ""
        elif not isinstance(row, dict):
            fault, field = f"'{rule}' is a table with 'reason', 'image' and 'call'", ""
        else:
            faults = {f: said for f in row if (said := _fault(row, f))}
            field, fault = next(iter(faults.items()), ("", ""))
        if fault:
            raise TableError(fault, f"{where}, line {_line_of(text, rule, field)}", STAYS)
    return table
