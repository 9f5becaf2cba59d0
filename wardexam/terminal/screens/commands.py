"""Every command of the screen below, to search by its words and to run."""

from collections.abc import Callable

from textual import events

from wardexam.terminal.canvas import Line
from wardexam.terminal.keys import Key, shown
from wardexam.terminal.screens.base import LineScreen


class CommandsScreen(LineScreen):
    """A list that what is typed narrows; Enter runs the chosen one on the screen below.

    Args:
        commands: The keys of the screen below, with what they do.
        do: Does an action there.
    """

    def __init__(self, commands: tuple[Key, ...], do: Callable[[str], None]) -> None:
        super().__init__()
        self._commands, self._do = commands, do
        self._typed = ""
        self._row = 0

    @property
    def found(self) -> tuple[Key, ...]:
        """The commands that have every typed word in what they do, their name or their key."""
        words = self._typed.lower().split()
        rows = (row for row in self._commands if row.action not in ("commands", "up", "down"))
        return tuple(row for row in rows if all(word in _searched(row) for word in words))

    def draw(self) -> None:
        """What is typed, then the commands that fit."""
        found = self.found
        self._row = max(0, min(self._row, len(found) - 1))
        self.canvas("heading").show(
            [[("Command: ", "accent"), (self._typed, "strong"), (" ", "cursor")]]
        )
        room = self.size.height - 3
        first = max(0, min(self._row - room // 2, len(found) - room))
        lines: list[Line] = []
        for number, row in enumerate(found[first : first + room], first):
            keys = ", ".join(shown(key) for key in row.keys)
            pointer, style = (
                (self.ward_app.glyphs.pointer, "cursor") if number == self._row else (" ", "")
            )
            lines.append([(f"{pointer} {row.does:<64} {keys}"[: self.size.width - 1], style)])
        self.canvas("body").show(lines or [[("  No command has these words.", "")]])

    def hint_text(self) -> str:
        """What keys do here."""
        return "type to search   up, down choose   enter run   escape or backspace back"

    def on_key(self, event: events.Key) -> None:
        """Letters narrow the list; they are never commands here."""
        event.stop()
        event.prevent_default()
        self.ward_app.touched()
        key = event.key
        if key == "enter":
            self._run()
        elif key in ("escape", "ctrl+c") or (key == "backspace" and not self._typed):
            self.dismiss(None)
        elif key in ("up", "down"):
            self._row += 1 if key == "down" else -1
            self.redraw()
        else:
            if key == "backspace":
                self._typed = self._typed[:-1]
            elif event.character and event.character.isprintable() and len(self._typed) < 40:
                self._typed += event.character
            self._row = 0
            self.redraw()

    def on_paste(self, event: events.Paste) -> None:
        """A pasted block is text to search for."""
        event.stop()
        self._typed = (self._typed + " ".join(event.text.split()))[:40]
        self.redraw()

    def _run(self) -> None:
        if not self.found:
            self.say("No command has these words. Nothing was done.")
            return
        action = self.found[self._row].action
        self.dismiss(None)
        self._do(action)


def _searched(row: Key) -> str:
    keys = " ".join(shown(key) for key in row.keys)
    return f"{row.does} {row.label} {row.action.replace('_', ' ')} {keys}".lower()
