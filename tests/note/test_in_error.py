"""A paper of an examination entered in error cannot be taken for a valid one."""

from datetime import UTC, datetime

import pytest

from tests.examinations import examined
from tests.records.memory import MemoryWard
from wardexam.exam.examination import Amendment, Examination, Patient
from wardexam.note import note, referral, svg
from wardexam.note.charted import Charted
from wardexam.reasoning.rules.urgency import assess
from wardexam.saved import Saved, mark_in_error, mark_valid
from wardexam.session import Session

AT = datetime(2026, 3, 4, 14, tzinfo=UTC)
PATIENT = Patient(id="patient1", bed="A3", name="Ana Invented", number="40-1", admitted=AT)
FORMS = ("sentences", "table", "line", "figure")


@pytest.fixture
def session():
    ward = MemoryWard()
    ward.admit(PATIENT, "x")
    made = examined("knee 2/0", AT, id="exam0001", patient=PATIENT.id, examiner="Dr Ash")
    ward.save(made, "Dr Ash")
    return Session(ward, "Dr Bex", lambda: AT, lambda: "unused00", {})


def cases(session):
    """The case of each revision, as the screen turns to them."""
    saved = Saved(session, PATIENT.id)
    return [saved.case(r) for r in saved.file.revisions("exam0001")]


def texts(case):
    return [*(case.note(form) for form in FORMS), case.note(ascii_only=False), case.referral()]


@pytest.mark.parametrize("why", ["wrong patient", "the wrong one, as " * 6])
def test_every_paper_of_every_revision_begins_with_it_and_the_reason(session, why):
    mark_in_error(session, cases(session)[-1].examination, why)
    for case in cases(session):
        for text in texts(case):
            first = text.partition("Ana Invented" if "REFERRAL" not in text else "REFERRAL")[0]
            said = " ".join(first.split())
            assert said.startswith(f"ENTERED IN ERROR: {why.strip().rstrip('.')}. Not valid;")
            assert said.endswith("so marked 2026-03-04 14:00 by Dr Bex.")
            assert max(map(len, text.splitlines())) <= 72
        picture = case.picture()
        assert picture.index("ENTERED IN ERROR") < picture.index("Ana Invented")


def test_what_counts_says_nothing_of_it_and_one_taken_back_says_both_as_revisions(session):
    for text in texts(cases(session)[-1]):
        assert "ERROR" not in text
    wrong = mark_in_error(session, cases(session)[-1].examination, "wrong patient")
    mark_valid(session, wrong, "it was hers")
    for case in cases(session):
        for text in texts(case):
            assert "ENTERED IN ERROR" not in text or case.examination.in_error
    assert "Revision 3, amended 2026-03-04 14:00 by Dr Bex: it was hers" in cases(session)[-1].note()  # fmt: skip


def test_a_reason_in_other_letters_stays_where_the_paper_may_hold_them(session):
    mark_in_error(session, cases(session)[-1].examination, "größte Verwechslung")
    case = cases(session)[-1]
    assert "größte" in case.note(ascii_only=False)
    assert case.note().isascii()


def test_without_the_ward_its_own_revision_says_it():
    made = examined("knee 2/0", AT, id="exam0001", patient=PATIENT.id, examiner="Dr Ash")
    amendment = Amendment(by="Dr Bex", at=AT, why="wrong patient")
    more = {"revision": 2, "amendment": amendment, "in_error": True}
    wrong = Examination.model_validate({**made.model_dump(), **more})
    for text in (
        note.render(Charted(PATIENT, wrong)), referral.render(Charted(PATIENT, wrong, urgency=assess(wrong, None, None))),
    ):  # fmt: skip
        assert text.startswith("ENTERED IN ERROR: wrong patient.")
    assert "ENTERED IN ERROR" in svg.render(PATIENT, wrong)
    with pytest.raises(ValueError, match="who says so, when and why"):
        Examination.model_validate({**made.model_dump(), "in_error": True})
