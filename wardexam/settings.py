"""A settings file in TOML, refused with the line of what is wrong."""

import re
import tomllib
from typing import Any

from wardexam.errors import TableError


def read_toml(text: str, where: str, stays: str) -> dict[str, Any]:
    """The table that the text holds.

    Args:
        text: The file's text.
        where: The file's name.
        stays: What is in force when the file is refused.

    Raises:
        TableError: The text is not TOML; with the line.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"\(at line (\d+),[^)]*\)|\(at end of document\)", str(error))
        number = (line and line[1]) or str(len(text.splitlines()) or 1)
        reason = str(error)[: line.start()].strip() if line else str(error)
        raise TableError(reason, f"{where}, line {number}", stays) from None


def line_of(text: str, table: str, field: str = "") -> int:
    """The line, from 1, where a table stands, or where its field is set."""
    inside = False
    first = 0
    for number, line in enumerate(text.splitlines(), 1):
        if head := re.match(r"\s*\[\s*[\"']?([^\]\"']*?)[\"']?\s*\]", line):
            inside = head[1] == table
            first = first or (number if inside else 0)
        elif re.match(rf"\s*[\"']?{re.escape(table)}\b", line):  # written as one inline table
            first = first or number
        elif inside and field and re.match(rf"\s*[\"']?{re.escape(field)}[\"']?\s*=", line):
            return number
    return first or 1
