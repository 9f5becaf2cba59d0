"""Our own code system: every sign, answer, question and reason as a code, made from the tables.

A code is its kind and its name there: ``sign.knee``, ``answer.plantar.extensor``, ``flag.saddle``. It stays
what it is for good: a row that goes is retired in its table, not used for another thing.
"""

from collections.abc import Iterable
from functools import cache
from typing import Any

from wardexam.anatomy.catalogue import PARTS, SEGMENTS, catalogue
from wardexam.errors import TableError
from wardexam.exam.act_kinds import act_kinds
from wardexam.exam.answers import answer_sets, scales
from wardexam.exam.examination import Context
from wardexam.exam.final_sites import FINAL_SIDES, FINAL_SITES
from wardexam.exam.findings import REASON_WORDS, qualities
from wardexam.exam.flags import every_flag
from wardexam.exam.onset import onsets
from wardexam.exam.story import story
from wardexam.fhir.naming import CODES, Resource
from wardexam.injury.sheet import MOVEMENT_WORDS, SIDES, TEST_WORDS, TESTS, Movements, codes, places
from wardexam.reasoning.rules.own_alarm import OWN, rule_words
from wardexam.reasoning.rules.rule_table import rules
from wardexam.version import __version__

SEPARATOR = "."
# What each kind of code is, in the order in which they are published.
KINDS = {
    "paper": "What a resource is", "sign": "Signs of the examination", "side": "Sides",
    "limb": "Limbs", "modality": "Ways of testing sensation", "answer": "Answers",
    "grade": "Grades of tendon reflexes", "scale": "Scales of tendon reflexes", "segment": "Segments",
    "quality": "How a tendon reflex came", "not_testable": "Why a sign was not testable",
    "part": "Parts of the examination", "rest": "The rest of a part", "finding": "What goes with a finding",
    "story": "What is asked beside the signs", "told": "Answers to it", "flag": "Red flags", "act": "What was done",
    "about": "What goes with an act", "reason": "Reasons of urgency", "site": "Where a lesion was in the end",
    "outcome": "What it was in the end", "scored": "Scores of a cord injury sheet", "score": "Values of a score",
    "injury": "What goes with a cord injury sheet", "moved": "Movements outside the key muscles",
    "event": "What the trail tells of",
}  # fmt: skip
PAPERS = {
    "examination": "bedside neurological examination",
    "note": "note of a bedside neurological examination",
    "age": "age in years, as told",
    "recheck": "re-examination",
    "injury": "cord injury sheet",
    "outcome": "what it was in the end",
    "act": "what was done about a reason of urgency",
}
SIDE_WORDS = {"right": "right", "left": "left", "midline": "midline", "both": "both sides"}
FINDING_WORDS = {
    "amount": "number that goes with the answer",
    "quality": "how the reflex came",
    "known": "documented before, unchanged since",
    "limb": "limb",
}
EXAMINATION_WORDS = {
    "scale": "tendon reflex scale chosen",
    "impression": "impression in the doctor's own words",
    "suggestion": "tool's suggestion as the doctor accepted it",
}
ABOUT_WORDS = {
    "over": "abnormal, answered yes or told when it was written",
    "over_nothing": "nothing was abnormal when it was written",
    "ended": "what was found beyond it later",
}
OUTCOME_WORDS = {
    "imaged": "when the deciding image was done",
    "image": "what the image showed",
    "positive": "whether it showed what needed action",
    "site": "where the lesion was",
    "side": "the lesion's own side",
    "diagnosis": "final diagnosis in words",
    "why": "why it was recorded again",
}
INJURY_WORDS = {
    "id": "name given on the sheet",
    "anal_contraction": "voluntary anal contraction",
    "anal_pressure": "deep anal pressure",
    "movement_right": MOVEMENT_WORDS["right"],
    "movement_left": MOVEMENT_WORDS["left"],
    "earlier_deficit": "earlier deficit from a cord injury on record",
    "counts_normal": "marked score that counts as normal",
    "counts_examined": "marked score that counts as it was found",
}
# The events of the trail after which a patient's file is as it says.
EVENT_WORDS = {
    "admitted": "admitted", "edited": "details changed", "discharged": "discharged", "restored": "brought back",
    "saved": "saved", "amended": "amended", "entered in error": "marked as entered in error",
    "valid again": "no more marked as entered in error", "concluded": "outcome recorded", "imported": "brought in from an archive",
    "taken over": "taken over", "put back": "put back by a repair", "not carried out": "not carried out",
    "found changed": "found changed outside the program", "accepted": "accepted as found",
}  # fmt: skip
_SEXES = {"female": "female", "male": "male", "other": "other", "unknown": "not known"}


def _told() -> dict[str, str]:
    """Every answer to what is asked beside the signs."""
    found = {f"onset{SEPARATOR}{o.code}": o.words for o in onsets()}
    for asked in story():
        found |= {f"{asked.field}{SEPARATOR}{a.code}": a.words for a in asked.answers}
    return found | {f"sex{SEPARATOR}{code}": words for code, words in _SEXES.items()}


def _answers() -> dict[str, str]:
    return {
        f"{name}{SEPARATOR}{a.code}": a.words
        for name, answers in answer_sets().items()
        for a in answers.answers
    }


def _grades() -> dict[str, str]:
    return {
        f"{name}{SEPARATOR}{g.code}": f"{g.mark} ({g.words}), scale {scale.name}"
        for name, scale in scales().items()
        for g in scale.grades.answers
    }


def _scored() -> dict[str, str]:
    return {
        SEPARATOR.join((test, side, place)): f"{side} {TEST_WORDS[test]} {place}"
        for test in TESTS
        for side in SIDES
        for place in places(test)
    }


def _scores() -> dict[str, str]:
    return {code: code for test in TESTS for code in codes(test)}


def _limbs() -> dict[str, str]:
    return {
        limb.replace(" ", "_"): limb
        for limb in ("head", "trunk", "right arm", "left arm", "right leg", "left leg")
    }


def _quoted(names: Iterable[str]) -> str:
    return ", ".join(f"'{name}'" for name in sorted(names))


def _of_kind() -> dict[str, dict[str, str]]:
    signs = catalogue()
    ways = dict.fromkeys(s.modality for s in signs.values() if s.modality)
    asked = {s.field: s.name for s in story()} | {"age": "age", "sex": "sex"}
    if unknown := set(asked) - set(Context.model_fields):
        raise TableError(
            f"no field of an examination: {_quoted(unknown)}",
            "code system, story",
            "name it as the field",
        )
    if unsaid := set(FINAL_SIDES) - set(SIDE_WORDS):
        raise TableError(
            f"no words for {_quoted(unsaid)}", "code system, side", "add them to SIDE_WORDS"
        )
    return {
        "paper": PAPERS,
        "sign": {name: row.name for name, row in signs.items()},
        "side": SIDE_WORDS,
        "limb": _limbs(),
        "modality": {way: way for way in ways},
        "answer": _answers(),
        "grade": _grades(),
        "scale": {name: scale.name for name, scale in scales().items()},
        "segment": {s: f"{s}, the lowest segment with normal sensation" for s in SEGMENTS},
        "quality": {str(name): row.words for name, row in qualities().items()},
        "not_testable": {str(name): said for name, said in REASON_WORDS.items()},
        "part": {part: part for part in PARTS},
        "rest": {"normal": "the rest of the part was examined and normal"},
        "finding": FINDING_WORDS,
        "story": asked | EXAMINATION_WORDS,
        "told": _told(),
        "flag": {name: flag.ask for name, flag in every_flag().items()},
        "act": {str(kind): row.words for kind, row in act_kinds().items()},
        "about": ABOUT_WORDS,
        "reason": {name: rule_words(name) for name in (*rules(), OWN)},
        "site": {s: "no lesion" if s == "none" else s.replace("_", " ") for s in FINAL_SITES},
        "outcome": OUTCOME_WORDS,
        "scored": _scored(),
        "score": _scores(),
        "injury": INJURY_WORDS,
        "moved": {m: m for m in Movements.every()},
        "event": {name.replace(" ", "_"): words for name, words in EVENT_WORDS.items()},
    }


@cache
def words() -> dict[str, str]:
    """Every code of ours with its words."""
    return {
        f"{kind}{SEPARATOR}{name}": text
        for kind, names in _of_kind().items()
        for name, text in names.items()
    }


def code_system() -> Resource:
    """The codes as a CodeSystem resource: a concept for each kind, its codes below it."""
    names = _of_kind()
    concepts: list[dict[str, Any]] = [
        {
            "code": kind,
            "display": title,
            "property": [{"code": "notSelectable", "valueBoolean": True}],
            "concept": [
                {"code": f"{kind}{SEPARATOR}{name}", "display": text}
                for name, text in names[kind].items()
            ],
        }
        for kind, title in KINDS.items()
    ]
    return {
        "resourceType": "CodeSystem",
        "url": CODES,
        "version": __version__,
        "name": "WardexamCodes",
        "title": "Signs, answers and questions of wardexam",
        "status": "active",
        "experimental": False,
        "description": "Every sign, answer, question and reason that a bundle of wardexam holds, made from its tables.",
        "caseSensitive": True,
        "hierarchyMeaning": "grouped-by",
        "compositional": False,
        "content": "complete",
        "count": sum(len(found) + 1 for found in names.values()),
        "property": [
            {
                "code": "notSelectable",
                "uri": "http://hl7.org/fhir/concept-properties#notSelectable",
                "description": "A heading, no code that a resource may hold",
                "type": "boolean",
            }
        ],
        "concept": concepts,
    }
