"""A text over the whole screen, without borders, to read, select, copy, print or file: notes first."""

import os
from collections.abc import Callable
from typing import TYPE_CHECKING

from textual.app import SuspendNotSupported

from wardexam.errors import WardexamError
from wardexam.exam.answers import ScaleName
from wardexam.exam.identity import heading
from wardexam.exam.text import clean, to_ascii
from wardexam.note.reflexes import Form
from wardexam.records.private_file import write_private
from wardexam.terminal.clipboard import send_to_clipboard
from wardexam.terminal.keys import Key
from wardexam.terminal.plain_screen import show_plainly
from wardexam.terminal.screens.base import LineScreen

if TYPE_CHECKING:
    from wardexam.case import Case
    from wardexam.exam.examination import Patient
    from wardexam.reasoning.rules.reason import Urgency

# What keys do on the help of a screen.
OF_HELP = ("up", "down", "page_up", "page_down", "leave", "repaint", "suspend")
# What keys do on a note alone.
OF_NOTE = {"form", "scale", "referral", "in_error"}


class TextScreen(LineScreen):
    """A text.

    Args:
        title: What it is.
        text: All of it.
        patient: Whose it is, for the heading and the audit trail.
        trail: What the audit trail calls a text that is of no one patient; empty where it does not speak of it.
        which: Which of the patient's examinations or sheets it is.
        over: What stands over the text where it leaves the screen, if the text does not say whose it is.
        urgency: How urgent the patient is, by what was saved or entered last; None where no patient shows.
        page: Lines that one key moves by; a text of pages starts each at the top.
        turn: Shows the patient's text that is so many before or after this one.
        amend: Amends what the text is of, where it can be.
    """

    SCREEN = "text"

    def __init__(
        self, title: str, text: str, *, patient: "Patient | None" = None, trail: str = "", which: str = "",
        over: str = "", urgency: "Urgency | None" = None, page: int = 5,
        turn: Callable[[int], None] | None = None, amend: Callable[[], None] | None = None,
    ) -> None:  # fmt: skip
        super().__init__()
        self._head, self._whole, self._of, self._which, self._over = (
            title,
            text,
            patient,
            which,
            over,
        )
        self._trail = patient.id if patient else trail
        self._urgency, self._page, self._turn, self._amend = urgency, page, turn, amend
        self._top = 0
        self.above = 1 if urgency is None else 2

    @property
    def keys(self) -> tuple[Key, ...]:
        """What keys do on this text."""
        return tuple(row for row in super().keys if self._takes(row.action))

    def _takes(self, action: str) -> bool:
        """Whether an action of the table is one of this text."""
        if action == "amend":
            return self._amend is not None
        if action in ("earlier", "later"):
            return self._turn is not None
        return action not in OF_NOTE

    @property
    def shown(self) -> str:
        """The text as it stands."""
        return self._whole

    def draw(self) -> None:
        """The text from its top line."""
        lines = self.shown.split("\n")
        room = self._room
        last = len(lines) - room
        if self._page >= room:  # the last page may be a short one
            last = max(last, (len(lines) - 1) // self._page * self._page)
        self._top = max(0, min(self._top, last))
        span = f"{self._top + 1}-{min(len(lines), self._top + room)}"
        more = f"  lines {span} of {len(lines)}" if len(lines) > room else ""
        few = f"  {span}/{len(lines)}" if more else ""
        self.show_head(self._heading(more, few), self._urgency)
        self.canvas("body").show([[(line, "")] for line in lines[self._top : self._top + room]])

    def _heading(self, more: str, few: str) -> str:
        """What it is and whose, then which and how much of it shows, as far as they fit."""
        if self._of is None:
            return f"{self._head}{more}"
        which = f"  {self._which}" if self._which else ""
        less = which.replace("examination", "exam").replace("revision", "rev")
        tails = (which + more, which + few, which, less, "")
        return heading(
            self._of, f"{self._head}  bed {clean(self._of.bed)}  ", tails, self.size.width
        )

    @property
    def _leaving(self) -> str:
        """The text as it leaves the screen: with whose it is, in what this terminal can show."""
        text = f"{self._over}{self.shown}"
        return "\n".join(map(to_ascii, text.split("\n"))) if self.ward_app.terminal.ascii else text

    def do_up(self) -> None:
        """Scroll up."""
        self._scroll(-self._page)

    def do_down(self) -> None:
        """Scroll down."""
        self._scroll(self._page)

    def do_page_up(self) -> None:
        """A page up."""
        self._scroll(-self._whole_page)

    def do_page_down(self) -> None:
        """A page down."""
        self._scroll(self._whole_page)

    def paged(self, pages: int) -> bool:
        """So many pages on: to the top, or to the end."""
        self._top += pages * self._whole_page
        self.redraw()
        return True

    @property
    def _room(self) -> int:
        """Lines of the text that the screen has room for."""
        return self.size.height - self.above - 2

    def _scroll(self, lines: int) -> None:
        if abs(lines) > self._room:
            lines = self._over_blank(lines)
        self._top += lines
        self.redraw()

    def _over_blank(self, lines: int) -> int:
        """A page that is longer than the screen, where nothing stands on what would not be seen of it; else what is seen."""
        start = self._top if lines > 0 else self._top + lines
        unseen = self.shown.split("\n")[max(0, start + self._room) : start + abs(lines)]
        return lines if not any(unseen) else self._room if lines > 0 else -self._room

    @property
    def _whole_page(self) -> int:
        """Lines that a page has: the screen but one line, or what a text of pages says."""
        return max(self._page, self.size.height - self.above - 3)

    def do_earlier(self) -> None:
        """The patient's note before."""
        self._turn_by(-1)

    def do_later(self) -> None:
        """The patient's note after."""
        self._turn_by(1)

    def _turn_by(self, by: int) -> None:
        if self._turn is not None:
            self._turn(by)

    def do_copy(self) -> None:
        """Send to the terminal's clipboard."""
        self.say(send_to_clipboard(self.ward_app, self._leaving))
        self._record("copied")

    def _record(self, event: str) -> None:
        if self._trail:
            app, whose = self.ward_app, self._trail
            app.calls.behind(lambda: app.ward.record(event, whose, app.session.examiner))

    def do_print(self) -> None:
        """Print on the plain screen and wait for Enter, so that the terminal's own selection works."""
        try:
            show_plainly(self.app, self._leaving)
        except (SuspendNotSupported, OSError, UnicodeEncodeError) as error:
            self.say(
                f"Cannot leave the screen here ({type(error).__name__}); select on this screen."
            )
            return
        self._record("copied")

    def do_amend(self) -> None:
        """Amend what the text is of."""
        if self._amend is not None:
            self._amend()

    def do_file(self) -> None:
        """Write to a file that only you can read."""
        self._ask_file()

    def _ask_file(self, name: str = "", wrong: str = "") -> None:
        self.ask("File to write:", self._write, name, wrong=wrong)

    def _write(self, name: str) -> None:
        """Write to a new file; what is in the way is said with what was typed."""
        path, text = os.path.expanduser(name.strip()), self._leaving

        def written(_: None) -> None:
            self.say(f"Written to {os.path.abspath(path)}; only you can read it.")
            self._record("exported")

        def failed(error: WardexamError) -> None:
            if self.there and not self.asking:
                self._ask_file(name, f"Not written: {error.line}")
            else:
                self.ward_app.refused(error)

        self.ward_app.calls.change(
            lambda: write_private(path, [text]),
            written,
            failed,
            lambda _: self.say("Not written yet: the disk is slow; it follows by itself."),
            waits_out=(),
        )

    def do_leave(self) -> None:
        """Back."""
        self.dismiss(None)


class HelpScreen(TextScreen):
    """What the keys of another screen do: keys only scroll and go back.

    Args:
        text: All of it.
    """

    def __init__(self, text: str) -> None:
        super().__init__("Keys", text)

    def _takes(self, action: str) -> bool:
        return action in OF_HELP


class NoteScreen(TextScreen):
    """The note of a saved examination, in every form and on every scale, and its referral.

    Args:
        case: The examination with what stood before it.
        which: Which of the patient's examinations it is.
        urgency: How urgent the patient is, by what was saved last.
        turn: Shows the patient's note that is so many before or after this one.
        amend: Amends the examination, where it can be.
        mark: Asks why it was entered in error, or why it counts again, and marks it so, where it can be.
    """

    FORMS: tuple[Form, ...] = ("sentences", "table", "line", "figure")
    SCALES: tuple[ScaleName | None, ...] = (None, "conventional", "ninds", "plus")

    def __init__(
        self,
        case: "Case",
        which: str,
        urgency: "Urgency | None",
        turn: Callable[[int], None],
        amend: Callable[[], None] | None,
        mark: Callable[[], None] | None,
    ) -> None:
        super().__init__(
            "Note", "", patient=case.patient, which=which, urgency=urgency, turn=turn, amend=amend
        )
        self._case, self._mark = case, mark
        self._form = self._scale = 0

    def _takes(self, action: str) -> bool:
        return True

    @property
    def shown(self) -> str:
        """The note or the referral as it stands."""
        if self._head == "Referral":
            return self._case.referral()
        return self._case.note(self.FORMS[self._form], self.SCALES[self._scale])

    def do_form(self) -> None:
        """Next form of the reflexes."""
        self._form = (self._form + 1) % len(self.FORMS)
        self.say(f"Reflexes as {self.FORMS[self._form]}.")
        self.redraw()

    def do_scale(self) -> None:
        """Next scale to show reflexes on."""
        self._scale = (self._scale + 1) % len(self.SCALES)
        self.say(f"Reflexes on the scale: {self.SCALES[self._scale] or 'as graded'}.")
        self.redraw()

    def do_referral(self) -> None:
        """Referral or note, from its top."""
        self._head = "Note" if self._head == "Referral" else "Referral"
        self._top = 0
        self.redraw()

    def do_amend(self) -> None:
        """Amend the examination of this note."""
        if self._amend is None:
            self.say("Only the last revision of an examination that counts is amended.")
            return
        super().do_amend()

    def do_in_error(self) -> None:
        """Mark the examination of this note as entered in error, or take that back."""
        if self._mark is None:
            self.say("Only the last revision of an examination is marked as entered in error.")
            return
        self._mark()
