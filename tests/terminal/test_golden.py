"""Golden dumps of every screen, as text to read in a diff and as a picture of four terminals.

`pytest --snapshot-update` makes them anew.
"""

import re
from pathlib import Path

import pytest
from syrupy.extensions.single_file import SingleFileSnapshotExtension, WriteMode

from tests.terminal.admitting import presses
from tests.terminal.pictures import picture
from tests.terminal.screens import demo_app, dump, settled, sheet_kept
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.injury.screen import InjuryScreen


class TextFile(SingleFileSnapshotExtension):
    """One readable file for each screen."""

    _write_mode = WriteMode.TEXT
    file_extension = "txt"


class Picture(SingleFileSnapshotExtension):
    """One picture for each screen."""

    _write_mode = WriteMode.TEXT
    file_extension = "svg"


# Light touch of both sides, typed as ranges.
SHORT = [*"2c7", "comma", *"1t8", "comma", "0", "slash", *"2c6", "comma", *"1"]
SCREENS = {
    "ward": [],
    "ward_by_urgency": ["O"],
    "examine": ["j", "j", "enter", "m", "1", *"2222222220"],
    "again": ["j", "j", "enter", "comma"],
    "question": ["j", "j", "enter", "i", *"calm"],
    "sets": ["j", "j", "enter", "m"],
    "story": ["enter", "w", "down"],
    "admission": presses("B7", "Mo Invented", "40-1", "63 m")[:-1],
    "flags": ["j", "j", "enter", "f", "1", "0"],
    "power": ["j", "j", "enter", "m", "1", "tab", "5", "minus"],
    "note": ["n"],
    "referral": ["n", "R"],
    "course": ["V"],
    "handover": ["H"],
    "help": ["question_mark"],
    "help_examine": ["enter", "question_mark"],
    "commands": ["enter", "colon", *"side"],
    "injury": ["J", "enter", *SHORT, "enter", "enter", "equals_sign", "enter", *"55432000x0", *"1"],
    "hidden": ["Z"],
}


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
@pytest.mark.parametrize("name", list(SCREENS))
async def test_a_screen_is_as_it_was(tmp_path, snapshot, name, size):
    app = demo_app(tmp_path / "ward", colours=16)
    async with app.run_test(size=size) as pilot:
        await pilot.press(*SCREENS[name])
        if isinstance(app.screen, ExamineScreen):
            await settled(pilot)
        if isinstance(app.screen, InjuryScreen):
            await sheet_kept(pilot)
        await pilot.pause()
        lines = dump(app)
        assert all(len(line) <= size[0] for line in lines)
        assert "\n".join(lines) + "\n" == snapshot(extension_class=TextFile)
        assert picture(app) == snapshot(extension_class=Picture)


@pytest.mark.parametrize("size", ["80x24", "120x40"])
@pytest.mark.parametrize("name", list(SCREENS))
def test_no_word_is_cut_on_any_of_them(name, size):
    file = (
        Path(__file__).parent
        / "__snapshots__"
        / "test_golden"
        / f"test_a_screen_is_as_it_was[{name}-{size}].txt"
    )
    for line in file.read_text(encoding="utf-8").splitlines():
        # Two dots and no more are where words were left out; the body and its skin are drawn with longer rows.
        assert not re.search(r"[^.\s]\s?\.\.(?!\.)", line), line
