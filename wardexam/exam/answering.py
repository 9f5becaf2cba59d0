"""A typed answer read, wherever it is typed: the words for signs and answers that are not those used here."""

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

from wardexam.anatomy.catalogue import SEGMENTS, Sign
from wardexam.exam.answers import ScaleName, answers_for, scales

WAYS = ("code", "mark", "key", "words")  # in which an answer may be written


@cache
def synonyms() -> dict[str, dict[str, Any]]:
    """Other words for ``signs`` and for ``answers``, each with the one used here; and what is to ``find`` by others."""
    text = (files("wardexam.exam") / "synonyms.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def answer_code(sign: Sign, typed: str, scale: ScaleName) -> str | None:
    """The code of the answer that a sign takes by its code, mark, key, words or another word for it.

    A sensory level may be any segment, a tendon reflex what a word means where the scale tells that apart.
    None where it is no answer of the sign.
    """
    typed = typed.lower()
    allowed = answers_for(sign.answers, scale)
    for way in WAYS:
        for answer in allowed.answers:
            if getattr(answer, way).lower() == typed:
                return answer.code
    if sign.answers == "level":
        return typed.upper() if typed.upper() in SEGMENTS else None
    words = synonyms()["answers"]
    if sign.answers == "tendon":
        of = scales()[scale]
        told = {meaning: grade for meaning, grade in of.show.items() if meaning not in of.loses}
        return told.get(typed) or told.get(words.get(typed, ""))
    other = words.get(typed) or synonyms()["there"].get(typed)
    return other if other in allowed.codes else None
