"""What an examination says that was begun and left: with what stands from before, as when it is saved."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.examinations import examined
from wardexam.exam.entry import Change
from wardexam.exam.examination import Patient
from wardexam.note import handover
from wardexam.records.ward import open_ward
from wardexam.session import Session
from wardexam.unsaved import begun, told
from wardexam.visit import Visit

NOW = datetime(2026, 11, 24, 9, tzinfo=UTC)
WHO = "patient1"


def graded(sign, side, answer, **more):
    value = {"sign": sign, "side": side, "answer": answer, **more}
    return Change("finding", f"{sign} {side}", value)


def ward_with_draft(tmp_path, saved, *changes):
    """A ward of one patient: examinations saved eight hours apart, then a draft that somebody left."""
    ward = open_ward(tmp_path / "ward")
    ward.admit(Patient(id=WHO, bed="A3", name="Ana Invented", age=60, admitted=NOW), "test")
    for n, line in enumerate(saved):
        at = NOW - timedelta(hours=8 * (len(saved) - n))
        ward.save(examined(line, at, id=f"before{n:02}", patient=WHO, examiner="Dr Ash"), "Dr Ash")
    visit = Visit.open(Session(ward, "Dr Bex", lambda: NOW, lambda: "exam0001"), WHO)
    for change in changes:
        visit.change(change, change.what)
    visit.pause(1.0)
    return ward


KNEE = graded("knee", "right", "0", scale="conventional"), graded("knee", "left", "2+", scale="conventional")  # fmt: skip
ANKLE = (graded("ankle_dorsiflexion", "left", "4-"),)


@pytest.mark.parametrize(
    ("saved", "changes", "said"),
    [
        (
            ["knee 2/2"],
            KNEE,
            "NOT SAVED: today, worse: right knee jerk 2+ to 0, 2 entries by Dr Bex",
        ),
        (
            [f"dorsiflexion 5/{g} onset=longer" for g in ("5", "4+")],
            ANKLE,
            "NOT SAVED: NOW WORSE weakness, speech or sight lost: possible stroke, until known when what is new began, 1 entry by Dr Bex",
        ),
        (
            ["flag:saddle_numb=yes knee 2/2"],
            KNEE,
            "NOT SAVED: NOW WORSE possible cauda equina syndrome (earlier), 2 entries by Dr Bex",
        ),
        (["knee 2/2"], KNEE[1:], "NOT SAVED: 1 entry by Dr Bex"),
        ([], KNEE, "NOT SAVED: 2 entries by Dr Bex"),
    ],
)
def test_the_handover_says_of_a_draft_how_urgent_it_is_and_that_it_is_worse(
    tmp_path, saved, changes, said
):
    ward = ward_with_draft(tmp_path, saved, *changes)
    papers = ward.papers()
    text = handover.sheet(papers, "", now=NOW, begun=begun(ward, papers.drafts, {}))
    assert said in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= handover.WIDTH


def test_the_list_goes_by_a_draft_that_is_worse_though_no_more_urgent(tmp_path):
    ward = ward_with_draft(tmp_path, ["plantar up/down knee 2/2 onset=longer"], *KNEE)
    (bed,) = told(ward, ward.beds(), ward.drafts(), {})
    assert bed.listed is bed.draft
    assert bed.draft.worse


def test_of_two_drafts_of_a_patient_the_graver_is_told_whichever_was_begun_last(tmp_path):
    ward = ward_with_draft(tmp_path, ["knee 2/2"], Change("flag", "saddle_numb", "yes"))
    (first,) = ward.drafts()
    with_first, _ = ward.resume_draft(first.draft_id)  # held, as by another doctor
    names = iter(("exam0002",))
    other = Visit.open(Session(ward, "Dr Second", lambda: NOW, lambda: next(names)), WHO)
    other.change(KNEE[1])
    other.pause(1.0)
    with_first.close()
    papers = ward.papers()
    assert len(papers.drafts) == 2
    text = handover.sheet(papers, "", now=NOW, begun=begun(ward, papers.drafts, {}))
    assert "NOT SAVED: NOW" in text
    assert "1 entry by Dr Bex" in " ".join(text.split())
    (bed,) = told(ward, ward.beds(), papers.drafts, {})
    assert bed.listed.urgency == 3


def admitted(tmp_path, remark, at=NOW):
    ward = open_ward(tmp_path / "ward")
    ward.admit(
        Patient(id=WHO, bed="A3", name="Ana Invented", age=60, admitted=at, remark=remark), "test"
    )
    return ward


def opened(ward, at, by="Dr Bex", number=1):
    return Visit.open(Session(ward, by, lambda: at, lambda: f"exam000{number}"), WHO)


def test_what_was_told_at_admission_is_due_since_the_admission_on_the_list(tmp_path):
    ward = admitted(tmp_path, "confused")
    (bed,) = told(ward, ward.beds(), (), {})
    assert bed.listed.urgency == 3
    assert bed.listed.due_at == NOW + timedelta(hours=1)


def test_no_clock_begins_anew_with_who_opens_a_first_examination(tmp_path):
    ward = admitted(tmp_path, "confused")
    for minutes, by in ((1, "Dr Ash"), (8, "Dr Bex"), (200, "Dr Cole")):
        visit = opened(ward, NOW + timedelta(minutes=minutes), by, minutes)
        (first, *_) = visit.case.told.reasons
        assert (first.since, first.due) == (NOW, NOW + timedelta(hours=1))
        visit.leave()


def test_what_is_first_found_is_due_since_it_was_found(tmp_path):
    ward = admitted(tmp_path, "confused")
    later = NOW + timedelta(minutes=40)
    visit = opened(ward, later)
    visit.change(Change("flag", "saddle_numb", "yes"))
    due = {r.rule: r.due for r in visit.case.told.reasons}
    assert due["cauda_equina"] == later + timedelta(hours=4)
    assert min(due.values()) == NOW + timedelta(hours=1)
    saved = visit.save(None)
    since = {r.rule: r.since for r in saved.raised}
    assert since["cauda_equina"] == later
    assert NOW in since.values()


@pytest.mark.parametrize("remark", ["", "fell out of bed", "fit"])
def test_a_reason_for_admission_that_raises_nothing_dates_nothing(tmp_path, remark):
    visit = opened(admitted(tmp_path, remark), NOW + timedelta(hours=3))
    assert all(r.since == NOW for r in visit.examination.raised or ())
    assert remark == "fit" or visit.examination.raised is None


@pytest.mark.parametrize(
    ("remark", "hours", "first", "second"),
    [
        ("confused", 0, "NOW ", "; due 24 Nov 10:00; confused;"),
        ("confused", 3, "NOW ", "; OVERDUE 2 h; confused;"),
        ("fit", 0, "today? ", "; due 24 Nov 21:00; fit;"),
        ("fell out of bed", 3, "not yet ", "NO NUMBER; fell out of bed;"),
    ],
)
def test_the_handover_says_by_when_of_who_was_never_examined(
    tmp_path, remark, hours, first, second
):
    ward = admitted(tmp_path, remark)
    now = NOW + timedelta(hours=hours)
    lines = handover.sheet(ward.papers(), "", now=now, begun={}).splitlines()
    assert first in lines[1]
    assert second in lines[2]


def test_who_examines_a_patient_now_is_told_to_the_others_and_no_more_once_they_left(tmp_path):
    ward = admitted(tmp_path, "confused")
    visit = opened(ward, NOW, "Dr Ash")
    (bed,) = told(ward, ward.beds(), ward.drafts(), {})
    assert bed.writing == "Dr Ash"
    visit.change(Change("flag", "saddle_numb", "yes"))
    visit.pause(1.0)
    (bed,) = told(ward, ward.beds(), ward.drafts(), {})
    assert (bed.writing, bed.has_draft) == ("", True)
    again = opened(ward, NOW, "Dr Bex", 2)
    again.draft.flush(1.0)
    (bed,) = told(ward, ward.beds(), ward.drafts(), {})
    assert bed.writing == "Dr Bex"  # who took it up
    again.leave()
