"""A widget that draws its own lines."""

from collections.abc import Mapping
from typing import Protocol, cast

from rich.cells import cell_len
from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from wardexam.exam.text import clean, columns, whole_words

Piece = tuple[str, str]  # text and the name of its style
Line = list[Piece]


def plain(line: Line) -> str:
    """A line's text."""
    return "".join(text for text, _ in line)


MOST_LINES = 4  # of what is said: more hides what it is about


def wrapped(text: str, width: int) -> list[str]:
    """A text in lines of so many columns, broken between words, a word that is longer within it; at least one line.

    What has no room in `MOST_LINES` is left out, and the last of them then ends in ``..``.
    """
    said, width = clean(text), max(width, 1)
    if _columns(said) <= width:
        return [said]
    lines = [""]
    for word in said.split():
        for piece in _pieces(word, width, width - _columns(lines[-1]) - bool(lines[-1])):
            longer = f"{lines[-1]} {piece}".lstrip()
            if _columns(longer) <= width:
                lines[-1] = longer
            else:
                lines.append(piece)
    *whole, rest = lines[:MOST_LINES]
    if len(lines) > MOST_LINES:
        rest = whole_words(" ".join(lines[MOST_LINES - 1 :]), width) or ".."[:width]
    return [*whole, rest]


def _columns(text: str) -> int:
    """How many columns a text takes, at most, as it is measured here and as it is drawn."""
    return max(columns(text), cell_len(text))


def _pieces(word: str, width: int, left: int) -> list[str]:
    """A word; one that is wider than a line in pieces, the first as wide as what is left of its line, a character at least."""
    if _columns(word) <= width:
        return [word]
    pieces = [""]
    for character in word:
        room = left if len(pieces) == 1 and left > 0 else width
        if pieces[-1] and _columns(pieces[-1] + character) > room:
            pieces.append("")
        pieces[-1] += character
    return pieces


class Painter(Protocol):
    """The app that shows a canvas's lines."""

    looks: Mapping[str, Style]

    def repaint(self, canvas: "Canvas") -> None:
        """Show its lines at the end of this turn."""


class Canvas(Widget):
    """Lines given whole; `show` compares them with those on screen."""

    def __init__(self, *, id: str) -> None:  # noqa: A002  # Textual's own name for it
        super().__init__(id=id)
        self._lines: list[Line] = []
        self.stale: set[int] = set()

    def show(self, lines: list[Line]) -> None:
        """Draw these lines from the top; lines no longer there become blank."""
        before, self._lines = self._lines, lines
        for y in range(max(len(before), len(lines))):
            if before[y : y + 1] != lines[y : y + 1]:
                self.stale.add(y)
        if self.stale:
            cast("Painter", self.app).repaint(self)

    def text(self) -> list[str]:
        """The lines as text, without trailing blanks."""
        return [plain(line).rstrip() for line in self._lines]

    def render_line(self, y: int) -> Strip:
        """One line, cut or padded to the width."""
        width = self.size.width
        line = self._lines[y] if y < len(self._lines) else []
        # Whoever wrote it, no control sequence leaves for the terminal.
        styles = cast("Painter", self.app).looks
        segments = [Segment(clean(text), styles[name]) for text, name in line if text]
        return Strip(segments).adjust_cell_length(width)

    def render_lines(self, crop: Region) -> list[Strip]:
        """Lines without a style of the widget's own; Textual would keep them in a cache."""
        return [self.render_line(y).crop(crop.x, crop.right) for y in crop.line_range]
