"""Scales, sum scores and thresholds of change, each beside its published source."""

import tomllib
from pathlib import Path

import pytest
from pydantic import ValidationError

from wardexam.anatomy.catalogue import catalogue
from wardexam.errors import InputError
from wardexam.exam.answers import SCALES, answer_sets, scales
from wardexam.exam.findings import Finding
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.change import compare
from wardexam.reasoning.rules.sum_score import sum_score

TABLE = tomllib.loads((Path(__file__).parent / "measures.toml").read_text(encoding="utf-8"))
REFLEX = {row["scale"]: row for row in TABLE["reflex"]}
ANSWERS = {row["kind"]: row for row in TABLE["answers"]}
PAIRS = [
    (kind, before, now, row["source"])
    for row in TABLE["change"]
    for kind in ("beyond", "within", "none")
    for before, now in row.get(kind, [])
]


@pytest.mark.parametrize("scale", list(REFLEX))
def test_a_grade_means_what_its_scale_defines(scale):
    assert scales()[scale].meanings == REFLEX[scale]["means"], REFLEX[scale]["source"]


def test_every_reflex_scale_is_here():
    assert set(REFLEX) == set(SCALES)
    assert all(row["source"] for row in (*REFLEX.values(), *ANSWERS.values()))


@pytest.mark.parametrize(
    ("scale", "grade"), [(s, g) for s, r in REFLEX.items() for g in r["never"]]
)
def test_a_grade_of_another_scale_is_refused(scale, grade):
    with pytest.raises(ValidationError):
        Finding(sign="knee", side="right", answer=grade, scale=scale)


def test_only_with_reinforcement_is_reduced_and_never_absent():
    # NINDS 1 and conventional 1+ include it; the plus-sign chart has a grade for it.
    for scale, grade in (("conventional", "1+"), ("ninds", "1")):
        finding = Finding(
            sign="knee", side="right", answer=grade, scale=scale, qualities=("reinforced",)
        )
        assert finding.meaning == "trace"
    with pytest.raises(ValidationError):
        Finding(sign="knee", side="right", answer="0", scale="ninds", qualities=("reinforced",))


@pytest.mark.parametrize("kind", list(ANSWERS))
def test_answers_are_those_of_the_source(kind):
    row, found = ANSWERS[kind], answer_sets()[kind]
    assert list(found.codes) == row["codes"], row["source"]
    assert [a.code for a in found.answers if a.usual] == row["usual"]
    assert not set(row["never"]) & set(found.codes)


def score(grade, **others):
    movements = dict.fromkeys(TABLE["sum_score"]["movements"], f"{grade}/{grade}") | others
    line = " ".join(f"{m} {g}" for m, g in movements.items() if g)
    return sum_score(read_line(line).spelled_out())


def test_the_sum_score_has_its_twelve_movements():
    assert [s.id for s in catalogue().values() if s.sum_score] == TABLE["sum_score"]["movements"]


@pytest.mark.parametrize(("grade", "total"), list(TABLE["sum_score"]["scores"].items()))
def test_the_sum_score(grade, total):
    # All 4 is 48, which is not under the threshold of 48.
    assert score(grade) == total <= TABLE["sum_score"]["most"]


@pytest.mark.parametrize("missing", ["", "5/-", "nt:pain/5"])
def test_a_sum_score_with_a_movement_missing_is_none(missing):
    assert score("5", hip_flexion=missing) is None


def test_a_statement_never_completes_a_sum_score():
    line = "rest=power:all shoulder_abduction 5/5"
    assert sum_score(read_line(line).spelled_out()) is None


@pytest.mark.parametrize(("kind", "before", "now", "source"), PAIRS)
def test_a_change_is_weighed_against_what_observers_disagree_by(kind, before, now, source):
    change = compare(read_line(before).spelled_out(), read_line(now).spelled_out())
    if kind == "none":
        assert change.signs == (), source
        return
    (sign,) = change.signs
    assert sign.beyond is (kind == "beyond"), source


def test_the_words_of_a_typed_line_are_held_to_the_same_scales():
    with pytest.raises(InputError):
        read_line("scale=ninds knee 5/5")
