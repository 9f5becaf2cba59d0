"""One line of text being typed: the editing of Textual's `Input`, drawn in the looks of this app."""

from rich.cells import cell_len
from textual import events
from textual.widgets import Input

from wardexam.terminal.canvas import Line

LONGEST = 2000  # characters, as many as a text of an examination may have
_NOT_EDITING = ("submit", "cut", "copy", "paste")
# Keys that edit, with what each does, as Textual's own field has them.
EDITS = {
    key: binding.action
    for binding in Input.BINDINGS
    if not isinstance(binding, tuple) and binding.action not in _NOT_EDITING
    for key in binding.key.split(",")
}


class LineEditor:
    """A line with a cursor and what is selected.

    Args:
        text: What stands there at first, the cursor behind it.
        longest: Characters that it takes.
    """

    def __init__(self, text: str = "", longest: int = LONGEST) -> None:
        self._field = Input(text, max_length=longest, select_on_focus=False)
        self._longest = longest
        self.full = False  # whether something typed last had no room

    @property
    def text(self) -> str:
        """What is typed."""
        return self._field.value

    def press(self, event: events.Key) -> bool:
        """Edit by a key; whether it is one that edits."""
        if action := EDITS.get(event.key):
            name, _, select = action.partition("(")
            getattr(self._field, f"action_{name}")(*([True] if select else []))
        elif event.character and event.character.isprintable():
            self.insert(event.character)
        else:
            return False
        return True

    def insert(self, text: str) -> None:
        """Text in the place of what is selected, or at the cursor; breaks become spaces, what is too long is left out."""
        first, last = sorted(self._field.selection)
        room = self._longest - len(self.text) + last - first
        line = " ".join(text.split()) if len(text) > 1 else text
        self.full = len(line) > room
        if line[:room]:
            self._field.replace(line[:room], first, last)

    def pieces(self, room: int) -> tuple[Line, int]:
        """The part around the cursor that fits so many columns, and the column of the cursor."""
        text, at = self.text, self._field.cursor_position
        first = 0
        while cell_len(text[first:at]) >= room:
            first += 1
        chosen = sorted(self._field.selection)
        line: Line = []
        for place, character in enumerate(text[first:] + " ", first):
            style = "cursor" if place == at or chosen[0] <= place < chosen[1] else "strong"
            if line and line[-1][1] == style:
                line[-1] = (line[-1][0] + character, style)
            else:
                line.append((character, style))
        if line[-1] == (" ", "strong"):
            line.pop()
        return line, cell_len(text[first:at])
