"""A settings file in TOML, refused with the line of what is wrong.

The reader of TOML calls itself for every bracket, keeps a copy of every beginning of a dotted key, and
has no bound on digits: a short text can end the program or take gigabytes. So a text is measured first.
"""

import re
import tomllib
from typing import Any

from wardexam.errors import TableError

LONGEST = 64_000  # bytes or characters, whole
LONGEST_LINE = 2_000  # characters
DEEPEST = 8  # brackets and braces in each other
MOST_DOTS = 8  # in one key
LONGEST_NUMBER = 40  # characters

# Texts as TOML writes them are passed over, one that does not end is left to the reader of TOML.
_PARTS = re.compile(
    r'(?P<text>"""(?:[^\\]|\\.)*?"""{1,3}|\'\'\'.*?\'\'\'{1,3}|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\')'
    r"|(?P<open>[\"'])|#[^\n]*|(?P<number>[0-9][0-9A-Za-z_]*)|(?P<end>\n)|(?P<into>[\[{])|(?P<out>[\]}])"
    r"|(?P<next>[=,])|(?P<dot>\.)",
    re.DOTALL,
)


def read_toml(text: str, where: str, stays: str) -> dict[str, Any]:
    """The table that the text holds.

    Args:
        text: The file's text.
        where: The file's name.
        stays: What is in force when the file is refused.

    Raises:
        TableError: The text is not TOML, or beyond bounds; with the line.
    """
    number, fault = _beyond(text)
    if fault:
        raise TableError(fault, f"{where}, line {number}", stays)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"\(at line (\d+),[^)]*\)|\(at end of document\)", str(error))
        at = (line and line[1]) or str(len(text.splitlines()) or 1)
        reason = str(error)[: line.start()].strip() if line else str(error)
        raise TableError(reason, f"{where}, line {at}", stays) from None
    except (ValueError, RecursionError):  # should the reader of TOML have further bounds
        raise TableError("is not readable", f"{where}, line 1", stays) from None


def _beyond(text: str) -> tuple[int, str]:
    """The line that is beyond bounds and why; empty where none is."""
    if len(text) > LONGEST:
        return 1, f"the file is longer than {LONGEST} characters"
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LONGEST_LINE:
            return number, f"the line is longer than {LONGEST_LINE} characters"
    number, deep, dots = 1, 0, 0
    for part in _PARTS.finditer(text):
        kind, found = part.lastgroup, part[0]
        if kind == "open":
            break
        if kind == "number" and len(found) > LONGEST_NUMBER:
            return number, f"a number or name is longer than {LONGEST_NUMBER} characters"
        deep += (kind == "into") - (kind == "out")
        if deep > DEEPEST:
            return number, f"nested deeper than {DEEPEST}"
        dots = dots + 1 if kind == "dot" else dots if kind in ("text", "number") else 0
        if dots > MOST_DOTS:
            return number, f"more than {MOST_DOTS} dots in a key"
        number += found.count("\n")
    return number, ""


def line_of(text: str, table: str, field: str = "") -> int:
    """The line, from 1, where a table stands, or where its field is set."""
    inside = False
    first = 0
    for number, line in enumerate(text.splitlines(), 1):
        if head := re.match(r"\s*\[\s*+[\"']?([^\]\"']*+)[\"']?\s*+\]", line):
            inside = head[1].strip() == table
            first = first or (number if inside else 0)
        elif re.match(rf"\s*[\"']?{re.escape(table)}\b", line):  # written as one inline table
            first = first or number
        elif inside and field and re.match(rf"\s*[\"']?{re.escape(field)}[\"']?\s*=", line):
            return number
    return first or 1


def line_of_name(text: str, name: str) -> int:
    """The line, from 1, where a name outside every table is set, or a table of that name begins."""
    for number, line in enumerate(text.splitlines(), 1):
        if re.match(rf"\s*\[*\s*[\"']?{re.escape(name)}[\"']?\s*[=.\]]", line):
            return number
    return 1
