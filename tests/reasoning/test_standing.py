"""What stands from earlier: blank never means normal, and a look again is what ends it."""

from datetime import UTC, datetime, timedelta
from random import Random

import pytest

from tests.examinations import examined
from tests.reasoning.worsening import drawn, stated_normal, worse_steps
from wardexam.exam.examination import Context, Examination, Findings
from wardexam.reasoning.rules.raised import recorded
from wardexam.reasoning.rules.reason import EARLIER
from wardexam.reasoning.rules.rule_table import rules
from wardexam.reasoning.rules.standing import over, standing, still_open
from wardexam.reasoning.rules.urgency import JOINED, UNTIL_KNOWN, UNTIL_NEW_KNOWN, assess

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)


def stay(*lines):
    return [
        examined(line, AT + timedelta(hours=4 * n)).model_copy(update={"id": f"exam{n:04}"})
        for n, line in enumerate(lines)
    ]


def urgency(*lines):
    """The urgency of the last of a stay's examinations, each saved before the next."""
    saved = []
    for examination in stay(*lines):
        found = assess(examination, standing(saved), None, still=still_open(saved))
        saved.append(recorded(examination, found))
    return found


def reasons(*lines):
    return {r.rule: r.text for r in urgency(*lines).reasons}


STANDS = [
    (("flag:saddle_numb=yes", "knee 2/2"), "cauda_equina"),
    (("bladder retention", "knee 2/2", "ankle 2/2"), "cauda_equina"),
    (("level_pin T8/T8", "power_leg 5/5"), "cord"),
    (("level_pin T8/T8", "level_pin nt:sedated/nt:sedated"), "cord"),
    (("flag:cancer=yes hip_flexion 3/5", "knee 2/2"), "metastatic_compression"),
    (("flag:cancer=yes hip_flexion 3/5", "flag:cancer=no"), "metastatic_compression"),
    (("onset=sudden face_lower 3/5", "knee 2/2 onset=longer"), "stroke"),
    (("onset=sudden face_lower 3/5", "knee 2/2 onset=longer", "ankle 2/2"), "stroke"),
    (("power_leg 3/3", "rest=power:both_legs", "knee 2/2"), "both_legs"),
    (("onset=hours wrist_extension 3/5", "finger_abduction 5/5", "", "knee 2/2"), "stroke"),
    (
        (
            "complaint=back_pain bladder retention",
            "complaint=other",
            "complaint=headache onset=longer",
            "knee 2/2",
        ),
        "cauda_equina",
    ),
    (("onset=hours wrist_extension 3/5", "finger_abduction 5/5"), "stroke"),
    (("face_lower 3/5 knee 0/2", "onset=longer", "knee 0/2"), "stroke"),
    (("face_lower 3/5 knee 0/2", "knee 2/2 onset=longer", "knee 0/2 onset=longer"), "stroke"),
    (("knee 0/2 onset=longer", "face_lower 3/5", "knee 0/2 onset=weeks", "knee 0/2"), "stroke"),
    (("complaint=speech knee 0/2", "complaint=back_pain onset=longer", "knee 0/2"), "stroke"),
    (("anal_tone 1", "rest=reflexes:all rest=power:all rest=sensation:all"), "cauda_equina"),
]


@pytest.mark.parametrize(("lines", "rule"), STANDS)
def test_what_was_not_looked_at_again_still_counts_and_says_that_it_is_earlier(lines, rule):
    said = reasons(*lines)[rule]
    for until in (UNTIL_KNOWN, UNTIL_NEW_KNOWN):
        said = said.replace(f", {until}", "")
    assert said == rules()[rule].reason + EARLIER
    assert urgency(*lines).level >= rules()[rule].urgency


def test_what_only_today_completes_is_raised_today_and_not_said_to_be_earlier():
    (reason,) = [r for r in urgency("flag:cancer=yes", "hip_flexion 3/5").reasons if r.rule == "metastatic_compression"]  # fmt: skip
    assert EARLIER not in reason.text
    assert reason.origin == JOINED
    assert reason.since == AT + timedelta(hours=4)


@pytest.mark.long
@pytest.mark.parametrize("gap", range(1, 6))
def test_neither_statements_nor_silence_nor_time_end_anything_over_many_examinations(gap):
    source = Random(gap)
    for _ in range(60):
        first = drawn(source)
        silent = [stated_normal(Findings(context=Context(onset="longer"))) for _ in range(gap)]
        saved, least = [], 0
        for n, found in enumerate((first, *silent)):
            made = Examination.of(found, id=f"exam{n:04}", patient="patient1", examiner="Dr Ash", at=AT + timedelta(hours=n))  # fmt: skip
            now = assess(made, standing(saved), None, still=still_open(saved))
            assert now.level >= least
            least = now.level
            saved.append(recorded(made, now))


@pytest.mark.parametrize("trials", [60, pytest.param(600, marks=pytest.mark.long)])
def test_an_onset_told_later_dates_nothing_that_is_not_examined_with_it(trials):
    source = Random(7)
    for _ in range(trials):
        first = drawn(source)
        first = first.model_copy(update={"context": first.context.model_copy(update={"onset": "unknown"})})  # fmt: skip
        other = "numb_hands" if first.context.complaint == "other" else "other"
        told = Findings(context=Context(onset="longer", complaint=other))
        again = Findings(findings=tuple(f for f in first.findings if f.choice and not f.choice.usual)[:1])  # fmt: skip
        saved, levels = [], []
        for n, found in enumerate((first, told, again)):
            made = Examination.of(found, id=f"exam{n:04}", patient="patient1", examiner="Dr Ash", at=AT + timedelta(hours=n))  # fmt: skip
            now = assess(made, standing(saved), None, still=still_open(saved))
            levels.append(now.level)
            saved.append(recorded(made, now))
        assert levels[2] >= levels[1], levels


def test_a_past_that_was_told_is_not_undone_by_a_no():
    lines = "complaint=back_pain flag:cancer=yes", "flag:cancer=no"
    assert "metastatic_pain" in reasons(*lines)
    assert "metastatic_pain" in reasons(*lines, "flag:cancer=no knee 2/2")
    assert standing(stay(*lines)).flags == {"cancer": "yes"}
    mended = [stay(lines[0])[0].model_copy(update={"flags": {"cancer": "no"}}), *stay(*lines)[1:]]
    assert standing(mended).flags == {"cancer": "no"}


def test_a_statement_that_the_rest_is_normal_ends_nothing():
    assert "both_legs" in reasons("power_leg 3/3", "rest=power:both_legs")


ENDS = [
    (("flag:saddle_numb=yes", "flag:saddle_numb=no"), "cauda_equina"),
    (("bladder retention", "bladder normal"), "cauda_equina"),
    (("level_pin T8/T8", "level_pin none/none"), "cord"),
    (("power_leg 3/3", "power_leg 5/5"), "both_legs"),
    (("onset=waking wrist_extension 3/5", "wrist_extension 3/5 finger_abduction 5/5"), "stroke"),
    (("flag:cancer=yes hip_flexion 3/5", "hip_flexion 5/5"), "metastatic_compression"),
    (("wrist_extension 3/5", "wrist_extension 3/5 onset=longer"), "stroke"),
    (("wrist_extension 3/5", "onset=longer", "wrist_extension 3/5 onset=longer"), "stroke"),
    (("complaint=speech knee 0/2", "onset=longer", "knee 0/2"), "stroke"),
]


@pytest.mark.parametrize(("lines", "rule"), ENDS)
def test_looking_again_ends_it(lines, rule):
    assert rule not in reasons(*lines)


def test_what_fires_now_is_not_said_to_be_earlier():
    text = reasons("flag:saddle_numb=yes", "flag:saddle_numb=yes")["cauda_equina"]
    assert EARLIER not in text


def test_nothing_earlier_is_nothing_standing():
    assert standing([]) is None
    assert urgency("knee 2/2").level == 0


def test_what_stands_is_never_written_into_the_examination():
    first, second = stay("flag:saddle_numb=yes knee 0/0", "ankle 2/2")
    over(first, second)
    assert second.flags == {}
    assert {f.sign for f in second.findings} == {"ankle"}


def test_the_latest_answer_of_a_stay_is_what_stands():
    stands = standing(stay("knee 0/2 flag:cancer=yes", "knee 2/2", "ankle 0/0 flag:trauma=no"))
    assert {(f.sign, f.side): f.answer for f in stands.findings} == {
        ("knee", "right"): "2+",
        ("knee", "left"): "2+",
        ("ankle", "right"): "0",
        ("ankle", "left"): "0",
    }
    assert stands.flags == {"cancer": "yes", "trauma": "no"}


def test_a_clock_that_was_wrong_hides_nothing_of_what_was_found_before():
    first, second = stay("knee 0/0 flag:saddle_numb=yes", "ankle 0/0")
    ahead = first.model_copy(update={"at": AT + timedelta(days=365)})
    stands = standing([ahead, second])
    assert {f.sign for f in stands.findings} == {"knee", "ankle"}
    assert (stands.id, stands.flags) == (second.id, {"saddle_numb": "yes"})


def test_a_look_at_other_signs_between_hides_no_deterioration():
    found = reasons("power_leg 5/5 knee 2/2", "biceps 2/2", "power_leg 2/5 ankle 2/2")
    assert found["worse"] == "worse: right hip flexion 5 to 2"


def test_a_statement_stands_until_the_sign_is_found_otherwise():
    stands = standing(stay("rest=power:right_leg", "knee 2/2", "rest=power:left_leg"))
    assert {s.limb for s in stands.rest_normal} == {"right leg", "left leg"}
    assert "worse" in reasons("rest=power:right_leg", "knee 2/2", "hip_flexion 3/5")


@pytest.mark.parametrize(
    "lines",
    [
        ("onset=days bladder retention", "bladder catheter"),
        (
            "onset=days plantar extensor/flexor clonus_ankle sustained/none",
            "plantar withdrawal/flexor",
        ),
    ],
)
def test_an_answer_that_says_nothing_of_the_function_ends_nothing(lines):
    assert urgency(*lines).level == urgency(lines[0]).level
    assert urgency(*lines).reasons[0].rule == urgency(lines[0]).reasons[0].rule


def test_what_is_found_again_and_no_graver_began_when_it_was_told():
    first = "onset=weeks finger_abduction 5/3 grip 5/4"
    assert "stroke" not in reasons(first, "finger_abduction 5/3 grip 5/4")
    assert "stroke" not in reasons(first, "finger_abduction 5/4 grip 5/5")
    # A graver grade, a further sign or a further complaint began nobody knows when.
    for more in (
        "finger_abduction 5/2",
        "finger_abduction 5/3 face_lower 5/4",
        "finger_abduction 5/3 complaint=speech",
    ):
        assert "stroke" in reasons(first, more), more
    # So did what was found before any onset was told.
    assert "stroke" in reasons(
        "finger_abduction 5/3", "knee 2/2 onset=weeks", "finger_abduction 5/3"
    )


@pytest.mark.parametrize("times", [2, 3, 5])
def test_the_same_found_again_and_again_stays_dated_as_it_was_told_at_first(times):
    again = "ankle_dorsiflexion 5/3 ankle 2/2 knee 2/2 plantar down/down"
    assert "stroke" not in reasons(f"onset=days {again}", *[again] * (times - 1))
    # What is found beyond it is not dated, nor is what is examined with it after that.
    assert "stroke" in reasons(f"onset=days {again}", again, f"{again} finger_abduction 5/3")
    assert "stroke" in reasons(f"onset=days {again}", f"{again} finger_abduction 5/3", again)


def test_a_reflex_lost_since_dates_nothing_that_was_found_before():
    # Power is as it was, told to have begun within days: a reflex says nothing of when that began.
    before = (
        "onset=days complaint=back_pain ankle 1/2 ankle_dorsiflexion 4/5 ankle_plantarflexion 4/5"
    )
    again = "ankle 0/2 ankle_dorsiflexion 4/5 ankle_plantarflexion 4/5"
    assert "stroke" not in reasons(before, again)
    # A weaker foot does not say since when: it is undated, with what is examined beside it.
    assert "stroke" in reasons(before, again.replace("dorsiflexion 4/5", "dorsiflexion 3/5"))
    # Nothing is known of when a limb began that was told to be weak for longer.
    assert "stroke" in reasons(before.replace("days", "longer"), again)


ARMS = "elbow_flexion 4/4 finger_abduction 4/4 biceps 1/1 triceps 3/3"
CORD = f"onset=longer {ARMS} plantar up/up gait spastic hip_flexion 4+/4+ flag:progressive=yes"
# What was found first and then; what stays as urgent as it was, and what the old signs alone would have given.
NEW = [
    (CORD, f"{ARMS} hip_flexion 3/4", "stroke", "flaccid"),
    (CORD, f"{ARMS} hip_flexion 3/4", "sudden_legs", "rapid_symmetrical"),
    (CORD, "hip_flexion 3/4", "stroke", "flaccid"),
    ("onset=longer thumb_abduction 4/5", "thumb_abduction 4/4", "symmetrical", "none"),
    (f"onset=longer {ARMS}", f"{ARMS} face_lower 3/5", "stroke", "symmetrical"),
    # A sign of before and a new one together are as urgent as they are at first.
    (
        "onset=longer nystagmus 1/1",
        "nystagmus 1/1 drowsiness slight",
        "basilar",
        "posterior_stroke",
    ),
]


@pytest.mark.parametrize("times", [1, 2])
@pytest.mark.parametrize(("before", "now", "stays", "dated"), NEW)
def test_what_is_new_in_a_limb_is_undated_and_the_limbs_that_are_as_they_were_keep_their_date(
    before, now, stays, dated, times
):
    alone = urgency(now)
    found = urgency(before, *[now] * times)
    told = {r.rule: r.text for r in found.reasons}
    assert told[stays].endswith((UNTIL_NEW_KNOWN, UNTIL_NEW_KNOWN + EARLIER)) or stays == "basilar"
    assert dated not in told
    assert found.level >= alone.level


@pytest.mark.parametrize("seed", range(3))
def test_a_reason_of_old_signs_is_left_out_beside_one_as_grave_alone_so_that_no_level_falls(seed):
    source, left_out = Random(seed), 0
    for _ in range(40):
        first = drawn(source)
        told = first.context.model_copy(
            update={"onset": source.choice(("days", "weeks", "longer"))}
        )
        first = first.model_copy(update={"context": told})
        for _, _, worse in worse_steps(first, source):
            untold = worse.context.model_copy(update={"onset": "unknown"})
            now = worse.model_copy(update={"context": untold})
            found = assess(now, first, None, still=still_open([first]))
            assert found.level == max(
                (r.urgency for r in (*found.reasons, *found.within)), default=0
            )
            for old in found.within:
                assert any(
                    r.urgency >= old.urgency and (r.due or not old.due) for r in found.reasons
                )
                left_out += old.undated
    assert left_out  # there were some


def test_a_limit_that_is_passed_is_not_hidden_behind_what_may_be_new():
    found = urgency(CORD, "hip_flexion 3/4 finger_abduction 2/2 elbow_flexion 2/2")
    first = found.reasons[0]
    assert (first.rule, first.undated) == ("cord_and_function", False)
    assert first.due <= AT + timedelta(hours=4)
    # The soonest limit leads where none is passed.
    assert urgency("hip_flexion 3/4 finger_abduction 2/2 elbow_flexion 2/2").reasons[0].undated


@pytest.mark.parametrize("ankle", ["", "ankle 2/-", "ankle nt:pain/-"])
def test_a_sign_that_was_found_undated_and_cannot_be_tested_undates_nothing(ankle):
    """As one that is not looked at again, or is as usual."""
    before = ("ankle 0/2", "onset=weeks finger_abduction 5/3 grip 5/4")
    assert "stroke" not in reasons(*before, f"finger_abduction 5/3 {ankle}")
    assert "stroke" in reasons(*before, "finger_abduction 5/3 ankle 0/-")


# Common practice: a wrist drop since waking, all else of that arm full, is of the radial nerve; so it is when it is looked at again.
DROP = "age=50 onset=waking complaint=weak_arm complaint_side=right wrist_extension 1/5 finger_extension 1/5 elbow_extension 5/5 elbow_flexion 5/5 shoulder_abduction 5/5 finger_abduction 5/5 triceps 2/2 territory_radial 1/2"


@pytest.mark.parametrize(
    ("again", "stroke"),
    [
        ("wrist_extension 4/5", False), ("wrist_extension 1/5 finger_extension 1/5", False),
        ("wrist_extension 0/5", True), ("wrist_extension 4/5 face_lower 4/5", True),
        ("wrist_extension 1/5 elbow_flexion 4/5", True), ("onset=sudden wrist_extension 1/5", True),
        ("flag:worse=yes wrist_extension 1/5", True), ("complaint=speech wrist_extension 1/5", True),
    ],
)  # fmt: skip
def test_some_of_an_old_palsy_found_again_is_no_stroke_and_anything_beyond_it_may_be(again, stroke):
    first, now = examined(DROP, AT), examined(again, AT + timedelta(hours=32))
    assert "stroke" not in {r.rule for r in assess(first, None, None).reasons}
    found = assess(now, standing((first,)), None, still=still_open((first,)))
    assert ("stroke" in {r.rule for r in found.reasons}) == stroke
    if not stroke:
        assert found.level == assess(first, None, None).level


def test_a_headache_answered_yes_once_and_again_is_as_grave_the_second_time():
    """Drawn: what was new at the second examination, its onset not told, was calmer at the third, which found the same."""
    first = examined("age=80 onset=waking pain=neck flag:wound=yes", AT)
    second, third = (examined("age=80 flag:wound=yes flag:headache_new=yes", AT + timedelta(hours=h)) for h in (8, 16))  # fmt: skip
    once = assess(second, standing((first,)), None, still=still_open((first,)))
    twice = assess(third, standing((first, second)), None, still=still_open((first, second)))
    assert once.level == twice.level == 3
