"""An examination entered in error is on no paper, no screen and in no figure; one place leaves it out for all of them."""

import ast
import itertools
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

import wardexam
from tests.examinations import examined
from tests.records.memory import MemoryWard
from wardexam.case import case_of
from wardexam.exam.entry import Change
from wardexam.exam.examination import Patient
from wardexam.governance.research import Mask, patient_fact, patient_json
from wardexam.note import handover
from wardexam.records.ward import open_ward
from wardexam.review.counting import Period
from wardexam.review.gather import count_stays, paired_stays
from wardexam.saved import Saved, mark_in_error, write_act
from wardexam.session import Session
from wardexam.terminal.course import course_text
from wardexam.unsaved import begun, told
from wardexam.visit import Visit

NOW = datetime(2026, 3, 4, 14, tzinfo=UTC)
WHO = "patient1"
# Nothing of it is in the examination before or after.
WRONG = "saddle 0/0 anal_tone 1 biceps 0/0 complaint=bladder onset=hours flag:saddle_numb=yes"
HOME = Path(wardexam.__file__).parent


def begin(ward):
    ward.admit(Patient(id=WHO, bed="A3", name="Ana Invented", number="40-1", age=60, admitted=NOW), "t")  # fmt: skip
    names = (f"exam{n:04}" for n in itertools.count())
    return Session(ward, "Dr Test", lambda: NOW, lambda: next(names))


@pytest.fixture(params=["folder", "memory"])
def session(request, tmp_path):
    return begin(open_ward(tmp_path / "ward") if request.param == "folder" else MemoryWard())


@pytest.fixture
def never():
    """The same patient, of whom it was never saved."""
    session = begin(MemoryWard())
    save(session, "before00", 8, "knee 2/2 plantar down/down")
    save(session, "after000", 2, "knee 2/0 plantar down/down")
    return session


def save(session, name, hours, line, by="Dr Ash"):
    made = examined(line, NOW - timedelta(hours=hours), id=name, patient=WHO, examiner=by)
    kept, summary = case_of(session.ward.file(WHO), made, {}).to_save()
    return session.ward.save(kept, by, summary)


@pytest.fixture
def marked(session):
    """A patient examined twice, with one between that was entered in error, an act on it."""
    save(session, "before00", 8, "knee 2/2 plantar down/down")
    save(session, "wrong000", 6, WRONG, by="Dr Wrong")
    write_act(session, WHO, "cauda_equina", "called", "Dr Spine")
    mark_in_error(session, session.ward.revisions(WHO, "wrong000")[-1], "wrong patient")
    save(session, "after000", 2, "knee 2/0 plantar down/down")
    return session


def papers(session):
    """Every text that is made of a patient, by what it is."""
    saved = Saved(session, WHO)
    case = saved.named(None)
    found = session.ward.papers()
    yield "note", case.note()
    for form in ("table", "line", "figure"):
        yield form, case.note(form)
    yield "referral", case.referral()
    yield "figure", case.picture()
    yield "handover", handover.sheet(found, "", now=NOW, begun=begun(session.ward, found.drafts))  # fmt: skip
    yield "list", str([b.summary for b in session.ward.beds()])
    yield "urgency", str([(r.rule, r.text, r.acts) for r in saved.urgency.reasons])
    mask = Mask(b"0" * 32, False)
    yield "research", str(patient_json(patient_fact(saved.file, mask), mask))


def test_every_paper_list_and_export_is_as_if_it_had_never_been_saved(marked, never):
    for (name, text), (_, wanted) in zip(papers(marked), papers(never), strict=True):
        assert text == wanted, name


def test_what_is_examined_next_is_held_against_what_counts_alone(marked):
    visit = Visit.open(marked, WHO)
    assert {f.sign for f in visit.previous.findings} == {"knee", "plantar"}
    assert visit.onset_earlier == ""
    assert {f.sign for f, _ in visit.earlier.found} == {"knee", "plantar"}
    assert "cauda" not in str([r.text for r in visit.case.urgency(own=True).reasons])
    assert visit.case.slides == ()
    visit.leave()


def test_the_course_names_it_once_as_what_it_is_and_says_nothing_it_found(marked):
    text = course_text(marked.ward.file(WHO))
    assert text.count("ENTERED IN ERROR: wrong patient.") == 1
    assert "2. 4 Mar 2026 08:00 Dr Wrong" in text
    for word in ("saddle", "anal", "biceps", "cauda", "Dr Spine"):
        assert word not in text
    # What follows keeps its number, and the chart is by the same numbers.
    assert "3. 4 Mar 2026 12:00 Dr Ash" in text
    chart = text.partition("GRADES AT EACH")[2].splitlines()[1]
    assert chart.split() == ["1", "3"]


def test_no_figure_of_the_ward_counts_it(marked):
    if isinstance(marked.ward, MemoryWard):
        pytest.skip("a ward in memory is not read for counting")
    period = Period(NOW - timedelta(days=9), NOW + timedelta(days=9), NOW)
    (counted,), unread = count_stays(marked.ward.stays(), period)
    assert [name for name, _ in counted.examinations] == ["before00", "after000"]
    (pairs,), _ = paired_stays(marked.ward.stays(), period, 4)
    assert pairs.pairs == ()
    assert pairs.apart == 0
    assert unread == []


def test_who_takes_those_entered_in_error_too_is_named():
    """All others take `examinations` of a patient's file, which leaves them out."""
    shows_or_keeps = {
        "records/patient_file.py", "records/repository.py",  # where they are left out
        "saved.py",  # by name, and where none counts any more
        "terminal/course.py", "commands/marking.py",  # which list them as what they are
        "governance/retention.py",  # how much is stored
    }  # fmt: skip
    found = set()
    for path in HOME.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and node.attr == "with_errors":
                found.add(path.relative_to(HOME).as_posix())
    assert found == shows_or_keeps - {"records/repository.py"}


def test_a_draft_that_amends_it_says_nothing_and_is_not_what_opens(session):
    save(session, "before00", 8, "knee 2/2 plantar down/down")
    save(session, "wrong000", 6, WRONG)
    amending = Visit.amend(session, session.ward.revisions(WHO, "wrong000")[-1])
    amending.change(Change("comment", "", "begun"))
    amending.pause(1.0)
    mark_in_error(session, session.ward.revisions(WHO, "wrong000")[-1], "wrong patient")
    found = session.ward.papers()
    sheet = handover.sheet(found, "", now=NOW, begun=begun(session.ward, found.drafts))
    assert "NOT SAVED: 2 entries by Dr Test" in sheet
    assert "NOW" not in sheet
    (bed,) = told(session.ward, session.ward.beds(), found.drafts)
    assert bed.draft is None
    visit = Visit.open(session, WHO)
    assert (visit.amends, visit.which) == (False, "examination 3")
    visit.leave()
    assert [d.draft_id for d in session.ward.drafts()] == ["wrong000"]
