"""Findings in sentences: both sides together, the midline apart, whole words."""

import pytest

from tests.note.test_note import made
from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.admission import told_already
from wardexam.exam.answers import answer_sets
from wardexam.exam.flags import flags
from wardexam.note import sentences
from wardexam.note.note import flags_said
from wardexam.reasoning.rules.change import compare

SAID = [
    ("ankle 0/0", "ankle jerk absent (0) on both sides"),
    ("knee 0/0 ankle 0/0", "knee and ankle jerks absent (0) on both sides"),
    ("ankle_plantarflexion 3/5", "ankle plantarflexion right 3, left 5"),
    ("ankle_plantarflexion 3/3 great_toe_extension 3/3", "ankle plantarflexion and great-toe extension 3 on both sides"),
    ("plantar up/down", "plantar extensor on the right, flexor on the left"),
    ("pin_L5 1/1 pin_S1 1/1", "pinprick L5 and S1 reduced on both sides"),
    ("pin_T10 1/1 pin_T11 1/1 pin_T12 1/1 pin_L1 1/1 pin_S1 1/1", "pinprick T10 to L1 and S1 reduced on both sides"),
    ("touch_S3 0/0 touch_S4_5 0/0 touch_S2 0/0", "light touch S2 to S4-5 absent on both sides"),
    ("vibration_leg 1/0", "vibration (toe and ankle) reduced on the right, absent on the left"),
    ("level_pin T10/T10", "pinprick level reduced below T10 on both sides"),
    ("gaze_palsy 1/0", "gaze fails towards the right, not the left"),
    ("gaze_palsy 0/1", "gaze fails towards the left, not the right"),
    ("gaze_palsy 1/1", "gaze fails towards both sides"),
    ("gaze_palsy 1/-", "gaze fails: towards the right present, towards the left not examined"),
    ("tongue_deviation -/1", "tongue deviates: towards the right not examined, towards the left present"),
    ("gaze_palsy 1/nt:pain", "gaze fails: towards the right present, towards the left not testable (pain)"),
    ("clonus_ankle unsustained:4/none", "ankle clonus unsustained (4 beats) on the right, none on the left"),
    ("straight_leg_raise positive:40/negative", "straight leg raise positive (40 degrees) on the right, negative on the left"),
    ("knee 1:reinforced/2", "knee jerk present only with reinforcement (1+) on the right, normal (2+) on the left"),
    ("brachioradialis 0:inverted/0:inverted", "brachioradialis jerk absent (0), inverted on both sides"),
    ("bladder retention post_void_residual measured:480 anal_tone 1", "bladder retention; post-void residual 480 mL; anal tone reduced"),
    ("jaw 3 knee 3/3", "knee jerk brisk (3+) on both sides; jaw jerk brisk (3+)"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "said"), SAID)
def test_an_abnormal_finding_is_a_sentence(line, said):
    assert [text for _, text in sentences.abnormal(made(line))] == [f"{said}."]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("gaze_palsy 0/0", "gaze fails towards neither side"),
        ("gaze_palsy 0/-", "gaze fails: towards the right absent, towards the left not examined"),
        ("gaze_palsy -/0", "gaze fails: towards the right not examined, towards the left absent"),
    ],
)
def test_of_a_direction_that_was_not_looked_at_nothing_is_said(line, said):
    assert sentences.normal(made(line)) == said


def test_what_the_doctor_wrote_stays_as_it_is():
    found = made("ankle 2/0 rest=reflexes:right_leg")
    written = "right not examined: fresh graft; ask again"
    left = found.findings[1].model_copy(update={"comment": written})
    whole = found.model_copy(update={"findings": (left,)})
    assert written in sentences.abnormal(whole)[0][1]


def test_one_side_alone_says_that_the_other_was_not_examined():
    both = made("ankle 0/2 hip_flexion 5/5")
    one = both.model_copy(update={"findings": both.findings[:1] + both.findings[2:3]})
    assert [t for _, t in sentences.abnormal(one)] == [
        "ankle jerk absent (0) on the right, left not examined."
    ]
    assert sentences.normal(one) == "hip flexion 5 on the right, left not examined"
    assert "left ankle jerk" in sentences.not_examined(one)


@pytest.mark.parametrize(
    "sign", [s for s in catalogue().values() if s.sides == "midline"], ids=lambda s: s.id
)
def test_a_sign_in_the_midline_is_never_given_a_side(sign):
    for line in answers(sign):
        found = made(f"{sign.id} {line} ankle 0/2")
        said = {**dict(sentences.abnormal(found)), "normal": sentences.normal(found)}
        said["measured"] = sentences.measured(found)
        mine = [s for t in said.values() for s in t.split("; ") if sign.name.split(",")[0] in s]
        assert mine, said
        assert not any(word in text for text in mine for word in ("right", "left", "both"))


def answers(sign):
    """Every answer of a sign as it is typed."""
    if sign.answers == "tendon":
        return ["0", "1", "2", "3", "4"]
    if sign.answers == "residual":
        return ["measured:120"]
    return [a.code for a in answer_sets()[sign.answers].answers]


# What stands in a cell of the grid for want of room; the note has room.
CODES = {
    a.mark
    for kind in answer_sets().values() for a in kind.answers
    if a.mark not in a.words.replace(",", " ").replace("/5", "").split()
    and kind.name != "residual" and a.mark not in ("no", "none", "over", "down", "step", "pain", "shin")
}  # fmt: skip


@pytest.mark.parametrize("sign", list(catalogue().values()), ids=lambda s: s.id)
def test_no_answer_is_said_in_a_code_of_the_grid(sign):
    for line in answers(sign):
        typed = line if sign.sides == "midline" else f"{line}/{line}"
        found = made(f"{sign.id} {typed}")
        said = " ".join((*(t for _, t in sentences.abnormal(found)), sentences.normal(found)))
        said += sentences.measured(found)
        assert said
        assert not CODES & set(said.replace(",", " ").replace(".", " ").split()), said


def test_what_was_not_examined_names_core_signs_limbs_saddle_and_parts():
    found = made(
        "biceps 2/2 triceps 2/2 brachioradialis 2/2 knee 2/2 plantar down/down clonus_ankle none/none power_leg 5/5"
    )
    assert sentences.not_examined(found) == [
        "ankle jerk", "power of head and arms", "sensation", "tone, coordination, gait", "saddle sensation",
        "sphincters", "cortex, brainstem, cranial nerves", "provocation tests", "wasting, fasciculation, fatigability",
    ]  # fmt: skip


def test_what_was_stated_normal_is_not_called_unexamined_and_blank_never_normal():
    stated = made("rest=power:right_arm hip_flexion 5/3")
    (power,) = [t for t in sentences.not_examined(stated) if t.startswith("power")]
    assert power == "power of head and left arm"
    assert sentences.normal(stated) == ""
    assert sentences.statements(stated) == ["Power (MRC), right arm: rest examined, normal."]


def test_what_was_abnormal_before_and_not_examined_again_is_said():
    before = made("saddle 1/1 ankle 0/0 knee 2/2 hip_flexion 5/3")
    assert sentences.not_again(before, made("ankle 0/0")) == (
        "hip flexion 3 on the left; saddle sensation reduced on both sides"
    )
    assert sentences.not_again(before, before) == ""
    assert sentences.not_again(None, before) == ""


def test_what_was_abnormal_before_and_is_stated_normal_now_is_said_by_name():
    before = made("ankle 0/0 knee 2/2 hip_flexion 5/3")
    now = made("knee 2/2 rest=power:left_leg")
    assert sentences.not_again(before, now, stated=True) == "hip flexion 3 on the left"
    assert sentences.not_again(before, now) == "ankle jerk absent (0) on both sides"


def test_a_limb_examined_in_part_is_said_to_be():
    found = made("pin_C5 1/2 pin_C6 1/2 power_leg 5/5")
    assert sentences.in_part(found) == ["power of legs in part", "sensation of arms in part"]
    assert sentences.in_part(made("knee 2/2 rest=power:right_leg hip_flexion 5/3")) == [
        "power of legs in part"
    ]


@pytest.mark.parametrize(("line", "said"), [
    ("pupil_dilated 1/0 drowsiness none", ["cortex, brainstem, cranial nerves in part"]),
    ("attention 0", ["cortex, brainstem, cranial nerves in part"]),
    ("rest=cranial:head", ["cortex, brainstem, cranial nerves in part"]),
    ("rest=cranial:head rest=cranial:right_arm rest=cranial:left_arm", []),
    ("straight_leg_raise positive/-", ["provocation tests in part"]),
    ("gait normal tremor_rest 1/0", ["tone, coordination, gait in part"]),
    ("wasting_hand 1/0", ["wasting, fasciculation, fatigability in part"]),
    ("power_arm 5/5 power_leg 5/5", ["power of arms and legs in part"]),
    ("knee 2/2 anal_tone 2", []),  # of reflexes and sphincters each sign that is open is named
])  # fmt: skip
def test_a_part_examined_in_some_signs_is_said_to_be_in_part(line, said):
    assert sentences.in_part(made(line)) == said


def test_every_change_is_said_once_both_sides_together_the_gravest_first():
    before = made("hip_flexion 4/4+ ankle 2/2 knee 2/2 saddle 2/2 gaze_palsy 0/0 jaw 2")
    after = made("hip_flexion 3/3 ankle 0/0 knee 0/0 saddle 1/1 gaze_palsy 1/0 jaw 3")
    assert sentences.changes_of(compare(before, after).gravest) == (
        "saddle sensation was normal, now reduced on both sides; hip flexion right 4 to 3, left 4+ to 3; "
        "gaze fails towards the right was absent, now present; ankle and knee jerks 2+ to 0 on both sides; jaw jerk 2+ to 3+"
    )


def test_a_yes_of_the_past_that_is_answered_no_is_said_to_stand():
    before, now = made("flag:cancer=yes flag:fever=yes"), made("flag:cancer=no flag:fever=no")
    assert sentences.flags_standing(now, before) == "cancer"
    assert sentences.flags_standing(before, before) == sentences.flags_standing(now, None) == ""
    asked, _ = flags_said(now, before)
    assert "no to cancer; fever. Yes to cancer earlier in the stay, which stands" in asked


def test_a_yes_of_earlier_that_was_not_asked_again_is_said_and_not_named_as_not_asked():
    before = made("trauma=yes flag:anticoagulant=yes flag:cancer=yes flag:fever=no")
    asked, left = flags_said(made("flag:cancer=yes"), before)
    assert asked == (
        "Red flags asked: yes to cancer. Yes earlier in the stay, not asked again: trauma; anticoagulant."
    )
    assert not {"anticoagulant", "trauma"} & set(left[:-1].split("; "))
    assert "fever" in left  # what was answered no earlier is not known now
    asked, _ = flags_said(made(""), before)
    assert asked.startswith("NO RED FLAG WAS ASKED, none is excluded. Yes earlier in the stay")
    assert "Yes earlier" not in flags_said(made(""), None)[0]


def test_flags_are_said_by_their_answers():
    found = made("flag:cancer=yes flag:fever=no flag:saddle_numb=no")
    assert sentences.flags_asked(found) == "yes to cancer. No to saddle numbness; fever"
    assert "cancer" not in sentences.flags_not_asked(found)
    assert len(sentences.flags_not_asked(found).split("; ")) == 34
    assert sentences.flags_asked(made("")) == "none"


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("", "Complaint and onset not recorded."),
        ("onset=hours", "Complaint not recorded, onset hours."),
        (
            "complaint=weak_leg complaint_side=left onset=waking",
            "Weak leg, left side, onset on waking.",
        ),
        ("complaint=weak_all", "Weak all over, onset not recorded."),
    ],
)
def test_the_story_is_told_and_what_is_missing_of_it(line, said):
    assert sentences.story(made(line)) == said


@pytest.mark.parametrize(
    ("before", "said"),
    [
        ("", "Complaint and onset not recorded."),
        ("onset=hours", "Complaint not recorded, onset told earlier: hours."),
        ("complaint=weak_leg", "Told earlier: weak leg, onset not recorded."),
        (
            "complaint=weak_leg complaint_side=left onset=days bears_weight=no pain=back trauma=yes",
            "Told earlier: weak leg, left side, onset told earlier: days, could not bear weight earlier, "
            "pain told earlier: back, injury told earlier.",
        ),
        (
            "onset=days bears_weight=yes pain=none trauma=no setting=none",
            "Complaint not recorded, onset told earlier: days.",
        ),
        (
            "complaint=weak_leg onset=days setting=childbirth",
            "Told earlier: weak leg, onset told earlier: days, told earlier, came after: childbirth.",
        ),
    ],
)
def test_what_was_told_earlier_is_not_said_to_be_missing(before, said):
    assert sentences.story(made(""), made(before)) == said


@pytest.mark.parametrize(
    ("line", "flag", "answered"),
    [
        ("bladder altered", "bladder_bowel", True),
        ("bladder retention", "bladder_bowel", True),
        ("bowel incontinence", "bladder_bowel", True),
        ("saddle 1/2", "saddle_numb", True),
        ("perianal 2/0", "saddle_numb", True),
        ("complaint=confused", "drowsy", True),
        ("attention reduced", "drowsy", True),
        ("meningism present", "neck_stiff", True),
        ("gait cannot", "gait_lost", True),
        ("bladder normal bowel normal", "bladder_bowel", False),
        ("bladder catheter", "bladder_bowel", False),
        ("bladder known:altered", "bladder_bowel", False),
        ("bowel altered", "bladder_bowel", False),
        ("saddle 2/2", "saddle_numb", False),
        ("drowsiness none", "drowsy", False),
        ("meningism absent", "neck_stiff", False),
        ("", "drowsy", False),
    ],
)
def test_what_was_found_says_yes_to_its_question_and_what_is_normal_never_answers_one(
    line, flag, answered
):
    found = made(line)
    assert (flag not in found.flags_open) == answered
    assert (flags()[flag].short not in sentences.flags_not_asked(found)) == answered
    assert flag not in found.flags


def test_a_full_sum_score_stands_with_what_is_normal():
    line = "shoulder_abduction 5/5 elbow_flexion 5/5 wrist_extension 5/5 hip_flexion 5/5 knee_extension 5/5 ankle_dorsiflexion 5/5"
    full, less = made(f"{line} hip_abduction 5/4"), made(line.replace("hip_flexion 5/5", "hip_flexion 5/4"))  # fmt: skip
    assert "60/60" in sentences.normal(full)
    assert not any("60" in text for _, text in sentences.abnormal(full))
    assert "59/60" in sentences.abnormal(less)[0][1]
    assert "60" not in sentences.normal(less)


@pytest.mark.parametrize(
    ("remark", "told"), [("Back pain", True), ("back pain.", True), ("back pain, since Monday", False), ("", False)]
)  # fmt: skip
def test_a_remark_that_is_the_complaint_is_told_once(remark, told):
    assert told_already(remark, "back_pain") == told
    assert not remark or not told_already(remark, None)
