"""Where the cursor goes: by key, by click, to the next sign, to another part or set of rows."""

from wardexam.anatomy.catalogue import PARTS, catalogue
from wardexam.exam.flags import Flag
from wardexam.exam.row_sets import row_sets
from wardexam.terminal.examining.reading import ExamineReading
from wardexam.terminal.examining.sheet import FLAGS, GRID


class ExamineMoving(ExamineReading):
    """Where the cursor goes: by key, by click, to the next sign, to another part or set of rows."""

    def _advance(self) -> None:
        sides = self._sides(self.row)
        if self._down_first:
            if self._row + 1 < len(self.rows):
                self._row += 1
            elif self._side == 0:
                self._row, self._side = 0, 1
            return
        if self._side + 1 < len(sides):
            self._side += 1
        elif self._row + 1 < len(self.rows):
            self._row += 1
            self._side = 0

    def _go(self, sign: str, side: str) -> None:
        row = catalogue()[sign]
        if row not in self.rows:
            self._page = (
                next((p for p in row_sets() if row in row_sets()[p].signs), row.part)
                if row.part == "reflexes"
                else row.part
            )
        self._row = self.rows.index(row)
        self._side = 1 if side == "left" else 0
        self.said = f"At {'' if side == 'midline' else side + ' '}{row.name}."
        self.redraw()

    def click(self, x: int, y: int) -> None:
        """A click on a grade puts the cursor there."""
        room, first = self._window()
        row = first + y - 2
        if 0 <= y - 2 < room and row < len(self.rows) and x < GRID:
            self._row = row
            self._move(side=1 if x >= 31 else 0)

    def _move(self, rows: int = 0, side: int | None = None) -> None:
        self._row = max(0, min(len(self.rows) - 1, self._row + rows))
        if side is not None:
            self._side = side
        self.said = ""
        self.redraw()

    def do_up(self) -> None:
        """Up."""
        self._move(-1)

    def do_down(self) -> None:
        """Down."""
        self._move(1)

    def do_left(self) -> None:
        """To the patient's right, which stands on the left."""
        self._move(side=0)

    def do_right(self) -> None:
        """To the patient's left."""
        self._move(side=1)

    def do_jump(self) -> None:
        """Await a reflex's letter."""
        self._choice = "jump"
        self.draw_status()

    def do_unexamined(self) -> None:
        """The next sign not examined, from the cursor on."""
        cells = [
            (n, i, r, s) for n, r in enumerate(self.rows) for i, s in enumerate(self._sides(r))
        ]
        at = next(
            (
                n
                for n, c in enumerate(cells)
                if c[0] == self._row and c[1] >= min(self._side, len(self._sides(c[2])) - 1)
            ),
            0,
        )
        for number, index, row, side in cells[at:] + cells[:at]:
            known = (
                row.id in self.examination.flags
                if isinstance(row, Flag)
                else self.examination.finding(row.id, side)
            )
            if not known:
                self._row, self._side = number, index
                self.said = ""
                self.redraw()
                return
        self.say("All rows shown here are done.")

    def do_suggested(self) -> None:
        """Go to the suggested sign."""
        if self._reading and self._reading.next_signs:
            self._go(*self._reading.next_signs[0].key)
        else:
            self.say("No suggestion yet.")

    def do_order(self) -> None:
        """Side to side, or one side down."""
        self._down_first = not self._down_first
        self.say(
            "Grading goes down one side." if self._down_first else "Grading goes side to side."
        )

    def _show(self, page: str) -> None:
        self._page, self._row, self._side = page, 0, 0
        done, whole = self._count()
        self.said = f"{self._title()}: {done} of {whole} done."
        self.redraw()

    def _turn(self, by: int) -> None:
        parts = ["core", *(p for p in PARTS if p != "reflexes"), FLAGS]
        at = parts.index(self._page) if self._page in parts else 0
        self._show(parts[(at + by) % len(parts)])

    def do_part(self) -> None:
        """Next part."""
        self._turn(1)

    def do_part_back(self) -> None:
        """Part before."""
        self._turn(-1)

    def do_rows(self) -> None:
        """Await a set's number."""
        self._choice = "rows"
        self.draw_status()

    def do_flags(self) -> None:
        """Red flags, or back to the core rows."""
        self._show("core" if self._page == FLAGS else FLAGS)
