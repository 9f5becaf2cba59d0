"""Under the smallest size nothing is done that nobody sees: no key grades, opens or writes; leaving is said and works."""

import pytest

from tests.terminal.screens import demo_app, dump
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.screens.ward import WardScreen

KEYS = {
    "grade": ["2", "0", "plus"],
    "unchanged": ["comma", "equals_sign"],
    "find": ["slash", *"knee", "enter", "2"],
    "reasons": ["exclamation_mark", "2", "space", "enter", "1", "enter"],
    "flags": ["f", "1"],
    "known": ["b", "0", "left", "K", "enter"],
    "save": ["s"],
}
SMALL = [(20, 5), (40, 10), (79, 23)]


async def resized(pilot, size, shows):
    await pilot.resize_terminal(*size)
    for _ in range(300):
        if dump(pilot.app)[0].startswith(shows):
            await pilot.pause()  # what stands below is laid out too
            return
        await pilot.pause(0.02)
    raise AssertionError(dump(pilot.app)[0])


@pytest.mark.parametrize("size", SMALL)
@pytest.mark.parametrize("keys", list(KEYS))
async def test_no_key_is_taken_where_nothing_is_seen(tmp_path, size, keys):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j", "enter", "2")
        entered = app.screen.state.examination
        await resized(pilot, size, "Needs 80 x 24"[: size[0]])
        await pilot.press(*KEYS[keys])
        assert isinstance(app.screen, ExamineScreen)
        assert app.screen.state.examination is entered
        await resized(pilot, (80, 24), "A3 Beatrix Lund")
        await pilot.press("0")
        assert len(app.screen.state.examination.findings) == 2


@pytest.mark.parametrize("size", SMALL)
async def test_a_question_waits_and_nothing_is_typed_into_it_unseen(tmp_path, size):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "i", *"calm")
        await resized(pilot, size, "Needs 80 x 24"[: size[0]])
        await pilot.press(*"er", "enter")
        await resized(pilot, (80, 24), "A1 Ottoline Marsh")
        assert dump(app)[-2] == "Impression: calm"
        await pilot.press("enter")
        assert app.screen.state.examination.impression == "calm"


@pytest.mark.parametrize("size", SMALL)
async def test_leaving_is_the_one_key_that_is_taken(tmp_path, size):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=size) as pilot:
        await pilot.press("enter")
        assert isinstance(app.screen, WardScreen)  # nothing opens unseen
        assert dump(app)[0].startswith("Needs 80 x 24"[: size[0]])
        await pilot.press("q")
        assert not app.is_running
