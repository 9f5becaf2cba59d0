"""Who left the ward with an emergency that is not answered is named at the end of the handover."""

import itertools
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from tests.examinations import examined
from tests.records.memory import MemoryWard
from wardexam.errors import RecordsError
from wardexam.exam.examination import Patient
from wardexam.note import handover
from wardexam.note.gone import HEAD, HOURS, UNREADABLE, _listed, gone
from wardexam.records.repository import Summary
from wardexam.saved import Saved, write_act
from wardexam.session import Session

NOW = datetime(2026, 3, 4, 14, tzinfo=UTC)
AT = NOW - timedelta(hours=6)
WHO = "patient1"


@pytest.fixture
def session():
    ward = MemoryWard()
    ward.admit(
        Patient(id=WHO, bed="A3", name="Ana Invented", number="40-3317", age=60, admitted=AT), "x"
    )
    names = (f"exam{n:04}" for n in itertools.count())
    return Session(ward, "Dr Ash", lambda: NOW, lambda: next(names))


def leave(session, line="", at=NOW - timedelta(hours=2), done=()):
    if line:
        made = examined(line, AT, patient=WHO, id="exam0001", examiner="Dr Ash")
        session.ward.save(made, "Dr Ash")
    for act in done:
        write_act(session, WHO, *act)
    session.ward.discharge(session.ward.patient(WHO), at, "Dr Ash")


def sheet(session):
    left = gone(session.ward, NOW, session.wording)
    return handover.sheet(session.ward.papers(), "", now=NOW, begun={}, left=left)


def test_who_left_with_an_emergency_that_is_open_is_named_with_why_and_by_when(session):
    leave(session, "flag:saddle_numb=yes")
    text = sheet(session)
    assert HEAD in text
    told = " ".join(text.partition(HEAD)[2].split())
    assert told.startswith("A3 Ana Invented no. 40-3317, discharged 4 Mar 12:00. NOW")
    assert "cauda equina" in told
    assert "OVERDUE 2 h, was due 4 Mar 12:00" in told
    assert all(len(line) <= handover.WIDTH for line in text.splitlines())
    assert text.endswith(f"{handover.END}\n")


def test_so_is_one_whom_nobody_examined_and_whose_reason_for_admission_raises_it(session):
    patient = session.ward.patient(WHO)
    session.ward.update(patient.model_copy(update={"remark": "unconscious"}), "x")
    leave(session)
    (left,) = gone(session.ward, NOW)
    assert left.said.startswith("NOW: ")
    assert "OVERDUE" in left.said


@pytest.mark.parametrize("line", ["", "knee 2/2", "plantar flexor/flexor", "flag:cancer=yes"])
def test_who_left_with_nothing_of_now_or_today_is_not(session, line):
    leave(session, line)
    assert HEAD not in sheet(session)


def test_nor_who_left_longer_ago_or_whose_reasons_are_all_answered(session):
    leave(session, "flag:saddle_numb=yes", NOW - timedelta(hours=HOURS, minutes=1))
    assert not gone(session.ward, NOW)


def test_answered_is_answered(session):
    rules = [r.rule for r in _reasons(session)]
    leave(session, done=[(rules, "not_needed", "seen by the spinal team")])
    assert not gone(session.ward, NOW)


def _reasons(session):
    made = examined("flag:saddle_numb=yes", AT, patient=WHO, id="exam0001", examiner="Dr Ash")
    session.ward.save(made, "Dr Ash")
    return Saved(session, WHO).named(None).urgency(own=True).reasons


def test_called_alone_is_not_answered(session):
    rules = [_reasons(session)[0].rule]
    leave(session, done=[(rules, "called", "spinal team")])
    assert gone(session.ward, NOW)


def test_a_record_that_cannot_be_read_is_named(session, monkeypatch):
    leave(session, "knee 2/2")

    def refuse(_):
        raise RecordsError("damaged")

    monkeypatch.setattr(session.ward, "file", refuse)
    (left,) = gone(session.ward, NOW)
    assert left.said == UNREADABLE
    assert "A3 Ana Invented" in sheet(session)


def test_what_the_list_held_graver_is_told(session):
    leave(session, "knee 2/2")
    assert not gone(session.ward, NOW)
    due = (NOW + timedelta(hours=1)).isoformat()
    graver = Summary(3, "now", False, "possible cord", due)
    assert list(_listed(graver, 0, NOW)) == ["NOW: possible cord, due 4 Mar 15:00"]
    assert not list(_listed(replace(graver, due=""), 0, NOW))
