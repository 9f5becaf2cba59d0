"""The rules as a table: every row whole, and what is said beside the urgency."""

from wardexam.exam.flags import flag_names, flags
from wardexam.exam.typed import read_line
from wardexam.reasoning.urgency import NOT_EXCLUDED, WORDS, assess, rules

NORMAL = "biceps 2/2 triceps 2/2 knee 2/2 ankle 2/2 plantar down/down power_leg 5/5"


def urgency(line):
    return assess(read_line(line).examination(), None, None)


def test_every_rule_names_reason_source_image_and_call():
    for name, row in rules().items():
        assert all(row[k] for k in ("source", "image", "call", "reason")), name
        assert row["any"], name
        assert row["urgency"] in (1, 2, 3), name


def test_a_quiet_examination_with_flags_not_asked_excludes_nothing():
    found = urgency(NORMAL)
    assert (found.level, found.word) == (0, WORDS[0])
    assert set(found.not_asked) == set(flag_names())
    assert NOT_EXCLUDED in found.caution


def test_the_gravest_reason_comes_first():
    levels = [
        r.urgency
        for r in urgency(
            "flag:both_legs=yes flag:saddle_numb=yes onset=days finger_abduction 3/5"
        ).reasons
    ]
    assert levels == [3, 2, 1]


def test_flags_said_yes_are_named_whether_or_not_a_rule_fires():
    assert urgency("flag:cancer=yes flag:trauma=no").answered_yes == (flags()["cancer"].short,)
