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
from wardexam.exam.acts import Raised
from wardexam.exam.entry import Change
from wardexam.exam.examination import Patient
from wardexam.governance.research import Mask, patient_fact, patient_json
from wardexam.note import handover
from wardexam.reasoning.rules.own_alarm import OWN
from wardexam.records.ward import open_ward
from wardexam.review.counting import Period
from wardexam.review.gather import count_stays, paired_stays
from wardexam.saved import Saved, mark_in_error, mark_valid, write_act
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
    yield "handover", handover.sheet(found, "", now=NOW, begun=begun(session.ward, found.drafts, {}))  # fmt: skip
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
    sheet = handover.sheet(found, "", now=NOW, begun=begun(session.ward, found.drafts, {}))
    assert "NOT SAVED: 2 entries by Dr Test" in sheet
    assert "NOW" not in sheet
    (bed,) = told(session.ward, session.ward.beds(), found.drafts, {})
    assert bed.draft is None
    visit = Visit.open(session, WHO)
    assert (visit.amends, visit.which) == (False, "examination 3")
    visit.leave()
    assert [d.draft_id for d in session.ward.drafts()] == ["wrong000"]


def marked_late(session, *lines):
    """A patient with one examination that was entered in error, marked only after others were saved, each a line."""
    save(session, "before00", 8, "knee 2/0 plantar down/down")
    save(session, "wrong000", 6, WRONG, by="Dr Wrong")
    for n, line in enumerate(lines):
        save(session, f"after{n:03}", 5 - n, line)
    mark_in_error(session, session.ward.revisions(WHO, "wrong000")[-1], "wrong patient")


def listed(session):
    (bed,) = session.ward.beds()
    return bed.summary.urgency, bed.summary.due


def test_what_it_raised_does_not_come_back_with_what_is_saved_after_the_mark(session):
    marked_late(session, "brachioradialis 2/2", "biceps 2/2")
    assert listed(session) == (0, "")
    save(session, "next0000", 1, "triceps 2/2")
    assert listed(session) == (0, "")
    assert session.ward.file(WHO).examinations[-1].raised == ()


def test_what_it_raised_and_another_found_as_well_stands_since_that_other(session):
    marked_late(session, "saddle 0/0 anal_tone 1 flag:saddle_numb=yes")
    assert listed(session) == (3, (NOW - timedelta(hours=1)).isoformat())
    save(session, "next0000", 1, "triceps 2/2")
    assert listed(session) == (3, (NOW - timedelta(hours=1)).isoformat())


@pytest.mark.parametrize(
    ("found", "level"), [("knee 2/2 biceps 2/2", 0), ("knee 2/0 biceps 2/2", 2)]
)
def test_an_alarm_of_the_tools_own_that_it_raised_is_left_where_nothing_else_was_abnormal(
    session, found, level
):
    save(session, "before00", 8, "ankle 2/2 plantar down/down")
    at = NOW - timedelta(hours=6)
    alarm = Raised(
        rule=OWN, since=at, level=2, text="signs may mean: left hemisphere", region="brain"
    )
    made = examined("biceps 3/2 knee 3/2", at, id="wrong000", patient=WHO, examiner="Dr Wrong")
    made = made.model_copy(update={"raised": (alarm,)})
    kept, summary = case_of(session.ward.file(WHO), made, {}).to_save()
    session.ward.save(kept, "Dr Wrong", summary)
    save(session, "after000", 2, found)
    assert OWN in {r.rule for r in session.ward.file(WHO).examinations[-1].raised}
    mark_in_error(session, session.ward.revisions(WHO, "wrong000")[-1], "wrong patient")
    stands = [r for r in session.ward.file(WHO).examinations[-1].raised if r.rule == OWN]
    assert [r.since for r in stands] == ([NOW - timedelta(hours=2)] if level else [])
    mark_valid(session, session.ward.revisions(WHO, "wrong000")[-1], "it was hers")
    stands = [r for r in session.ward.file(WHO).examinations[-1].raised if r.rule == OWN]
    assert [r.since for r in stands] == [at]


def test_no_figure_and_no_research_has_what_it_raised(session):
    marked_late(session, "brachioradialis 2/2")
    if not isinstance(session.ward, MemoryWard):  # which is not read for counting
        period = Period(NOW - timedelta(days=2), NOW + timedelta(days=1), NOW)
        ((counted,), _) = count_stays(session.ward.stays(), period)
        assert counted.groups == {}
        assert counted.highest == 0
    fact = patient_fact(session.ward.file(WHO), Mask(b"0" * 32))
    assert {r.rule for e in fact.examinations for r in e.raised or ()} == set()


def test_the_handover_says_of_who_has_none_left_that_counts_how_many_were_entered_in_error(session):
    save(session, "wrong000", 6, WRONG)
    mark_in_error(session, session.ward.revisions(WHO, "wrong000")[-1], "wrong patient")
    sheet = handover.sheet(session.ward.papers(), "", now=NOW, begun={})
    assert "  1 examination entered in error, none counts." in sheet.splitlines()


def test_list_and_handover_say_that_the_last_was_entered_in_error_until_the_next_is_saved(session):
    save(session, "before00", 8, "knee 2/2 plantar down/down")
    save(session, "wrong000", 6, WRONG)
    last = mark_in_error(session, session.ward.revisions(WHO, "wrong000")[-1], "wrong patient")
    words = "xamination of 4 Mar 08:00 entered in error"

    def said():
        (bed,) = session.ward.beds()
        sheet = handover.sheet(session.ward.papers(), "", now=NOW, begun={})
        return bed.summary, f"  E{words}, it counts no more." in sheet.splitlines()

    summary, told_ = said()
    assert summary.headline.startswith(f"e{words}; ")
    assert (summary.urgency, summary.short, told_) == (0, "last entered in error", True)
    mark_valid(session, last, "it was right")
    summary, told_ = said()
    assert words not in summary.headline
    assert not told_
    mark_in_error(session, session.ward.revisions(WHO, "wrong000")[-1], "wrong patient")
    save(session, "after000", 2, "plantar down/up")
    summary, told_ = said()
    assert words not in summary.headline
    assert not told_


def test_its_own_papers_say_since_when_its_reasons_stood_whatever_carried_them(session):
    save(session, "wrong000", 6, WRONG)
    save(session, "after000", 5, "brachioradialis 2/2")
    first = session.ward.revisions(WHO, "wrong000")[0]
    before = {r.rule: r.since for r in Saved(session, WHO).case(first).urgency().reasons}
    mark_in_error(session, session.ward.revisions(WHO, "wrong000")[-1], "wrong patient")
    for each in session.ward.revisions(WHO, "wrong000"):
        after = Saved(session, WHO).case(each).urgency().reasons
        assert {r.rule: r.since for r in after} == before


def test_what_it_had_ended_stands_since_it_stood_before(session):
    for name, hours, line in (
        ("before00", 8, "plantar up/up flag:worse=yes"), ("wrong000", 6, "plantar down/down knee 2/2"),
        ("after000", 5, "plantar up/up flag:worse=yes"), ("after001", 4, "biceps 2/2"),
    ):  # fmt: skip
        save(session, name, hours, line)
    mark_in_error(session, session.ward.revisions(WHO, "wrong000")[-1], "wrong patient")
    since = {r.rule: r.since for r in Saved(session, WHO).urgency.reasons}
    assert since["cord_and_function"] == NOW - timedelta(hours=8)
