"""One examination from beginning to saved, without a screen: what every way in shares."""

import itertools
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from tests.examinations import examined
from tests.records.memory import MemoryWard
from wardexam.errors import InputError, WardexamError
from wardexam.exam.entry import Change
from wardexam.exam.examination import Patient
from wardexam.records.repository import AmendedMeanwhileError
from wardexam.records.ward import open_ward
from wardexam.session import Session
from wardexam.visit import Saved, Visit

NOW = datetime(2026, 3, 4, 14, tzinfo=UTC)
WHO = "patient1"


@pytest.fixture(params=["folder", "memory"])
def session(request, tmp_path):
    ward = open_ward(tmp_path / "ward") if request.param == "folder" else MemoryWard()
    ward.admit(Patient(id=WHO, bed="A3", name="Ana Invented", age=60, admitted=NOW), "test")
    names = (f"exam{n:04}" for n in itertools.count())
    return Session(ward, "Dr Test", lambda: NOW, lambda: next(names))


def graded(sign, side, answer):
    value = {"sign": sign, "side": side, "answer": answer, "scale": "conventional"}
    return Change("finding", f"{sign} {side}", value)


def answers(visit):
    return {f.key: f.answer for f in visit.examination.findings}


def saved_before(session, line="knee 2/2 ankle 2/2"):
    at = NOW - timedelta(hours=8)
    made = examined(line, at, id="before00", patient=WHO, examiner="Dr Ash")
    session.ward.save(made, "Dr Ash")
    return made


def test_what_is_entered_is_saved_and_leaves_no_draft(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("knee", "left", "0"), "left knee 0")
    saved = visit.save(visit.reading())
    assert (saved.examiner, saved.at, saved.saved_by) == ("Dr Test", NOW, "Dr Test")
    assert session.ward.examinations(WHO) == (saved,)
    assert session.ward.drafts() == ()
    (bed,) = session.ward.beds()
    assert bed.summary == visit.case.summary(visit.reading())


def test_a_visit_that_was_left_is_gone_on_with_by_whoever_comes(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("knee", "left", "0"), "left knee 0")
    assert visit.unkept(2.0) == 0
    visit.leave()
    resumed = Visit.open(replace(session, examiner="Dr Bex"), WHO)
    assert resumed.said.startswith("Draft resumed: A3 by Dr Test")
    assert answers(resumed) == {("knee", "left"): "0"}
    assert resumed.save(None).by_whom == "Dr Test, continued by Dr Bex"


def test_a_visit_in_which_nothing_was_entered_leaves_no_draft_but_a_pause_does(session):
    Visit.open(session, WHO).leave()
    assert session.ward.drafts() == ()
    Visit.begin(session, WHO).pause(1.0)
    assert len(session.ward.drafts()) == 1


def test_changes_are_undone_and_done_again_and_a_new_one_ends_what_could_be_done_again(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("knee", "left", "0"), "one")
    visit.change(graded("ankle", "left", "1+"), "two")
    assert [step.said for step in visit.steps] == ["two", "one"]
    assert visit.undo().said == "two"
    assert answers(visit) == {("knee", "left"): "0"}
    assert visit.redo().said == "two"
    assert answers(visit)["ankle", "left"] == "1+"
    visit.undo()
    visit.change(graded("biceps", "left", "2+"), "three")
    assert visit.redo() is None
    assert [visit.undo().said, visit.undo().said, visit.undo()] == ["three", "one", None]
    assert answers(visit) == {}
    assert visit.draft.sent == 8  # the draft holds every step, also those back


def test_a_change_that_is_refused_changes_nothing_and_cannot_be_undone(session):
    visit = Visit.open(session, WHO)
    with pytest.raises(InputError):
        visit.change(graded("knee", "left", "9"), "nine")
    assert (answers(visit), visit.draft.sent, visit.undo()) == ({}, 0, None)


def test_what_stands_from_before_is_there_and_raises_the_urgency(session):
    saved_before(session, "hip_flexion 5/5 knee 2/2")
    visit = Visit.open(session, WHO)
    value = {"sign": "hip_flexion", "side": "left", "answer": "2"}
    visit.change(Change("finding", "hip_flexion left", value), "weak")
    assert visit.previous.finding("hip_flexion", "left").answer == "5"
    assert visit.case.comparison().worse
    assert visit.case.urgency().level > 0
    assert "left hip flexion 5 to 2" in visit.case.referral()


def test_a_new_examination_goes_on_with_the_scale_of_the_last(session):
    saved_before(session, "scale=ninds knee 2/2")
    assert Visit.begin(session, WHO).examination.scale == "ninds"


def test_a_clock_before_the_last_examination_is_said(session):
    saved_before(session)
    early = replace(session, now=lambda: NOW - timedelta(days=30))
    assert Visit.open(early, WHO).said.startswith("The clock says 2 Feb 14:00")


def test_what_opens_must_be_what_was_chosen(session):
    (bed,) = session.ward.beds()
    for reader in (Visit.open, Saved):
        with pytest.raises(WardexamError, match="the list showed A3 Somebody Else"):
            reader(session, WHO, replace(bed, name="Somebody Else"))
    assert session.ward.drafts() == ()
    Visit.open(session, WHO, bed).leave()


def test_an_amendment_is_a_further_revision_with_its_reason(session):
    first = saved_before(session)
    visit = Visit.amend(session, session.ward.examinations(WHO)[-1])
    assert visit.amends
    visit.change(Change("comment", "", "forgotten"), "kept")
    saved = visit.save(None, "a comment")
    assert (saved.id, saved.revision, saved.amendment.why) == (first.id, 2, "a comment")
    assert [e.comment for e in session.ward.revisions(WHO, first.id)] == ["", "forgotten"]


def test_who_amends_second_sees_both_and_saves_after_the_first(session):
    saved_before(session)
    first = session.ward.examinations(WHO)[-1]
    visit = Visit.amend(session, first)
    visit.change(Change("comment", "", "mine"), "kept")
    theirs = first.model_copy(update={"comment": "theirs"})
    session.ward.amend(theirs, "Dr Bex", "their reason", NOW)
    with pytest.raises(AmendedMeanwhileError) as refused:
        visit.save(None, "my reason")
    text = " ".join(visit.go_after(refused.value.stored, "s").split())
    assert "comment: theirs theirs; yours mine" in text
    assert visit.save(None, "my reason").revision == 3
    assert [e.comment for e in session.ward.revisions(WHO, first.id)] == ["", "theirs", "mine"]


def test_what_is_being_saved_is_what_stood_when_it_was_asked(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("knee", "left", "0"), "left knee 0")
    save = visit.saving(None)
    visit.change(graded("knee", "left", "2+"), "left knee 2+")
    assert save().finding("knee", "left").answer == "0"


def test_saved_examinations_are_turned_through_with_their_revisions(session):
    saved_before(session)
    first = session.ward.examinations(WHO)[-1]
    session.ward.amend(first, "Dr Bex", "why", NOW)
    visit = Visit.begin(session, WHO)
    visit.change(graded("knee", "left", "0"), "left knee 0")
    visit.save(None)
    saved = Saved(session, WHO)
    last = saved.last
    assert saved.place(last) == "examination 2 of 2"
    amended = saved.beside(last, -1)
    assert saved.place(amended) == "examination 1 of 2, revision 2 of 2"
    assert not saved.is_last_revision(saved.beside(amended, -1))
    assert (saved.beside(last, 1), saved.beside(last, -3)) == (None, None)
    assert saved.case(last).previous.finding("knee", "left").answer == "2+"
    assert saved.named(first.id).examination == amended
    assert "ankle" in saved.named(None).note()
    with pytest.raises(InputError, match="no examination 'nothing1'"):
        saved.named("nothing1")
