"""A sheet begun from an ordinary examination: what is taken, what is not, and what is missing."""

import pytest

from wardexam.exam.reading import read
from wardexam.injury.tables import muscles
from wardexam.injury.taking_over import take_over


def test_key_muscles_come_from_power_with_whole_grades():
    grades = {row.sign: n for n, row in enumerate(muscles().key.values())}
    words = ("5", "4+", "4", "4-", "3", "2", "1", "0", "5", "nt")
    text = " ".join(f"{sign} {words[n]}/5" for sign, n in grades.items())
    taken = take_over(read(text), "bed 4")
    assert list(taken.sheet.motor.right.values()) == [
        "5",
        "4",
        "4",
        "4",
        "3",
        "2",
        "1",
        "0",
        "5",
        "NT",
    ]
    assert list(taken.sheet.motor.right) == list(muscles().key)
    assert set(taken.sheet.motor.left.values()) == {"5"}
    assert taken.sheet.id == "bed 4"
    assert "T1 is taken from finger abduction: check the little finger" in taken.remarks
    assert not any("motor" in words for words in taken.missing)


def test_key_points_come_from_dermatomes_and_more_than_normal_is_altered():
    taken = take_over(read("touch_C5 2/1 touch_S4_5 0/3 pin_T10 0/nt"))
    assert taken.sheet.light_touch.right == {"C5": "2", "S4-5": "0"}
    assert taken.sheet.light_touch.left == {"C5": "1", "S4-5": "1"}
    assert (taken.sheet.pinprick.right, taken.sheet.pinprick.left) == ({"T10": "0"}, {"T10": "NT"})
    assert "heightened sensation is taken as altered" in taken.remarks
    assert "right light touch: C2 to C4, C6 to S3" in taken.missing
    assert {"voluntary anal contraction", "deep anal pressure"} <= set(taken.missing)


@pytest.mark.parametrize(("squeeze", "answer"), [("0", "no"), ("1", "yes"), ("2", "yes"), ("nt", "NT")])  # fmt: skip
def test_anal_contraction_comes_from_the_squeeze_and_pressure_from_nothing(squeeze, answer):
    taken = take_over(read(f"anal_squeeze {squeeze} anal_tone 2"))
    assert taken.sheet.anal_contraction == answer
    assert taken.sheet.anal_pressure is None
    assert any("anal tone is neither" in r for r in taken.remarks)


def test_the_lowest_other_movement_is_told_and_not_taken_since_not_all_are_graded():
    taken = take_over(read("hip_adduction 2/0 hip_abduction 1/0 wrist_flexion 3/3"))
    for side, lowest in (("right", "L4"), ("left", "C6")):
        assert getattr(taken.sheet.movements, side) is None
        assert f"{side} movement outside the key muscles" in taken.missing
        assert any(f"{side}: {lowest} is the lowest that was graded" in r for r in taken.remarks)
    none = take_over(read("hip_abduction 0/nt"))
    assert not any("outside the key muscles" in r for r in none.remarks)


@pytest.mark.parametrize(
    ("text", "remark"),
    [
        ("rest=power:right_leg", "a statement that the rest was normal is no score"),
        ("rest=sensation:left_arm", "a statement that the rest was normal is no score"),
        ("level_touch T9/T9", "a stated light-touch level is no score"),
        ("level_pin T9/T9", "a stated pinprick level is no score"),
        ("perianal 0/0", "enter S4-5 by light touch and by pinprick"),
        ("saddle 0/0", "enter S3 and S4-5"),
    ],
)
def test_what_is_no_score_is_not_taken_and_said(text, remark):
    taken = take_over(read(text))
    assert taken.sheet.model_dump() == take_over(read("knee 2/2")).sheet.model_dump()
    assert any(remark in said for said in taken.remarks)


def test_what_is_known_from_before_is_said():
    taken = take_over(read("elbow_flexion known:2/5"))
    assert taken.sheet.motor.right == {"C5": "2"}
    assert any("known from before" in r for r in taken.remarks)
