"""Shows recorded frames with two Textual line widgets that repaint changed lines only, no more.

The least that a Textual app with a grid on the left and a panel on the right can do for a key:
no examination, no draft, no reasoning.
"""

import sys

from frames import load
from rich.segment import Segment
from rich.style import Style
from textual.app import App, ComposeResult
from textual.containers import Horizontal
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

SPLIT = 41  # columns of the left widget
PLAIN = ("black", "red", "green", "blue", "magenta", "cyan", "white")
# The emulator's names of colours to Rich's.
COLOURS = {
    **{name: name for name in PLAIN},
    **{f"bright{name}": f"bright_{name}" for name in PLAIN},
    "brown": "yellow",
    "brightbrown": "bright_yellow",
}


def style(fg: str, bold: bool, reverse: bool) -> Style:
    """Rich's style of a run."""
    return Style(color=COLOURS.get(fg), bold=bold or None, reverse=reverse or None)


class Lines(Widget):
    """A part of each line of the frame."""

    can_focus = False

    def __init__(self, start: int, end: int) -> None:
        super().__init__()
        self.start, self.end = start, end
        self.strips: list[Strip] = []

    def show(self, lines: list[Strip]) -> None:
        """Show lines, repainting those that differ."""
        mine = [line.crop(self.start, self.end) for line in lines]
        changed = [
            y for y, line in enumerate(mine) if line != (self.strips[y : y + 1] or [None])[0]
        ]
        self.strips = mine
        self.refresh(*(Region(0, y, self.end - self.start, 1) for y in changed))

    def render_line(self, y: int) -> Strip:
        return self.strips[y] if y < len(self.strips) else Strip.blank(self.end - self.start)


class Prototype(App):
    """Two widgets, one frame a key."""

    ENABLE_COMMAND_PALETTE = False
    CSS = f"#left {{ width: {SPLIT}; }} #right {{ width: 1fr; }}"

    def __init__(self) -> None:
        super().__init__(ansi_color=True)
        self.frames = [
            [Strip([Segment(t, style(f, b, r)) for t, f, b, r in runs]) for runs in frame]
            for frame in load(sys.argv[1])
        ]
        self.n = 0

    def compose(self) -> ComposeResult:
        left, right = Lines(0, SPLIT), Lines(SPLIT, 80)
        left.id, right.id = "left", "right"
        self.parts = (left, right)
        yield Horizontal(left, right)

    def on_mount(self) -> None:
        self.step(0)

    def step(self, n: int) -> None:
        """Show frame `n`."""
        self.n = n % len(self.frames)
        for part in self.parts:
            part.show(self.frames[self.n])

    def on_key(self) -> None:
        self.step(self.n + 1)


if __name__ == "__main__":
    Prototype().run(mouse=False)
