"""Change between two examinations: signs, patterns that move, and what is no change."""

import pytest

from wardexam.exam.answers import answers_for
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.change import PATTERNS, compare
from wardexam.reasoning.rules.change_words import headline, ways
from wardexam.reasoning.rules.urgency import assess


def changed(before, after):
    return compare(read_line(before).spelled_out(), read_line(after).spelled_out())


MOVES = {
    "reflexes_lost_with_weakness": ("power_leg 5/5 knee 2/2 ankle 2/2", "power_leg 4/4 knee 1/1 ankle 0/0"),
    "one_sided_face_arm_leg": ("power_arm 5/5 power_leg 5/5", "power_arm 5/3 power_leg 5/3"),
    "cortical_sign_new": ("neglect absent/absent", "neglect absent/present"),
    "sphincter_new": ("anal_tone 2", "anal_tone 0"),
    "level_climbing": ("level_pin T10/T10", "level_pin T6/T6"),
    "side_joining": ("power_leg 3/5", "power_leg 3/4"),
}  # fmt: skip


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_pattern_that_moves_is_named_and_worse(pattern):
    change = changed(*MOVES[pattern])
    assert pattern in change.patterns
    assert change.worse


@pytest.mark.parametrize("pattern", PATTERNS)
def test_the_way_back_is_not_worse(pattern):
    before, after = MOVES[pattern]
    change = changed(after, before)
    assert pattern not in change.patterns
    assert not change.worse
    assert change.signs


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("knee 2/2", "ankle 0/0"),
        ("hip_flexion 5/5", "hip_flexion nt:pain/nt:pain"),
        ("hip_flexion nt:pain/5", "hip_flexion 2/5"),
        ("hip_flexion 3/5", "rest=power:right_leg"),
        ("", "rest=power:all"),
    ],
)
def test_only_signs_found_both_times_are_compared(before, after):
    assert changed(before, after).signs == ()


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("saddle 2/1", "saddle 2/0"),
        ("perianal 1/1", "perianal 0/1"),
        ("pin_S3 1/1", "pin_S3 1/0"),
        ("anal_tone 1", "anal_tone 0"),
        ("anal_squeeze 1", "anal_squeeze 0"),
        ("bulbocavernosus 1", "bulbocavernosus 0"),
        ("plantar 2/1", "plantar 3/1"),
        ("level_pin none/none", "level_pin S1/none"),
    ],
)
def test_no_step_of_saddle_sphincters_plantar_or_a_new_level_is_put_down_to_the_observer(before, after):  # fmt: skip
    (change,) = changed(before, after).signs
    assert change.beyond
    assert change.worse


def test_a_sign_stated_normal_and_found_weak_is_worse():
    change = changed("rest=power:right_leg", "hip_flexion 3/3")
    assert [s.text for s in change.signs] == ["right hip flexion stated normal, now 3"]
    assert change.worse


def test_a_sign_stated_normal_and_found_so_is_no_change():
    assert (
        changed("rest=power:right_leg rest=reflexes:right_leg", "hip_flexion 5/5 knee 2/2").signs
        == ()
    )


def test_a_sign_stated_normal_and_one_grade_off_is_within_what_observers_differ_by():
    (sign,) = changed("rest=reflexes:right_leg", "knee 1/2").signs
    assert not sign.beyond


def test_deterioration_raises_urgency_and_recovery_does_not():
    before, after = (
        read_line("power_leg 4/5 onset=longer").spelled_out(),
        read_line("power_leg 2/5 onset=longer").spelled_out(),
    )
    assert assess(after, before, None).level == 2
    assert assess(after, None, None).level == 1
    assert assess(before, after, None).level == 1


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("level_pin T10/T10", "level_pin T9/T10"),
        ("power_leg 3/5", "power_leg 3/4+"),
        ("power_arm 5/5 power_leg 5/5", "power_arm 5/4+ power_leg 5/4+"),
    ],
)
def test_no_pattern_moves_within_what_observers_disagree_by(before, after):
    assert changed(before, after).patterns == ()


@pytest.mark.parametrize(
    ("before", "after", "joins"),
    [
        ("ankle_dorsiflexion 3/5", "ankle_dorsiflexion 3/3", True),
        # Another movement of the same limb, and the first side stands though it is not examined again.
        ("ankle_dorsiflexion 3/5 hip_flexion 5/5", "hip_flexion 5/3", True),
        # The first side came back, graded or stated.
        ("ankle_dorsiflexion 3/5", "ankle_dorsiflexion 5/3", False),
        ("ankle_dorsiflexion 3/5", "ankle_dorsiflexion -/3 rest=power:right_leg", False),
        # An arm does not join a leg.
        ("ankle_dorsiflexion 3/5 finger_abduction 5/5", "ankle_dorsiflexion 5/5 finger_abduction 5/3", False),
        ("ankle_dorsiflexion 3/5 finger_abduction 5/5", "ankle_dorsiflexion 3/5 finger_abduction 5/3", False),
        # That side of the limb was weak before.
        ("ankle_dorsiflexion 3/5 hip_flexion 5/4", "ankle_dorsiflexion 3/3 hip_flexion 5/4", False),
    ],
)  # fmt: skip
def test_the_other_side_joins_a_limb_that_is_weak_still(before, after, joins):
    change = changed(before, after)
    assert ("side_joining" in change.patterns) is joins
    assert change.worse
    assert joins or headline(change).startswith("worse: left ")


def test_the_gravest_change_comes_first_and_the_sphincters_before_its_equals():
    change = changed(
        "knee 2/2 hip_flexion 5/5 anal_tone 2 ankle 0/2",
        "knee 1/2 hip_flexion 3/5 anal_tone 1 ankle 2/2",
    )
    assert [s.row.id for s in change.gravest] == ["anal_tone", "hip_flexion", "ankle", "knee"]


def test_a_change_across_scales_is_said_on_the_later_one():
    (sign,) = changed("scale=ninds ankle 3/3", "ankle 0/2").signs
    assert sign.text == "right ankle jerk 2+ to 0"


@pytest.mark.parametrize(
    ("before", "after", "beyond"),
    [
        ("bladder altered", "bladder retention", True),
        ("clonus_ankle unsustained:3/none", "clonus_ankle sustained/none", True),
        ("pin_S1 1/2", "pin_S1 0/2", False),
        ("plantar equivocal/down", "plantar up/down", True),
        ("stocking ankle/none", "stocking knee/none", False),
        (
            "straight_leg_raise positive:70/negative",
            "straight_leg_raise positive:20/negative",
            True,
        ),
        (
            "straight_leg_raise positive:50/negative",
            "straight_leg_raise positive:40/negative",
            False,
        ),
        ("clonus_ankle unsustained:3/none", "clonus_ankle unsustained:9/none", True),
        ("knee 3/2", "knee 0/2", True),
    ],
)
def test_what_was_abnormal_and_grew_worse_is_worse(before, after, beyond):
    (there,), (back,) = changed(before, after).signs, changed(after, before).signs
    assert (there.worse, there.beyond) == (True, beyond)
    assert not back.worse


EXTENSOR = ["mute", "down", "equivocal", "withdrawal"]
WALKED = [code for code in answers_for("gait").codes if code != "cannot"]


@pytest.mark.parametrize(
    ("sign", "before", "gravest"),
    [*(("plantar", f"{b}/down", "up/down") for b in EXTENSOR), *(("gait", b, "cannot") for b in WALKED)],
)  # fmt: skip
def test_the_gravest_answer_of_a_sign_is_worse_than_any_other_and_no_step_of_an_observer(
    sign, before, gravest
):
    (there,) = changed(f"{sign} {before}", f"{sign} {gravest}").signs
    assert (there.worse, there.beyond) == (True, True)
    assert not any(s.worse for s in changed(f"{sign} {gravest}", f"{sign} {before}").signs)


def test_who_cannot_walk_any_more_is_seen_today():
    before, after = (read_line(f"gait {g} onset=longer").spelled_out() for g in ("antalgic", "cannot"))  # fmt: skip
    assert assess(after, before, None).level >= 2


def test_a_reflex_that_grows_brisk_after_shock_is_changed_and_not_worse():
    (there,) = changed("knee 1/2", "knee 3/2").signs
    assert (there.beyond, there.worse) == (True, False)


def test_another_number_of_the_same_answer_is_said_with_its_unit():
    change = changed(
        "straight_leg_raise positive:70/negative", "straight_leg_raise positive:20/negative"
    )
    assert [s.how for s in change.signs] == ["70 to 20 degrees"]


def test_an_answer_without_a_rank_is_worse_only_from_the_usual():
    assert changed("gait normal", "gait ataxic").signs[0].worse
    assert not changed("gait spastic", "gait ataxic").signs[0].worse


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("knee 2/2", "knee 2/2", "no change in 1 sign"),
        ("knee 2/2 plantar down/down", "knee 2/2 plantar down/down", "no change in 2 signs"),
        ("knee 2/2", "ankle 2/2", "no sign was examined both times"),
        ("knee 2/2", "knee nt:pain/nt:pain", "no sign was examined both times"),
        ("knee 2/2 hip_flexion 5/5", "knee 2/2 ankle 2/2", "no change in 1 sign"),
    ],
)
def test_no_change_says_of_how_many_signs_a_sign_of_two_sides_once(before, after, said):
    assert headline(changed(before, after)) == said


CORD = "ankle 0/2 knee 2/2 plantar down/down ankle_plantarflexion 4/5"


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        # A new deficit in a sign that nobody had looked at.
        (CORD, f"{CORD} saddle 1/1", "new, not examined before: saddle sensation; no change in 4 signs"),
        # Nobody could look at it.
        (
            "ankle_dorsiflexion 5/nt:cast knee 2/2",
            "ankle_dorsiflexion 5/3 knee 2/2",
            "new, not examined before: left ankle dorsiflexion; no change in 2 signs",
        ),
        # Nothing else was examined both times; the saddle comes first.
        (
            "knee 2/2",
            "ankle 0/2 saddle 1/1",
            "new, not examined before: saddle sensation, right ankle jerk; no sign was examined both times",
        ),
        # A measured amount is new from where a rule hears it.
        ("knee 2/2", "knee 2/2 post_void_residual measured:60", "no change in 1 sign"),
        (
            "knee 2/2",
            "knee 2/2 post_void_residual measured:300",
            "new, not examined before: post-void residual; no change in 1 sign",
        ),
        # Nobody knows by it what is found.
        ("knee 2/2", "knee 2/2 bladder catheter", "no change in 1 sign"),
    ],
)  # fmt: skip
def test_what_is_abnormal_and_was_not_examined_before_is_new_and_never_no_change(
    before, after, said
):
    change = changed(before, after)
    assert headline(change) == said
    assert (
        not change.worse
    )  # how long it was there nobody knows: its own rule says how urgent it is


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        (
            "hip_flexion 4/4 ankle_dorsiflexion 3/3 level_pin T10/T10 knee 2/2 ankle 2/2 plantar down/down",
            "knee 2/2 ankle 2/2 plantar down/down",
            "no change in the 3 signs examined again; not examined again: hip flexion, ankle dorsiflexion, pinprick level",
        ),
        ("hip_flexion 4/4 knee 2/2", "hip_flexion 4/- knee 2/2", "no change in the 2 signs examined again; not examined again: left hip flexion"),
        ("hip_flexion 4/5 knee 2/2", "hip_flexion nt:pain/5 knee 2/2", "no change in the 2 signs examined again; not examined again: right hip flexion"),
        # What a statement covers was looked at: how far it came back nobody graded.
        ("hip_flexion 3/- knee 2/2", "rest=power:right_leg knee 2/2", "no change in the 1 sign examined again; abnormal before, now stated normal: right hip flexion"),
        # What was normal leaves nothing out, nor does an answer that says nothing of the function.
        ("hip_flexion 5/5 bladder catheter knee 2/2", "knee 2/2", "no change in 1 sign"),
        ("hip_flexion 4/4", "knee 2/2", "no sign was examined both times"),
        ("knee 2/2 hip_flexion 4/5", "knee 2/2 saddle 1/1", "new, not examined before: saddle sensation; no change in 1 sign; not examined again: right hip flexion"),
    ],
)  # fmt: skip
def test_what_was_abnormal_and_was_not_examined_again_is_told_with_no_change(before, after, said):
    assert headline(changed(before, after)) == said


def test_a_sign_once_stated_normal_is_compared_and_not_new():
    assert changed("rest=power:right_leg", "hip_flexion 3/-").first_found == ()


IMPROVED = "hip_flexion 4/4 knee_extension 4/4 ankle_dorsiflexion 4/4 elbow_extension 5/5"


def test_the_sign_named_as_worse_is_worse_though_others_are_better_by_more():
    change = changed(
        IMPROVED, "hip_flexion 5/5 knee_extension 5/5 ankle_dorsiflexion 5/5 elbow_extension 4+/4+"
    )
    assert headline(change).startswith("worse: elbow extension 5 to 4+ on both sides")
    assert change.gravest[0].row.id == "elbow_extension"
    assert all("elbow extension" in way for way in ways(change)[:2])


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("hip_flexion 4/4", "hip_flexion 2/2", "worse: hip flexion 4 to 2 on both sides"),
        ("hip_flexion 4/4", "hip_flexion 2/3", "worse: hip flexion right 4 to 2, left 4 to 3"),
        ("hip_flexion 4/3", "hip_flexion 2/4", "worse: right hip flexion 4 to 2"),
        ("saddle 2/2 knee 2/2", "saddle 2/2 knee 0/0", "worse: knee jerk 2+ to 0 on both sides"),
        ("ankle 2/2", "ankle 2/0", "worse: left ankle jerk 2+ to 0"),
        ("gait normal", "gait ataxic", "worse: gait was normal, now broad-based, ataxic"),
        (
            "plantar mute/mute",
            "plantar up/mute",
            "worse: right plantar was no response, now extensor",
        ),
        ("level_pin T10/none", "level_pin T8/none", "worse: sensory level higher"),
        ("stocking ankle/none", "stocking ankle/none", "no change in 1 sign"),
    ],
)
def test_what_is_worse_is_named_with_its_sides_and_as_what_it_is(before, after, said):
    assert headline(changed(before, after)) == said


@pytest.mark.parametrize(
    ("before", "after", "how"),
    [
        # A step of grades, or of numbers.
        ("hip_flexion 4/5", "hip_flexion 2/5", "4 to 2"),
        ("knee 2/2", "knee 0/2", "2+ to 0"),
        ("straight_leg_raise positive:70/negative", "straight_leg_raise positive:20/negative", "70 to 20 degrees"),
        ("post_void_residual measured:40", "post_void_residual measured:340", "40 mL to 340 mL"),
        # Of words and levels "to" would read as a range, or as one of them.
        ("level_pin T10/none", "level_pin T8/none", "was T10, now T8"),
        ("level_pin none/none", "level_pin T4/none", "was none, now T4"),
        ("saddle 2/2", "saddle 1/2", "was normal, now reduced"),
        ("clonus_ankle unsustained:3/none", "clonus_ankle sustained/none", "was unsustained (3 beats), now sustained"),
    ],
)  # fmt: skip
def test_grades_and_numbers_go_from_one_to_another_and_words_were_and_are(before, after, how):
    (sign,) = changed(before, after).signs
    assert sign.how == how


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("bladder normal knee 2/2", "bladder catheter knee 2/2", "no change in 1 sign"),
        ("bladder retention knee 2/2", "bladder catheter knee 2/2", "no change in the 1 sign examined again; not examined again: bladder"),
        ("bladder catheter knee 2/2", "bladder normal knee 2/2", "no change in 1 sign"),
        ("bladder catheter knee 2/2", "bladder incontinence knee 2/2", "new, not examined before: bladder; no change in 1 sign"),
        ("plantar down/down", "plantar withdrawal/down", "no change in 1 sign"),
    ],
)  # fmt: skip
def test_an_answer_that_says_nothing_of_its_sign_is_compared_with_none(before, after, said):
    change = changed(before, after)
    assert headline(change) == said
    assert not change.worse
    assert change.signs == ()


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("hip_flexion 3/5", "hip_flexion 4/5", "better: right hip flexion 3 to 4"),
        ("hip_flexion 3/3 knee 0/2", "hip_flexion 4/4 knee 2/2", "better: hip flexion 3 to 4 on both sides; 1 more better"),
        ("saddle 1/1", "saddle 2/2", "better: saddle sensation was reduced, now normal on both sides"),
        ("level_pin T4/T4", "level_pin T8/T8", "better: pinprick level was T4, now T8 on both sides"),
        ("gait cannot", "gait normal", "better: gait was cannot walk, now normal"),
        ("post_void_residual measured:400", "post_void_residual measured:100", "better: post-void residual 400 mL to 100 mL"),
        # What was left out stands beside it.
        ("hip_flexion 3/5 saddle 1/1", "hip_flexion 4/5", "better: right hip flexion 3 to 4; not examined again: saddle sensation"),
        # Nothing beyond what two observers differ by.
        ("hip_flexion 4/5", "hip_flexion 4+/5", "changed: right hip flexion 4 to 4+"),
        # Something is worse, if by little, or new, or said to be worse, or neither for better nor for worse.
        ("hip_flexion 3/5 knee 2/2", "hip_flexion 4/5 knee 1/2", "changed: 1 worse, 1 better"),
        ("hip_flexion 3/5", "hip_flexion 4/5 saddle 1/1", "changed: right hip flexion 3 to 4; new, not examined before: saddle sensation"),
        ("hip_flexion 3/5", "hip_flexion 4/5 flag:worse=yes", "changed: right hip flexion 3 to 4"),
        ("hip_flexion 3/5 knee 1/2", "hip_flexion 4/5 knee 3/2", "changed: 1 better, 1 neither"),
        ("gait spastic", "gait ataxic", "changed: gait was spastic, now broad-based, ataxic"),
        # In cord shock the toe falls silent.
        ("plantar up/down", "plantar mute/down", "changed: right plantar was extensor, now no response"),
    ],
)  # fmt: skip
def test_better_is_said_where_all_that_changed_beyond_the_observer_is_better(before, after, said):
    assert headline(changed(before, after)) == said


def test_of_what_is_worse_and_better_both_are_counted():
    change = changed(
        "hip_flexion 5/5 knee_extension 5/5 elbow_extension 3/3 knee 1/1",
        "hip_flexion 3/3 knee_extension 4/5 elbow_extension 5/5 knee 3/3",
    )
    assert ways(change)[0] == (
        "worse: hip flexion 5 to 3 on both sides; 1 more worse, 1 better, 1 neither"
    )


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("hip_flexion 3/5 saddle 1/1", "hip_flexion 4/5"),
        ("hip_flexion 3/5", "hip_flexion 4/5 saddle 1/1"),
        ("knee 2/2 saddle 1/1", "knee 2/2"),
        ("knee 2/2", "knee 2/2 saddle 1/1"),
    ],
)
@pytest.mark.parametrize("since", ["", "2 Mar 08:00"])
def test_in_however_little_room_better_or_no_change_never_stands_alone(before, after, since):
    said = ways(changed(before, after), since)
    assert all("not examined" in way or "not redone" in way or "new" in way.lower() for way in said)
