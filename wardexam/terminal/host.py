"""What a screen asks of the app: no screen knows the app itself, which opens them all."""

from typing import TYPE_CHECKING, Protocol

from wardexam.terminal.clipboard import Screen as Sender

if TYPE_CHECKING:
    from collections.abc import Callable

    from textual.events import Event
    from textual.screen import Screen

    from wardexam.errors import WardexamError
    from wardexam.exam.examination import Examination
    from wardexam.injury.kept import KeptSheet
    from wardexam.injury_visit import InjuryVisit
    from wardexam.reasoning.rules.reason import Urgency
    from wardexam.records.repository import Bed, Repository
    from wardexam.session import Session
    from wardexam.terminal.environment import Terminal
    from wardexam.terminal.keymap import Keymap
    from wardexam.terminal.keys import Key
    from wardexam.terminal.looks import Glyphs
    from wardexam.terminal.sending import Sending
    from wardexam.terminal.store_calls import StoreCalls
    from wardexam.visit import Visit


class Host(Sender, Protocol):
    """The app, as a screen sees it.

    Attributes:
        session: Who examines, where, and what comes in at the edge.
        terminal: What the terminal can show.
        glyphs: The shapes that it shows.
        keymap: The keys of every screen.
        notice: A line shown at the start.
        visit: The examination under way, to be kept when the terminal goes.
        sheet: The cord injury sheet under way, likewise.
        pages: The rows that showed when an examination was left, by patient.
        calls: The way to the store: nothing of it is called where keys are handled.
        sending: The saves that wait for the store.
    """

    session: "Session"
    terminal: "Terminal"
    glyphs: "Glyphs"
    keymap: "Keymap"
    notice: str
    visit: "Visit | None"
    sheet: "InjuryVisit | None"
    pages: dict[str, str]
    calls: "StoreCalls"
    sending: "Sending"

    @property
    def ward(self) -> "Repository":
        """Where the ward is kept."""

    @property
    def screen(self) -> object:
        """The screen on top."""

    @property
    def led(self) -> str:
        """What a tour says to type, for the last line; empty where there is none."""

    @property
    def led_to(self) -> str:
        """The bed that the tour begins at; empty where there is none."""

    def push_screen(self, screen: "Screen[None]") -> object:
        """Open a screen over the one on top."""

    def touched(self) -> None:
        """A key was pressed."""

    def closed_by(self, event: "Event") -> None:
        """A key closed a question: what came with it in one piece is no key of what is below."""

    def drawn_over(self) -> None:
        """Send everything at the next repaint."""

    def refused(self, error: "WardexamError") -> None:
        """Say on the screen on top why something could not be done."""

    def hide(self) -> None:
        """Hide what the screen shows."""

    def show_help(self, keys: "tuple[Key, ...]") -> None:
        """What these keys do."""

    def show_commands(self, keys: "tuple[Key, ...]", do: "Callable[[str], None]") -> None:
        """Every command of these keys, to search; `do` gets the action that is chosen."""

    def examine(self, patient_id: str, shown: "Bed | None" = None) -> None:
        """Open the examination: the patient's draft if one was left, else a new one."""

    def saved(
        self, visit: "Visit", examination: "Examination", leave: "Callable[[], None]"
    ) -> None:
        """Take the draft of an examination that was saved away, leave its screen, and show its note."""

    def show_note(self, patient_id: str, shown_as: "Bed | None" = None) -> None:
        """The note of the examination saved last; others can be turned to."""

    def show_reasons(self, patient_id: str, shown_as: "Bed | None" = None) -> None:
        """Why the examination saved last is urgent; what is done about it is saved with it."""

    def show_course(self, patient_id: str, shown_as: "Bed | None" = None) -> None:
        """Examinations, what changed between them, and the course."""

    def open_sheet(
        self, patient_id: str, shown_as: "Bed | None" = None, urgency: "Callable[[], Urgency] | None" = None
    ) -> None:  # fmt: skip
        """Open the cord injury sheet: the draft if one was left, else a new one.

        Over an examination it takes over from that and gives to it; `urgency` is how urgent that is.
        """

    def show_sheet(
        self, patient_id: str, kept: "KeptSheet | None", leave: "Callable[[], None]", *, none: str = ""
    ) -> None:  # fmt: skip
        """The worksheet of a saved cord injury sheet, once `leave` has left what it is turned to from.

        The one saved last where none is given; `none` is said where none is saved. Others can be turned to.
        """

    def saved_sheet(
        self, visit: "InjuryVisit", kept: "KeptSheet", leave: "Callable[[], None]", to_signs: str
    ) -> None:
        """Take the draft of a sheet that was saved away, leave its screen, and show its worksheet.

        `to_signs` is the key that gives its scores to an examination.
        """

    def show_handover(self) -> None:
        """The handover sheet."""
