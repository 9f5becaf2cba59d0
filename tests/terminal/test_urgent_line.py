"""How urgent a patient is stands on line 2 of every screen that shows the patient, the same on all of them."""

import pytest

from tests.terminal.screens import demo_app, dump
from tests.terminal.test_identity import SCREENS
from wardexam.terminal.canvas import Canvas

NEXT_TO_A2 = " NOW  due 15:00  possible cauda equina"


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
@pytest.mark.parametrize("screen", list(SCREENS))
async def test_every_screen_of_a_patient_says_it_on_its_second_line(tmp_path, screen, size):
    app = demo_app(tmp_path / "ward", colours=16)
    async with app.run_test(size=size) as pilot:
        await pilot.press("j", *SCREENS[screen])
        await pilot.pause()
        line = dump(app)[1]
        assert line.startswith(NEXT_TO_A2), line
        assert line.endswith(("more !", "more")), line
        assert len(line) <= size[0]
        # In the alarm's colour, as on the list.
        heading = app.screen.query_one("#heading", Canvas)
        first = next(iter(heading.render_line(1)))
        assert (first.text, first.style) == (" NOW ", app.looks["alarm"])
