"""From sheet to sheet: what fell is said first, what may have fallen is said, nothing unknown is called better."""

import re

import pytest

from tests.injury.drawn import drawn
from wardexam.injury.changed import FALL, MAYBE, OPEN, OTHER, RISE, changes, told
from wardexam.injury.computed import compute
from wardexam.injury.sheet import SIDES, TEST_WORDS, TESTS, InjurySheet, places
from wardexam.injury.typed import read_typed

BASE = "sensation: 2 to C6, 1 to T12, 0\nmotor: 55200/00000\nvac no\ndap no\n"


def between(before, now):
    return changes(compute(read_typed(before)), compute(read_typed(now)))


def of(found, kind):
    return [c.words for c in found if c.kind == kind]


def test_the_same_sheet_twice_is_no_change():
    assert between(BASE, BASE) == ()


def test_a_level_that_fell_and_a_grade_that_rose_are_told_as_such_the_fall_first():
    found = between(
        BASE, "sensation: 2 to C5, 1\nmotor: 53200/00000\nvac no\ndap no\nmovement both none"
    )
    assert "scale A -> B" in of(found, RISE)
    assert {"sensory level both C6 -> C5", "neurological level C6 -> C5"} <= set(of(found, FALL))
    assert "arm muscles 24 -> 20" in of(found, FALL)
    assert "both motor C6 5 -> 3" in of(found, FALL)
    assert [c.kind for c in found] == sorted(
        (c.kind for c in found), key=[FALL, MAYBE, RISE, OTHER, OPEN].index
    )
    first, *_ = told(found)
    assert first.startswith("WORSE: neurological level C6 -> C5; ")


def test_what_fell_on_one_side_is_told_with_its_side():
    found = between(BASE, BASE.replace("motor: 55200", "motor right: 55200/00000\nmotor left: 53200"))  # fmt: skip
    assert "left motor C6 5 -> 3" in of(found, FALL)
    assert not any("right motor" in words or "both motor" in words for words in of(found, FALL))


def test_a_rise_is_told_with_its_level():
    found = between(BASE.replace("55200", "40000"), BASE)
    assert "motor level both C5 -> C6" in of(found, RISE)
    assert of(found, FALL) == []


def test_of_several_values_that_remain_all_must_be_lower():
    before = "sensation: 2 to C8, 0\nmotor: 55540/00000\nvac no\ndap no\n"
    lower = before.replace("55540", "5N200")
    assert "motor level both C8 -> C5 or C6" in of(between(before, lower), FALL)
    some = before.replace("55540", "555N0")
    assert "motor level both C8 -> C7 or C8" in of(between(before, some), MAYBE)
    unfinished = some.replace("dap no\n", "")  # the same while something is not entered yet
    assert "motor level both, was C8" in of(between(before, unfinished), OPEN)


def test_a_movement_not_recorded_again_opens_the_scale_and_hides_no_level_that_may_be_lower():
    before = "sensation: 2 to C6, 1\nmotor: 55300/00000\nvac no\ndap yes\nmovement both none\n"
    now = before.replace("movement both none\n", "").replace("55300", "555N0")
    assert "scale, was B" in of(between(before, now), OPEN)
    fallen = between(before.replace("55300", "55540"), now)
    assert "motor level both C8 -> C7 or C8" in of(fallen, MAYBE)


def test_where_one_of_several_values_is_lower_it_may_be_lower():
    before = "sensation: 2 to C8, 0\nmotor: 55500/00000\nvac no\ndap no\n"
    now = "sensation: 2 to T4, 0\nmotor: 5N555/00000\nvac no\ndap no\n"
    found = between(before, now)
    assert "motor level both C7 -> C5, C6 or T4" in of(found, MAYBE)
    assert any(line.startswith("MAY BE WORSE: ") for line in told(found))
    back = between(now, before)
    assert "motor level both C5, C6 or T4 -> C7" in of(back, MAYBE)  # it may have been T4


def test_an_empty_sheet_after_a_full_one_says_only_what_is_not_known_again():
    found = changes(compute(read_typed(BASE)), compute(InjurySheet()))
    assert {c.kind for c in found} == {OPEN}
    assert "scale, was A" in of(found, OPEN)


def test_a_sum_that_stays_does_not_hide_the_score_that_fell():
    found = between(BASE, BASE.replace("motor: 55200", "right motor: 45200/00000\nleft motor: 55300"))  # fmt: skip
    assert "right motor C5 5 -> 4" in of(found, FALL)
    assert "left motor C7 2 -> 3" in of(found, RISE)


def test_a_sum_with_open_scores_fell_where_it_must_have():
    found = between(BASE, BASE.replace("55200", "00N00"))
    assert "arm muscles right from 12 or more to 5 or less" in of(found, FALL)


def test_a_contraction_that_is_gone_is_a_fall():
    found = between(BASE.replace("vac no", "vac yes"), BASE)
    assert "voluntary anal contraction yes -> no" in of(found, FALL)
    assert of(between(BASE.replace("vac no", "vac nt"), BASE), RISE) == []


@pytest.mark.parametrize("seed", range(40))
def test_every_score_that_fell_is_told_and_swapping_turns_falls_into_rises(seed):
    one, other = (compute(drawn(seed * 2 + n, unknown=seed % 5)) for n in (0, 1))
    there, back = changes(one, other), changes(other, one)
    falls = " ".join(of(there, FALL))
    for test in TESTS:
        for side in SIDES:
            for name in places(test):
                was, is_ = (c.sheet.score(test, side, name) for c in (one, other))
                digits = [score.digit for score in (was, is_) if score is not None]
                if len(digits) == 2 and None not in digits and digits[1] < digits[0]:
                    assert f"{name} {digits[0]} -> {digits[1]}" in falls
                    assert re.search(f"({side}|both) {TEST_WORDS[test]}", falls)
    assert len(of(there, FALL)) == len(of(back, RISE))
