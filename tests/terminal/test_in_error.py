"""An examination saved for the wrong patient: marked from its note, with words, and from then on it counts nowhere."""

from datetime import timedelta

import pytest

from tests.examinations import examined
from tests.terminal.screens import NOW, demo_app, dump
from wardexam.exam.examination import Patient
from wardexam.note.handover import headline_of
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.screens.ward import WardScreen

BEFORE = "power_leg 5/5 knee 2/2"
WRONG = "power_leg 2/2 saddle 0/0 bladder retention flag:saddle_numb=yes"


@pytest.fixture
def app(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    app.ward.admit(
        Patient(
            id="patient1", bed="A1", name="Ana Invented", number="40-1", admitted=NOW - timedelta(days=2)
        ),
        "test",
    )  # fmt: skip
    made = []
    for number, line in enumerate((BEFORE, WRONG)):
        at = NOW - timedelta(hours=8 - 4 * number)
        made.append(
            examined(line, at, id=f"exam000{number}", patient="patient1", examiner="Dr Ash")
        )
        app.ward.save(made[-1], "Dr Ash", headline_of(made))
    return app


def text(app):
    return " ".join(" ".join(dump(app)).split())


async def mark(pilot, why="wrong patient"):
    await pilot.press("n", "I", *("space" if c == " " else c for c in why), "enter")


async def test_the_note_offers_it_on_its_bottom_line_and_in_the_list_of_commands(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n")
        assert "I in error" in dump(app)[-1]
        await pilot.press("colon", *"error")
        assert "entered in error: counts no more; again: counts" in text(app)
        await pilot.press("enter")
        assert "Why, such as wrong patient?" in text(app)


async def test_it_names_the_patient_by_two_identifiers_and_the_time_and_asks_for_words(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n", "I")
        asked = text(app)
        assert "Ana Invented, no. 40-1, bed A1" in asked
        assert "examination of 4 Mar 2026 10:00 by Dr Ash" in asked
        await pilot.press("enter")
        assert "Words that say why are needed" in text(app)
        await pilot.press("escape")
        assert "Left as it was." in dump(app)[-2]
        assert len(app.ward.revisions("patient1", "exam0001")) == 1


async def test_its_note_then_says_so_first_in_capitals_with_who_when_and_why(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await mark(pilot)
        lines = dump(app)
        first = next(n for n, line in enumerate(lines) if line.startswith("ENTERED IN ERROR"))
        assert lines[first].startswith("ENTERED IN ERROR: wrong patient.")
        assert "so marked 2026-03-04 14:00 by Dr Test" in text(app)
        assert "It counts no more; nothing of it is lost." in lines[-2]
        assert "examination 2 of 2, revision 2 of 2" in lines[0]
        # The line below the heading is of the patient, who reads as after the examination before.
        assert "NOW" not in lines[1]
        await pilot.press("h")
        assert "revision 1 of 2" in dump(app)[0]
        assert "ENTERED IN ERROR: wrong patient." in text(app)
        await pilot.press("R")
        assert any(line.startswith("ENTERED IN ERROR") for line in dump(app)[:4])


async def test_the_patient_then_reads_as_after_the_examination_before(app):
    (graver,) = app.ward.beds()
    assert graver.summary.urgency == 3
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("exclamation_mark")
        assert "cauda equina" in text(app)
        await pilot.press("q")
        await mark(pilot)
        await pilot.press("q")
        assert isinstance(app.screen, WardScreen)
        (bed,) = app.ward.beds()
        assert (bed.examinations, bed.summary.urgency) == (1, 0)
        assert bed.last_at == (NOW - timedelta(hours=8)).isoformat()
        assert "cauda equina" not in text(app)
        for keys in (["exclamation_mark"], ["enter"], ["H"], ["J"]):
            await pilot.press(*keys)
            assert "cauda equina" not in text(app), keys
            assert "saddle numb, yes" not in text(app), keys
            await pilot.press("q")
        await pilot.press("n")
        assert "examination 1 of 2" in dump(app)[0]


async def test_the_only_one_marked_leaves_the_patient_as_not_examined_yet(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await mark(pilot)
        await pilot.press("q")
        await mark(pilot, "never her")
        await pilot.press("q")
        (bed,) = app.ward.beds()
        assert (bed.last_at, bed.summary, bed.examinations) == (None, None, 0)
        assert "not examined" in text(app)
        await pilot.press("exclamation_mark")
        assert "no examination counts: all were entered in error" in text(app)
        # What there is can be read, and taken back, all the same.
        await pilot.press("n")
        assert "ENTERED IN ERROR" in text(app)
        await pilot.press("q", "V")
        assert text(app).count("ENTERED IN ERROR") == 2
        assert "No examination counts: the patient is not examined yet." in text(app)


async def test_the_course_lists_it_as_what_it_is_and_compares_nothing_with_it(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await mark(pilot)
        await pilot.press("q", "V")
        course = text(app)
        assert "2. 4 Mar 2026 10:00 Dr Ash" in course
        assert "ENTERED IN ERROR: wrong patient. Not valid; so marked 2026-03-04 14:00 by Dr Test." in course  # fmt: skip
        for word in ("Worse", "GRADES AT EACH", "due:"):
            assert word not in course


async def test_it_is_taken_back_by_the_same_key_with_words(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await mark(pilot)
        await pilot.press("I")
        assert "It counts again. Why?" in text(app)
        await pilot.press("enter")
        assert "Words that say why are needed" in text(app)
        await pilot.press(*"hers", "enter")
        assert "It counts again." in dump(app)[-2]
        assert "ENTERED IN ERROR" not in text(app)
        await pilot.press("q")
        (bed,) = app.ward.beds()
        assert (bed.examinations, bed.summary.urgency) == (2, 3)
        await pilot.press("V")
        course = text(app)
        assert "revision 2, 2026-03-04 14:00 Dr Test: wrong patient. Changed: entered in error: yes, added." in course  # fmt: skip
        assert "Changed: entered in error: yes, taken back." in course


async def test_it_is_not_amended_and_an_earlier_revision_is_not_marked(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await mark(pilot)
        await pilot.press("M")
        assert "Only the last revision of an examination that counts is amended." in dump(app)[-2]
        assert not isinstance(app.screen, ExamineScreen)
        assert not app.ward.drafts()
        await pilot.press("h", "I")
        assert "Only the last revision" in dump(app)[-2]


async def test_a_draft_of_its_amendment_is_refused_in_words_and_kept(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n", "M", "b", "3")
        stored = app.ward.revisions("patient1", "exam0001")[-1]
        app.ward.mark(stored, "Dr Bex", "wrong patient", NOW, lambda _: None, in_error=True)
        await pilot.press("s", *"typo", "enter")
        assert "entered in error and is amended no more" in text(app)
        assert [d.draft_id for d in app.ward.drafts()] == ["exam0001"]
        assert app.ward.file("patient1").in_error("exam0001")
