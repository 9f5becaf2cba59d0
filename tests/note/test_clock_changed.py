"""A limit that falls across a change of the host's clock is read on the clock that hangs on the wall then, its offset beside it."""

import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from tests.examinations import examined
from wardexam.exam.acts import Act
from wardexam.exam.examination import Patient
from wardexam.exam.moments import clock, moment
from wardexam.note import note
from wardexam.note.charted import Charted
from wardexam.note.headline import summarise
from wardexam.note.limits import deadline, level_word, running, until
from wardexam.reasoning.rules.urgency import assess

WINTER, SUMMER = timezone(timedelta()), timezone(timedelta(hours=1))
AUTUMN = datetime(2026, 10, 24, 23, 30, tzinfo=SUMMER)  # put back at 02:00 of the 25th
SPRING = datetime(2026, 3, 28, 23, 30, tzinfo=WINTER)  # put forward at 01:00 of the 29th
FOUR = timedelta(hours=4)
RULES = "GMT0BST,M3.5.0/1,M10.5.0/2"  # the clocks of the United Kingdom, as POSIX writes them


@pytest.fixture(autouse=True)
def host(monkeypatch):
    """The host's clock is one that is changed in spring and autumn."""
    with monkeypatch.context() as patched:
        patched.setenv("TZ", RULES)
        time.tzset()
        yield
    time.tzset()


@pytest.mark.parametrize(
    ("at", "said"), [(AUTUMN, "25 Oct 02:30 UTC+0000"), (SPRING, "29 Mar 04:30 UTC+0100")]
)
def test_every_way_to_say_it_is_on_the_clock_of_then(at, said):
    due = at + FOUR
    assert clock(due, at) == moment(due, at) == until(due, at) == said
    assert deadline(due, at, say=until) == f"due {said}"
    assert deadline(due, at, due + timedelta(hours=2), until) == f"OVERDUE 2 h, was due {said}"


@pytest.mark.parametrize(
    ("at", "said"), [(AUTUMN, "due 25 Oct 02:30 UTC+0000"), (SPRING, "due 29 Mar 04:30 UTC+0100")]
)
def test_a_note_says_so(at, said):
    examination = examined("flag:saddle_numb=yes", at)
    patient = Patient(id=examination.patient, bed="A1", name="Ana Invented", admitted=at)
    charted = Charted(patient, examination, urgency=assess(examination, None, None))
    text = " ".join(note.render(charted).split())
    assert said in text
    assert said.removeprefix("due ").replace("UTC", "") not in text


@pytest.mark.parametrize(("at", "said"), [(AUTUMN, "due 02:30"), (SPRING, "due 04:30")])
def test_whoever_reads_it_after_the_change_reads_the_clock_on_the_wall(at, said):
    summary = summarise(assess(examined("flag:saddle_numb=yes", at), None, None), None, None)
    assert running(summary, (at + FOUR - timedelta(minutes=20)).astimezone(), step=False) == said


def test_before_the_change_and_in_the_hour_that_comes_twice_the_first_is_meant_where_no_offset_stands():
    assert until(AUTUMN + timedelta(hours=2), AUTUMN) == "25 Oct 01:30"
    assert until(AUTUMN + timedelta(hours=3), AUTUMN) == "25 Oct 01:30 UTC+0000"


def test_midnight_ends_its_day_and_a_limit_of_today_ends_after_it_by_that_clock():
    late = AUTUMN + timedelta(hours=25, minutes=30)
    assert until(late, AUTUMN) == "25 Oct 24:00 UTC+0000"
    assert until(late, late.astimezone()) == "25 Oct 24:00"
    early = datetime(2026, 10, 25, 0, 30, tzinfo=SUMMER)
    urgency = assess(examined("plantar down/up", early), None, None)
    assert level_word(urgency, early) == "today"


def test_what_was_asked_for_after_the_change_stands_in_the_list_on_the_clock_of_then():
    act = Act(
        kind="asked", rule="cauda_equina", what="MRI", by="Dr Ash",
        at=(AUTUMN + timedelta(hours=3)).astimezone(UTC),
    )  # fmt: skip
    urgency = assess(examined("flag:saddle_numb=yes", AUTUMN), None, None)
    first = replace(urgency.reasons[0], acts=(act,), due=AUTUMN + FOUR)
    said = summarise(replace(urgency, reasons=(first,)), None, None)
    assert said.step == "MRI asked 01:30"


def test_a_time_of_another_zone_than_the_hosts_stays_on_its_own_clock():
    far = datetime(2026, 10, 24, 23, 30, tzinfo=timezone(timedelta(hours=9)))
    assert until(far + FOUR, far) == "25 Oct 03:30"
