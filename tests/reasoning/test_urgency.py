"""Red flags: what fires, by published rule; and what must not."""

import pytest

from wardexam.exam.flags import flag_names
from wardexam.exam.typed import read_line
from wardexam.reasoning.change import compare, sum_score
from wardexam.reasoning.urgency import NOT_EXCLUDED, assess, rules

NORMAL = "biceps 2/2 triceps 2/2 knee 2/2 ankle 2/2 plantar down/down power_leg 5/5"

FIRES = [
    ("flag:saddle_numb=yes", "cauda_equina", 3, "NICE NG127 2019"),
    (
        f"{NORMAL} flag:bladder_bowel=yes",
        "bladder_or_bowel",
        3,
        "NICE NG127 2019: whatever the reflexes show",
    ),
    (f"{NORMAL} perianal 1/2", "cauda_equina", 3, "GIRFT 2023"),
    ("post_void_residual measured:200", "cauda_equina", 3, "Venkatesan 2019: 200 mL or more"),
    (
        "post_void_residual measured:150 saddle 1/2",
        "cauda_equina",
        3,
        "published: 200 mL or less never cancels",
    ),
    ("flag:cancer=yes power_leg 4/4", "metastatic_compression", 3, "NICE NG234 2023"),
    ("flag:cancer=yes flag:thoracic_night=yes", "metastatic_pain", 2, "NICE NG234 2023"),
    ("onset=sudden face_lower 3/5 power_arm 3/5", "stroke", 3, "NICE NG128 2019"),
    ("flag:breathing=yes power_leg 3/3", "breathing", 3, "Lawn 2001"),
    ("flag:infection=yes pain=back", "spinal_infection", 3, "NICE NG59 2016"),
    ("level_pin T8/T8", "cord", 3, "ACR Myelopathy 2021"),
    ("plantar up/up knee 3/3", "cord", 3, "ACR Myelopathy 2021"),
    ("flag:dysreflexia=yes", "dysreflexia", 3, "from memory"),
    ("flag:progressive=yes", "progressive", 2, "NICE NG127 2019"),
]


@pytest.mark.parametrize(("line", "rule", "level", "source"), FIRES)
def test_a_rule_fires_on_what_was_found_or_answered(line, rule, level, source):
    urgency = assess(read_line(line).examination(), None, None)
    assert rule in {r.rule for r in urgency.reasons}, source
    assert urgency.level >= level


QUIET = [
    NORMAL,
    "",
    "flag:cancer=yes",
    "flag:bladder_bowel=no flag:saddle_numb=no",
    "post_void_residual measured:199",
    "ankle 0/0 age=84",
    "rest=power:both_legs",
]


@pytest.mark.parametrize("line", QUIET)
def test_what_must_not_fire_does_not(line):
    assert assess(read_line(line).examination(), None, None).level == 0


def test_a_quiet_examination_with_flags_not_asked_excludes_nothing():
    urgency = assess(read_line(NORMAL).examination(), None, None)
    assert set(urgency.not_asked) == set(flag_names())
    assert NOT_EXCLUDED in urgency.caution


def test_statements_and_silence_never_calm_a_flag():
    line = "flag:saddle_numb=yes rest=power:all rest=sensation:all rest=reflexes:all"
    assert assess(read_line(line).examination(), None, None).level == 3


def test_every_rule_names_source_image_and_call():
    for name, row in rules().items():
        assert all(row[k] for k in ("source", "image", "call", "reason")), name


def changed(before, after):
    return compare(read_line(before).examination(), read_line(after).examination())


def test_one_grade_may_be_the_observer_two_are_change():
    # Stam and van Crevel 1990 J Neurol 237:427
    assert not changed("knee 2/2", "knee 1/2").signs[0].beyond
    assert changed("knee 2/2", "knee 0/2").signs[0].beyond


def test_deterioration_raises_urgency():
    before, after = (
        read_line("power_leg 4/4").examination(),
        read_line("power_leg 2/4").examination(),
    )
    assert assess(after, before, None).level >= 2
    assert compare(before, after).worse


def test_the_patterns_that_move_are_named():
    assert "sphincter_new" in changed("anal_tone 2", "anal_tone 0").patterns
    assert "level_climbing" in changed("level_pin T10/T10", "level_pin T6/T6").patterns
    assert "side_joining" in changed("power_leg 3/5", "power_leg 3/4").patterns


def test_a_sign_found_only_once_is_no_change():
    assert changed("knee 2/2", "ankle 0/0").signs == ()


TWELVE = "shoulder_abduction {0}/{0} elbow_flexion {0}/{0} wrist_extension {0}/{0} hip_flexion {0}/{0} knee_extension {0}/{0} ankle_dorsiflexion {0}/{0}"


@pytest.mark.parametrize(("grade", "score"), [("5", 60), ("4", 48), ("0", 0)])
def test_the_mrc_sum_score(grade, score):
    # Connolly 2013: maximum 60; all 4 is 48, which is not below the threshold of 48
    assert sum_score(read_line(TWELVE.format(grade)).examination()) == score


def test_an_incomplete_sum_score_is_none():
    assert sum_score(read_line("hip_flexion 5/5").examination()) is None
