"""Anything that is asked or examined, found by a few letters while the best matches stand below."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.looking_up import KIND_WORDS, Named, looked_up, shared
from wardexam.terminal.canvas import Line
from wardexam.terminal.screens.search import SearchScreen

if TYPE_CHECKING:
    from wardexam.reasoning.rules.reason import Urgency

LISTED = 9  # matches, each with a digit
NAME = 48  # columns; whether it is a sign or a question stands behind


class FindScreen(SearchScreen):
    """Typing narrows the list; enter takes the chosen match, a digit the one that it stands before.

    Where a sign and a question begin alike the first enter says so and takes nothing.

    Args:
        title: Whose examination it is.
        found: Goes to what was taken.
        urgency: How urgent it is.
    """

    def __init__(self, title: str, found: Callable[[Named], None], urgency: "Urgency") -> None:
        super().__init__()
        self.above, self._urgency = 2, urgency
        self._title, self._go = title, found
        self._sure = False  # chosen by an arrow, or told that another begins alike

    @property
    def found(self) -> tuple[Named, ...]:
        """What is meant by what is typed, the best first."""
        return looked_up(self.typed)

    def draw(self) -> None:
        """Whose examination it is, what is typed, the best matches."""
        found = self.found[:LISTED]
        self.row = max(0, min(self.row, len(found) - 1))
        self.show_head(self._title, self._urgency)
        lines: list[Line] = [
            self.typed_line("Find: "),
            [],
            *(self._line(number, what) for number, what in enumerate(found)),
        ]
        more = len(self.found) - len(found)
        if more:
            lines += [[], [(f"    and {more} more: type on", "quiet")]]
        elif not self.typed.strip():
            lines.append(
                [("A few letters of a sign, a flag or its other names: knee, s1, onset.", "quiet")]
            )
        elif not found:
            lines.append([("Nothing is called so. Backspace takes a letter back.", "")])
        self.canvas("body").show(lines)

    def _line(self, number: int, what: Named) -> Line:
        chosen = number == self.row
        pointer = self.ward_app.glyphs.pointer if chosen else " "
        digit = "" if self._narrows(str(number + 1)) else str(number + 1)
        part = f", {catalogue()[what.id].part}" if what.kind == "sign" else ""
        where = KIND_WORDS[what.kind] + part
        return [(f"{pointer} {digit:<2}{what.name:<{NAME}} {where}", "cursor" if chosen else "")]

    def hint_text(self) -> str:
        """What keys do here."""
        return "type to find   enter or a digit goes there   up, down choose   escape back"

    def _narrows(self, character: str) -> bool:
        """Whether something is still meant when this is typed on: a digit then belongs to the name."""
        return not self.typed.strip() or bool(looked_up(self.typed + character))

    def other(self, key: str) -> bool:
        """A digit takes the match that it stands before, where it belongs to no name."""
        if not key.isdecimal() or self._narrows(key):
            return False
        self.take(int(key) - 1)
        return True

    def chosen(self) -> None:
        """What an arrow has chosen is meant."""
        self._sure = True

    def narrowed(self) -> None:
        """Another may begin alike."""
        super().narrowed()
        self._sure = False

    def enter(self) -> None:
        """Take what is chosen; where a sign and a question begin alike, offer both first."""
        if self._sure or shared(self.typed) is None:
            self.take(self.row)
            return
        self._sure = True
        self.say("A sign and a question begin so. Enter again takes the marked one.")

    def take(self, row: int) -> None:
        """Go to what stands there."""
        if not 0 <= row < len(self.found[:LISTED]):
            self.say("Nothing stands there to go to. Nothing was changed.")
            return
        what = self.found[row]
        self.dismiss(None)
        self._go(what)
