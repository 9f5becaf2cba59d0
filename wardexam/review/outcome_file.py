"""Outcomes from a file: CSV or JSON Lines, read whole and refused whole, each wrong row by its number."""

import csv
import io
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from wardexam.errors import InputError, WardexamError
from wardexam.exam.final_sites import FINAL_SIDES, FINAL_SITES
from wardexam.exam.outcome import Outcome
from wardexam.exam.text import counted
from wardexam.records.repository import Repository
from wardexam.records.stored_record import strict_loads
from wardexam.review.concluding import FIELDS, check_image, concluded

COLUMNS = ("patient", *FIELDS)
NAMED = 10  # wrong rows that are named; the others are counted

Row = Mapping[str, str]


def row_schema() -> dict[str, Any]:
    """The JSON Schema of a line of an outcome file; every value is text, and what is empty is not said."""
    told = {
        "patient": "identifier, the hospital's number, or the bed",
        "imaged": "when the image was done: 2026-03-02 14:30, or with its zone",
        "image": "what it showed",
        "positive": "whether it showed what needed action: yes or no",
        "site": f"where the lesion was: {', '.join(FINAL_SITES)}",
        "side": f"the lesion's own side: {', '.join(FINAL_SIDES)}",
        "diagnosis": "the final diagnosis in words",
        "by": "who says so",
        "why": "why it is recorded again",
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "An outcome, a line of what 'wardexam outcome --file' reads",
        "type": "object",
        "additionalProperties": False,
        "required": ["patient"],
        "properties": {
            name: {
                "type": ["string", "null"] if name != "patient" else "string",
                "description": told[name],
            }
            for name in COLUMNS
        },
    }


def rows_of(text: str) -> Iterator[tuple[int, Row | str]]:
    """Each row with its line number: its fields as text, or what is wrong with it.

    A file whose first sign is a brace is JSON Lines, an object a line; any other is CSV with a heading.

    Raises:
        InputError: It is empty, or its heading cannot be used.
    """
    text = text.removeprefix("\ufeff")  # as spreadsheets begin a file
    if not text.strip():
        raise InputError("is empty")
    return _of_json(text) if text.lstrip().startswith("{") else _of_csv(text)


def _unknown(names: "Mapping[str, Any] | list[str]") -> str:
    strange = [str(n) for n in names if n not in COLUMNS]
    return f"no column '{strange[0][:40]}'" if strange else ""


def _of_csv(text: str) -> Iterator[tuple[int, Row | str]]:
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        heading = [name.strip().casefold() for name in next(reader)]
        wrong = _unknown(heading)
        if not wrong and ("patient" not in heading or len({*heading}) != len(heading)):
            wrong = "each column once, 'patient' among them"
        if wrong:
            raise InputError(f"the heading: {wrong}", remedy=f"columns: {', '.join(COLUMNS)}")
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) != len(heading):
                said = f"{counted(len(cells), 'cell')}, the heading has {len(heading)}"
                yield reader.line_num, said
                continue
            yield reader.line_num, dict(zip(heading, cells, strict=True))
    except csv.Error as error:
        raise InputError(f"row {reader.line_num}: cannot be read as CSV ({error})") from None


def _of_json(text: str) -> Iterator[tuple[int, Row | str]]:
    for number, line in enumerate(text.split("\n"), 1):
        if not line.strip():
            continue
        try:
            found = strict_loads(line)
        except ValueError:
            yield number, "is no JSON object"
            continue
        if not isinstance(found, dict):
            yield number, "is no JSON object"
        elif wrong := _unknown(found):
            yield number, wrong
        elif not all(isinstance(value, str | None) for value in found.values()):
            yield number, "every value is text"
        else:
            yield number, {name: value or "" for name, value in found.items()}


@dataclass(frozen=True, slots=True)
class Staged:
    """The outcomes of a file before they are recorded.

    Attributes:
        outcomes: Those that say something new.
        doubts: What is to be looked at in them, by its row.
        already: How many are recorded as they stand in the file.
    """

    outcomes: tuple[Outcome, ...]
    doubts: tuple[str, ...]
    already: int


def staged(
    ward: Repository, text: str, *, whose: Callable[[str], str], by: str, now: datetime
) -> Staged:
    """The outcomes of a file, each checked against the ward; nothing is recorded.

    Args:
        ward: Where they shall go.
        text: The file.
        whose: Gives a patient's identifier for what the row says.
        by: Who brings them in.
        now: When.

    Raises:
        InputError: A row is wrong; names every wrong row, the first ten in words.
    """
    made: dict[str, Outcome] = {}
    wrong: list[str] = []
    doubts: list[str] = []
    already: set[str] = set()
    for number, row in rows_of(text):
        try:
            if isinstance(row, str):
                raise InputError(row)
            given = row.get("patient", "").strip()
            if not given:
                raise InputError("says no patient")
            patient = whose(given)
            if patient in made:
                raise InputError(f"patient {given} is given twice")
            file = ward.file(patient)
            last = file.outcomes[-1] if file.outcomes else None
            said = concluded(row, patient, last, by, now)
            if doubt := check_image(said, last, file.patient, file.examinations):
                doubts.append(f"row {number}: {doubt}")
            made[patient] = said
            if last and last.said == said.said:
                already.add(patient)
        except WardexamError as error:
            wrong.append(f"row {number}: {error}")
    if wrong:
        more = len(wrong) - NAMED
        rest = f"; and {counted(more, 'more row')}" if more > 0 else ""
        raise InputError(f"{'; '.join(wrong[:NAMED])}{rest}; nothing was recorded")
    new = tuple(made[who] for who in made if who not in already)
    return Staged(new, tuple(doubts), len(already))
