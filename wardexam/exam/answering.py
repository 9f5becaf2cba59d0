"""A typed answer read, wherever it is typed: the words for signs and answers that are not those used here."""

from functools import cache
from typing import Any

from wardexam.anatomy.catalogue import SEGMENTS, Sign, catalogue
from wardexam.exam.answers import ScaleName, answer_sets, answers_for, meanings, scales
from wardexam.tables import Columns, all_known, checked_row, read_table

WAYS = ("code", "mark", "key", "words")  # in which an answer may be written


class _InWords(Columns):
    signs: tuple[str, ...]


class _OfFunction(_InWords):
    kept: tuple[str, ...]
    lost: tuple[str, ...]


class _Synonyms(Columns):
    in_words: _InWords
    of_function: _OfFunction
    signs: dict[str, str]
    there: dict[str, str]
    answers: dict[str, str]
    find: dict[str, tuple[str, ...]]


@cache
def synonyms() -> dict[str, dict[str, Any]]:
    """Other words for ``signs`` and for ``answers``, each with the one used here; and what is to ``find`` by others.

    Raises:
        TableError: A section or row is malformed, or another word stands for no answer.
    """
    name = "synonyms.toml"
    made = checked_row(_Synonyms, read_table(name, "wardexam.exam"), name)
    known = {*meanings(), *(code for row in answer_sets().values() for code in row.codes)}
    for section, rows in (("there", made.there), ("answers", made.answers)):
        for word, meant in rows.items():
            all_known((meant,), known, f"{name}, {section}, row {word}")
    all_known(made.in_words.signs, (*made.signs, *catalogue()), f"{name}, in_words, field signs")
    there_or_not = {s.id for s in catalogue().values() if s.answers == "present"}
    all_known(made.of_function.signs, there_or_not, f"{name}, of_function, field signs")
    return made.model_dump()


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
    if sign.level:
        return typed.upper() if typed.upper() in SEGMENTS else None
    of_function = synonyms()["of_function"]
    if sign.id in of_function["signs"]:
        for code, said in (("absent", of_function["kept"]), ("present", of_function["lost"])):
            if typed in said:
                return code
    words = synonyms()["answers"]
    if sign.tendon:
        of = scales()[scale]
        told = {meaning: grade for meaning, grade in of.show.items() if meaning not in of.loses}
        return told.get(typed) or told.get(words.get(typed, ""))
    other = words.get(typed) or synonyms()["there"].get(typed)
    return other if other in allowed.codes else None
