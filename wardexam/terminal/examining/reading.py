"""Changes, and the reading that follows each: asked for, foreseen, answered."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from textual.geometry import Offset

from wardexam.anatomy.catalogue import Sign
from wardexam.errors import InputError
from wardexam.exam.answers import Answer
from wardexam.exam.entry import Change, apply, inverse
from wardexam.exam.examination import Examination
from wardexam.exam.findings import (
    Side,
)
from wardexam.exam.flags import Flag
from wardexam.terminal.examining.drawing import ExamineDrawing
from wardexam.terminal.examining.sheet import Step
from wardexam.terminal.thinking import KEPT, Thinking, essence

if TYPE_CHECKING:
    from wardexam.reasoning.reading import Reading


PATIENCE = 2.0  # seconds that saving waits for the reading of the last key


class ExamineReading(ExamineDrawing):
    """Changes, and the reading that follows each: asked for, foreseen, answered."""

    def on_mount(self) -> None:
        """Start the reasoning; the base draws."""
        app = self.app  # the thread has none of its own, and may answer when the screen is gone
        self._thinking = Thinking(
            lambda number, reading: app.call_later(self._answered, number, reading), self._ahead
        )
        self._think()
        self.draft.settled = lambda: app.call_later(self._kept)

    def on_unmount(self) -> None:
        """End the reasoning: a thread is not left behind by every examination."""
        if self._thinking:
            self._thinking.end()
        self.draft.settled = lambda: None

    def redraw(self) -> None:
        """Draw, and put the terminal's own cursor on the cell."""
        super().redraw()
        if self._thought_at != self._place:
            self._think()
        _, first = self._window()
        column = 25 + 6 * min(self._side, len(self._sides(self.row)) - 1)
        self.app.cursor_position = Offset(column, 2 + self._row - first)

    def change(self, change: Change, said: str) -> bool:
        """Make a change: validate, hand to the draft, remember how to undo, draw, think."""
        try:
            back = inverse(self.examination, change)
            self.examination = apply(self.examination, change)
        except InputError as error:
            self.say(error.line[: self.size.width])
            return False
        self.draft.append(change)
        self._undo.append(Step(change, back, said))
        self._redo.clear()
        self.said = said
        return True

    def _changed(self) -> None:
        self._think()
        self.redraw()

    def _think(self) -> None:
        self._thought_at = self._place
        if self._thinking:
            self._asked, known = self._thinking.ask(self.examination)
            if known is not None:
                self._number_read, self._reading, self._failed = self._asked, known, False

    def _ahead(self, examination: Examination) -> Iterator[Examination]:
        """The examinations that a grade at the cursor would make, likeliest first."""
        row, side = self.row, self.side
        if isinstance(row, Flag):
            for answer in ("yes", "no"):
                yield apply(examination, Change("flag", row.id, answer))
            return
        if row.answers in ("level", "residual"):
            return
        others = [examination.finding(row.id, s) for s in self._sides(row) if s != side]
        if self.previous:
            others.append(self.previous.finding(row.id, side))
        likely = [f.answer for f in others if f]
        answers = self._answers().answers
        sides = self._sides(row) if self._both else (side,)
        for grade in sorted(answers, key=lambda a: a.code not in likely):
            possible = examination
            for each in sides:
                possible = apply(possible, self._graded(row, each, grade))
            yield possible
            self._foresee(possible)

    def _foresee(self, possible: Examination) -> None:
        """The urgency that goes with a reading just read ahead."""
        place, reading = essence(possible), self._thinking and self._thinking.known(possible)
        if reading and place not in self._foreseen:
            while len(self._foreseen) >= KEPT:
                del self._foreseen[next(iter(self._foreseen))]
            self._foreseen[place] = reading, self._urgency(possible, reading)

    def _graded(self, row: Sign, side: Side, answer: Answer) -> Change:
        value = {"sign": row.id, "side": side, "answer": answer.code}
        if row.answers == "tendon":
            value["scale"] = self.examination.scale
        return Change("finding", f"{row.id} {side}", value)

    def _settled(self) -> "Reading | None":
        """The reading of what is entered now: what is saved or accepted never rests on an older one."""
        if self._asked != self._number_read and self._thinking and not self._failed:
            return self._thinking.wait_for(self.examination, PATIENCE)
        return self._reading

    def _answered(self, number: int, reading: "Reading | None") -> None:
        # An answer may come while the screen is being left, its canvases gone already.
        if number == self._asked and self.query("#panel"):
            self._number_read = number
            self._failed = reading is None
            self._reading = reading
            if self.size.width >= 80 and self.size.height >= 24:
                self._draw_panel()

    def _kept(self) -> None:
        trouble, self._trouble = self._trouble, self.draft.problem
        if self._trouble and self.said != self._trouble:
            self.say(self._trouble)
        elif trouble and not self._trouble:
            self.say("In the ward's folder again.")
        elif self.shown_kept != self.draft.kept:
            self.draw_status()
