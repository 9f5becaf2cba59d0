"""What an action asks of the examination's screen: what is entered, to write, to say, to draw."""

from typing import TYPE_CHECKING, Protocol, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from textual.geometry import Size

    from wardexam.errors import WardexamError
    from wardexam.exam.examination import Examination
    from wardexam.records.outbox import Unsent
    from wardexam.terminal.examine.edits import Edit
    from wardexam.terminal.examine.reader import Reader
    from wardexam.terminal.examine.state import State
    from wardexam.terminal.host import Host
    from wardexam.terminal.question import Then
    from wardexam.visit import Visit

T = TypeVar("T")


class Entering(Protocol):
    """An examination being entered.

    Attributes:
        visit: What is entered, of whom, and where it is kept.
        state: Where the cursor stands, and what the next key means.
        reader: The reading and the urgency of it.
        said: What the status line says.
    """

    visit: "Visit"
    state: "State"
    reader: "Reader"
    said: str

    @property
    def ward_app(self) -> "Host":
        """The app, as a screen sees it."""

    @property
    def size(self) -> "Size":
        """The terminal's size."""

    @property
    def wrote(self) -> bool:
        """Whether what is said is what the last key wrote."""

    def key(self, action: str) -> str:
        """The first key of an action, as it is written on a keyboard."""

    def say(self, text: str) -> None:
        """Say something on the status line."""

    def ask(
        self, question: str, then: "Then", text: str = "", choices: "Sequence[str]" = ()
    ) -> None:
        """Ask for an answer that is typed; `then` gets it on Enter and gives what is wrong with it, if anything."""

    def confirm(
        self, question: str, then: "Callable[[], None]", about: "Sequence[str]" = ()
    ) -> None:
        """Ask for a yes by one key; `then` follows on it, nothing on any other."""

    def move(self, rows: int = 0, side: int | None = None) -> None:
        """Move the cursor."""

    def go(self, sign: str, side: str) -> None:
        """Put the cursor on a sign."""

    def refusing(self, write: "Callable[[T], object]") -> "Callable[[T], None]":
        """The same, that says why where nothing is written."""

    def change(self, *made: "Edit", said: str = "") -> bool:
        """Have the visit make what one keystroke changes; whether it was accepted."""

    def write(self, *made: "Edit", said: str = "") -> None:
        """Make a change, or several as one, and show what it brings."""

    def changed(self) -> None:
        """Ask for the reading of what is entered now, and draw."""

    def redraw(self) -> None:
        """Draw everything."""

    def draw_status(self) -> None:
        """Draw the status line."""

    def with_reason(self, save: "Callable[[str], None]") -> None:
        """Save; an amendment asks for its reason first."""

    def save(
        self, saving: "Callable[[], Examination]", unsent: "Callable[[], Unsent]", same: "Callable[[], bool]",
        show: "Callable[[Examination], None]", refused: "Callable[[WardexamError], None]",
    ) -> None:  # fmt: skip
        """Save, now or as soon as it can be; what is entered meanwhile stays here, as an amendment of it."""

    def leave(self) -> None:
        """Back to what was below; where entries are in memory only, once that was told."""

    def end(self) -> None:
        """Back to what was below."""
