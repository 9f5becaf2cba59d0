"""When it began: asked first, by one key, and never in the way once it is known or passed."""

import pytest

from tests.terminal.screens import NOW, demo_app, dump, status
from wardexam.exam.examination import Patient
from wardexam.exam.onset import onset, onsets
from wardexam.records.repository import Bed
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.screens.text import TextScreen


def at(app) -> str:
    return app.screen.state.row.id


def answered(app) -> str:
    return app.screen.state.examination.context.onset


@pytest.fixture
def app(tmp_path):
    """One patient whom nobody has examined."""
    made = demo_app(tmp_path / "ward", empty=True)
    made.ward.admit(Patient(id="patient1", bed="A3", name="Ana Invented", admitted=NOW), "test")
    return made


def bed(app) -> Bed:
    (found,) = app.ward.beds()
    return found


@pytest.mark.parametrize("answer", onsets(), ids=[a.code for a in onsets()])
async def test_a_first_examination_begins_on_it_and_one_key_answers_and_goes_on(app, answer):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        assert at(app) == onset().id
        assert dump(app)[-2].startswith("New examination. When did it begin?")
        assert "1 sudden  2 hours  3 on waking  4 days  5 weeks  6 longer" in dump(app)[-1]
        await pilot.press(answer.key)
        assert (answered(app), at(app)) == (answer.code, "biceps")
        shown = dump(app)[4]
        assert shown[:14] == " when it began"
        assert shown[26:37].strip() == (answer.words if answer.key != "0" else "not known")
        await pilot.press("u")
        assert answered(app) == "unknown"


@pytest.mark.parametrize("key", ["7", "8", "9", "minus", "plus"])
async def test_a_key_that_is_no_answer_writes_nothing_and_says_what_is(app, key):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", key)
        assert (answered(app), at(app)) == ("unknown", onset().id)
        assert status(app).startswith("when it began: 1 sudden, 2 hours, 3 on waking, 4 days")
        assert app.screen.visit.draft.sent == 0


@pytest.mark.parametrize("passes", ["down", "space"])
async def test_it_is_passed_by_one_key_asked_no_more_and_reached_again(app, passes):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", passes)
        assert (at(app), app.screen.visit.draft.sent) == ("biceps", 0)
        await pilot.press("m", "5")
        assert at(app) == "knee"
        await pilot.press("up", "1")
        assert (answered(app), at(app)) == ("sudden", "knee")
        await pilot.press("up", "full_stop")
        assert answered(app) == "unknown"


async def test_whatever_set_is_shown_first_begins_on_it(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "5")
        assert (app.screen.state.page, at(app)) == ("weak_leg", onset().id)
        await pilot.press("3", "m", "6")
        assert (answered(app), at(app)) == ("waking", "knee")


async def test_the_story_asks_it_first_as_well(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "w")
        lines = dump(app)
        asked = next(n for n, line in enumerate(lines) if line.startswith("When did it begin?"))
        assert [line.split() for line in lines[asked + 1 : asked + 3]] == [
            ["1", "sudden"],
            ["2", "hours"],
        ]


async def test_where_it_is_known_from_before_the_cursor_begins_on_the_first_sign(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter")  # bed A2, examined before
        earlier = app.screen.visit.previous.context.onset
        assert (earlier, at(app)) == ("hours", "ankle")
        line = dump(app)[4]
        assert (line[26:37].strip(), line[38:49].strip()) == (".", "hours")


async def test_a_draft_that_is_resumed_and_an_amendment_begin_on_the_first_sign(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "down", "2", "q")
        await pilot.press("enter")
        assert (at(app), len(app.screen.state.examination.findings)) == ("biceps", 1)
        await pilot.press("s")
        assert isinstance(app.screen, TextScreen)
        await pilot.press("M")
        assert isinstance(app.screen, ExamineScreen)
        assert app.screen.visit.amends
        assert at(app) == "biceps"


async def test_a_core_examination_is_open_onset_fourteen_grades_and_save(app):
    keys = ["enter", "4", *"22222222221100", "s"]
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*keys)
        await pilot.pause()
        assert isinstance(app.screen, TextScreen)
        saved = app.ward.examinations(bed(app).patient_id)[-1]
        assert (len(saved.findings), saved.context.onset) == (14, "days")
        assert len(keys) == 17
