"""The scores as typed lines: ``right light touch: 2 to T9, 1 to T12, 0``.

A line says a side (both where none is said) and a test, then ranges from the top, each to its last
segment and the last one to the bottom, shorter as ``2t9, 1t12, 0``; or single segments (``T4 1``,
``T4 to T8 1``), which go before ranges. Motor scores may stand in a row, arms before legs: ``motor right: 5 5 4 3 0 / 0 0 0 0 0``.
"""

import re
from collections.abc import Iterable
from itertools import groupby
from typing import Any

from wardexam.errors import InputError
from wardexam.exam.entry import valid
from wardexam.exam.findings import nearest
from wardexam.exam.sheet import LONGEST_SHEET
from wardexam.injury.segments import FIRST, LOWEST_NAME, NAMES, number
from wardexam.injury.sheet import (
    MARK,
    NO_MOVEMENT,
    NOT_TESTABLE,
    SENSES,
    SIDES,
    TEST_WORDS,
    TESTS,
    InjurySheet,
    Side,
    Test,
    places,
    read_document,
    score,
)
from wardexam.injury.tables import muscles

MOST_LINES = 500
LONGEST_LINE = 4_000  # characters; twice the longest text
_SIDES: dict[str, tuple[Side, ...]] = {
    "right": ("right",),
    "r": ("right",),
    "left": ("left",),
    "l": ("left",),
    "both": SIDES,
}
_TESTS: dict[str, tuple[Test, ...]] = {
    "light touch": ("light_touch",),
    "touch": ("light_touch",),
    "lt": ("light_touch",),
    "pinprick": ("pinprick",),
    "pin prick": ("pinprick",),
    "pin": ("pinprick",),
    "pp": ("pinprick",),
    "sensation": SENSES,
    "motor": ("motor",),
    "power": ("motor",),
}
_SIGNS = {
    "voluntary anal contraction": "anal_contraction",
    "anal contraction": "anal_contraction",
    "vac": "anal_contraction",
    "deep anal pressure": "anal_pressure",
    "anal pressure": "anal_pressure",
    "dap": "anal_pressure",
}
_ANSWERS = {"yes": "yes", "y": "yes", "no": "no", "n": "no", "nt": NOT_TESTABLE}
_MOVEMENT = ("movement", "non-key", "other movement")
_EARLIER = "earlier deficit"
_RATED = "count"
_STARTS = (*_TESTS, *_SIGNS, *_MOVEMENT, _EARLIER, _RATED, "id", "comment", *_SIDES)


def _one_of(words: Iterable[str]) -> str:
    return "|".join(sorted(words, key=len, reverse=True))


def _line(pattern: str) -> re.Pattern[str]:
    """A line, whatever its case, with any blanks between words."""
    return re.compile(pattern.replace(" ", r"\s+"), re.IGNORECASE)


_SIDE = rf"(?:{_one_of(_SIDES)})\b"
_SEGMENT = r"(?:S4-5|S4/5|S45|[CTLS][0-9]{1,2})"
_TEST_LINE = _line(rf"({_SIDE})?\s*({_one_of(_TESTS)})\b\s*({_SIDE})?\s*:?\s*(.*)")
_SIGN_LINE = _line(rf"({_one_of(_SIGNS)})\b\s*:?\s*(\w*)")
_MOVEMENT_LINE = _line(rf"(?:{_one_of(_MOVEMENT)}) ({_SIDE})\s*:?\s*(\S*)")
_EARLIER_LINE = _line(rf"{_EARLIER}\b\s*:?\s*(\w*)")
_RATED_LINE = _line(
    rf"{_RATED} (?P<side>{_SIDE}) (?P<test>{_one_of(_TESTS)}) (?P<segment>{_SEGMENT})"
    r" as (?P<counts>normal|examined)\s*:?\s*(?P<why>.*)"
)
_TEXT_LINE = _line(r"(id|comment)\s*:\s*(.*)")
_TO = r"\s*(?:-|\bto\b|\bthrough\b)\s*"
_SINGLE = re.compile(
    rf"(?P<first>{_SEGMENT})(?:{_TO}(?P<last>{_SEGMENT}))?\s*[= ]\s*(?P<code>\S+)", re.IGNORECASE
)
_RANGE = re.compile(
    rf"(?P<code>\S+)\s+(?:to|through)\s+(?P<last>{_SEGMENT})"
    rf"|(?P<short>(?:[0-9]|NT?)[+-]?\*?)(?P<end>{_SEGMENT})",
    re.IGNORECASE,
)
_IN_A_ROW = re.compile(r"(?:NT?|[0-9*+\-/|,\s])*", re.IGNORECASE)
_EACH = re.compile(r"(?:[0-9]|NT?)[+-]?\*?", re.IGNORECASE)
_SIGNED = re.compile(r"([1-4])\+|(4)-")
_BEGINS = _line(rf"(?:{_one_of(_STARTS)})\b")
_DOTTED = re.compile(r"[,;]")
_EXAMPLE = "such as 'right light touch: 2 to T9, 1 to T12, 0'"


def read_typed(text: str) -> InjurySheet:
    """A sheet from typed lines.

    Raises:
        InputError: A line is not understood, or says otherwise than one before; names line and word.
    """
    if len(text) > LONGEST_SHEET:
        raise InputError(f"longer than {LONGEST_SHEET} characters", where="sheet")
    document: dict[str, Any] = {test: {side: {} for side in SIDES} for test in TESTS}
    document |= {"movements": {}, "rated": []}
    lines = text.splitlines()
    if len(lines) > MOST_LINES:
        raise InputError(f"more than {MOST_LINES} lines", where="sheet")
    empty = True
    for count, line in enumerate(lines, 1):
        said = line.strip()
        if said and not said.startswith("#"):
            empty = False
            try:
                if len(said) > LONGEST_LINE:
                    raise InputError(f"longer than {LONGEST_LINE} characters")
                _read_line(said, document)
            except InputError as error:
                raise InputError(error.what, f"line {count}", error.remedy) from None
    if empty:
        raise InputError("nothing was given", remedy=f"type lines {_EXAMPLE}")
    return valid(InjurySheet, document)


def read_more(sheet: InjurySheet, text: str) -> InjurySheet:
    """What a typed line says beside a sheet that stands, on which it may count a marked score.

    Raises:
        InputError: It is not understood, or counts a score that is not marked there.
    """
    if not re.match(rf"{_RATED}\b", text.strip(), re.IGNORECASE):
        return read_typed(text)
    bare = sheet.model_copy(update={"rated": (), "comment": "", "id": ""})
    try:
        rated = read_typed(f"{write_typed(bare)}{text}").rated
    except InputError as error:
        raise InputError(error.what, remedy=error.remedy) from None
    return bare.model_copy(update={"rated": rated})


def begins_a_line(text: str) -> bool:
    """Whether a text says at its beginning what it is about, as a line of a sheet does."""
    return bool(_BEGINS.match(text.strip()))


def read_column(test: Test, side: Side, text: str, *, both: bool = False) -> InjurySheet:
    """The scores of one test as typed at a column: ranges or segments, a slash before those of the left.

    Args:
        test: The test.
        side: The side that is meant where the text has no slash.
        text: What was typed: ``2t9, 1t12, 0``, ``2 to T9, 0 / 2 to T10, 0``; motor scores may stand in a
            row of ten, arms before legs.
        both: Whether both sides are meant where the text has no slash.

    Raises:
        InputError: It is not understood; names the word.
    """
    halves = _halves(test, text)
    if len(halves) == len(SIDES):
        of = dict(zip(SIDES, halves, strict=True))
    else:
        of = dict.fromkeys(SIDES if both else (side,), halves[0])
    document = {test: {each: _scores(test, said) for each, said in of.items()}}
    return InjurySheet.model_validate(document)


def is_arms_and_legs(test: Test, text: str) -> bool:
    """Whether the slash of what was typed stands between arms and legs of one side, not between right and left."""
    return "/" in text and len(_halves(test, text)) == 1


def _halves(test: Test, text: str) -> list[str]:
    """The right and the left of what was typed, or all of it where it is of one."""
    parts = text.split("/")
    if test == "motor" and len(parts) > 1 and _IN_A_ROW.fullmatch(text):
        limbs = [len(_EACH.findall(part)) for part in parts]
        half = len(places(test)) // len(SIDES)
        if limbs == [half] * len(parts):  # arms before legs
            row = len(SIDES)
            parts = ["/".join(parts[at : at + row]) for at in range(0, len(parts), row)]
    if len(parts) > len(SIDES):
        raise InputError(f"{len(parts)} parts between slashes", remedy="one for the right, one for the left")  # fmt: skip
    return parts


def read_injury(text: str) -> InjurySheet:
    """A sheet from typed lines, or from a JSON document.

    Raises:
        InputError: It cannot be accepted; says what, where and what to do.
    """
    return read_document(text) if text.lstrip().startswith("{") else read_typed(text)


def _read_line(said: str, document: dict[str, Any]) -> None:
    """Add what one line says to the document."""
    if text := _TEXT_LINE.fullmatch(said):
        name = text[1].lower()
        document[name] = f"{document[name]}\n{text[2]}" if name in document else text[2]
        return
    line = " ".join(said.split())  # with many blanks no search of the patterns may grow
    if found := _TEST_LINE.fullmatch(line):
        before, test, after, body = found.groups()
        if before and after and before.lower() != after.lower():
            raise InputError("two sides in one line", remedy="write a line for each side")
        sides = _SIDES[(before or after or "both").lower()]
        for each in _TESTS[_plain(test)]:
            scores = _scores(each, body)
            for side in sides:
                _add(document[each][side], scores, f"{side} {TEST_WORDS[each]}")
    elif found := _SIGN_LINE.fullmatch(line):
        _once(document, _SIGNS[_plain(found[1])], _answer(found[2]))
    elif found := _MOVEMENT_LINE.fullmatch(line):
        word = found[2].lower()
        said = NO_MOVEMENT if word == NO_MOVEMENT else word.upper()
        for side in _SIDES[found[1].lower()]:
            _once(document["movements"], side, said)
    elif found := _EARLIER_LINE.fullmatch(line):
        _once(document, "earlier_deficit", _answer(found[1]))
    elif found := _RATED_LINE.fullmatch(line):
        rated = {"segment": _segment(found["segment"]), "counts": found["counts"].lower()}
        for side in _SIDES[found["side"].lower()]:
            for each in _TESTS[_plain(found["test"])]:
                document["rated"].append({"side": side, "test": each, "why": found["why"], **rated})
    else:
        word = line.split(":")[0].strip()
        raise InputError(
            f"'{word}' is not understood: {nearest(word.lower(), _STARTS)}",
            remedy=f"begin a line with a side and a test, {_EXAMPLE}",
        )


def _plain(words: str) -> str:
    return " ".join(words.lower().split())


def _once(document: dict[str, Any], name: str, said: str) -> None:
    if document.setdefault(name, said) != said:
        raise InputError(
            f"{name.replace('_', ' ')} was given as {document[name]} before, now as {said}",
            remedy="leave one out",
        )


def _add(given: dict[str, str], scores: dict[str, str], where: str) -> None:
    for segment, code in scores.items():
        if given.setdefault(segment, code) != code:
            raise InputError(
                f"{where} {segment} was given as {given[segment]} before, now as {code}",
                remedy="leave one out",
            )


def _answer(word: str) -> str:
    answer = _ANSWERS.get(word.lower())
    if answer is None:
        raise InputError(f"'{word}' is no answer here: yes, no or NT")
    return answer


def _segment(word: str) -> str:
    """The name of a segment as written."""
    upper = word.upper()
    return LOWEST_NAME if upper in ("S45", "S4/5", LOWEST_NAME) else upper


def _code(test: Test, word: str) -> str:
    """The code of a written score; a motor grade with a plus, and 4 with a minus, as its digit."""
    code = word.upper()
    mark = MARK if code.endswith(MARK) else ""
    bare = code.removesuffix(MARK)
    if bare == "N":
        bare = NOT_TESTABLE
    if test == "motor" and (signed := _SIGNED.fullmatch(bare)):
        bare = signed[1] or signed[2]
    try:
        return score(test, bare + mark).code
    except ValueError as error:
        raise InputError(str(error)) from None


def _down_to(test: Test, word: str) -> int:
    """How many places of a test lie at or above a segment."""
    return sum(number(place) <= _known(test, word) for place in places(test))


def _known(test: Test, word: str) -> int:
    """The number of a segment as written."""
    name = _segment(word)
    if name not in NAMES or number(name) < FIRST:
        raise InputError(f"there is no segment '{word}' here: {nearest(name, places(test))}")
    return number(name)


def _scores(test: Test, body: str) -> dict[str, str]:
    """The codes that the words after a test give, by segment."""
    if not body.strip():
        raise InputError("no scores in this line", remedy=f"write ranges, {_EXAMPLE}")
    row = _EACH.findall(body) if test == "motor" and _IN_A_ROW.fullmatch(body) else []
    if len(row) > 1:
        if len(row) != len(places(test)):
            raise InputError(
                f"{len(row)} motor scores in a row", remedy="ten are needed, arms before legs"
            )
        return dict(zip(places(test), (_code(test, word) for word in row), strict=True))
    ranges: dict[str, str] = {}
    singles: dict[str, str] = {}
    reached = 0
    for item in filter(None, (part.strip() for part in _DOTTED.split(body))):
        if single := _SINGLE.fullmatch(item):
            first, last = single["first"], single["last"] or single["first"]
            down_to = _down_to(test, last)
            names = [n for n in places(test)[:down_to] if number(n) >= _known(test, first)]
            if not names and not single["last"]:
                raise InputError(f"there is no key muscle at {_segment(first)}")
            if not names:
                raise InputError(f"'{item}' holds nothing to score, or ends above where it begins")
            _add(singles, dict.fromkeys(names, _code(test, single["code"])), TEST_WORDS[test])
            continue
        if ranged := _RANGE.fullmatch(item):
            word = ranged["code"] or ranged["short"]
            end = _down_to(test, ranged["last"] or ranged["end"])
        else:
            word, end = item, len(places(test))
        code = _code(test, word)
        if end <= reached:
            raise InputError(
                f"'{item}' lies above what the ranges before it reached",
                remedy="write ranges from the top down, the last without a segment",
            )
        ranges |= dict.fromkeys(places(test)[reached:end], code)
        reached = end
    return ranges | singles


def write_typed(sheet: InjurySheet) -> str:
    """The sheet as typed lines that `read_typed` reads; a text of several lines as so many lines."""
    lines = [f"id: {' '.join(sheet.id.split())}"] if sheet.id else []
    lines += [
        f"{side} {TEST_WORDS[test]}: {scores_in_words(test, given)}"
        for test in TESTS
        for side in SIDES
        if (given := getattr(getattr(sheet, test), side))
    ]
    for sign, word in (("anal_contraction", "vac"), ("anal_pressure", "dap")):
        if answer := getattr(sheet, sign):
            lines.append(f"{word} {answer}")
    lines += [
        f"movement {side} {movement}"
        for side in SIDES
        if (movement := getattr(sheet.movements, side))
    ]
    if sheet.earlier_deficit:
        lines.append(f"{_EARLIER} {sheet.earlier_deficit}")
    for row in sheet.rated:
        place = f"{row.side} {TEST_WORDS[row.test]} {row.segment}"
        why = f": {' '.join(row.why.split())}" if row.why.strip() else ""
        lines.append(f"{_RATED} {place} as {row.counts}{why}")
    lines += [f"comment: {line}" for line in sheet.comment.splitlines()]
    return "\n".join(lines) + "\n"


def scores_in_words(test: Test, given: dict[str, str]) -> str:
    """The scores of one test and side as a typed line says them after its colon."""
    held = [(name, given.get(name)) for name in places(test)]
    if test == "motor" and all(code for _, code in held):
        arm = [str(code) for name, code in held if muscles().key[name].limb == "arm"]
        leg = [str(code) for name, code in held if muscles().key[name].limb == "leg"]
        return f"{' '.join(arm)} / {' '.join(leg)}"
    said, from_the_top = [], test != "motor"
    for code, group in groupby(held, key=lambda each: each[1]):
        names = [name for name, _ in group]
        if code is None:
            from_the_top = False
        elif from_the_top:
            to_the_end = names[-1] == places(test)[-1]
            said.append(code if to_the_end else f"{code} to {names[-1]}")
        else:
            place = names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}"
            said.append(f"{place} {code}")
    return ", ".join(said)
