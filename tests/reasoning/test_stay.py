"""Worse over the stay: a slide of steps that are each within what observers differ by, and when each sign was seen last."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.examinations import examined
from wardexam.exam.acts import Act
from wardexam.note.headline import summarise
from wardexam.reasoning.rules.acts import beyond, written_over
from wardexam.reasoning.rules.change import compare
from wardexam.reasoning.rules.firing import WORSE
from wardexam.reasoning.rules.raised import recorded
from wardexam.reasoning.rules.standing import standing, still_open
from wardexam.reasoning.rules.stay import Stay
from wardexam.reasoning.rules.urgency import assess

AT = datetime(2026, 11, 23, 9, tzinfo=UTC)
SLIDE = ("5", "4+", "4", "4-", "3")


def visits(*lines, hours=2):
    return [
        examined(line, AT + timedelta(hours=hours * n)).model_copy(update={"id": f"exam{n:04}"})
        for n, line in enumerate(lines)
    ]


def saved(*lines, acts=None):
    """The urgency of each examination of a stay, each saved before the next; what was done about `worse` by its number."""
    kept, urgencies = [], []
    for n, examination in enumerate(visits(*lines)):
        before = standing(kept)
        how = {"still": still_open(kept), "stay": Stay(tuple(kept)) if kept else None}
        if n in (acts or {}):
            act = Act(
                rule=WORSE, kind="not_needed", what=acts[n], by="Dr Ash", at=examination.at,
                on=written_over(examination),
            )  # fmt: skip
            examination = examination.model_copy(update={"acts": (act,)})
        urgency = assess(examination, before, None, **how)
        urgencies.append(urgency)
        kept.append(recorded(examination, urgency))
    return urgencies


def worse(urgency):
    return next((r for r in urgency.reasons if r.rule == WORSE), None)


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ([f"dorsiflexion 5/{g}" for g in ("5", "4+", "4-")], "left ankle dorsiflexion 5 (23 Nov 09:00) to 4-"),
        ([f"level_pin {g}/{g}" for g in ("T10", "T9", "T8")], "right pinprick level was T10 (23 Nov 09:00), now T8; left pinprick level was T10 (23 Nov 09:00), now T8"),
        (["rest=power:left_leg", "dorsiflexion 5/4+", "dorsiflexion 5/4-"], "left ankle dorsiflexion stated normal (23 Nov 09:00), now 4-"),
        (["ankle 2/2", "ankle 2/1", "ankle 2/0"], "left ankle jerk 2+ (23 Nov 09:00) to 0"),
        # A sign that was looked at first later in the stay began then.
        (["knee 2/2", "dorsiflexion 5/5", "dorsiflexion 5/4+", "dorsiflexion 5/4-"], "left ankle dorsiflexion 5 (23 Nov 11:00) to 4-"),
    ],
)  # fmt: skip
def test_a_slow_slide_is_worse_over_the_stay_and_raises_to_today(lines, said):
    *before, last = visits(*lines)
    assert not compare(standing(before), last).worse
    [*_, urgency] = saved(*lines)
    reason = worse(urgency)
    assert reason.text == f"worse over the stay: {said}"
    assert urgency.level >= reason.urgency == 2
    assert (reason.since, reason.brief) == (last.at, "worse over the stay")


@pytest.mark.parametrize(
    "lines",
    [
        # As at admission, whatever lay between; no worse than two observers differ by; no worse than last time.
        [f"dorsiflexion 5/{g}" for g in ("3", "4-", "4", "4-", "3")],
        [f"dorsiflexion 5/{g}" for g in ("5", "4+", "5", "4+")],
        [f"dorsiflexion 5/{g}" for g in ("3", "4-", "4", "4+", "5")],
    ],
)
def test_what_is_no_worse_than_it_began_is_not_worse_over_the_stay(lines):
    *before, last = visits(*lines)
    assert Stay(tuple(before)).slides(last, compare(standing(before), last)) == ()


def test_a_slide_is_told_from_the_first_step_beyond_the_observer_on():
    marked = [bool(worse(u)) for u in saved(*(f"dorsiflexion 5/{g}" for g in SLIDE))]
    assert marked == [False, False, True, True, True]


def test_what_is_worse_since_the_last_is_not_said_again_over_the_stay():
    *before, last = visits("dorsiflexion 5/5", "dorsiflexion 5/5", "dorsiflexion 5/3")
    assert Stay(tuple(before)).slides(last, compare(standing(before), last)) == ()


def test_until_something_is_done_it_stands_with_the_clock_it_had():
    urgencies = saved(*(f"dorsiflexion 5/{g}" for g in ("5", "4+", "4-", "4-", "4-")))
    first, *later = (worse(u) for u in urgencies[2:])
    assert [(r.since, r.again, r.due) for r in later] == [(first.since, None, first.due)] * 2


def test_once_told_and_acted_on_it_is_no_alarm_until_it_is_worse_again():
    lines = [f"dorsiflexion 5/{g}" for g in ("5", "4+", "4-", "4-", "4-", "3")]
    answered, *quiet, anew = saved(*lines, acts={2: "senior has seen it"})[2:]
    assert worse(answered).due is None
    assert [worse(u) for u in quiet] == [None, None]
    assert worse(anew).due is not None


def test_it_marks_the_list_where_it_is_new_and_not_at_each_look_after_it():
    lines = [f"dorsiflexion 5/{g}" for g in ("5", "4+", "4-", "4-")]
    marked = []
    for n in range(1, 4):
        *before, last = visits(*lines)[: n + 1]
        change = compare(standing(before), last)
        slides = Stay(tuple(before)).slides(last, change)
        marked.append(summarise(saved(*lines)[n], change, None, slides).worse)
    assert marked == [False, True, False]


def test_one_more_grade_lost_never_calms():
    levels = [
        saved("dorsiflexion 5/5", "dorsiflexion 5/4+", f"dorsiflexion 5/{g}")[-1].level
        for g in reversed(SLIDE)
    ]
    assert levels == sorted(levels, reverse=True)


def test_each_sign_was_seen_last_when_it_was_answered_last():
    stay = Stay(tuple(visits("hip_flexion 5/5 saddle 2/2", "knee 2/2 saddle nt:sedated/-", "rest=power:left_leg", hours=12)))  # fmt: skip
    when = {key: look.at.hour for key in [("hip_flexion", "right"), ("hip_flexion", "left"), ("saddle", "right"), ("knee", "left")] if (look := stay.last(key))}  # fmt: skip
    assert when == {
        ("hip_flexion", "right"): 9, ("hip_flexion", "left"): 9, ("saddle", "right"): 9, ("knee", "left"): 21,
    }  # fmt: skip
    assert stay.last(("ankle", "left")) is None


def test_a_blank_line_of_what_an_act_was_written_over_says_nothing():
    found = examined("knee 2/0", AT)
    assert beyond(("", " "), found) == beyond((), found)
