"""A typed line: names that doctors use of a sign otherwise than its digits here."""

import pytest

from wardexam.errors import InputError
from wardexam.exam.typed import of_five, on_both_sides, read_line, without_doubt


@pytest.mark.parametrize("line", ["babinski 1/1", "babinski 1/-", "babinski -/0"])
def test_a_digit_beside_the_name_of_a_sign_that_is_there_or_not_is_asked_in_words(line):
    with pytest.raises(InputError, match="say up or down"):
        read_line(line)
    assert read_line("babinski up/down") == read_line("plantar up/down")


@pytest.mark.parametrize(
    "line",
    ["power_leg 2/5", "hip flexion 4-/5", "hip_flexion known:0/5", "power_leg 5/5 hip_flexion 4/5",
     "knee 2/4 power_leg 2/5", "flag:cancer=yes age=60 rest=power:right_arm power_leg 3/5", "aphasia 1 power_leg 3/5"],
)  # fmt: skip
def test_a_pair_of_power_whose_second_is_five_may_be_a_grade_out_of_five(line):
    assert len(of_five(line)) == 1
    with pytest.raises(InputError, match=r"may be right (\S+), left 5, or grade \1 out of 5"):
        without_doubt(line)


@pytest.mark.parametrize(
    "line",
    ["power_leg 4/3", "power_leg 5/2", "power_leg 5/5", "power_leg 2/2", "power_leg 2/full", "power_leg 2/-",
     "power_leg 2/5 knee 2/0", "plantar down/up power_leg 2/5", "power_leg 2/5 hip_flexion 5/3",
     "power_leg 2/5 hip_flexion 5/-", "knee 2/4"],
)  # fmt: skip
def test_where_another_pair_shows_right_and_left_or_none_is_in_doubt_nothing_is_asked(line):
    assert of_five(line) == ()
    assert without_doubt(line) is None


@pytest.mark.parametrize(
    "line",
    [
        "hearing absent/absent",
        "hearing 0/1",
        "memory present",
        "eye abduction known:present/absent",
    ],
)
def test_an_answer_beside_the_name_of_a_function_may_mean_that_it_is_there_or_its_loss(line):
    with pytest.raises(InputError, match="say normal or reduced"):
        without_doubt(line)


def test_normal_and_reduced_say_it_of_a_function_without_doubt():
    line = "hearing normal/reduced memory lost palate nt:pain/- ptosis present/absent"
    assert without_doubt(line) is None
    assert without_doubt("hearing reduced absent/present") is None
    assert read_line(line) == read_line(
        "hearing_reduced absent/present memory_impaired present palate nt:pain/- ptosis present/absent"
    )


def test_right_and_left_and_a_grade_out_of_five_can_both_be_said_without_doubt():
    assert read_line("power_leg 2/full") == read_line("power_leg 2/5")
    assert (
        on_both_sides("power_leg 2/5 hip_flexion known:4+/5")
        == "power_leg 2/2 hip_flexion known:4+/4+"
    )


@pytest.mark.parametrize("typed", ["650", "measured:650"])
def test_a_number_alone_is_what_was_measured(typed):
    (found,) = read_line(f"post_void_residual {typed}").spelled_out().findings
    assert (found.answer, found.amount) == ("measured", 650)


@pytest.mark.parametrize(("typed", "said"), [("9999", "outside 0 to 3000"), ("measured", "mL")])
def test_what_is_no_amount_is_refused(typed, said):
    with pytest.raises(InputError, match=said):
        read_line(f"post_void_residual {typed}").spelled_out()
