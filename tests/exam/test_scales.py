"""Tendon reflex scales against the published definitions."""

import pytest

from wardexam.exam.answers import SCALES, convert, meanings, scales

# Scale, grade, what it means, source of the definition.
DEFINITIONS = [
    (
        "conventional",
        "0",
        "absent",
        "Blumenfeld, Neuroanatomy through Clinical Cases (secondary source)",
    ),
    ("conventional", "1+", "reduced", "Blumenfeld (secondary source)"),
    ("conventional", "2+", "normal", "Blumenfeld (secondary source)"),
    ("conventional", "3+", "brisk", "Blumenfeld (secondary source)"),
    ("conventional", "4+", "clonic", "Blumenfeld (secondary source): very brisk with clonus"),
    ("ninds", "0", "absent", "Hallett, Neurology 1993;43:2723"),
    ("ninds", "1", "reduced", "Hallett 1993: small, less than normal"),
    ("ninds", "2", "low_normal", "Hallett 1993: lower half of the normal range"),
    ("ninds", "3", "high_normal", "Hallett 1993: upper half of the normal range, so normal"),
    ("ninds", "4", "brisk", "Hallett 1993: enhanced"),
    ("plus", "0", "absent", "Macleod's Clinical Examination 14e (secondary source)"),
    ("plus", "+/-", "trace", "Macleod 14e (secondary source): only with reinforcement"),
    ("plus", "+", "reduced", "Macleod 14e (secondary source)"),
    ("plus", "++", "normal", "Macleod 14e (from memory)"),
    ("plus", "+++", "brisk", "Macleod 14e (from memory)"),
    ("plus", "++++", "clonic", "Macleod 14e (from memory)"),
]


@pytest.mark.parametrize(("scale", "grade", "meaning", "source"), DEFINITIONS)
def test_a_grade_means_what_its_scale_defines(scale, grade, meaning, source):
    assert scales()[scale].meanings[grade] == meaning, source


def test_the_definitions_cover_every_grade():
    given = {(scale, grade) for scale, grade, _, _ in DEFINITIONS}
    assert given == {(s, g) for s in SCALES for g in scales()[s].grades.codes}


def test_ninds_three_is_ordinary_and_conventional_three_is_not():
    assert scales()["ninds"].grades.get("3").usual
    assert not scales()["conventional"].grades.get("3+").usual


def test_there_is_no_ninds_five():
    assert scales()["ninds"].grades.get("5") is None


@pytest.mark.parametrize(
    ("code", "stored", "chosen", "mark", "loses"),
    [
        ("2+", "conventional", "plus", "++", False),
        ("0", "plus", "ninds", "0", False),
        ("3+", "conventional", "ninds", "4", False),
        (
            "2+",
            "conventional",
            "ninds",
            "2",
            True,
        ),  # 2 or 3 there: the half of the range is not known
        ("3", "ninds", "conventional", "2+", True),  # the half of the range is lost
        ("2", "ninds", "plus", "++", True),
        ("4", "ninds", "conventional", "3+", True),  # 3+ or 4+: NINDS 4 holds both
        ("++++", "plus", "ninds", "4", True),
        ("+/-", "plus", "conventional", "1+", True),
    ],
)
def test_a_conversion_says_when_it_loses_detail(code, stored, chosen, mark, loses):
    shown = convert(code, stored, chosen)
    assert (shown.mark, bool(shown.lost)) == (mark, loses)


def test_reinforcement_has_a_grade_of_its_own_on_the_plus_chart():
    assert convert("1+", "conventional", "plus", reinforced=True).mark == "+/-"


@pytest.mark.parametrize("scale", SCALES)
def test_a_grade_shown_on_its_own_scale_is_itself(scale):
    for grade in scales()[scale].grades.answers:
        shown = convert(grade.code, scale, scale)
        assert (shown.mark, shown.lost) == (grade.mark, "")


@pytest.mark.parametrize("scale", SCALES)
def test_every_meaning_can_be_shown(scale):
    assert set(scales()[scale].show) == set(meanings())
    assert set(scales()[scale].show.values()) <= set(scales()[scale].grades.codes)
