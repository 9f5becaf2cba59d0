"""From an empty ward to the first note, each next key said before it is pressed."""

import pytest

from tests.terminal.admitting import presses
from tests.terminal.screens import demo_app, dump
from wardexam.exam.onset import onsets
from wardexam.exam.row_sets import row_sets
from wardexam.terminal.keymap import read_keys
from wardexam.terminal.keys import SCREENS, shown

OWN = '[ward]\nadmit = "N"\nopen = "G"\n[examine]\nsave = "W"\n[text]\ncopy = "Y"\n'


def first(keymap, screen, action):
    return next(shown(row.keys[0]) for row in keymap[screen] if row.action == action)


@pytest.mark.parametrize("own", ["", OWN], ids=["built in", "the user's own keys"])
async def test_an_empty_ward_leads_to_the_first_copied_note(tmp_path, own):
    keymap = read_keys(own) if own else SCREENS
    app = demo_app(tmp_path / "ward", empty=True, keymap=keymap)
    admit, begin = first(keymap, "ward", "admit"), first(keymap, "ward", "open")
    save, copy = first(keymap, "examine", "save"), first(keymap, "text", "copy")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert any(f"Press {admit} to admit the first patient." in line for line in dump(app))
        assert dump(app)[-1].startswith(f"{admit} admit")
        await pilot.press(admit, *presses("B7", "Mo Invented", "40-1", "63 m", "")[1:])
        assert dump(app)[-2] == f"Admitted. {begin.capitalize()} starts the examination."
        await pilot.press(begin)
        assert "When did it begin?" in dump(app)[-2]
        for answer in onsets():
            assert f"{answer.key} {answer.words}" in dump(app)[-1]
        await pilot.press("4")
        assert f"Digits grade, {save} saves" in dump(app)[-2]
        await pilot.press(*"22222222221100")
        assert f"Last sign here: {save} saves" in dump(app)[-2]
        await pilot.press(save)
        assert dump(app)[-2].startswith(f"Saved. {copy} copies the note")
        assert f"{copy} copy" in dump(app)[-1]
        await pilot.press(copy)
        assert dump(app)[-2].startswith("Sent to your terminal")


@pytest.mark.parametrize(
    ("reason", "page"),
    [("1", "weak_leg"), ("back pain, fell", "back_pain"), ("10", "numb_hands"), ("unconscious", "found_unconscious"), ("something else", "core")],
)  # fmt: skip
async def test_a_first_examination_opens_on_the_signs_of_the_complaint(tmp_path, reason, page):
    app = demo_app(tmp_path / "ward", empty=True)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*presses("B7", "Mo Invented", "40-1", "63 m", reason), "enter", "4")
        assert app.screen.state.page == page
        assert app.screen.state.row == row_sets()[page].signs[0]
