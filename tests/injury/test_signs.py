"""A sheet's scores as signs: only what was tested and comes from the injury; taken over again they are the scores."""

import pytest

from tests.injury.drawn import drawn
from wardexam.exam.examination import Findings
from wardexam.injury.sheet import SENSES, SIDES, InjurySheet
from wardexam.injury.signs import as_signs
from wardexam.injury.taking_over import take_over
from wardexam.injury.typed import read_typed


def answers(text):
    return {(f.sign, f.side): f.answer for f in as_signs(read_typed(text)).findings}


def test_key_muscles_are_power_and_key_points_are_sensation():
    found = answers("right light touch: T4 0\nleft pinprick: S4-5 1, C5 2\nmotor right: C5 4")
    assert found == {
        ("touch_T4", "right"): "absent",
        ("pin_S4_5", "left"): "reduced",
        ("pin_C5", "left"): "normal",
        ("elbow_flexion", "right"): "4",
    }


def test_a_blank_sheet_gives_nothing_and_says_nothing_normal():
    assert as_signs(InjurySheet()).findings == ()


def test_what_could_not_be_tested_or_is_not_from_the_injury_is_left_out_and_said():
    given = as_signs(read_typed("motor: NT 3* 5 5 5 / NT* 5 5 5 5\nsensation: C5 1*"))
    signs = {f.sign for f in given.findings}
    assert "elbow_flexion" not in signs
    assert "wrist_extension" not in signs
    assert "touch_C5" not in signs
    assert "elbow_extension" in signs
    assert "left out: 4 not testable" in given.remarks
    assert "left out: 6 marked as not from the cord injury" in given.remarks


@pytest.mark.parametrize(
    ("answer", "found"), [("no", {("anal_squeeze", "midline"): "absent"}), ("yes", {}), ("nt", {})]
)
def test_a_contraction_that_is_there_is_to_be_graded(answer, found):
    assert answers(f"vac {answer}") == found
    remarks = as_signs(read_typed(f"vac {answer}")).remarks
    assert ("anal contraction is there: grade the anal squeeze" in remarks) == (answer == "yes")


def test_altered_sensation_is_taken_with_a_reservation():
    (remark,) = as_signs(read_typed("touch: C5 1")).remarks
    assert remark.startswith("altered sensation is taken as reduced")


@pytest.mark.parametrize("seed", range(20))
def test_taken_over_again_they_are_the_scores(seed):
    sheet = drawn(seed)
    again = take_over(Findings(findings=as_signs(sheet).findings)).sheet
    assert again.motor == sheet.motor
    assert all(getattr(again, test) == getattr(sheet, test) for test in SENSES)
    assert all(getattr(again.movements, side) is None for side in SIDES)
