"""One typed answer to one question of the line mode: what may be typed, and the finding it gives."""

import re

from pydantic import ValidationError

from wardexam.anatomy.catalogue import Sign
from wardexam.errors import InputError
from wardexam.exam.answering import answer_code
from wardexam.exam.answers import AnswerSet, ScaleName, answers_for
from wardexam.exam.entry import first_fault
from wardexam.exam.findings import REASON_WORDS, Finding, Reason, Side


def choices(sign: Sign, scale: ScaleName) -> str:
    """What may be typed for a sign, in words, e.g. ``"0 absent, 1 reduced, 2 present"``."""
    allowed = answers_for(sign.answers, scale)
    if sign.mrc:
        return "MRC grade: " + ", ".join(allowed.codes)
    words = [
        f"{a.key} {a.words}" + (f" ({a.code})" if sign.tendon else "") for a in allowed.answers
    ]
    if sign.level:
        words.append("or the lowest segment that is still normal, such as T10")
    if allowed.amount:
        number = allowed.amount
        asked = f"the number of {number.unit}, {number.least} to {number.most}"
        words = [asked] if number.required else [*words, f"after a space {asked}"]
    return ", ".join(words)


def finding(sign: Sign, side: Side, text: str, scale: ScaleName) -> Finding:
    """The finding that a typed answer gives.

    An answer is its key, code, mark or words, or another word for it, with a number after a space where one is taken.
    A pair with a slash is read by `pair`; alone ``4/5`` is the MRC grade 4.

    Raises:
        InputError: The text is no answer here; says what is.
    """
    allowed = answers_for(sign.answers, scale)
    typed = " ".join(text.lower().split())
    if sign.mrc:
        # 4/5 is how a doctor writes MRC 4.
        typed = typed.removesuffix("/5")
    code, amount = _code(sign, allowed, typed, scale), None
    if code is None:
        head, _, tail = typed.rpartition(" ")
        if tail.isdecimal() and allowed.amount:
            if head:
                code = _code(sign, allowed, head, scale)
            elif allowed.amount.required:
                code = allowed.amount.answers[0]
            amount = int(tail) if len(tail) < 6 else -1
    if code is None:
        raise InputError(f"'{text.strip()}' is no answer here", remedy=choices(sign, scale))
    fields = {
        "sign": sign.id,
        "side": side,
        "answer": code,
        "scale": scale if sign.tendon else None,
        "amount": amount,
    }
    try:
        return Finding.model_validate(fields)
    except ValidationError as error:
        raise InputError(first_fault(error), remedy=choices(sign, scale)) from None


def pair(sign: Sign, text: str, scale: ScaleName) -> tuple[Finding, ...] | None:
    """The findings of right and left that a pair such as ``2/2`` gives; ``-`` leaves a side not examined.

    None where it is no pair: `finding` then says what it is. Whether an MRC grade out of five is meant is
    for `out_of_five` to say.

    Raises:
        InputError: Both are answers, and the sign has no sides.
    """
    pieces = text.split("/")
    for at in range(1, len(pieces)):
        halves = ("/".join(pieces[:at]).strip(), "/".join(pieces[at:]).strip())
        found = list[Finding]()
        sides: tuple[Side, Side] = ("right", "left") if sign.sides == "each" else ("midline",) * 2
        try:
            found += [
                finding(sign, side, half, scale)
                for side, half in zip(sides, halves, strict=True)
                if half != "-"
            ]
        except InputError:
            continue
        if found and sign.sides != "each":
            raise InputError(f"{sign.name} has no sides", remedy="give one answer")
        if found:
            return tuple(found)
    return None


def out_of_five(sign: Sign, text: str) -> bool:
    """Whether ``4/5`` may be meant as the grade 4 out of 5 as well as right 4 and left 5."""
    return sign.mrc and bool(re.fullmatch(r" *(?:[0-5]|4[-+]) */ *5 *", text))


def _code(sign: Sign, allowed: AnswerSet, typed: str, scale: ScaleName) -> str | None:
    """The code of the answer that is typed; a required number is no answer alone."""
    required = allowed.amount is not None and allowed.amount.required
    return None if required else answer_code(sign, typed, scale)


def not_testable(sign: Sign, side: Side, reason: Reason) -> Finding:
    """The finding that a sign could not be tested."""
    return Finding.model_validate({"sign": sign.id, "side": side, "not_testable": reason})


def reasons() -> tuple[tuple[Reason, str], ...]:
    """Why a sign may be not testable, numbered from 1 in this order."""
    return tuple(REASON_WORDS.items())
