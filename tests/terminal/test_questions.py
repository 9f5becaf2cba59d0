"""Questions: a line that is edited, what is wrong with an answer, a yes by one key, what stays and what goes."""

import pytest
from textual import events

from tests.terminal.admitting import presses
from tests.terminal.screens import dump, one_patient
from wardexam.anatomy.catalogue import signs_of
from wardexam.exam.answers import convert
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.screens.ward import WardScreen


@pytest.fixture
def app(tmp_path):
    return one_patient(tmp_path / "ward")


def impression(app):
    return app.screen.state.examination.impression


EDITED = [
    (["left", "left", "X"], "weak leXgs"),
    (["home", "X"], "Xweak legs"),
    (["home", "right", "delete"], "wak legs"),
    (["home", "end", "X"], "weak legsX"),
    (["ctrl+left", "X"], "weak Xlegs"),
    (["ctrl+w", *"arm"], "weak arm"),
    (["ctrl+u", *"arm"], "arm"),
    (["home", "ctrl+k", *"arm"], "arm"),
    (["shift+left", "shift+left", "X"], "weak leX"),
    (["ctrl+shift+a", *"arm"], "arm"),
    (["shift+home", "backspace", *"arm"], "arm"),
    (["ctrl+a", "X", "ctrl+e", "Y"], "Xweak legsY"),
]


@pytest.mark.parametrize(("keys", "text"), EDITED)
async def test_what_is_typed_is_edited_as_a_line(app, keys, text):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "i", *"weak legs", *keys)
        assert dump(app)[-2].rstrip() == f"Impression: {text}"
        await pilot.press("enter")
        assert impression(app) == text


async def test_a_paste_goes_in_at_the_cursor_and_in_the_place_of_what_is_selected(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "i", *"weak legs", "home")
        app.post_message(events.Paste("both\nsides "))
        await pilot.pause()
        assert dump(app)[-2].startswith("Impression: both sidesweak legs")
        await pilot.press("ctrl+shift+a")
        app.post_message(events.Paste("calm"))
        await pilot.pause()
        await pilot.press("enter")
        assert impression(app) == "calm"


async def test_a_long_answer_is_shown_around_the_cursor(app):
    async with app.run_test(size=(80, 24)) as pilot:
        words = " ".join(f"word{n:02}" for n in range(30))
        await pilot.press("enter", "i")
        app.post_message(events.Paste(words))
        await pilot.pause()
        assert dump(app)[-2].rstrip().endswith("word29")
        await pilot.press("home")
        assert dump(app)[-2].startswith("Impression: word00 word01")
        await pilot.press("enter")
        assert impression(app) == words


@pytest.mark.parametrize("width", [80, 120])
async def test_every_choice_stands_whole_above_the_question(app, width):
    async with app.run_test(size=(width, 40)) as pilot:
        await pilot.press("enter", "4", "x")
        for words in ("cannot follow the request", "dressing or line in the way", "o other reason"):
            assert words in "\n".join(dump(app))
        await pilot.press("escape", "g")
        shown = " ".join(" ".join(dump(app)[-6:]).split())
        for sign in signs_of("reflexes"):
            assert not sign.letter or f"{sign.letter} {sign.name}" in shown


async def test_another_scale_is_shown_with_both_grades_and_asked_once(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "z")
        assert app.screen.state.examination.scale == "ninds"  # nothing is graded: nothing to ask
        await pilot.press("u", "4", "3", "1", "z")
        shown = "\n".join(dump(app))
        marks = {key: convert(key, "conventional", "ninds").mark for key in ("3+", "1+")}
        assert f"right biceps 3+ -> {marks['3+']}" in shown
        assert f"left biceps 1+ -> {marks['1+']}" in shown
        assert "Show all reflexes on the scale NINDS 0 to 4?" in dump(app)[-2]
        for key in ("escape", "n", "0", "z"):
            await pilot.press(key)
            assert app.screen.state.examination.scale == "conventional"
            assert len(app.screen.state.examination.findings) == 2
            await pilot.press("z")
        await pilot.press("y")
        assert app.screen.state.examination.scale == "ninds"
        await pilot.press("z", "enter")
        assert app.screen.state.examination.scale == "plus"
        await pilot.press("u", "u")
        assert app.screen.state.examination.scale == "conventional"
        assert [f.answer for f in app.screen.state.examination.findings] == ["3+", "1+"]


async def test_what_was_said_goes_at_the_next_key(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*presses("B7", "Mo Invented", "40-2", "50"))
        assert dump(app)[-2].startswith("Admitted.")
        await pilot.press("down")
        assert dump(app)[-2] == ""
        await pilot.press("n")
        assert "no examination is saved yet" in dump(app)[-2]
        await pilot.press("question_mark", "q")
        assert isinstance(app.screen, WardScreen)
        assert dump(app)[-2] == ""


async def test_an_amendment_without_a_reason_stays_at_the_question(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "4", "2", "s", "M", "3", "s", "enter")
        assert isinstance(app.screen, ExamineScreen)
        assert dump(app)[-3].startswith("! An amendment needs a reason.")
        await pilot.press(*"a slip", "enter")
        assert not isinstance(app.screen, ExamineScreen)
        assert app.ward.examinations("patient1")[-1].amendment.why == "a slip"
