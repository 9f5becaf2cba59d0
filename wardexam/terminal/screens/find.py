"""Anything that is asked or examined, found by a few letters while the best matches stand below."""

from collections.abc import Callable

from textual import events

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.looking_up import Named, looked_up, shared
from wardexam.terminal.canvas import Line
from wardexam.terminal.screens.base import LineScreen

LISTED = 9  # matches, each with a digit
LONGEST = 40  # letters
NAME = 48  # columns; whether it is a sign or a question stands behind


class FindScreen(LineScreen):
    """Typing narrows the list; enter takes the chosen match, a digit the one that it stands before.

    Where a sign and a question begin alike the first enter says so and takes nothing.

    Args:
        title: Whose examination it is.
        found: Goes to what was taken.
    """

    def __init__(self, title: str, found: Callable[[Named], None]) -> None:
        super().__init__()
        self._title, self._go = title, found
        self._typed = ""
        self._row = 0
        self._sure = False  # chosen by an arrow, or told that another begins alike

    @property
    def found(self) -> tuple[Named, ...]:
        """What is meant by what is typed, the best first."""
        return looked_up(self._typed)

    def draw(self) -> None:
        """Whose examination it is, what is typed, the best matches."""
        found = self.found[:LISTED]
        self._row = max(0, min(self._row, len(found) - 1))
        self.canvas("heading").show([[(self._title, "accent")]])
        lines: list[Line] = [
            [("Find: ", "accent"), (self._typed, "strong"), (" ", "cursor")],
            [],
            *(self._line(number, what) for number, what in enumerate(found)),
        ]
        more = len(self.found) - len(found)
        if more:
            lines += [[], [(f"    and {more} more: type on", "quiet")]]
        elif not self._typed.strip():
            lines.append(
                [("A few letters of a sign, a flag or its other names: knee, s1, onset.", "quiet")]
            )
        elif not found:
            lines.append([("Nothing is called so. Backspace takes a letter back.", "")])
        self.canvas("body").show(lines)

    def _line(self, number: int, what: Named) -> Line:
        chosen = number == self._row
        pointer = self.ward_app.glyphs.pointer if chosen else " "
        digit = "" if self._narrows(str(number + 1)) else str(number + 1)
        where = (
            f"sign, {catalogue()[what.id].part}"
            if what.kind == "sign"
            else {"flag": "question, red flag", "onset": "question, story"}[what.kind]
        )
        return [(f"{pointer} {digit:<2}{what.name:<{NAME}} {where}", "cursor" if chosen else "")]

    def hint_text(self) -> str:
        """What keys do here."""
        return "type to find   enter or a digit goes there   up, down choose   escape back"

    def _narrows(self, character: str) -> bool:
        """Whether something is still meant when this is typed on: a digit then belongs to the name."""
        return not self._typed.strip() or bool(looked_up(self._typed + character))

    def on_key(self, event: events.Key) -> None:
        """Letters narrow the list; they never grade here."""
        event.stop()
        event.prevent_default()
        self.ward_app.touched()
        key, character = event.key, event.character
        if key == "enter":
            self._enter()
        elif key in ("escape", "ctrl+c") or (key == "backspace" and not self._typed):
            self.dismiss(None)
        elif key in ("up", "down"):
            self._row += 1 if key == "down" else -1
            self._sure = True
            self.redraw()
        elif key.isdecimal() and not self._narrows(key):
            self._take(int(key) - 1)
        else:
            if key == "backspace":
                self._typed = self._typed[:-1]
            elif character and character.isprintable() and len(self._typed) < LONGEST:
                self._typed += character
            self._row, self._sure = 0, False
            self.redraw()

    def on_paste(self, event: events.Paste) -> None:
        """A pasted block is text to look for."""
        event.stop()
        self._typed = (self._typed + " ".join(event.text.split()))[:LONGEST]
        self._row, self._sure = 0, False
        self.redraw()

    def _enter(self) -> None:
        """Take what is chosen; where a sign and a question begin alike, offer both first."""
        if self._sure or shared(self._typed) is None:
            self._take(self._row)
            return
        self._sure = True
        self.say("A sign and a question begin so. Enter again takes the marked one.")

    def _take(self, row: int) -> None:
        if not 0 <= row < len(self.found[:LISTED]):
            self.say("Nothing stands there to go to. Nothing was changed.")
            return
        what = self.found[row]
        self.dismiss(None)
        self._go(what)
