"""No message speaks as a parser or a programmer does: what a ward doctor reads is in a ward doctor's words."""

import ast
import re
from functools import cache
from pathlib import Path

import pytest
from pydantic import ValidationError

from wardexam.commands.screens import DEMO
from wardexam.exam.entry import FAULTS, first_fault
from wardexam.exam.examination import Examination, Patient

PACKAGE = Path(__file__).parents[1] / "wardexam"
# What no doctor says, with what says it.
WORDS = {
    r"\b(rule|rules) (fire|fires|fired)\b|\bno rule fire|\bfires it\b": "a reason for urgency",
    r"\bbits?\b": "what a sign would change",
    r"side joining|sphincter new\b|level climbing": "what moved, in a sentence",
    r"\{\} changes\b|\b0 changes\b": "counted: 1 entry, 2 entries",
    r"\b1 (patients|signs|flags|examinations|answers|questions|reasons|sheets|drafts)\b": "counted",
    r"\bparse|\btoken\b|\bsyntax\b|\bnull\b|(?-i:\bNone\b)|\bboolean\b|\binteger\b|\bregex\b": "plain words",
    r"\b(string|input|value) should\b|field required|extra inputs": "FAULTS of wardexam.exam.entry",
    r"\bexception\b|\btraceback\b|stack trace|\bcallback\b|\bwidget\b|\bthread\b": "a fault of the program",
    r"\ballowed are\b|\bnot allowed\b|\billegal\b|\binvalid\b": "what may be typed instead",
    r"\bheld by\b|\blets go\b": "who is doing what meanwhile",
    r"\bboolean|\bdict\b.*\bvalue": "plain words",
}  # fmt: skip
# A number before a word that has an s, where nothing says it for one: `counted` of wardexam.exam.text does.
MANY = re.compile(r"\{\} (?:\w+ )?(patients|examinations|answers|questions|sheets|drafts|entries|red flags)\b")  # fmt: skip
# Whose messages are held to `MANY`: those that are written here in full.
COUNTING = (
    "commands",
    "plain",
    "records",
    "terminal/screens/ward.py",
    "terminal/screens/patient_details.py",
    "terminal/screens/story.py",
)
# Said of more than one only.
OF_SEVERAL = {"{} patients have this number or bed"}
# Made for whoever writes scripts or mends tables, and read by no doctor at a bedside.
OF_SCRIPTS = ("text or a dict is needed, not {}",)


@cache
def messages(path):
    """Every text in a file that is no docstring and has more than one word, with what is put in as ``{}``."""
    nodes = [*ast.walk(ast.parse(path.read_text(encoding="utf-8")))]
    silent = {
        id(node.value) for node in nodes if isinstance(node, ast.Expr)
    } | {
        id(part) for node in nodes if isinstance(node, ast.JoinedStr) for part in node.values
    } | {
        id(part)
        for node in nodes
        for noted in (getattr(node, "annotation", None), getattr(node, "returns", None))
        if noted is not None
        for part in ast.walk(noted)
    }  # fmt: skip
    found = []
    for node in nodes:
        if isinstance(node, ast.JoinedStr):
            text = "".join(
                part.value if isinstance(part, ast.Constant) else "{}" for part in node.values
            )
        elif (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and id(node) not in silent
        ):
            text = node.value
        else:
            continue
        if " " in text.strip():
            found.append(text)
    return found


FILES = sorted(PACKAGE.rglob("*.py"))


def test_there_is_something_to_read():
    assert sum(len(messages(path)) for path in FILES) > 700


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_no_message_has_a_word_that_no_doctor_says(path):
    found = [
        (text, instead)
        for text in messages(path)
        if text not in OF_SCRIPTS
        for word, instead in WORDS.items()
        if re.search(word, text, re.IGNORECASE)
    ]
    assert found == []


def test_one_is_not_said_as_many():
    held = [p for p in FILES if str(p.relative_to(PACKAGE)).startswith(COUNTING)]
    assert len(held) > 20
    found = [t for path in held for t in messages(path) if MANY.search(t) and t not in OF_SEVERAL]
    assert found == []


PATIENT = {"id": "patient1", "bed": "A1", "name": "Mo", "admitted": "2026-03-04T14:00:00Z"}
EXAMINATION = {
    "id": "exam0001",
    "patient": "patient1",
    "examiner": "Dr Ash",
    "at": "2026-03-04T14:00:00Z",
}


@pytest.mark.parametrize(
    ("model", "wrong", "said"),
    [
        (Patient, {"bed": "A" * 13}, "bed: at most 12 characters, not 'AAAAAAAAAAAAA'"),
        (Patient, {"name": ""}, "name: not empty"),
        (Patient, {"age": 121}, "age: at most 120, not 121"),
        (Patient, {"age": -1}, "age: at least 0, not -1"),
        (Patient, {"age": "old"}, "age: must be a whole number, not 'old'"),
        (Patient, {"sex": "m"}, "sex: must be 'female', 'male', 'other' or 'unknown', not 'm'"),
        (Patient, {"room": "1"}, "room: is not known here, not '1'"),
        (Patient, {"admitted": "2026-03-04T14:00:00"}, "admitted: must say its time zone"),
        (Patient, {"admitted": "today"}, "admitted: must be a date and time"),
        (Patient, {"bed": 3}, "bed: must be text, not 3"),
        (Examination, {"findings": 3}, "findings: must be a list, not 3"),
        (Examination, {"context": []}, "context: must be an object with names and values"),
        (Examination, {"context": {"onset": "now"}}, "context.onset: must be 'sudden', 'hours', "),
    ],
)
def test_what_is_refused_is_said_in_plain_words(model, wrong, said):
    given = (PATIENT if model is Patient else EXAMINATION) | wrong
    with pytest.raises(ValidationError) as refused:
        model.model_validate(given)
    assert first_fault(refused.value).startswith(said)


def test_every_field_that_is_missing_is_named():
    with pytest.raises(ValidationError) as refused:
        Patient.model_validate({k: v for k, v in PATIENT.items() if k != "name"})
    assert first_fault(refused.value).startswith("name: is missing")
    assert all(" " in words for words in FAULTS.values())


def test_what_the_demo_says_first_is_whole_at_80_columns():
    assert len(DEMO.format(open="enter", help="?")) < 80
