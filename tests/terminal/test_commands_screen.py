"""The command list: typed words narrow it, Enter runs the chosen one on the screen below."""

from textual import events

from tests.terminal.screens import dump
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.screens.commands import CommandsScreen
from wardexam.terminal.screens.text import TextScreen
from wardexam.terminal.screens.ward import WardScreen


async def test_one_key_lists_every_command_with_its_keys(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "colon")
        shown = "\n".join(dump(app))
        assert "next grade goes to both sides" in shown
        assert "type to search" in dump(app)[-1]
        await pilot.press(*"undo")
        lines = [line for line in dump(app)[1:-2] if line.strip()]
        assert lines == ["> u                  undo"]


async def test_what_is_typed_narrows_the_list_and_enter_runs_it(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("colon", *"hand", "enter")
        assert isinstance(app.screen, TextScreen)
        assert "HANDOVER" in "\n".join(dump(app))


async def test_arrows_choose_among_what_is_found(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("colon", *"discharge", "down", "enter")
        assert "Discharged" in dump(app)[0]


async def test_letters_and_digits_search_and_never_grade_or_command(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2", "colon", *"q0u123s", "backspace")
        assert isinstance(app.screen, CommandsScreen)
        assert "No command has these words" in "\n".join(dump(app))
        await pilot.press("enter")
        assert "Nothing was done" in dump(app)[-2]
        await pilot.press("escape")
        assert isinstance(app.screen, ExamineScreen)
        assert [f.answer for f in app.screen.state.examination.findings] == ["2+"]


async def test_there_are_two_ways_back_and_escape_is_only_one(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("colon", "x", "backspace", "backspace")
        assert isinstance(app.screen, WardScreen)
        await pilot.press("colon", "escape")
        assert isinstance(app.screen, WardScreen)


async def test_a_command_that_asks_asks_on_the_screen_below(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("colon", *"find a bed", "enter", *"keane", "enter")
        assert "1 of 12 patients," in dump(app)[0]


async def test_keys_typed_ahead_of_the_list_go_to_the_list(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "1")
        for key in ["2", "colon", *"both", "enter", "3"]:
            app.post_message(events.Key(key, key if len(key) == 1 else None))
        await pilot.pause()
        await pilot.pause()
        found = [(f.sign, f.side, f.answer) for f in app.screen.state.examination.findings]
        assert found == [("biceps", "right", "3+"), ("biceps", "left", "3+")]
