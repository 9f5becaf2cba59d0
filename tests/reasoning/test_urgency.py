"""The rules as a table: every row whole, and what is said beside the urgency."""

import pytest

from wardexam.exam.flags import flag_names, flags
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.urgency import NOT_EXCLUDED, assess

NORMAL = "biceps 2/2 triceps 2/2 knee 2/2 ankle 2/2 plantar down/down power_leg 5/5"


def urgency(line):
    return assess(read_line(line).spelled_out(), None, None)


def test_a_quiet_examination_with_flags_not_asked_excludes_nothing():
    found = urgency(NORMAL)
    assert (found.level, found.word) == (0, f"not assessed, {len(flag_names())} not asked")
    assert set(found.not_asked) == set(flag_names())
    assert NOT_EXCLUDED in found.caution


def test_the_gravest_reason_comes_first():
    found = urgency("flag:both_legs=yes flag:saddle_numb=yes onset=days finger_abduction 3/5")
    levels = [r.urgency for r in found.reasons]
    assert levels == sorted(levels, reverse=True)
    assert set(levels) == {3, 2, 1}


def test_flags_said_yes_are_named_whether_or_not_a_rule_fires():
    assert urgency("flag:cancer=yes flag:trauma=no").answered_yes == (flags()["cancer"].short,)


@pytest.mark.parametrize(
    ("line", "order"),
    [
        # The whole spine is imaged where signs lie above the cauda; the coordinator has a day.
        ("flag:saddle_numb=yes", ["cauda_equina"]),
        (
            "bladder retention plantar up/up",
            ["cord_and_function", "cauda_whole_spine", "cauda_equina", "cord"],
        ),
        (
            "flag:cancer=yes bladder retention level_pin T8/T8",
            [
                "cord_and_function",
                "cauda_whole_spine",
                "metastatic_compression",
                "cauda_equina",
                "cord",
            ],
        ),
        (
            "flag:cancer=yes bladder retention",
            ["cauda_whole_spine", "metastatic_compression", "cauda_equina"],
        ),
    ],
)
def test_the_soonest_limit_is_said_first_and_among_equals_the_wider_image(line, order):
    named = [
        r.rule
        for r in urgency(line).reasons
        if r.rule
        in (
            "cord",
            "cord_and_function",
            "cauda_equina",
            "cauda_whole_spine",
            "metastatic_compression",
        )
    ]
    assert named == order
