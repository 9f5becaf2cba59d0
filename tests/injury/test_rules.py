"""A test for each rule of `rules.toml`, by its number."""

import re
import sys

import pytest

from wardexam.injury.computed import compute
from wardexam.injury.tables import rules
from wardexam.injury.typed import read_typed

STILL = "movement both none\n"
NORMAL = "sensation: 2\nmotor: 55555/55555\nvac yes\ndap yes\n"


def found(text, **more):
    """The results of a sheet by id, each as its words without a hint of what remains."""
    computed = compute(read_typed(text), **more)
    return {
        id_: "/".join(r.values) + ("*" if r.assumed else "") for id_, r in computed.results.items()
    }


def reason(text, id_):
    """The words and rules of a result's reasons."""
    result = compute(read_typed(text)).results[id_]
    return " ".join(w.words for w in result.why), set(result.rules)


def test_every_rule_has_a_test_of_its_name():
    here = sys.modules[__name__]
    tested = {int(m[1]) for n in dir(here) if (m := re.match(r"test_rule_(\d+)_", n))}
    assert tested == set(rules()) == set(range(1, 32))


def test_rule_1_a_level_is_the_lowest_normal_with_all_above_normal():
    text = "right light touch: 2 to T4, 1 to T6, 2 to T9, 0\nleft light touch: 2 to T9, 0"
    assert found(text)["light_touch_level_right"] == "T4"
    assert found(text)["light_touch_level_left"] == "T9"
    assert reason(text, "light_touch_level_right") == ("normal down to T4; T5 is 1", {1})


def test_rule_2_the_sensory_level_is_the_higher_of_the_two():
    text = "light touch: 2 to T9, 0\nright pinprick: 2 to T6, 0\nleft pinprick: 2 to L1, 0"
    assert found(text)["sensory_level_right"] == "T6"
    assert found(text)["sensory_level_left"] == "T9"
    assert reason(text, "sensory_level_left") == (
        "the higher of light touch T9 and pinprick L1",
        {2},
    )


def test_rule_3_c2_not_normal_is_c1_and_all_normal_is_intact():
    text = "right sensation: 1\nleft sensation: 2\ndap no"
    assert found(text)["sensory_level_right"] == "C1"
    assert reason(text, "light_touch_level_right") == ("C2 is 1", {1, 3})
    assert found(text.replace("dap no", "dap yes")) | {"x": 1} != {}
    assert (
        found(text.replace("no", "yes"))["sensory_level_left"] == "INT"
    )  # pressure does not count


@pytest.mark.parametrize(
    ("motor", "level"),
    [("55555/00000", "T1"), ("54000/00000", "C6"), ("53000/00000", "C6"), ("52000/00000", "C5"), ("50000/00000", "C5"), ("51555/55555", "C5")],
)  # fmt: skip
def test_rule_4_a_key_muscle_of_5_is_passed_of_3_is_the_level_below_3_is_above(motor, level):
    assert found(f"sensation: 2 to T1, 0\nmotor: {motor}")["motor_level_right"] == level


def test_rule_5_without_a_key_muscle_the_motor_level_follows_sensation():
    text = "right sensation: 2 to T8, 0\nleft sensation: 2 to C3, 0\nmotor: 55555/00000"
    assert found(text)["motor_level_right"] == "T8"
    assert found(text)["motor_level_left"] == "C3"
    assert 5 in reason(text, "motor_level_right")[1]


@pytest.mark.parametrize(
    ("sensation", "motor", "level"),
    [("2 to C2, 1", "55000/00000", "C2"), ("2 to C4, 0", "20000/00000", "C4"), ("2 to C4, 0", "30000/00000", "C5"), ("2 to C5, 0", "55555/55555", "T1"), ("2 to T10, 0", "55555/55433", "T10"), ("2 to L1, 0", "55555/30000", "L2"), ("2 to C3, 0", "40000/00000", "C3")],
)  # fmt: skip
def test_rule_6_arms_count_no_lower_than_sensation_above_them(sensation, motor, level):
    assert found(f"sensation: {sensation}\nmotor: {motor}")["motor_level_left"] == level


def test_rule_7_all_5_and_sensation_intact_is_intact():
    assert found(NORMAL)["motor_level_right"] == "INT"
    assert found(NORMAL.replace("2\n", "2 to S3, 1\n", 1))["motor_level_right"] == "S3"
    assert reason(NORMAL, "motor_level_left")[1] == {7}


@pytest.mark.parametrize("highest", ["right sensory", "left sensory", "right motor", "left motor"])
def test_rule_8_the_neurological_level_is_the_highest_of_four(highest):
    side, kind = highest.split()
    text = "sensation: 2 to T8, 0\nmotor: 55555/00000\n"
    if kind == "sensory":
        other = "left" if side == "right" else "right"
        text = f"{side} sensation: 2 to T3, 0\n{other} sensation: 2 to T8, 0\nmotor: 55555/00000\n"
        assert found(text)["neurological_level"] == "T3"
    else:
        other = "left" if side == "right" else "right"
        text = f"sensation: 2 to T8, 0\n{side} motor: 55000/00000\n{other} motor: 55555/00000\n"
        assert found(text)["neurological_level"] == "C6"
    assert highest in reason(text, "neurological_level")[0]


ABSENT = "sensation: 2 to T4, 0\nmotor: 55555/00000\nvac no\ndap no\n"


def sacral(test, side, score):
    """The complete sheet with one S4-5 score changed."""
    other = "left" if side == "right" else "right"
    rest = "pinprick" if test == "light touch" else "light touch"
    return (
        f"{side} {test}: 2 to T4, 0 to S3, {score}\n{other} {test}: 2 to T4, 0\n{rest}: 2 to T4, 0\n"
        "motor: 55555/00000\nvac no\ndap no\n"
    )


def test_rule_9_complete_is_no_contraction_no_pressure_and_no_sensation_at_s4_5():
    assert found(ABSENT)["completeness"] == "complete"
    assert found(ABSENT.replace("vac no", "vac yes"))["completeness"] == "incomplete"
    assert found(ABSENT.replace("dap no", "dap yes"))["completeness"] == "incomplete"
    for test in ("light touch", "pinprick"):
        for side in ("right", "left"):
            assert found(sacral(test, side, 0))["completeness"] == "complete"
            assert found(sacral(test, side, 1))["completeness"] == "incomplete"


def test_rule_10_any_sensation_at_s4_5_or_pressure_spares():
    """With movement far below, each alone makes it motor incomplete; without, B."""
    moving = "55555/01000"
    for text in (sacral("pinprick", "left", 1), ABSENT.replace("dap no", "dap yes")):
        assert found(f"{text}\n{STILL}")["impairment"] == "B"
        assert found(text.replace("55555/00000", moving))["impairment"] == "C"
    assert found(ABSENT.replace("55555/00000", moving))["impairment"] == "A"


def test_rule_11_complete_is_a_whatever_the_limbs_do():
    assert found(ABSENT.replace("55555/00000", "55555/55555"))["impairment"] == "A"
    assert reason(ABSENT, "impairment") == ("complete", {11})


@pytest.mark.parametrize(("earlier", "grade"), [("earlier deficit yes", "E"), ("earlier deficit no", "none"), ("", "E/none")])  # fmt: skip
def test_rule_12_everything_normal_is_e_only_with_an_earlier_deficit(earlier, grade):
    assert found(NORMAL + earlier)["impairment"] == grade


@pytest.mark.parametrize(("signs", "grade"), [("vac no\ndap yes", "B"), ("vac yes\ndap no", "D"), ("vac no\ndap no", "B")])  # fmt: skip
def test_rule_13_intact_without_contraction_or_pressure_says_that_no_rule_was_found(signs, grade):
    text = f"sensation: 2\nmotor: 55555/55555\nearlier deficit yes\n{signs}"
    computed = compute(read_typed(text))
    assert computed.results["impairment"].values == (grade,)
    (doubt,) = [d for d in computed.doubts if d.rules == (13,)]
    assert doubt.words.startswith("no rule found")
    assert f"reported as {grade}" in doubt.words


def test_rule_14_motor_incomplete_by_contraction_or_by_movement_far_below_of_the_same_side():
    text = "sensation: 2 to C6, 1\nright motor: {}\nleft motor: {}\nvac no\ndap yes\n" + STILL
    # From C8 of the right the trace at right L2 is far below; the left level is what counts for the left.
    assert found(text.format("55500/00000", "55500/00000"))["impairment"] == "B"
    assert found(text.format("55500/10000", "55500/00000"))["impairment"] == "C"
    low = "right sensation: 2 to L1, 1\nleft sensation: 2 to T2, 1\n{}\nvac no\ndap yes\n" + STILL
    assert (
        found(low.format("right motor: 55555/41100\nleft motor: 55555/00000"))["impairment"] == "B"
    )
    assert (
        found(low.format("right motor: 55555/00000\nleft motor: 55555/41100"))["impairment"] == "C"
    )


@pytest.mark.parametrize(("motor", "grade"), [("53321/00000", "B"), ("53320/10000", "C")])
def test_rule_15_more_than_three_below_counts_every_segment(motor, grade):
    """From C6, T1 is three below; the next key muscle, L2, is far below."""
    text = f"sensation: 2 to C6, 1\nmotor: {motor}\nvac no\ndap yes\n{STILL}"
    assert found(text)["impairment"] == grade


def test_rule_15_counts_from_t2_by_a_movement_outside_the_key_muscles():
    text = "sensation: 2 to C6, 1\nmotor: 53320/00000\nvac no\ndap yes\nmovement {}\n"
    for right, grade in (("T1", "B"), ("L2", "C"), ("none", "B")):
        of_both = text.format(f"right {right}") + "movement left none"
        assert found(of_both)["impairment"] == grade
    assert found(text.format("right L2"))["impairment"] == "C"  # whatever the left does
    assert found(text.format("right T1"))["impairment"] == "B/C"


def test_rule_16_b_or_c_by_the_side_c_or_d_by_the_neurological_level():
    """The right motor level is T1, so L2 is far below there; the count runs from the left's C5."""
    text = (
        "right sensation: 2 to T1, 1\nleft sensation: 2 to C5, 1\nright motor: 55555/{}\nleft motor: 50000/00000\nvac no\ndap yes\n"
        + STILL
    )
    assert found(text.format("00000"))["impairment"] == "B"
    words, numbers = reason(text.format("10000"), "impairment")
    assert "4 of 18 key muscles below C5" in words
    assert "(right hip flexors, L2)" in words
    assert 16 in numbers


def test_rule_17_contraction_alone_is_at_least_c():
    text = "sensation: 2 to C6, 0\nmotor: 55000/00000\nvac yes\ndap no"
    assert found(text)["impairment"] == "C"
    assert 17 in reason(text, "impairment")[1]


@pytest.mark.parametrize(("motor", "grade"), [("33322", "D"), ("33222", "C"), ("33333", "D")])
def test_rule_18_exactly_half_useful_is_d(motor, grade):
    text = f"sensation: 2 to T10, 1\nright motor: 55555/{motor}\nleft motor: 55555/33111\nvac yes\ndap yes"
    assert found(text)["impairment"] == grade


def test_rule_18_key_muscles_above_the_level_are_not_counted():
    text = "sensation: 2 to C8, 1\nmotor: 55553/00000\nvac yes\ndap yes"
    assert "2 of 12 key muscles below C8" in reason(text, "impairment")[0]


def test_rule_19_no_key_muscle_below_is_d_by_convention_and_b_is_doubted():
    text = "sensation: 2 to S1, 1\nmotor: 55555/55555\nvac yes\ndap yes"
    computed = compute(read_typed(text))
    assert computed.results["impairment"].values == ("D",)
    assert [d.rules for d in computed.doubts] == [(19,)]
    assert "from memory" in computed.doubts[0].words
    odd = compute(read_typed(text.replace("vac yes", "vac no")))
    assert odd.results["impairment"].values == ("B",)
    assert any("no rule found" in d.words and d.rules == (19,) for d in odd.doubts)


def test_rule_20_b_may_become_c_or_d_by_another_movement_that_is_never_counted():
    text = "sensation: 2 to L2, 1\nmotor: 55555/43300\nvac no\ndap yes\n"
    assert found(text + STILL)["impairment"] == "B"
    assert found(text + "movement right S1")["impairment"] == "D"
    assert "4 of 8" in reason(text + "movement right S1", "impairment")[0]
    weak = "sensation: 2 to T6, 1\nmotor: 55555/00000\nvac no\ndap yes\n"
    assert found(weak + "movement left S1")["impairment"] == "C"
    assert not compute(read_typed(text + STILL)).doubts


@pytest.mark.parametrize(
    ("recorded", "missing"),
    [("", ("right", "left")), ("movement right none", ("left",)), ("movement left C6", ("right",))],
)
@pytest.mark.parametrize(("leg", "remain"), [("43300", "B/D"), ("40000", "B/C")])
def test_rule_20_a_movement_that_was_not_recorded_is_unknown_and_leaves_c_or_d(
    recorded, missing, leg, remain
):
    text = f"sensation: 2 to L2, 1\nmotor: 55555/{leg}\nvac no\ndap yes\nearlier deficit no\n"
    computed = compute(read_typed(text + recorded))
    scale = computed.results["impairment"]
    assert "/".join(scale.values) == remain
    words = tuple(f"{side} movement outside the key muscles" for side in missing)
    assert scale.depends_on == words == computed.not_entered
    (doubt,) = computed.doubts
    assert doubt.rules == (20,)
    assert doubt.words.startswith("movement outside the key muscles is not recorded")
    # Where nothing else moves, or it cannot decide, one grade is left.
    assert found(text + STILL)["impairment"] == "B"
    assert found(text.replace("vac no", "vac yes") + recorded)["impairment"] == remain[-1]


def test_rule_21_a_sensory_zone_only_without_pressure_and_with_s4_5_of_the_side_absent():
    assert found(ABSENT)["sensory_zone_right"] == "T4"
    assert found(ABSENT.replace("dap no", "dap yes"))["sensory_zone_right"] == "NA"
    one = found(sacral("light touch", "right", 1))
    assert (one["sensory_zone_right"], one["sensory_zone_left"]) == ("NA", "T4")


def test_rule_22_a_motor_zone_on_both_sides_only_without_contraction():
    text = ABSENT.replace("55555/00000", "55555/12000")
    assert found(text)["motor_zone_left"] == "L3"
    squeezed = found(text.replace("vac no", "vac yes"))
    assert (squeezed["motor_zone_right"], squeezed["motor_zone_left"]) == ("NA", "NA")


def test_rule_23_a_zone_is_the_lowest_with_any_function_with_gaps_else_the_level():
    text = "light touch: 2 to T4, 0 to L1, 1 to L2, 0\npinprick: 2 to T4, 1 to T6, 0\nmotor: 55555/00010\nvac no\ndap no\n"
    assert found(text)["sensory_zone_right"] == "L2"
    assert found(text)["motor_zone_right"] == "L5"
    assert found(text + "movement right S1")["motor_zone_right"] == "L5"
    assert found(ABSENT)["motor_zone_right"] == found(ABSENT)["motor_level_right"] == "T4"
    assert reason(ABSENT, "motor_zone_right")[0].endswith("which is repeated")


def test_rule_24_b_always_has_a_motor_zone_and_contraction_never():
    text = "sensation: 2 to L2, 1\nmotor: 55555/43300\nvac no\ndap yes\n" + STILL
    assert found(text)["impairment"] == "B"
    assert found(text)["motor_zone_right"] == "L4"
    assert found(text.replace("vac no", "vac yes"))["motor_zone_right"] == "NA"


def test_rule_25_sub_scores_keep_arms_and_legs_apart_and_ignore_marks():
    text = "right light touch: 2 to C4, 1* to C6, 0\nleft light touch: 2\npinprick: 2\nright motor: 3*5555/43210\nleft motor: 55555/55555"
    totals = {k: (s.least, s.determined) for k, s in compute(read_typed(text)).sums.items()}
    assert totals["arm_motor_right"] == (23, True)
    assert totals["leg_motor_right"] == (10, True)
    assert totals["arm_motor"] == (48, True)
    assert totals["leg_motor"] == (35, True)
    assert totals["light_touch_right"] == (8, True)
    assert totals["light_touch"] == (64, True)
    assert totals["pinprick"] == (112, True)


def test_rule_26_a_score_not_testable_leaves_side_and_total_unknown():
    text = "light touch: 2, T3 NT\npinprick: 2\nright motor: N5555/55555\nleft motor: 55555/55555"
    totals = compute(read_typed(text)).sums
    assert [totals[f"arm_motor{s}"].text for s in ("_right", "_left", "")] == ["ND", "25", "ND"]
    assert (totals["arm_motor"].least, totals["arm_motor"].most) == (45, 50)
    assert totals["leg_motor"].text == "50"
    assert totals["light_touch"].text == "ND"
    assert totals["pinprick"].text == "112"


def test_rule_27_a_marked_score_above_counts_as_normal_below_as_examined_or_as_recorded():
    above = "sensation: 2 to C7, 0\nright motor: 3*5520/00000\nleft motor: 55520/00000\nvac no\ndap no\n"
    assert found(above)["motor_level_right"] == "C7*"
    assert (
        found(above + "count right motor C5 as examined: weak before")["motor_level_right"] == "C5"
    )
    assert found(above.replace("3*", "NT*"))["motor_level_right"] == "C7*"
    below = "sensation: 2 to T12, 1\nright motor: 55555/2*3322\nleft motor: 55555/33222\nvac yes\ndap yes\n"
    assert found(below)["impairment"] == "C"
    assert found(below + "count right motor L2 as normal: old fracture")["impairment"] == "D*"


def test_rule_28_the_level_with_all_marks_normal_says_which_lie_above_it():
    """Pinprick of 1 at C8 and T6 are marked; the level with both normal is T6: only C8 lies above."""
    text = "light touch: 2 to T6, 0\npinprick: 2 to T6, 0, C8 1*, T6 1*\nmotor: 55555/00000\nvac no\ndap no"
    assert found(text)["pinprick_level_right"] == "T5*"
    assert any(28 in d.rules for d in compute(read_typed(text)).doubts)
    rated = "\ncount both pinprick C8 as normal\ncount both pinprick T6 as examined"
    assert found(text + rated)["pinprick_level_right"] == "T5*"
    assert not any(28 in d.rules for d in compute(read_typed(text + rated)).doubts)


def test_rule_29_only_a_result_that_differs_with_marks_as_examined_is_starred():
    text = "sensation: 2 to C7, 0\nright motor: 3*5520/00000\nleft motor: 55520/00000\nvac no\ndap no\n"
    starred = {id_ for id_, value in found(text).items() if value.endswith("*")}
    assert starred == {"motor_level_right", "neurological_level"}


def test_rule_30_a_result_is_known_where_every_completion_gives_it_else_all_remain():
    text = "sensation: 2 to T1, 1\nright motor: 5N543/00000\nleft motor: 55543/00000\nvac no\ndap yes\n{}"
    open_, text = text.format(""), text.format(STILL)
    assert compute(read_typed(open_)).results["impairment"].depends_on == (
        "right motor C6", "right movement outside the key muscles", "left movement outside the key muscles",
    )  # fmt: skip
    values = found(text)
    assert values["motor_level_right"] == "C5/C6/C8"
    assert values["motor_level_left"] == "C8"
    assert values["impairment"] == "B/C"
    assert compute(read_typed(text)).results["impairment"].depends_on == ("right motor C6",)
    # Light touch that is not testable does no harm where pinprick is not normal.
    harmless = found(
        text.replace(
            "sensation: 2 to T1, 1", "pinprick: 2 to T1, 1\nlight touch: 2 to T1, NT to T2, 1"
        )
    )
    assert harmless["sensory_level_right"] == "T1"


def test_rule_31_each_result_is_decided_for_itself():
    text = "sensation: 2 to T8, 0 to S3, NT\nmotor: 55555/00000\nvac yes\ndap NT"
    values = found(text)
    assert values["impairment"] == "C"
    assert values["sensory_zone_right"] == "T8/NA"
