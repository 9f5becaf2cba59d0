"""A typed answer read, wherever it is typed: the words for signs and answers that are not those used here."""

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

from wardexam.anatomy.catalogue import SEGMENTS, Sign, catalogue
from wardexam.exam.answers import ScaleName, answers_for

WAYS = ("code", "mark", "key", "words")  # in which an answer may be written


@cache
def synonyms() -> dict[str, dict[str, Any]]:
    """Other words for ``signs`` and for ``answers``, each with the one used here; and what is to ``find`` by others."""
    text = (files("wardexam.exam") / "synonyms.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def answer_named(sign: str, answer: str | None, scale: ScaleName = "conventional") -> str | None:
    """An answer by another word for it, where the sign takes it; the answer itself otherwise.

    ``positive`` and ``negative`` stand for ``present`` and ``absent`` and the other way round.
    """
    row = catalogue().get(sign)
    if row is None or answer is None or row.answers == "level":
        return answer
    codes = answers_for(row.answers, scale).codes
    if answer in codes:
        return answer
    if row.answers == "tendon" and answer.lower() == "absent":
        return "0"
    words = synonyms()["answers"] | {
        "positive": "present", "negative": "absent", "present": "positive", "absent": "negative",
    }  # fmt: skip
    other = words.get(answer.lower(), answer)
    return other if other in codes else answer


def answer_code(sign: Sign, typed: str, scale: ScaleName) -> str | None:
    """The code of the answer that a sign takes by its code, mark, key, words or another word for it.

    A sensory level may be any segment. None where it is no answer of the sign.
    """
    lowered = typed.lower()
    other = (answer_named(sign.id, lowered, scale) or "").lower()
    for word in (lowered, other):
        for way in WAYS:
            for answer in answers_for(sign.answers, scale).answers:
                if getattr(answer, way).lower() == word:
                    return answer.code
    return typed.upper() if sign.answers == "level" and typed.upper() in SEGMENTS else None
