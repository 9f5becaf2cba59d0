"""Per patient: every examination and revision can be turned to, and the course says what changed when."""

from datetime import timedelta

import pytest

from tests.examinations import examined as made_at
from tests.terminal.screens import NOW, demo_app, dump
from wardexam.exam.examination import Patient
from wardexam.note.handover import headline_of
from wardexam.terminal.course import chart, course_text
from wardexam.terminal.examine.screen import ExamineScreen

VISITS = ["power_leg 5/5 knee 2/2", "power_leg 4/5 knee 2/2", "power_leg 2/5 knee 0/2 anal_tone 1"]


def examined(line, number, patient="patient1"):
    made = made_at(line, NOW - timedelta(hours=24 - 8 * number))
    return made.model_copy(
        update={"id": f"exam000{number}", "patient": patient, "examiner": "Dr Ash"}
    )


@pytest.fixture
def app(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    patient = Patient(
        id="patient1", bed="A1", name="Ana Invented", admitted=NOW - timedelta(days=2)
    )
    app.ward.admit(patient, "test")
    for number, line in enumerate(VISITS):
        made = examined(line, number)
        app.ward.save(made, "test", headline_of([made]))
    amended = examined("power_leg 4/5 knee 1/2", 1)
    app.ward.amend(amended, "Dr Bex", "knee graded again", NOW, headline_of([amended]))
    return app


def heading(app):
    return dump(app)[0]


async def test_every_examination_and_revision_is_turned_to_in_order(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n")
        assert "examination 3 of 3" in heading(app)
        await pilot.press("left")
        assert "examination 2 of 3, revision 2 of 2" in heading(app)
        assert any("amended" in line and "Dr Bex" in line for line in dump(app))
        await pilot.press("h")
        assert "examination 2 of 3, revision 1 of 2" in heading(app)
        await pilot.press("h")
        assert "examination 1 of 3" in heading(app)
        await pilot.press("h")
        assert "No earlier note." in dump(app)[-2]
        await pilot.press("right", "l", "l", "l")
        assert "examination 3 of 3" in heading(app)
        assert "No later note." in dump(app)[-2]
        await pilot.press("q")
        assert "1 patients" in heading(app)


async def test_an_earlier_revision_is_not_amended(app):
    async with app.run_test(size=(80, 24)) as pilot:
        (bed,) = app.ward.beds()
        before = app.ward.examinations(bed.patient_id)
        await pilot.press("n", "h", "h")
        shown = heading(app)
        assert "revision 1 of 2" in shown
        await pilot.press("m")
        assert "Only the last revision" in dump(app)[-2]
        assert heading(app) == shown
        assert not isinstance(app.screen, ExamineScreen)
        assert not app.ward.drafts()
        assert app.ward.examinations(bed.patient_id) == before


async def test_an_amendment_of_an_earlier_examination_is_held_against_the_one_before_it(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n", "h", "m")
        assert isinstance(app.screen, ExamineScreen)
        assert app.screen.visit.previous.id == "exam0000"


def test_amending_an_earlier_examination_leaves_what_the_list_says_of_the_last(app):
    (bed,) = app.ward.beds()
    assert bed.summary == headline_of([examined(VISITS[2], 2)])
    assert bed.examinations == 3


def course(app):
    return course_text(app.ward.file("patient1"))


def test_the_course_lists_examinations_revisions_and_changes(app):
    text = course(app)
    assert "revision 2, 2026-03-04 14:00 Dr Bex: knee graded again" in text
    assert "- right hip flexion 4 to 2" in text
    assert "right knee 2+ to 1+ (within observer disagreement)" in text
    assert "Over the stay, 3 against 1: worse" in text
    assert "- right hip flexion 5 to 2" in text
    assert max(map(len, text.splitlines())) <= 80
    assert text.isascii()


def test_a_chart_has_a_line_for_each_grade_and_stands_by_time():
    lines = chart("hip flexion", [(0.0, 5.0), (8.0, 4.0), (24.0, 2.0)], [0.0, 8.0, 24.0], 5)
    marks = {
        line.split("+")[0].strip(): line.index("o")
        for line in lines
        if "o" in line[2:] and "+" in line
    }
    assert set(marks) == {"5", "4", "2"}
    assert marks["5"] < marks["4"] < marks["2"]
    # A third of the way along after 8 of 24 hours.
    assert (marks["4"] - marks["5"]) / (marks["2"] - marks["5"]) == pytest.approx(1 / 3, abs=0.05)


def test_no_examination_has_a_course_in_words(app):
    app.ward.admit(app.ward.patient("patient1").model_copy(update={"id": "patient2"}), "x")
    text = course_text(app.ward.file("patient2"))
    assert text.startswith("COURSE OF ")
    assert text.endswith("No examination is saved yet.\n")


def test_of_a_long_stay_the_last_hundred_are_drawn_and_the_others_counted(app):
    for number in range(3, 130):
        app.ward.save(
            examined(VISITS[number % 3], number).model_copy(update={"id": f"exam{number:04}"}), "x"
        )
    text = course(app)
    assert "The last 100 of 130 examinations; the 30 before them stand in the notes." in text
    assert "\n31. " in text
    assert "\n130. " in text
    assert "\n30. " not in text
    assert "Over the stay, 130 against 1" in text
