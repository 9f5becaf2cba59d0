"""The way from a widget's lines to the terminal: through the `Glass`, at the end of the turn.

Textual composes and sends whole spans of lines, at most sixty times a second. A `Canvas` that has a
place on the screen goes straight to the glass instead, once all keys that have come are acted on:
a burst costs one repaint, and a key waits for no timer.
"""

import asyncio
from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any

from rich.style import Style
from textual import constants, events
from textual.strip import Strip

from wardexam.terminal.canvas import Canvas
from wardexam.terminal.environment import Terminal
from wardexam.terminal.glass import Glass
from wardexam.terminal.looks import glyphs, looks
from wardexam.terminal.textual_port import PortedApp, place_holds

SYSTEMS: dict[str, Any] = {"standard": 1, "256": 2, "truecolor": 3}


@cache
def sgr(style: Style | None) -> str:
    """The parameters of a style's SGR sequence (ECMA-48)."""
    if style is None:
        return ""
    system = SYSTEMS.get(constants.COLOR_SYSTEM or "", 1)
    from rich.color import ColorSystem

    before = style.render("\0", color_system=ColorSystem(system)).partition("\0")[0]
    return before.removeprefix("\x1b[").removesuffix("m")


def pieces(strip: Strip) -> Iterator[tuple[str, str]]:
    """A strip's texts with their SGR parameters."""
    return ((s.text, sgr(s.style)) for s in strip if not s.control)


class PaintingApp(PortedApp):
    """An app that sends cells that changed, and nothing else."""

    def __init__(self, terminal: Terminal, **options: Any) -> None:
        super().__init__(**options)
        self.terminal, self.looks, self.glyphs = terminal, looks(terminal), glyphs(terminal)
        self.glass = Glass()
        self._waiting: dict[Canvas, None] = {}

    def repaint(self, canvas: Canvas) -> None:
        """Show a canvas's lines at the end of this turn."""
        if self.wire is None:
            canvas.stale.clear()
            canvas.refresh()
            return
        if not self._waiting:
            asyncio.get_running_loop().call_soon(self._turn_ends)
        self._waiting[canvas] = None

    def _turn_ends(self) -> None:
        waiting, self._waiting = self._waiting, {}
        if not self.lives:
            return
        screen = self.screen
        known = self.draws and self.glass.size == tuple(self.size) and place_holds(screen)
        for canvas in waiting:
            ready = known and canvas.is_attached and canvas.screen is screen
            region = canvas.region if ready else None
            if not region:
                canvas.refresh()  # Textual draws it once it has found its place
            else:
                for y in canvas.stale:
                    if y < region.height:
                        self.glass.put(region.y + y, region.x, pieces(canvas.render_line(y)))
            canvas.stale.clear()
        if self.draws:
            self._send()

    def _send(self) -> None:
        cursor = self.screen.outer_size.clamp_offset(self.cursor_position)
        if changes := self.glass.changes((cursor.x, cursor.y)):
            self.send(changes)

    def show_strips(self, strips: Iterable[tuple[int, int, Strip]]) -> bool:
        """Draw strips on the glass and send what is new."""
        if self.glass.size != tuple(self.size):
            self.glass.resize(*self.size)
            self.screen.refresh()  # a part is not enough where nothing is known
        for y, x, strip in strips:
            self.glass.put(y, x, pieces(strip))
        self._send()
        return True

    async def on_event(self, event: events.Event) -> None:
        """A terminal that changed its size shows nobody knows what, also when it is as before again."""
        await super().on_event(event)
        if isinstance(event, events.Resize) and self.screen_stack:
            self.drawn_over()
            self.screen.refresh()

    def drawn_over(self) -> None:
        """Send everything at the next repaint."""
        self.glass.forget()
