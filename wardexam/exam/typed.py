"""Findings on a typed line: ``knee 2/0 ankle 2/0 plantar down/up age=63 onset=days``.

Two answers with a slash are the patient's right and left; a midline sign has one answer. ``-`` is
"not examined"; ``known:2/0`` marks both as documented before and unchanged. Whether ``2/5`` of power is
right and left or a grade out of five is for whoever has it typed to ask (`of_five`). After a colon stand a quality, a number, or the reason for ``nt`` (not testable).
"""

import json
import re
from collections.abc import Iterator
from typing import Any, NamedTuple

from wardexam.anatomy.catalogue import MEASURED, Sign, catalogue
from wardexam.errors import InputError
from wardexam.exam.answering import answer_code, synonyms
from wardexam.exam.answers import ScaleName, answers_for, scales
from wardexam.exam.findings import REASON_WORDS, nearest, qualities, sides_of
from wardexam.exam.sheet import (
    LONGEST_NUMBER,
    LONGEST_SHEET,
    Sheet,
    groups,
    read_sheet,
    sign_names,
)
from wardexam.exam.wording import DOCUMENTED

_CONTEXT = re.compile(
    r"(age|sex|onset|complaint|complaint_side|pain|trauma|setting|bears_weight|scale|id)=(.+)"
)
KNOWN = "known:"
_FLAG = re.compile(r"flag:(\w+)=(yes|no)")
_REST = re.compile(r"rest=(\w+):(\w+)")
_OF_FIVE = re.compile(r"([0-4][-+]?)/5")
_OF_FOUR = re.compile(r".+/4")  # how some write a reflex
SETTING = re.compile("|".join(f"(?:{p.pattern})" for p in (_CONTEXT, _FLAG, _REST)))  # no sign


def _number(digits: str, what: str, where: str) -> int:
    """A whole number of no more digits than any that has a meaning here."""
    if not digits.isdecimal():
        raise InputError(f"{what}, not '{digits}'", where=where)
    if len(digits) > LONGEST_NUMBER:
        raise InputError(f"{what}: {len(digits)} digits are too many", where=where)
    return int(digits)


def _answer(row: Sign, word: str, scale: ScaleName) -> dict[str, Any]:
    """The fields of a finding that one answer gives."""
    value, *extras = word.split(":")
    if value == "nt":
        reason = extras[0] if extras else "other"
        if reason not in REASON_WORDS:
            raise InputError(
                f"unknown reason '{reason}': {nearest(reason, REASON_WORDS)}", where=row.id
            )
        return {"not_testable": reason}
    allowed = answers_for(row.answers, scale)
    if row.answers == MEASURED and value.isdecimal() and not extras:
        (value,), extras = allowed.codes, [value]  # a number alone is what was measured
    fields: dict[str, Any] = {"answer": answer_code(row, value, scale)}
    if fields["answer"] is None:
        choices = ", ".join(
            f"{a.key} ({a.code})" if a.key != a.code else a.code for a in allowed.answers
        )
        more = " or a segment" if row.level else ""
        raise InputError(f"'{value}' is not an answer here: choose {choices}{more}", where=row.id)
    for extra in extras:
        if extra.isdecimal():
            fields["amount"] = _number(extra, "a number of beats, degrees or mL", row.id)
        elif extra in qualities():
            fields.setdefault("qualities", []).append(extra)
        else:
            raise InputError(
                f"'{extra}' is neither a number nor one of {', '.join(qualities())}", row.id
            )
    return fields


def read_line(line: str) -> Sheet:
    """A sheet from one typed line.

    Raises:
        InputError: A word is not understood; names it and the nearest that is.
    """
    if len(line) > LONGEST_SHEET:
        raise InputError(f"longer than {LONGEST_SHEET} characters", where="line")
    names, words = sign_names(), line.split()
    sheet: dict[str, Any] = {"findings": [], "rest_normal": [], "context": {}, "flags": {}}
    scale: ScaleName = "conventional"
    for word in words:
        if word.startswith("scale="):
            wanted = word.removeprefix("scale=")
            if wanted not in scales():
                raise InputError(
                    f"unknown scale '{wanted}': {nearest(wanted, scales())}", where="scale"
                )
            scale = wanted
    position = 0
    while position < len(words):
        word = words[position]
        if setting := _CONTEXT.fullmatch(word):
            field, text = setting.groups()
            target = sheet if field in ("scale", "id") else sheet["context"]
            _once(
                target,
                field,
                _number(text, "age is a number of years", "age") if field == "age" else text,
            )
        elif flag := _FLAG.fullmatch(word):
            _once(sheet["flags"], flag[1], flag[2])
        elif rest := _REST.fullmatch(word):
            sheet["rest_normal"].append({"part": rest[1], "limb": rest[2].replace("_", " ")})
        else:
            position = _read_sign(words, position, names, sheet, scale)
            continue
        position += 1
    return read_sheet(json.dumps(sheet))


class _Typed(NamedTuple):
    """A sign of a typed line: its name as typed, its id, its answers without the mark of what is known, and which word they are."""

    name: str
    sign: str
    given: str
    at: int


def _each_sign(line: str) -> Iterator[_Typed]:
    """Every sign of a typed line.

    Raises:
        InputError: A sign is not known.
    """
    words, names, position = line.split(), sign_names(), 0
    while position < len(words):
        if SETTING.fullmatch(words[position]):
            position += 1
            continue
        name, at = _name_at(words, position, names)
        given = words[at].removeprefix(KNOWN) if at < len(words) else ""
        yield _Typed(" ".join(words[position:at]), names[name], given, at)
        position = at + 1


class OfFive(NamedTuple):
    """A pair that may be a grade of power out of five as well as right and left: ``power_leg 2/5``.

    Attributes:
        name: The sign, as it was typed.
        grade: The grade.
        at: Which word of the line the pair is.
    """

    name: str
    grade: str
    at: int


def of_five(line: str) -> tuple[OfFive, ...]:
    """The pairs of a typed line that may be grades out of five; none where another pair shows that right and left are meant.

    Raises:
        InputError: A sign is not known.
    """
    found = list[OfFive]()
    for name, sign, given, at in _each_sign(line):
        row = catalogue()[groups().get(sign, (sign,))[0]]
        if row.mrc and (grade := _OF_FIVE.fullmatch(given)):
            found.append(OfFive(name, grade[1], at))
        elif "/" in given and given != "5/5" and not (row.tendon and _OF_FOUR.fullmatch(given)):
            return ()
    return tuple(found)


def on_both_sides(line: str) -> str:
    """The line with each grade out of five on right and left."""
    words = line.split()
    for pair in of_five(line):
        known = KNOWN if words[pair.at].startswith(KNOWN) else ""
        words[pair.at] = f"{known}{pair.grade}/{pair.grade}"
    return " ".join(words)


def without_doubt(line: str) -> None:
    """Hold a typed line to what it can mean, where nobody can be asked.

    Raises:
        InputError: A pair may be a grade out of five as well as right and left, an answer may mean that a function is
            there or that its loss is, or a sign is not known.
    """
    of_function = synonyms()["of_function"]
    plain = (*of_function["kept"], *of_function["lost"])
    for name, sign, given, _ in _each_sign(line):
        answers = given.lower().split("/")
        doubtful = [a for a in answers if a != "-" and not a.startswith("nt") and a not in plain]
        by_id = name.lower().replace(" ", "_") == sign  # else its whole name says what is meant
        if by_id and sign in of_function["signs"] and doubtful:
            raise InputError(
                f"'{doubtful[0]}' may be said of what is there or of its loss",
                name,
                "say normal or reduced",
            )
    for name, grade, _ in of_five(line):
        raise InputError(
            f"{grade}/5 may be right {grade}, left 5, or grade {grade} out of 5",
            name,
            f"{grade}/full says right {grade}, left 5, and {grade}/{grade} grade {grade} on both sides",
        )


def _once(target: dict[str, Any], name: str, value: object) -> None:
    """Write what is told; told again it must be the same, since nothing says which of two counts."""
    if target.setdefault(name, value) != value:
        raise InputError(f"given twice, as {target[name]} and as {value}", where=name)


def _name_at(words: list[str], position: int, names: dict[str, str]) -> tuple[str, int]:
    """A sign's name, of up to four words, and the position after it."""
    for length in (4, 3, 2, 1):
        name = (
            "_".join(words[position : position + length]).lower().replace(",", "").replace("-", "_")
        )
        if name in names and position + length <= len(words):
            return name, position + length
    raise InputError(f"unknown sign '{words[position]}': {nearest(words[position].lower(), names)}")


def _read_sign(
    words: list[str], position: int, names: dict[str, str], sheet: dict[str, Any], scale: ScaleName
) -> int:
    """Read a sign's name and its answer; give the position after it."""
    name, position = _name_at(words, position, names)
    sign = names[name]
    row = catalogue()[groups().get(sign, (sign,))[0]]
    if position == len(words):
        raise InputError(f"{sign} has no answer; write right/left, as in '{sign} 2/2'")
    given = words[position]
    known = given.startswith(KNOWN)
    given = given.removeprefix(KNOWN)
    answers = given.split("/")
    sides = sides_of(row)
    if (
        "+/-" in given and row.tendon and scale == "plus"
    ):  # a grade of the plus-sign chart that holds a slash of its own
        answers = given.replace("+/-", "\0").split("/")
        answers = [a.replace("\0", "+/-") for a in answers]
    if len(answers) != len(sides):
        shape = "right/left" if len(sides) == 2 else "one answer"
        raise InputError(f"'{words[position]}' does not fit: {sign} takes {shape}", where=sign)
    for side, answer in zip(sides, answers, strict=True):
        if name in synonyms()["in_words"]["signs"] and answer.isdecimal():
            raise InputError(
                f"'{answer}' may be there or not, or {sign} {answer}: say up or down", name
            )
        if answer != "-":
            fields = _answer(row, answer, scale)
            if known:
                fields["known"] = DOCUMENTED
            sheet["findings"].append({"sign": sign, "side": side, **fields})
    return position + 1
