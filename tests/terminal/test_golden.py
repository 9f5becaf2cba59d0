"""Golden dumps of every screen, as text to read in a diff and as a picture of four terminals.

`pytest --snapshot-update` makes them anew.
"""

import pytest
from syrupy.extensions.single_file import SingleFileSnapshotExtension, WriteMode

from tests.terminal.pictures import picture
from tests.terminal.screens import demo_app, dump, settled
from wardexam.terminal.examine.screen import ExamineScreen


class TextFile(SingleFileSnapshotExtension):
    """One readable file for each screen."""

    _write_mode = WriteMode.TEXT
    file_extension = "txt"


class Picture(SingleFileSnapshotExtension):
    """One picture for each screen."""

    _write_mode = WriteMode.TEXT
    file_extension = "svg"


SCREENS = {
    "ward": [],
    "ward_by_urgency": ["o"],
    "examine": ["j", "j", "enter", *"2222222220"],
    "flags": ["j", "j", "enter", "f", "1", "0"],
    "power": ["j", "j", "enter", "tab", "5", "minus"],
    "note": ["n"],
    "referral": ["n", "r"],
    "course": ["v"],
    "handover": ["y"],
    "help": ["question_mark"],
    "help_examine": ["enter", "question_mark"],
    "commands": ["enter", "colon", *"side"],
    "hidden": ["z"],
}


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
@pytest.mark.parametrize("name", list(SCREENS))
async def test_a_screen_is_as_it_was(tmp_path, snapshot, name, size):
    app = demo_app(tmp_path / "ward", colours=16)
    async with app.run_test(size=size) as pilot:
        await pilot.press(*SCREENS[name])
        if isinstance(app.screen, ExamineScreen):
            await settled(pilot)
        await pilot.pause()
        lines = dump(app)
        assert all(len(line) <= size[0] for line in lines)
        assert "\n".join(lines) + "\n" == snapshot(extension_class=TextFile)
        assert picture(app) == snapshot(extension_class=Picture)
