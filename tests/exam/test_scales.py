"""Tendon reflex scales against the published definitions."""

import pytest

from wardexam.exam.answers import SCALES, convert, meanings, scales


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
