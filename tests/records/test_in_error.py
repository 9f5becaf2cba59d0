"""What was entered in error counts nowhere: the file leaves it out, and so does all that is made from the file."""

import io
from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.examinations import examined
from tests.records.conftest import AT
from tests.records.memory import MemoryWard
from wardexam.case import case_of
from wardexam.exam.acts import Act, Raised
from wardexam.exam.examination import Patient
from wardexam.exam.in_error import counting
from wardexam.note.handover import headline_of
from wardexam.reasoning.rules.own_alarm import OWN
from wardexam.reasoning.rules.standing import standing, still_open
from wardexam.records.archive import read_archive, write_archive
from wardexam.records.backup import Written, verified
from wardexam.records.folder_backup import lay_down, snapshot
from wardexam.records.ward import open_ward
from wardexam.saved import Saved, mark_in_error, mark_valid, write_act
from wardexam.session import Session

PATIENT = Patient(id="patient1", bed="A1", name="Ana Invented", age=60, admitted=AT)
LINES = [
    "knee 2/2", "knee 2/0", "power_leg 4/5", "power_leg 1/1 saddle 0/0", "flag:cancer=yes flag:trauma=no",
    "flag:saddle_numb=yes bladder retention", "onset=sudden complaint=weak_leg", "onset=longer flag:worse=no",
    "rest=power:right_leg", "plantar down/up", "knee nt:pain/nt:cast", "",
]  # fmt: skip


def session_of(ward, hour=24):
    names = iter(f"name{n:04}" for n in range(1000))
    now = AT + timedelta(hours=hour)
    return Session(ward, "Dr Ash", lambda: now, lambda: next(names))


def saved(session, number, line):
    """An examination saved as a visit saves it: with what it raises."""
    at = AT + timedelta(hours=number)
    made = examined(line, at, id=f"exam{number:04}", patient=PATIENT.id, examiner="Dr Ash")
    kept, summary = case_of(session.ward.file(PATIENT.id), made, {}).to_save()
    return session.ward.save(kept, "Dr Ash", summary)


def heard(session):
    """All that is reckoned of a patient's stay: what stands, what urgency hears, how urgent, what the list says."""
    patient = Saved(session, PATIENT.id)
    told = patient.file.telling()
    last = patient.last
    return {
        "standing": standing(told),
        "open": still_open(told),
        "urgency": patient.urgency,
        "change": patient.case(last).comparison() if last else None,
        "slides": patient.case(last).slides if last else (),
        # Its words say beside that the last was entered in error.
        "list": [
            (
                b.last_at,
                b.last_by,
                b.examinations,
                b.summary and replace(b.summary, headline="", short=""),
            )
            for b in session.ward.beds()
        ],
        "headline": headline_of(tuple(patient.file.examinations)),
        "note": patient.case(last).note() if last else "",
        "referral": patient.case(last).referral() if last else "",
    }


@pytest.mark.slow
@settings(
    max_examples=settings.default.max_examples // 4,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(st.sampled_from(LINES), min_size=1, max_size=4))
def test_marking_the_last_gives_what_stood_as_if_it_had_never_been_saved(lines):
    session = session_of(MemoryWard())
    session.ward.admit(PATIENT, "x")
    for number, line in enumerate(lines[:-1]):
        saved(session, number, line)
    before = heard(session)
    last = saved(session, len(lines), lines[-1])
    mark_in_error(session, last, "wrong patient")
    assert heard(session) == before
    # Taken back, it says what it said.
    whole = session_of(MemoryWard())
    whole.ward.admit(PATIENT, "x")
    for number, line in enumerate(lines[:-1]):
        saved(whole, number, line)
    saved(whole, len(lines), lines[-1])
    mark_valid(session, session.ward.file(PATIENT.id).with_errors[-1], "it was hers")
    again, wanted = heard(session), heard(whole)
    for name in ("urgency", "list", "headline", "change", "slides"):
        assert again[name] == wanted[name], name


@pytest.fixture
def session(ward):
    ward.admit(PATIENT, "x")
    return session_of(ward)


def test_what_was_done_on_another_examination_stays(session):
    first = saved(session, 0, "power_leg 1/1 saddle 0/0 flag:saddle_numb=yes")
    write_act(session, PATIENT.id, "cauda_equina", "called", "Dr Spine")
    write_act(session, PATIENT.id, "cauda_equina", "asked", "MRI")
    before = heard(session)
    mark_in_error(session, saved(session, 2, "knee 2/2"), "wrong patient")
    assert heard(session) == before
    reason = next(r for r in Saved(session, PATIENT.id).urgency.reasons if r.rule == "cauda_equina")
    assert [a.kind for a in reason.acts] == ["called", "asked"]
    assert first.id == Saved(session, PATIENT.id).last.id


def test_what_was_done_on_one_entered_in_error_calms_nothing_even_where_a_later_one_carried_it(
    session,
):
    saved(session, 0, "flag:saddle_numb=yes")
    wrong = saved(session, 2, "knee 2/2")
    write_act(session, PATIENT.id, "cauda_equina", "lowered", "MRI normal")
    saved(session, 4, "ankle 2/2")
    assert Saved(session, PATIENT.id).urgency.level < 3
    mark_in_error(session, session.ward.revisions(PATIENT.id, wrong.id)[-1], "wrong patient")
    found = Saved(session, PATIENT.id)
    assert found.urgency.level == 3
    reason = next(r for r in found.urgency.reasons if r.rule == "cauda_equina")
    assert reason.acts == ()
    (bed,) = session.ward.beds()
    assert (bed.summary.urgency, bed.summary.new) == (3, True)
    # The record of then is as it was saved.
    stored = session.ward.revisions(PATIENT.id, "exam0004")[-1]
    assert any(row.acts for row in stored.raised)
    # What is saved from now on carries it no more.
    after = saved(session, 6, "biceps 2/2")
    assert not any(row.acts for row in after.raised)


def test_the_tools_own_alarm_brought_down_on_one_entered_in_error_stands_again(session):
    act = Act(rule=OWN, kind="lowered", what="MRI normal", by="Dr Ash", at=AT, on=())
    rows = (
        (Raised(rule=OWN, since=AT, level=2, text="signs may mean: cord", region="cord"),), (),
        (Raised(rule=OWN, since=AT, level=0, acts=(act,)),),
    )  # fmt: skip
    made = [
        saved(session, n, "knee 2/0").model_copy(update={"raised": raised})
        for n, raised in enumerate(rows)
    ]
    amendment = {"by": "Dr Ash", "at": AT, "why": "wrong patient"}
    made[1] = type(made[1]).model_validate(
        made[1].model_copy(update={"acts": (act,)}).model_dump()
        | {"revision": 2, "amendment": amendment, "in_error": True}
    )
    first, last = counting(made)
    assert first == made[0]
    (row,) = last.raised
    assert (row.level, row.acts, row.text) == (2, (), "signs may mean: cord")


def test_one_in_the_middle_counts_no_more_in_what_stands(session):
    saved(session, 0, "knee 2/0")
    wrong = saved(session, 2, "onset=days flag:saddle_numb=yes")
    saved(session, 4, "ankle 2/2")
    assert Saved(session, PATIENT.id).urgency.level == 3
    mark_in_error(session, wrong, "wrong patient")
    found = Saved(session, PATIENT.id)
    assert found.case(found.last).previous.finding("knee", "left").answer == "0"
    assert found.case(found.last).previous.context.onset == "unknown"
    assert found.urgency.reasons == ()
    assert session.ward.beds()[0].summary.urgency == found.urgency.level == 0


def test_a_reason_that_stood_before_one_entered_in_error_stands_again(session):
    saved(session, 0, "power_leg 1/1 saddle 0/0 flag:saddle_numb=yes")
    healed = saved(session, 2, "power_leg 5/5 saddle 2/2 flag:saddle_numb=no bladder normal")
    calm = session.ward.beds()[0].summary.urgency
    mark_in_error(session, healed, "wrong patient")
    assert session.ward.beds()[0].summary.urgency == 3 > calm


def test_words_of_a_text_are_no_mark(session):
    """Which examination counts is read off its line: what a doctor typed must not be taken for it."""
    words = '"in_error": true'
    made = saved(session, 0, "knee 2/0").model_copy(
        update={"id": "exam0099", "comment": words, "impression": words}
    )
    session.ward.save(made, "Dr Ash")
    assert len(open_ward(session.ward.folder).file(PATIENT.id).examinations) == 2


def test_archive_and_backup_keep_it_and_give_it_back(session, tmp_path):
    saved(session, 0, "knee 2/0")
    wrong = saved(session, 2, "flag:saddle_numb=yes bladder retention")
    mark_in_error(session, wrong, "wrong patient")
    ward = session.ward
    text = "".join(write_archive(ward))
    other = open_ward(tmp_path / "other")
    read_archive(other, io.BytesIO(text.encode()), by="x", summarise=headline_of)
    assert "".join(write_archive(other)) == text
    for mine, theirs in zip(ward.beds(), other.beds(), strict=True):
        assert (mine.last_at, mine.examinations) == (theirs.last_at, theirs.examinations)
        assert mine.summary.urgency == theirs.summary.urgency
    assert other.file(PATIENT.id).in_error(wrong.id).why == "wrong patient"
    with snapshot(ward) as source:
        kept = b"".join(Written(source))
    lay_down(
        tmp_path / "laid", io.BytesIO(kept), verified(io.BytesIO(kept)), by="x", at=AT.isoformat()
    )
    laid = open_ward(tmp_path / "laid")
    assert laid.beds() == ward.beds()
    assert laid.file(PATIENT.id).in_error(wrong.id) == ward.file(PATIENT.id).in_error(wrong.id)
    assert laid.check(repair=False, by="x").sound


def test_a_check_finds_a_ward_with_one_sound_and_makes_its_lists_anew(session):
    saved(session, 0, "knee 2/0")
    mark_in_error(session, saved(session, 2, "flag:saddle_numb=yes"), "wrong patient")
    before = session.ward.beds()
    assert session.ward.check(repair=False, by="x").sound
    assert session.ward.rebuild_index() == []
    assert session.ward.beds() == before
