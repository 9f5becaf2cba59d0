"""One meaning for each letter over all screens; help and the list of commands show the keys of the screen below."""

import pytest

from tests.terminal.screens import demo_app, dump
from wardexam.terminal.keys import SCREENS, shown

# Actions that mean the same: to scroll is to move; a note before stands to the left.
SAME = {"earlier": "left", "later": "right"}
NO_LETTER = {
    "enter",
    "space",
}  # what is under the cursor: open it, number it, say what was done; next, mark
CAPITALS_IN_EXAMINATION = {"J", "K", "U", "Y"}


def meanings():
    """Every key with what it does, by screen."""
    found = {}
    for screen, rows in SCREENS.items():
        for row in rows:
            for key in row.keys:
                if key not in NO_LETTER:
                    found.setdefault(shown(key), {})[screen] = SAME.get(row.action, row.action)
    return found


def test_a_letter_means_one_thing_wherever_it_is_used():
    differ = {key: where for key, where in meanings().items() if len(set(where.values())) > 1}
    assert differ == {}
    assert len(meanings()) > 50


def test_what_one_thing_is_called_has_one_key():
    keys = {}
    for rows in SCREENS.values():
        for row in rows:
            if row.action not in ("order", "leave"):
                keys.setdefault(SAME.get(row.action, row.action), set()).add(row.keys[0])
    assert {action for action, used in keys.items() if len(used) > 1} == set()


def test_small_letters_are_of_the_signs_and_capitals_of_patient_list_and_papers():
    small = {
        "h",
        "j",
        "k",
        "l",
        "n",
        "q",
        "z",
    }  # they move, show the note, go back, change the scale
    for screen in ("ward", "text", "reasons"):
        letters = {k for row in SCREENS[screen] for k in row.keys if len(k) == 1 and k.isalpha()}
        assert {k for k in letters if k.islower()} <= small, screen
    letters = {k for row in SCREENS["examine"] for k in row.keys if len(k) == 1 and k.isupper()}
    assert letters == CAPITALS_IN_EXAMINATION


WAYS = {
    "ward": [], "examine": ["enter"], "note": ["n"], "course": ["V"], "handover": ["H"], "figure": ["enter", "d"],
    "reasons": ["exclamation_mark"], "injury": ["J"],
}  # fmt: skip


@pytest.mark.parametrize("screen", list(WAYS))
@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_help_shows_the_keys_of_its_screen_and_its_own_last_line(tmp_path, screen, size):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=size) as pilot:
        await pilot.press(*WAYS[screen])
        below = app.screen
        await pilot.press("question_mark")
        lines = dump(app)
        words = " ".join(" ".join(lines).split())
        for row in below.keys:
            assert shown(row.keys[0]) in words
            assert row.does.split()[0] in words
        absent = {row.does for rows in SCREENS.values() for row in rows} - {
            r.does for r in below.keys
        }
        assert not [does for does in absent if len(does) > 25 and does in words]
        assert lines[-1] == "down scroll  q back"
        for key in ("n", "s", "2", "C", "M", "z", "F"):
            await pilot.press(key)
            assert "no such key here" in dump(app)[-2]
        await pilot.press("q")
        assert app.screen is below


@pytest.mark.parametrize("screen", list(WAYS))
async def test_the_list_of_commands_shows_each_with_its_keys_whole(tmp_path, screen):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 60)) as pilot:
        await pilot.press(*WAYS[screen])
        below = app.screen
        await pilot.press("colon")
        lines = [line[2:] for line in dump(app)[1:-2] if line.strip()]
        wanted = [row for row in below.keys if row.action not in ("commands", "up", "down")]
        assert len(lines) == len(wanted)
        for line, row in zip(lines, wanted, strict=True):
            assert line.startswith(" ".join(map(shown, row.keys)) + " ")
            assert line.endswith(row.does)
