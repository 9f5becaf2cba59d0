"""Every command of the screen below, to search by its words and to run."""

from collections.abc import Callable

from wardexam.terminal.canvas import Line
from wardexam.terminal.keys import Key, shown
from wardexam.terminal.screens.search import SearchScreen

KEYS = 18  # columns of the keys


class CommandsScreen(SearchScreen):
    """A list that what is typed narrows; Enter runs the chosen one on the screen below.

    Args:
        commands: The keys of the screen below, with what they do.
        do: Does an action there.
    """

    def __init__(self, commands: tuple[Key, ...], do: Callable[[str], None]) -> None:
        super().__init__()
        self._commands, self._do = commands, do

    @property
    def found(self) -> tuple[Key, ...]:
        """The commands that have every typed word in what they do, their name or their key."""
        words = self.typed.lower().split()
        rows = (row for row in self._commands if row.action not in ("commands", "up", "down"))
        return tuple(row for row in rows if all(word in _searched(row) for word in words))

    def draw(self) -> None:
        """What is typed, then the commands that fit."""
        found = self.found
        self.row = max(0, min(self.row, len(found) - 1))
        self.canvas("heading").show([self.typed_line("Command: ")])
        room = self.size.height - 3
        first = max(0, min(self.row - room // 2, len(found) - room))
        lines: list[Line] = []
        for number, row in enumerate(found[first : first + room], first):
            keys = " ".join(shown(key) for key in row.keys)
            pointer, style = (
                (self.ward_app.glyphs.pointer, "cursor") if number == self.row else (" ", "")
            )
            lines.append([(f"{pointer} {keys:<{KEYS}} {row.does}"[: self.size.width - 1], style)])
        self.canvas("body").show(lines or [[("  No command has these words.", "")]])

    def hint_text(self) -> str:
        """What keys do here."""
        return "type to search   up, down choose   enter run   escape or backspace back"

    def take(self, row: int) -> None:
        """Run the chosen command on the screen below."""
        if not self.found:
            self.say("No command has these words. Nothing was done.")
            return
        action = self.found[row].action
        self.dismiss(None)
        self._do(action)


def _searched(row: Key) -> str:
    keys = " ".join(shown(key) for key in row.keys)
    return f"{row.does} {row.label} {row.action.replace('_', ' ')} {keys}".lower()
