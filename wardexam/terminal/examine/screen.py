"""The examination: rows are signs, columns the patient's right and left; a key grades and moves on.

One key path for the whole grid, so that typed-ahead keys land in order. A key that is not accepted
changes nothing and says what would be.
"""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, TypeVar

from textual.geometry import Offset

from wardexam.errors import InputError
from wardexam.exam.flags import Flag
from wardexam.exam.onset import onset
from wardexam.reasoning.rules.contradictions import contradictions
from wardexam.terminal.edit import RefusedError
from wardexam.terminal.examine import actions, edits, view
from wardexam.terminal.examine.edits import Edit
from wardexam.terminal.examine.reader import Reader
from wardexam.terminal.examine.state import ABOVE, AGAIN, FLAGS, GRID, State
from wardexam.terminal.question import Then, joined
from wardexam.terminal.screens.entry import EntryScreen
from wardexam.terminal.urgent import urgent_line
from wardexam.visit import WITHDRAWN, Visit

if TYPE_CHECKING:
    from wardexam.reasoning.reading import Reading

T = TypeVar("T")
FLAG_KEYS = {"1": "yes", "y": "yes", "0": "no", "n": "no"}
GRADE_KEYS = {"minus": "minus", "plus": "plus"}
LEFT_FROM = 32  # the column from which a click is on the patient's left
BODY = (120, 40)  # columns and lines from which the body stands below the panel


class ExamineScreen(EntryScreen):
    """One examination being entered.

    Args:
        visit: What is entered, of whom, and where it is kept.
        page: The rows that showed when it was left; empty where it was not, or elsewhere.
    """

    SCREEN = "examine"
    BODIES = ("labels", "grades", "before", "panel")

    def __init__(self, visit: Visit, page: str = "") -> None:
        super().__init__(visit)
        self.above = ABOVE
        self.visit: Visit = visit
        self.state: State = State(visit, page)
        self.reader: Reader = Reader(self.state)
        self.said = visit.said
        if visit.beside:  # what a first look must not miss
            self.said = visit.beside
        elif self.state.row is onset():
            self.said = f"{visit.said} {onset().ask}"
        elif self.state.page == AGAIN and not visit.draft.sent:
            self.said = (
                f"{visit.said} Last time's signs first; {self.key('unchanged')} enters one again."
            )
        self._numeral = False  # whether a number is being typed where none belongs

    def on_mount(self) -> None:
        """Start the reasoning."""
        app = self.app  # a thread has none of its own, and may answer when the screen is gone
        self.reader.start(
            lambda number, reading: app.call_later(self._answered, number, reading),
            lambda: app.call_later(self._ordered),
        )

    def on_unmount(self) -> None:
        """End the reasoning."""
        self.reader.end()

    def end(self) -> None:
        """Back to what was below."""
        self.ward_app.visit = None
        if self.state.page != FLAGS:
            self.ward_app.pages[self.visit.patient.id] = self.state.page
        super().end()

    # --- keys

    def press(self, key: str, character: str | None) -> None:
        """An awaited letter first, then grades, then actions."""
        self._numeral = self._numeral and key.isdecimal()
        try:
            graded = self._graded(key)
        except RefusedError as refusal:
            self.say(str(refusal))
        else:
            if not graded:
                super().press(key, character)

    def _graded(self, key: str) -> bool:
        row = self.state.row
        again, self.state.reason_key = key == self.state.reason_key, ""
        if again:  # meant for the limb: as a key of the grid it might save, or leave
            begin = self.key("not_testable")
            raise RefusedError(
                f"Nothing done: the whole limb is {begin} {begin} {key}, not {key} {key}."
            )
        if self.state.awaits and self.opens_text(key):
            self.state.awaits = ""
            return False
        if self.state.awaits:
            actions.choose(self, key)
        elif isinstance(row, Flag) and key.isdecimal() and (self._numeral or key not in FLAG_KEYS):
            self._numeral = True  # the digits after it are of the same number, and answer nothing
            raise RefusedError("A question takes no number: nothing was answered. 1 yes  0 no")
        elif isinstance(row, Flag) and key in FLAG_KEYS:
            actions.answer_flag(self, row, FLAG_KEYS[key])
        elif key == "equals_sign" and (doubt := edits.in_doubt(self.state, self.key("unchanged"))):
            raise RefusedError(doubt)
        elif key.isdecimal() or key in GRADE_KEYS:
            actions.grade(self, GRADE_KEYS.get(key, key))
        else:
            return False
        return True

    def ask(
        self, question: str, then: Then, text: str = "", choices: Sequence[str] = (), wrong: str = ""
    ) -> None:  # fmt: skip
        """Ask for an answer that is typed; why nothing is written is what is wrong with it."""

        def taken(typed: str) -> str | None:
            try:
                return then(typed)
            except RefusedError as refusal:
                return str(refusal)

        super().ask(question, taken, text, choices, wrong)

    def act(self, action: str) -> None:
        """Do an action of the table; what every screen does is done by the base."""
        self.state.split = ""
        if self.state.both and action not in actions.KEEP_BOTH:
            self.state.both = False
            self.redraw()
        if action in actions.ACTIONS:
            self.refusing(actions.ACTIONS[action])(self)
        else:
            super().act(action)

    def click(self, x: int, y: int) -> None:
        """A click on a grade puts the cursor there."""
        room, first = self.state.window(self.size.height)
        at = y - ABOVE - 1
        lines = self.state.placed[first : first + room]
        row = lines[at] if 0 <= at < len(lines) else ""
        if isinstance(row, int) and x < GRID:
            self.state.row_at = row
            self.move(side=1 if x >= LEFT_FROM else 0)

    def move(self, rows: int = 0, side: int | None = None) -> None:
        """Move the cursor."""
        self.state.move(rows, side)
        self.said = self.lasting
        self.redraw()

    def paged(self, pages: int) -> bool:
        """So many screens of rows on; the side stays."""
        self.move(pages * self.state.window(self.size.height)[0])
        return True

    def go(self, sign: str, side: str) -> None:
        """Put the cursor on a sign."""
        self.state.go(sign, side)
        self.said = f"At {view.at_cursor(self.state)}."
        self.redraw()

    # --- changes

    def refusing(self, write: Callable[[T], object]) -> Callable[[T], None]:
        """The same, that says why where nothing is written."""

        def tried(what: T) -> None:
            try:
                write(what)
            except RefusedError as refusal:
                self.say(str(refusal))

        return tried

    def change(self, *made: Edit, said: str = "") -> bool:
        """Have the visit make what one keystroke changes; whether it was accepted.

        Args:
            made: The changes with what is said of each.
            said: What is said of all, where there are several.
        """
        told = [Edit(edit.change, said or edit.said) for edit in made]
        before = {c.brief for c in contradictions(self.visit.examination)}
        try:
            withdrawn = self.visit.change_together(told)
        except InputError as error:
            self.say(error.line[: self.size.width])
            return False
        self.said = self._wrote = said or made[-1].said
        if withdrawn:
            self.said = self._fell
        stated = [c.brief for c in contradictions(self.visit.examination)]
        if new := [brief for brief in stated if brief not in before]:
            self.said = new[0]  # it has the line to itself, so that it is read
        return True

    @property
    def _fell(self) -> str:
        """That the accepted suggestion is out of the note, and how it is accepted anew."""
        return f"{WITHDRAWN} {self.key('accept')} accepts anew."

    def write(self, *made: Edit, said: str = "") -> None:
        """Make a change, or several as one, and show what it brings."""
        if self.change(*made, said=said):
            self.changed()

    def changed(self) -> None:
        """Ask for the reading of what is entered now, and draw."""
        self.reader.ask()
        self.redraw()

    # --- drawing

    def redraw(self) -> None:
        """Draw, and put the terminal's own cursor on the cell."""
        self.reader.ask_if_moved()  # before drawing: a reading that is known is not told once more
        super().redraw()
        if not self.asking:  # else it stands where is typed
            self.app.cursor_position = Offset(*view.cursor(self.state, self.size.height))

    def draw(self) -> None:
        """The lines above, the grid, the last examination beside it, the panel, the body."""
        grid = view.grid(self.state, self.size.height, self.ward_app.glyphs)
        self.canvas("labels").show(grid.labels)
        self.canvas("grades").show(grid.grades)
        self.canvas("before").show(grid.before)
        self._draw_meaning()

    def _draw_head(self) -> None:
        """Whose it is and how much of it is kept and done; how urgent; what is still to be asked."""
        width, state = self.size.width, self.state
        urgent = urgent_line(
            self.reader.urgency, width, now=self.visit.session.now(), key=self.key("why")
        )
        began = view.began_text(state, self.reader.urgency, self.key("context"))
        asks = view.asks_line(state, self.reader.asks, width, self.key("flags"), began)
        who = view.heading_text(state, width, self.visit.kept_at)
        self.canvas("heading").show([[(who, "accent")], urgent, asks])

    def _draw_meaning(self) -> None:
        """What is urgent, and what the signs mean."""
        self._draw_head()
        size, app = (self.size.width, self.size.height), self.ward_app
        body: list[str] = []
        if size[0] >= BODY[0] and size[1] >= BODY[1]:
            room = view.panel_width(size[0])
            body = view.figure(self.state, room, ascii_only=app.terminal.ascii)
        keys = {"suggested": self.key("suggested"), "why": self.key("why")}
        keys["fell"] = self._fell if self.visit.withdrawn else ""
        lines = view.panel(self.state, self.reader, size, app.glyphs, body=body, **keys)
        self.canvas("panel").show(lines)

    def hint_text(self) -> str:
        """What is accepted at the cursor, then the other keys."""
        return view.hint_text(self.state, self.keys, self.ward_app.glyphs, self.size.width)

    def draw_status(self) -> None:
        """The status line ends with how much is on disk."""
        super().draw_status()
        if not self.there:  # keys typed ahead are acted on before
            return
        if self.state.awaits and not self.asking and not self.unseen:
            about, choices = view.choices(self.state, self.key("not_testable"))
            lines = joined([about, *choices], self.size.width - 1)
            self.show_status([[(line, "strong")] for line in lines])
        elif not self.asking and not self.unseen:
            self.shown_kept = self.visit.draft.kept
            said = view.status(self.state, self.said, self.size.width, wrote=self.wrote)
            self.show_status(said)

    # --- what comes from threads

    def _answered(self, number: int, reading: "Reading | None") -> None:
        # An answer may come while the screen is being left, its canvases gone already.
        if self.there and self.reader.take(number, reading) and not self.unseen:
            self._draw_meaning()

    def _ordered(self) -> None:
        """In which order the flags matter now is known."""
        if self.there and not self.unseen:
            self._draw_head()

    def _kept(self) -> None:
        super()._kept()
        self._ordered()
