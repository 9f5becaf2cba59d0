"""An examination typed up hours later: told with one key, and every screen and paper says when it was and when it was entered."""

from datetime import timedelta

import pytest

from tests.terminal.screens import NOW, demo_app, dump, status
from wardexam.exam.examination import Patient

KEYS = ("1", *"2020", "slash", *"bladder", "enter")


@pytest.fixture
def app(tmp_path):
    made = demo_app(tmp_path / "ward", empty=True)
    admitted = NOW - timedelta(minutes=5)  # written up when it was entered
    made.ward.admit(Patient(id="patient1", bed="A3", name="Ana Invented", admitted=admitted), "test")  # fmt: skip
    return made


def text(app):
    return " ".join(" ".join(dump(app)).split())


async def test_it_is_told_by_one_key_stands_in_the_heading_and_is_taken_back(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "1", "Y")
        assert "When was it examined?" in text(app)
        await pilot.press("3", "space", "h", "enter")
        then = NOW - timedelta(hours=3)
        assert f"AT {then:%H:%M}" in dump(app)[0]
        assert f"LATE ENTRY, entered {NOW:%H:%M}" in status(app)
        await pilot.press("u")
        assert "AT " not in dump(app)[0]
        assert app.screen.state.examination.at == NOW


async def test_what_is_no_time_leaves_the_question_open_and_says_what_is_one(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "1", "Y", *"noon", "enter")
        assert "no time of day" in text(app)
        assert "noon" in text(app)
        await pilot.press("escape")
        assert app.screen.state.examination.entered is None


async def test_note_referral_course_and_ward_list_say_it(app):
    then = NOW - timedelta(hours=3)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "1", *"2020", "Y", *"3h", "enter", "s")
        late = f"LATE ENTRY, entered {NOW:%H:%M}"
        assert f"{then:%Y-%m-%d %H:%M} UTC+0000, {late}" in text(app)
        await pilot.press("R")
        for _ in range(6):
            if late in text(app):
                break
            await pilot.press("pagedown")
        assert late in text(app)
        await pilot.press("escape", "escape", "V")
        assert late in text(app)
        await pilot.press("escape")
        assert "3 h" in text(app)  # of the examination's age
