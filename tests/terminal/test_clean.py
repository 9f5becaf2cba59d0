"""Whatever stands in a record, the screen draws nothing that hides, reorders or moves the cursor."""

import pytest

from tests.commands.test_edges import HIDDEN, hostile, is_clean
from tests.terminal.screens import NOW
from wardexam.session import Session
from wardexam.terminal.app import WardApp
from wardexam.terminal.canvas import Canvas
from wardexam.terminal.environment import Terminal
from wardexam.terminal.screens.text import TextScreen

__all__ = ["hostile"]


def drawn(app):
    """The text of every line as it is drawn, joined."""
    return "\n".join(
        canvas.render_line(y).text
        for canvas in app.screen.query(Canvas)
        for y in range(canvas.size.height)
    )


# List, orders, search, details, note, its forms, referral, course, handover, commands, an examination.
KEYS = [
    "O", "O", "O", "/", "escape", "E", "escape", "n", "F", "F", "R", "right", "left", "q", "V", "down", "q",
    "H", "q", ":", "escape", "down", "enter", "2", "d", "q", "c", "escape", "w", "escape", "s", "q", "q",
]  # fmt: skip


@pytest.mark.parametrize("ascii_only", [True, False])
async def test_nothing_hidden_is_drawn_on_any_screen(hostile, ascii_only):
    app = WardApp(
        Session(hostile, f"Dr {HIDDEN}"[:120], lambda: NOW, lambda: "fresh001"),
        terminal=Terminal(term="xterm", colours=0, ascii=ascii_only),
    )  # fmt: skip
    screens = set()
    async with app.run_test(size=(100, 40)) as pilot:
        for key in ["", *KEYS]:
            if key:
                await pilot.press(key)
            await pilot.pause()
            screens.add(type(app.screen).__name__)
            assert is_clean(drawn(app)), key
            if isinstance(app.screen, TextScreen):
                assert is_clean(app.screen.shown), key  # what is copied, printed and filed
    assert len(screens) >= 4
