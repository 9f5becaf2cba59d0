"""Codes of open standards beside our own, and what a hospital says in its own file: ``fhir.toml`` among the settings.

The file may give ``number_system``, the system of the hospital's patient numbers as a URI, and ``[codes]``: by a code
of ours, such as ``"side.right"``, a table with ``system``, ``code``, ``display`` and ``source``.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Annotated, Any

from pydantic import Field

from wardexam.errors import TableError
from wardexam.fhir.own_codes import words
from wardexam.settings import line_of, read_toml
from wardexam.tables import TableRow, read_rows, read_table

FIELDS = ("system", "code", "display", "source")
STAYS = "nothing was exported"
UCUM = "http://unitsofmeasure.org"
_URI = re.compile(r"[a-z][a-z0-9+.-]{0,30}:[\x21-\x7e]{1,300}")
_CODE = re.compile(r"[\x21-\x7e]+( [\x21-\x7e]+)*")

Coding = dict[str, str]


@dataclass(frozen=True, slots=True)
class Hospital:
    """What a hospital says of its bundles.

    Attributes:
        number_system: The system of its patient numbers, a URI; empty where none is said.
        codes: For a code of ours the coding of a standard.
    """

    number_system: str = ""
    codes: Mapping[str, Coding] = field(default_factory=dict)


def _fault(name: str, row: Any) -> tuple[str, str]:
    """The field at fault and what is wrong with it; empty where nothing is."""
    if name not in words():
        return "", f"no code of ours is called '{name}'"
    if not isinstance(row, dict) or set(row) != set(FIELDS):
        return "", f"'{name}' is a table with {', '.join(FIELDS)}"
    for part, text in row.items():
        if not isinstance(text, str) or not text.strip() or not text.isprintable():
            return part, f"'{part}' is a line of text"
    if not _URI.fullmatch(row["system"]):
        return "system", "'system' is a URI, such as http://loinc.org"
    if not _CODE.fullmatch(row["code"]):
        return "code", "'code' is a code, without two blanks together"
    return "", ""


def _checked(table: Mapping[str, Any], where: str, text: str = "") -> dict[str, Coding]:
    made = {}
    for name, row in table.items():
        part, fault = _fault(name, row)
        if fault:
            line = f", line {_line(text, name, part)}" if text else f", row {name}"
            raise TableError(fault, f"{where}{line}", STAYS)
        made[name] = {key: row[key] for key in ("system", "code", "display")}
    return made


def _line(text: str, name: str, part: str) -> int:
    """The line at which a row of ``[codes]`` stands, or one of its fields."""
    plain = re.sub(r"^[ \t]*\[[ \t]*codes[ \t]*\.[ \t]*", "[", text, flags=re.MULTILINE)
    return line_of(plain, name, part)


class _Unit(TableRow):
    code: Annotated[str, Field(min_length=1)]


@cache
def standard_codes() -> dict[str, Coding]:
    """The codings of ``codes.toml`` by our code.

    Raises:
        TableError: A row is malformed or without a source.
    """
    return _checked(read_table("codes.toml", "wardexam.fhir"), "codes.toml")


@cache
def units() -> dict[str, str]:
    """The UCUM code of each unit that we write.

    Raises:
        TableError: A row is malformed or without a source.
    """
    rows = read_rows("units.toml", "wardexam.fhir", _Unit)
    return {name: row.code for name, row in rows.items()}


def read_hospital(text: str, where: str = "fhir.toml") -> Hospital:
    """A hospital's own file.

    Raises:
        TableError: It is not TOML, or says anything else; with the line.
    """
    table = read_toml(text, where, STAYS)
    for name in table:
        if name not in ("number_system", "codes"):
            raise TableError(
                f"'{name}' cannot be given, only 'number_system' and 'codes'",
                f"{where}, line {line_of(text, name)}",
                STAYS,
            )
    system, rows = table.get("number_system", ""), table.get("codes", {})
    if not isinstance(system, str) or (system and not _URI.fullmatch(system)):
        raise TableError(
            "'number_system' is a URI, such as urn:oid:1.2.3",
            f"{where}, line {line_of(text, 'number_system')}",
            STAYS,
        )
    if not isinstance(rows, dict):
        raise TableError("'codes' is a table", f"{where}, line {line_of(text, 'codes')}", STAYS)
    return Hospital(system, _checked(rows, where, text))
