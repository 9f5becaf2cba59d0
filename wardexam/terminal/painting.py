"""The way from a widget's lines to the terminal: through the `Glass`, at the end of the turn.

Textual composes and sends whole spans of lines, at most sixty times a second. A `Canvas` that has a
place on the screen goes straight to the glass instead, once all keys that have come are acted on:
a burst costs one repaint, and a key waits for no timer.
"""

import asyncio
from collections.abc import Iterator
from functools import cache
from typing import TYPE_CHECKING, Any

from rich.style import Style
from textual import constants, events
from textual._compositor import ChopsUpdate, LayoutUpdate
from textual.strip import Strip

from wardexam.terminal.environment import Terminal
from wardexam.terminal.glass import Glass
from wardexam.terminal.looks import glyphs, looks
from wardexam.terminal.workarounds import NoTraceback

if TYPE_CHECKING:
    from wardexam.terminal.canvas import Canvas

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


class PaintingApp(NoTraceback):
    """An app that sends cells that changed, and nothing else."""

    def __init__(self, terminal: Terminal, **options: Any) -> None:
        super().__init__(**options)
        self.terminal, self.looks, self.glyphs = terminal, looks(terminal), glyphs(terminal)
        self.glass = Glass()
        self._waiting: dict[Canvas, None] = {}

    def repaint(self, canvas: "Canvas") -> None:
        """Show a canvas's lines at the end of this turn."""
        if self.is_headless or self._driver is None:
            canvas.stale.clear()
            canvas.refresh()
            return
        if not self._waiting:
            asyncio.get_running_loop().call_soon(self._turn_ends)
        self._waiting[canvas] = None

    def _turn_ends(self) -> None:
        waiting, self._waiting = self._waiting, {}
        if not self._running or self._closed or self._driver is None:
            return
        screen = self.screen
        known = self.glass.size == tuple(self.size) and not screen._layout_required
        for canvas in waiting:
            ready = known and canvas.is_attached and canvas.screen is screen
            place = screen._compositor.visible_widgets.get(canvas) if ready else None
            if place is None or self._batch_count:
                canvas.refresh()  # Textual draws it once it has found its place
            else:
                region = place[0]
                for y in canvas.stale:
                    if y < region.height:
                        self.glass.put(region.y + y, region.x, pieces(canvas.render_line(y)))
            canvas.stale.clear()
        self._send()

    def _send(self) -> None:
        assert self._driver is not None
        cursor = self.screen.outer_size.clamp_offset(self.cursor_position)
        if changes := self.glass.changes((cursor.x, cursor.y)):
            self._driver.write(changes)

    def _display(self, screen: Any, renderable: Any) -> None:
        if (
            not isinstance(renderable, LayoutUpdate | ChopsUpdate)
            or self.is_headless
            or self._driver is None
            or self._batch_count
            or not self._running
            or self._closed
        ):
            super()._display(screen, renderable)
            return
        if self.glass.size != tuple(self.size):
            self.glass.resize(*self.size)
            self.screen.refresh()  # a part is not enough where nothing is known
        if isinstance(renderable, LayoutUpdate):
            for y, strips in enumerate(renderable.strips, renderable.region.y):
                self.glass.put(y, renderable.region.x, pieces(Strip.join(list(strips))))
        else:
            for y, first, last in renderable.spans:
                for end, (x, strip) in zip(
                    renderable.chop_ends[y], renderable.chops[y].items(), strict=False
                ):
                    if strip is not None and x < last and end > first:
                        self.glass.put(y, x, pieces(strip))
        self._send()
        self.post_display_hook()

    async def on_event(self, event: events.Event) -> None:
        """A terminal that changed its size shows nobody knows what, also when it is as before again."""
        await super().on_event(event)
        if isinstance(event, events.Resize) and self.screen_stack:
            self.drawn_over()
            self.screen.refresh()

    def drawn_over(self) -> None:
        """Send everything at the next repaint."""
        self.glass.forget()
