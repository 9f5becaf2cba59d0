"""By when: the spans of the limits, from where they run, and when they are passed."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.examinations import examined
from wardexam.exam.acts import Act
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.deadlines import end_of, limits, overdue
from wardexam.reasoning.rules.raised import recorded
from wardexam.reasoning.rules.rule_table import rules
from wardexam.reasoning.rules.standing import still_open
from wardexam.reasoning.rules.stay import Stay
from wardexam.reasoning.rules.urgency import assess

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)


def test_every_limit_of_a_rule_is_a_row_and_they_stand_in_their_order():
    assert {row.by for row in rules().values()} <= set(limits())
    spans = list(limits().values())
    assert spans == sorted(spans)
    assert limits()["4 h"] == timedelta(hours=4)


def test_a_limit_beyond_the_end_of_the_calendar_is_its_end():
    late = datetime(9999, 12, 31, 23, tzinfo=UTC)
    assert end_of(late, "24 h") == datetime.max.replace(tzinfo=UTC)


@pytest.mark.parametrize(
    ("due", "late"),
    [(None, None), (AT + timedelta(hours=1), None), (AT, None), (AT - timedelta(hours=2), 2)],
)
def test_a_limit_is_passed_only_after_its_end(due, late):
    assert overdue(due, AT) == (None if late is None else timedelta(hours=late))


def act(rule, kind, minutes):
    at = AT + timedelta(minutes=minutes)
    return Act(rule=rule, kind=kind, what="MRI", by="Dr Ash", at=at)


def reason(line, rule, *acts):
    found = examined(line, AT).model_copy(update={"acts": acts})
    return next(r for r in assess(found, None, None).reasons if r.rule == rule)


@pytest.mark.parametrize(
    ("line", "rule"),
    [("flag:saddle_numb=yes", "cauda_equina"), ("aphasia slight onset=hours", "stroke")],
)
def test_to_ask_for_the_image_gives_no_more_time(line, rule):
    """Also where the source counts from the request: a late request would make a late patient look in time."""
    new = reason(line, rule)
    assert new.due == AT + limits()[new.by]
    assert reason(line, rule, act(rule, "asked", 40), act(rule, "asked", 90)).due == new.due


@pytest.mark.parametrize("kind", ["done", "not_needed", "lowered"])
def test_what_was_done_or_not_needed_ends_the_clock(kind):
    assert reason("flag:saddle_numb=yes", "cauda_equina", act("cauda_equina", kind, 5)).due is None


def test_the_clock_of_what_was_taken_as_known_runs_from_when_it_is_not_any_more():
    """Nothing was due before: it is not overdue by a limit that never ran."""
    known = examined("elbow_flexion known:-/3 face_lower known:-/4", AT)
    before = recorded(known, assess(known, None, None, own=True))
    assert {r.level for r in before.raised if r.rule == "stroke"} == {1}
    later = AT + timedelta(hours=3)
    now = examined("elbow_flexion 5/2", later)
    urgency = assess(now, before, None, own=True, still=still_open([before]), stay=Stay((before,)))
    found = next(r for r in urgency.reasons if r.rule == "stroke")
    assert (found.since, found.due) == (later, later + limits()[found.by])
    again = recorded(now, urgency)
    last = examined("elbow_flexion 5/2", later + timedelta(hours=1))
    after = assess(
        last, again, None, own=True, still=still_open([before, again]), stay=Stay((before, again))
    )
    assert next(r for r in after.reasons if r.rule == "stroke").due == found.due


def test_without_a_time_there_is_no_clock():
    (found,) = assess(read_line("flag:limb_tense=yes").spelled_out(), None, None).reasons
    assert (found.since, found.due) == (None, None)


@pytest.mark.parametrize(
    ("line", "rule", "origin"),
    [
        ("flag:saddle_numb=yes", "cauda_equina", "history"),
        ("plantar up/up", "extensor_plantar", "signs"),
        ("flag:cancer=yes level_pin T8/T8", "metastatic_compression", "history and signs"),
        ("onset=sudden complaint=speech", "stroke", "history"),
    ],
)
def test_a_reason_says_where_it_comes_from(line, rule, origin):
    assert reason(line, rule).origin == origin
