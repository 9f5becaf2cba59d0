"""An examination that was made before it was entered: the time that is told, and what stands by it."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.examinations import examined
from wardexam.errors import InputError
from wardexam.exam.entry import Change, apply, inverse
from wardexam.exam.late_entry import late_words, made_at, told_time

ENTERED = datetime(2026, 3, 4, 5, 10, tzinfo=UTC)
THREE = ENTERED - timedelta(hours=3)


@pytest.mark.parametrize(
    ("said", "at"),
    [
        ("02:00", ENTERED.replace(hour=2, minute=0)),
        ("2:00", ENTERED.replace(hour=2, minute=0)),
        ("0200", ENTERED.replace(hour=2, minute=0)),
        ("2.00", ENTERED.replace(hour=2, minute=0)),
        (" 05:10 ", ENTERED),
        ("23:50", datetime(2026, 3, 3, 23, 50, tzinfo=UTC)),
        ("05:11", datetime(2026, 3, 3, 5, 11, tzinfo=UTC)),
        ("90 min", ENTERED - timedelta(minutes=90)),
        ("3h", THREE),
        ("3 hours ago", THREE),
        ("24 h", ENTERED - timedelta(hours=24)),
    ],
)
def test_a_time_of_day_is_the_last_one_and_a_time_ago_counts_from_the_entry(said, at):
    assert told_time(said, ENTERED) == at


@pytest.mark.parametrize("said", ["25:00", "02:60", "3", "yesterday", "-3 h", "25 h", "9999 min", "2 days", "14:00 UTC"])  # fmt: skip
def test_what_is_no_time_or_too_long_ago_is_refused_and_says_what_is_taken(said):
    with pytest.raises(InputError, match=r"such as 02:00|comment"):
        told_time(said, ENTERED)


def test_it_stands_at_the_time_told_and_says_when_it_was_entered_and_both_are_taken_back():
    begun = examined("knee 2/0", ENTERED)
    change = made_at(begun, "02:10", None)
    late = apply(begun, change)
    assert (late.at, late.entered) == (THREE, ENTERED)
    assert late_words(late) == "LATE ENTRY, entered 05:10"
    assert apply(late, inverse(begun, change)) == begun
    assert late_words(begun) == ""
    again = apply(late, made_at(late, "03:00", None))
    assert (again.at, again.entered) == (ENTERED.replace(hour=3, minute=0), ENTERED)
    assert apply(late, made_at(late, "", None)) == begun


def test_it_is_never_put_before_the_last_examination():
    begun = examined("knee 2/0", ENTERED)
    with pytest.raises(InputError, match="last examination was made at 02:10"):
        made_at(begun, "02:00", THREE)
    assert made_at(begun, "02:10", THREE).value[0] == THREE.isoformat()


@pytest.mark.parametrize("value", [None, "x", [], [THREE.isoformat()], [ENTERED.isoformat(), THREE.isoformat()], ["2026-03-04T02:10:00", None]])  # fmt: skip
def test_a_change_that_is_half_told_or_the_wrong_way_round_is_refused(value):
    with pytest.raises(InputError):
        apply(examined("knee 2/0", ENTERED), Change("made", "", value))
