"""The cord injury sheet: lines are segments, columns a test and side; results live beside it at every key."""

from collections.abc import Callable
from typing import TYPE_CHECKING

from textual.geometry import Offset

from wardexam.errors import InputError
from wardexam.exam.text import counted
from wardexam.injury.kept import KeptSheet
from wardexam.injury.sheet import TEST_WORDS, TESTS
from wardexam.injury.taking_over import take_over
from wardexam.injury.unknown import MOVEMENTS, unknown
from wardexam.injury_visit import NEW, InjuryVisit
from wardexam.terminal.edit import RefusedError, status_lines
from wardexam.terminal.injury import edits, view
from wardexam.terminal.injury.edits import Edit
from wardexam.terminal.injury.state import ABOVE, COLUMNS, HEADS, ROWS, State
from wardexam.terminal.screens.entry import EntryScreen
from wardexam.terminal.screens.text import TextScreen

if TYPE_CHECKING:
    from wardexam.exam.examination import Findings
    from wardexam.injury.sheet import InjurySheet
    from wardexam.reasoning.rules.reason import Urgency

NOT_LEFT = "Entries are in memory only still: not left. Save, or free the disk."


class InjuryScreen(EntryScreen):
    """One cord injury sheet being entered.

    Args:
        visit: What is entered, of whom, and where it is kept.
        findings: Gives the patient's ordinary examination and which it is, in words; None where there is none.
        into: Takes a sheet's scores into the examination, once this screen is left.
        urgency: How urgent the patient is by the examination; None where there is none.
    """

    SCREEN = "injury"
    BODIES = ("sheet", "results")
    PAPER = "worksheet"

    def __init__(
        self,
        visit: InjuryVisit,
        findings: "Callable[[], tuple[Findings, str] | None]",
        into: "Callable[[InjurySheet], None]",
        urgency: "Callable[[], Urgency | None]",
    ) -> None:
        super().__init__(visit)
        self.above = ABOVE
        self.visit: InjuryVisit = visit
        self.state: State = State(visit)
        self._findings, self._into, self._urgency = findings, into, urgency
        self.said = visit.said
        if visit.before and visit.said == NEW:
            self.said = (
                f"New sheet, nothing is known. {self.key('note')}, then left, shows those saved."
            )

    def end(self) -> None:
        """Back to what was below."""
        self.ward_app.sheet = None
        super().end()

    # --- drawing

    def draw(self) -> None:
        """Whose it is, the grid, the results."""
        width, height = self.size.width, self.size.height
        self.show_head(view.heading_text(self.state, width), self._urgency())
        glyphs = self.ward_app.glyphs
        self.canvas("sheet").show(view.grid(self.state, height, glyphs))
        self.canvas("results").show(
            view.panel(self.state, width - view.GRID, self._room, self.key("reasons"))
        )

    @property
    def _room(self) -> int:
        """Lines of the panel."""
        return self.size.height - ABOVE - 2

    def redraw(self) -> None:
        """Draw, and put the terminal's own cursor on the cell."""
        super().redraw()
        if not self.asking:
            self.app.cursor_position = Offset(*view.cursor(self.state, self.size.height))

    def draw_status(self) -> None:
        """The status line ends with how much is on disk."""
        super().draw_status()
        if not self.asking and not self.unseen and self.there:
            self.shown_kept = self.visit.draft.kept
            here, kept = view.at_cursor(self.state), self.visit.kept_words
            width = self.size.width
            self.show_status(status_lines(here, self.said, kept, width, wrote=self.wrote))

    def hint_text(self) -> str:
        """What is accepted at the cursor, then the other keys."""
        return view.hint_text(self.state, self.keys, self.ward_app.glyphs, self.size.width)

    # --- keys

    def press(self, key: str, character: str | None) -> None:
        """A digit scores; other keys as the table says."""
        if key.isdecimal():
            self._write_and_go_on(lambda: edits.digit(self.state, key))
        else:
            super().press(key, character)

    def click(self, x: int, y: int) -> None:
        """A click on a score puts the cursor there."""
        _, first = self.state.window(self.size.height)
        row, column = first + y - ABOVE - HEADS, (x - view.NAME) // view.CELL
        if (
            first <= row < len(ROWS)
            and 0 <= column < len(COLUMNS)
            and self.state.stands(row, column)
        ):
            self.state.row, self.state.column = row, column
            self._moved()

    def _write(self, made: Callable[[], Edit]) -> bool:
        """Make a change, or say why there is none; whether it was made."""
        try:
            edit = made()
            self.visit.change(edit.change, edit.said)
        except RefusedError as refusal:
            self.say(str(refusal))
            return False
        except InputError as error:
            self.say(error.line)
            return False
        self.state.page, self.state.remarks = 0, ()
        self.said = self._wrote = edit.said
        return True

    def _write_and_go_on(self, made: Callable[[], Edit]) -> None:
        if self._write(made):
            self.state.advance()
            self.state.both = False
            self.redraw()

    def _write_here(self, made: Callable[[], Edit]) -> None:
        if self._write(made):
            self.state.both = False
            self.redraw()

    def _moved(self) -> None:
        self.state.both, self.said = False, self.lasting
        self.redraw()

    def do_up(self) -> None:
        """Move up."""
        self.state.move(-1)
        self._moved()

    def do_down(self) -> None:
        """Move down."""
        self.state.move(1)
        self._moved()

    def do_left(self) -> None:
        """The column before."""
        self.state.turn(-1)
        self._moved()

    def do_right(self) -> None:
        """The next column."""
        self.state.turn(1)
        self._moved()

    def do_part(self) -> None:
        """The top of the next column; behind the last the questions, behind them the first."""
        self.state.begin_column(0 if self.state.cell.test is None else self.state.column + 1)
        self._moved()

    def do_both(self) -> None:
        """The next entry goes to both sides."""
        self.state.both = not self.state.both
        self.redraw()

    def do_unexamined(self) -> None:
        """The next cell that was not entered."""
        if self.state.next_open():
            self._moved()
        else:
            self.say("Everything is entered.")

    def do_suggested(self) -> None:
        """A score of which the most results depend."""
        places = {words: place for place, words in unknown(self.visit.sheet).items()}
        counts: dict[str, int] = {}
        for result in self.visit.computed.results.values():
            if result.depends_on is None:
                self.say("Too much is unknown to say: enter the columns first.")
                return
            for words in result.depends_on:
                # The scale weighs more than all others together.
                weight = 100 if result.id == "impairment" else 1
                counts[words] = counts.get(words, 0) + weight
        if not counts:
            self.say("No result depends on a score that is not known.")
            return
        words = max(counts, key=lambda w: counts[w])
        place = places[words]
        if len(place) == 1:
            self.state.column, self.state.row = 0, ROWS.index(place[0])
        elif place[0] == MOVEMENTS:
            self.state.column, self.state.row = (
                0 if place[1] == "right" else 1,
                ROWS.index("movement"),
            )
        else:
            test = next(t for t in TESTS if t == place[0])
            self.state.go(test, "right" if place[1] == "right" else "left", place[2])
        self._moved()

    def do_not_testable(self) -> None:
        """Not testable."""
        self._write_and_go_on(lambda: edits.not_testable(self.state))

    def do_other_cause(self) -> None:
        """Not from the injury; again: how it counts."""
        self._write_here(lambda: edits.marked(self.state))

    def do_clear(self) -> None:
        """Not entered."""
        self._write_here(lambda: edits.cleared(self.state))

    def do_number(self) -> None:
        """A column typed as ranges, or a line of a sheet."""
        cell = self.state.cell
        if cell.row == "movement":
            where = "both sides" if self.state.both else cell.side
            self.ask(
                f"Lowest movement outside the key muscles, {where}:",
                lambda text: self._typed(lambda: edits.movement(self.state, text), on=False),
                choices=edits.lowest_named(),
            )
        elif cell.test is None:
            self.say(f"Here: {edits.accepted(cell)}.")
        else:
            side = "both" if self.state.both else cell.side
            name = f"{side} {TEST_WORDS[cell.test]}"
            self.ask(
                f"{name}:", lambda text: self._typed(lambda: edits.typed(self.state, text), on=True)
            )
        self.redraw()

    def _typed(self, made: Callable[[], Edit], *, on: bool) -> str:
        """Write what was typed; what is wrong with it, if anything."""
        if not self._write(made):
            return self.said
        if on:
            self.state.next_open()
        else:
            self.state.advance()
        self.state.both = False
        self.redraw()
        return ""

    def do_undo(self) -> None:
        """Undo."""
        step = self.visit.undo()
        self._stepped(f"Undone: {step.said}." if step else "Nothing undone: no change is left.")

    def do_redo(self) -> None:
        """Redo."""
        step = self.visit.redo()
        self._stepped(f"Done again: {step.said}." if step else "Nothing done again.")

    def _stepped(self, said: str) -> None:
        self.state.page, self.state.remarks, self.said = 0, (), said.replace("..", ".")
        self.redraw()

    def do_comment(self) -> None:
        """A comment on the sheet; on a score whose counting was chosen, why it counts so."""
        sheet, cell = self.visit.sheet, self.state.cell
        here = next((r for r in sheet.rated if r.place == (cell.test, cell.side, cell.row)), None)
        if here is not None:
            asked = f"Why {cell.row} {edits.COUNTED[here.counts]}:"
            self.ask(asked, lambda text: self._said(edits.why_counted, text), here.why)
        else:
            self.ask("Comment:", lambda text: self._said(edits.comment, text), sheet.comment)

    def _said(self, made: Callable[[State, str], Edit], text: str) -> str:
        """Write words; what is wrong with them, if anything."""
        if not self._write(lambda: made(self.state, text)):
            return self.said
        self.redraw()
        return ""

    def do_reasons(self) -> None:
        """Further reasons of the results."""
        page = view.told(self.state, self.size.width - view.GRID, self._room)
        after = self.state.page + len(page.lines)
        self.state.page = after if after < page.whole else 0
        self.redraw()

    # --- from and to the examination

    def do_take_over(self) -> None:
        """Power and sensation of the ordinary examination, where nothing is entered here."""
        told = self._findings()
        if told is None:
            self.say("No examination of this patient is there to take over from.")
            return
        found = take_over(told[0])
        if self._write(lambda: edits.taken(self.state, found)):
            remarks = [f"from the {told[1]}", *found.remarks]
            self.state.remarks = tuple(remarks)
            left = counted(len(unknown(self.visit.sheet, entered=False)), "entry", "entries")
            self.said = self._wrote = f"{self.said} Missing still: {left}."
            self.redraw()

    def do_to_signs(self) -> None:
        """Leave the sheet, its draft kept, and write its scores as signs of the examination."""
        sheet = self.visit.sheet
        self.give_way(lambda: self._into(sheet))

    # --- saving and leaving

    def do_note(self) -> None:
        """The worksheet as far as it has got."""
        visit = self.visit

        def turn(by: int) -> None:
            if by > 0:
                paper.say("No later sheet.")
                return
            none = "No earlier sheet is saved."
            self.ward_app.show_sheet(visit.patient.id, None, paper.do_leave, none=none)

        paper = TextScreen(
            "Worksheet, not saved", visit.paper, turn=turn, patient=visit.patient,
            urgency=self._urgency(),
        )  # fmt: skip
        self.ward_app.push_screen(paper)

    def do_save(self) -> None:
        """Save and show the worksheet; an amendment asks for its reason first."""
        if self.visit.untouched:
            self.say("Nothing was entered: nothing is saved.")
        else:
            self.with_reason(self._save)

    def _save(self, why: str) -> None:
        visit, sheet = self.visit, self.visit.sheet

        def show(saved: "KeptSheet") -> None:
            self.ward_app.saved_sheet(visit, saved, self.end, self.key("to_signs"))

        self.save(
            visit.saving(why), visit.unsent(why), lambda: visit.sheet is sheet, show, self.refused
        )

    def do_set_aside(self) -> None:
        """Set this draft aside."""
        if self.visit.untouched:
            self.say("Nothing was entered: no draft is kept.")
            return

        def gone() -> None:
            self.end()
            self.ward_app.calls.behind(self.visit.put_aside)

        self.confirm("Set this draft aside, and go back? It is kept, and not offered again. enter or y does:", gone)  # fmt: skip

    def do_leave(self) -> None:
        """Back; a sheet that nobody touched leaves no draft."""
        self.leave()

    def give_way(self, then: Callable[[], None]) -> None:
        """Leave for something else of the patient, the draft kept; go on then where it was left."""

        def left() -> None:
            self.left()
            then()

        self.once_kept(left, lambda _: self.say(NOT_LEFT))
