"""The body facing the reader: grades at their sites, the loss of sensation shaded, as lines of text.

The patient's right is on the left of the page. The drawing is a table (``body.toml``); the picture
that is exported (`wardexam.note.svg`) is made from the same cells.
"""

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any

from pydantic import Field

from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.errors import TableError
from wardexam.exam.answers import ScaleName, answers_for
from wardexam.exam.examination import Findings
from wardexam.exam.findings import Finding, Side, sides_of
from wardexam.exam.row_sets import row_sets
from wardexam.exam.wording import cell
from wardexam.note.sentences import is_abnormal, pair, pair_words
from wardexam.tables import MEND, Columns, all_known, checked_row, read_table

# What is known of a piece of skin, least to most telling; the worst that was found shows.
STATES = ("", "unknown", "normal", "heightened", "reduced", "absent")
UTF8 = dict(zip(STATES, " \u00b7=^\u2592\u2588", strict=True))
ASCII = dict(zip(STATES, " .=^/#", strict=True))
HALF = 9  # columns of one half of the body
GRADE = 5  # columns of a grade beside it
BESIDE = 3  # columns between the figure and what stands beside it
SKIN = ("sensation", "sphincters")  # the parts that hold findings of the skin
WORDS = {"unknown": "not examined"}
SIDES: tuple[Side, Side] = ("right", "left")


class _Place(Columns):
    row: Annotated[int, Field(gt=0)]
    short: str


class _Body(Columns):
    rows: tuple[Annotated[str, Field(min_length=HALF, max_length=HALF)], ...]
    areas: dict[str, str]
    grades: dict[str, _Place]
    weak: dict[str, int]
    patches: dict[str, tuple[int, int, int, int]]
    reach: dict[str, int]


@cache
def table() -> dict[str, Any]:
    """The drawing.

    Raises:
        TableError: A section is malformed, or names a sign, a skin area, an answer, a row or a column that there is not.
    """
    name = "body.toml"
    made = checked_row(_Body, read_table(name, "wardexam.note"), name)
    all_known({*"".join(made.rows)} - {" "}, made.areas, f"{name}, rows")
    for letter, area in made.areas.items():
        all_known((f"touch_{area}",), catalogue(), f"{name}, areas, row {letter}")
    for section, signs in (("grades", made.grades), ("weak", made.weak), ("patches", made.patches)):
        all_known(signs, catalogue(), f"{name}, {section}")
    answers = {*answers_for("stocking").codes, *answers_for("glove").codes}
    all_known(made.reach, answers, f"{name}, reach")
    used = {sign: place.row for sign, place in made.grades.items()} | made.weak | made.reach
    used |= {sign: bottom for sign, (_, bottom, _, _) in made.patches.items()}
    for one, row in used.items():
        if row not in range(len(made.rows)):
            raise TableError(f"no row {row}", where=f"{name}, row {one}", remedy=MEND)
    for sign, (*_, left, right) in made.patches.items():
        if not 0 <= left <= right < HALF:
            raise TableError(f"no columns {left} to {right}", f"{name}, row {sign}", MEND)
    return made.model_dump()


@cache
def _segments() -> tuple[tuple[str, ...], ...]:
    """The skin area of each cell of one half; empty outside the body."""
    areas = table()["areas"]
    return tuple(tuple(areas.get(letter, "") for letter in row) for row in table()["rows"])


def _worst(*states: str) -> str:
    return max(states, key=STATES.index)


def _areas(findings: list[Finding]) -> dict[str, str]:
    """What dermatomes and stated levels say of each skin area."""
    told: dict[str, str] = {}
    for f in findings:
        answer = f.answer or ""
        if f.row.level and answer in SEGMENTS:
            lowest = SEGMENTS.index(answer)
            for area in table()["areas"].values():
                if SEGMENTS.index(area.split("_")[0]) > lowest:
                    told[area] = _worst(told.get(area, ""), "reduced")
        elif f.sign.startswith(("pin_", "touch_")):
            area = f.sign.split("_", 1)[1]
            told[area] = _worst(told.get(area, ""), answer)
    return told


def _patches(findings: list[Finding]) -> Iterator[tuple[int, int, int, int, str]]:
    """First and last row, first and last column of a patch, and what was found there."""
    bottom = len(table()["rows"]) - 1
    for f in findings:
        if f.sign in table()["patches"] and f.answer:
            top, last, left, right = table()["patches"][f.sign]
            yield top, last, left, right, f.answer
        elif f.sign in ("stocking", "glove") and f.answer in table()["reach"]:
            left, right = (0, 2) if f.sign == "glove" else (3, HALF - 1)
            yield table()["reach"][f.answer], bottom, left, right, "reduced"


def skin(examination: Findings, side: Side) -> list[list[str]]:
    """What is known of each cell of one half, in `STATES`; empty outside the body.

    A cell takes the worst of what was found there: dermatomes, a stated level, a nerve's territory,
    stocking and glove, the saddle. What was not examined is unknown.
    """
    findings = [f for f in examination.findings if f.side == side and f.row.part in SKIN]
    areas = _areas(findings)
    cells = [[areas.get(a, "unknown") if a else "" for a in row] for row in _segments()]
    for top, bottom, left, right, state in _patches(findings):
        for row in range(top, bottom + 1):
            for column in range(left, right + 1):
                if cells[row][column]:
                    cells[row][column] = _worst(cells[row][column], state)
    return cells


@dataclass(frozen=True, slots=True)
class Beside:
    """What stands beside one row of the body: the grades of right and left, the sign, its short name."""

    right: str
    left: str
    name: str
    short: str


def grades(examination: Findings, scale: ScaleName | None) -> dict[int, Beside]:
    """The grades at their sites, by row; MRC grades as ``4/5``.

    The core reflexes stand there even when not examined, as ``-``.
    """
    core = {sign.id for sign in row_sets()["core"].signs}
    shown = {}
    for sign, place in table()["grades"].items():
        row = catalogue()[sign]
        found = [examination.finding(sign, side) for side in sides_of(row)]
        if sign in core or any(found):
            texts = [*(_grade(f, scale) for f in found), ""]
            shown[place["row"]] = Beside(texts[0], texts[1], row.name, place["short"])
    return shown


def _grade(finding: Finding | None, scale: ScaleName | None) -> str:
    text = cell(finding, scale)
    mrc = finding is not None and finding.row.mrc and finding.answer is not None
    return f"{text}/5" if mrc else text


def weak(examination: Findings) -> dict[int, list[str]]:
    """The weak movements that have no place of their own, by row: ``plantarflexion right 4, left 3``."""
    shown: dict[int, list[str]] = {}
    for name, row in table()["weak"].items():
        sign = catalogue()[name]
        found = pair(examination, sign)
        if is_abnormal(found):
            words = f"{sign.short or sign.name} {pair_words(found)}"
            shown.setdefault(row, []).append(words)
    return shown


def figure(
    examination: Findings,
    scale: ScaleName | None = None,
    *,
    ascii_only: bool = True,
    width: int = 72,
    aside: bool = False,
) -> list[str]:
    """The body as lines of at most `width` columns, 35 at the least.

    Args:
        examination: What was found.
        scale: The scale of the tendon reflexes; as graded without one.
        ascii_only: Whether it is drawn in ASCII.
        width: Columns.
        aside: Whether what the shades mean stands beside the body and takes no line of its own, where it fits.
    """
    marks = ASCII if ascii_only else UTF8
    right, left = (skin(examination, side) for side in SIDES)
    beside = grades(examination, scale)
    room = width - 2 * (HALF + GRADE) - 3
    beside[0] = Beside("RIGHT", "LEFT", "", "")
    lines, below, elsewhere = [], list[str](), weak(examination)
    for number in range(len(right)):
        body = "".join(marks[s] for s in (*right[number], *reversed(left[number])))
        at = beside.get(number, Beside("", "", "", ""))
        name = at.name if len(at.name) <= room else at.short
        for words in elsewhere.get(number, ()):
            if len(both := "; ".join(filter(None, (name, words)))) <= room:
                name = both
            else:
                below.append(words)
        lines.append(f"{at.right:>{GRADE}} {body} {at.left:<{GRADE}} {name}".rstrip())
    here = {state for half in (right, left) for line in half for state in line} - {""}
    shades = ["skin:", *(f"{marks[s]} {WORDS.get(s, s)}" for s in STATES if s in here)]
    weak_too = f"weak: {'; '.join(below)}" if below else ""
    more = textwrap.wrap(weak_too, width, subsequent_indent="      ")
    names = max(len(catalogue()[sign].name) for sign in table()["grades"])
    column = max(2 * (HALF + GRADE) + BESIDE + names, *map(len, lines[: len(shades)])) + BESIDE
    if not aside or column + max(map(len, shades)) > width:
        return [*lines, *_legend(shades[1:], width), *more]
    told = [*shades, *[""] * len(lines)]
    return [
        *(f"{line:<{column}}{word}".rstrip() for line, word in zip(lines, told, strict=False)),
        *more,
    ]


def _legend(words: list[str], width: int) -> list[str]:
    lines = ["skin:"]
    for word in words:
        if len(lines[-1]) + 2 + len(word) > width:
            lines.append("     ")
        lines[-1] += f"  {word}"
    return lines
