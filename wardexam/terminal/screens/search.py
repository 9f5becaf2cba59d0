"""A list that what is typed narrows: letters are never keys here."""

from textual import events

from wardexam.terminal.canvas import Line
from wardexam.terminal.line_editor import LineEditor
from wardexam.terminal.screens.base import LineScreen

LONGEST = 40  # letters


class SearchScreen(LineScreen):
    """Typing narrows the list, an arrow chooses, Enter takes the chosen one, escape or backspace goes back.

    Subclasses draw the list, and take from it in `take`.

    Attributes:
        row: Which of the list is chosen, from 0.
    """

    def __init__(self) -> None:
        super().__init__()
        self._field = LineEditor(longest=LONGEST)
        self.row = 0

    @property
    def typed(self) -> str:
        """What is typed."""
        return self._field.text

    def clear(self) -> None:
        """Take away what is typed."""
        self._field = LineEditor(longest=LONGEST)

    def typed_line(self, label: str) -> Line:
        """The line that shows what is typed."""
        return [(label, "accent"), *self._field.pieces(self.size.width - len(label) - 1)[0]]

    def take(self, row: int) -> None:
        """Take what stands there in the list."""

    def chosen(self) -> None:
        """An arrow has chosen."""

    def narrowed(self) -> None:
        """What is typed has changed: the first of the list is chosen."""
        self.row = 0

    def other(self, key: str) -> bool:
        """A key that does more than edit here; whether it was one."""
        return False

    def enter(self) -> None:
        """Take what is chosen."""
        self.take(self.row)

    def leave(self, event: events.Key) -> None:
        """Back to the screen below."""
        self.ward_app.closed_by(event)
        self.dismiss(None)

    def on_key(self, event: events.Key) -> None:
        """Letters narrow the list; they never grade and are no commands here."""
        event.stop()
        event.prevent_default()
        self.ward_app.touched()
        key, before, self.said = event.key, self.said, ""
        if key in ("escape", "ctrl+c") or (key == "backspace" and not self.typed):
            self.leave(event)
        elif self.unseen:
            self.said = before
        elif self.is_line_break(event):
            self._field.insert(" ")
            self._narrow()
        elif key == "enter":
            self.ward_app.closed_by(event)
            self.enter()
        elif key in ("up", "down"):
            self.row += 1 if key == "down" else -1
            self.chosen()
            self.redraw()
        elif self.other(key):
            self.ward_app.closed_by(event)
        elif self._field.press(event):
            self._narrow()

    def _narrow(self) -> None:
        self.narrowed()
        self.redraw()

    def on_paste(self, event: events.Paste) -> None:
        """A pasted block is text to look for."""
        event.stop()
        self._field.insert(event.text)
        self._narrow()
