"""What the screen of a cord injury sheet holds: where the cursor stands, what the next key means."""

from dataclasses import dataclass
from functools import cache
from typing import Literal

from wardexam.anatomy.catalogue import catalogue
from wardexam.injury.segments import POINTS
from wardexam.injury.sheet import (
    ANAL_WORDS,
    SENSES,
    SIDES,
    TEST_WORDS,
    InjurySheet,
    Side,
    Test,
    places,
)
from wardexam.injury.tables import muscles, taken_over
from wardexam.injury_visit import InjuryVisit

COLUMNS: tuple[tuple[Test, Side], ...] = tuple(
    (test, side) for test in (*SENSES, "motor") for side in SIDES
)
Question = Literal["anal_contraction", "anal_pressure", "movement", "earlier_deficit"]
# What stands below the segments: its name in the grid, and in full.
QUESTIONS: dict[Question, tuple[str, str]] = {
    "anal_contraction": ("anal contraction", ANAL_WORDS["anal_contraction"]),
    "anal_pressure": ("anal pressure", ANAL_WORDS["anal_pressure"]),
    "movement": ("other movement", "lowest movement outside the key muscles"),
    "earlier_deficit": ("earlier deficit", "earlier deficit from a cord injury, on record"),
}
ROWS: tuple[str, ...] = (*POINTS, *QUESTIONS)
HEADS = 2  # lines of the grid that name the columns
ABOVE = 2  # lines above the grid: whose it is, how urgent
BELOW = 2  # lines below it: the cursor's, the keys


@dataclass(frozen=True, slots=True)
class Cell:
    """One score under the cursor, or one question.

    Attributes:
        test: The test; None on a question.
        side: The side; of a question asked once either.
        row: The segment, or the question.
    """

    test: Test | None
    side: Side
    row: str


class State:
    """Where the cursor stands on a sheet, and what the next key means.

    Args:
        visit: The sheet being entered.

    Attributes:
        row: The line of `ROWS` under the cursor.
        column: The column of `COLUMNS`.
        both: Whether the next entry goes to both sides.
        page: From which line on the panel tells what stands below the results.
        remarks: What was said of taking over, until something is entered.
    """

    def __init__(self, visit: InjuryVisit) -> None:
        self.visit = visit
        self.row = self.column = self.page = 0
        self.both = False
        self.remarks: tuple[str, ...] = ()

    @property
    def sheet(self) -> InjurySheet:
        """The scores."""
        return self.visit.sheet

    @property
    def cell(self) -> Cell:
        """What stands under the cursor."""
        test, side = COLUMNS[self.column]
        row = ROWS[self.row]
        if row in QUESTIONS:
            return Cell(None, side if row == "movement" else "right", row)
        return Cell(test, side, row)

    @property
    def entered_sides(self) -> tuple[Side, ...]:
        """The sides that the next entry goes to."""
        return SIDES if self.both else (self.cell.side,)

    def stands(self, row: int, column: int) -> bool:
        """Whether there is anything to enter at a line and column."""
        return ROWS[row] in QUESTIONS or ROWS[row] in places(COLUMNS[column][0])

    def move(self, by: int) -> None:
        """Up or down in the column; lines without a key muscle are passed over."""
        row = self.row + by
        while 0 <= row < len(ROWS) and not self.stands(row, self.column):
            row += by
        if 0 <= row < len(ROWS):
            self.row = row

    def turn(self, by: int) -> None:
        """To the column beside; where that has nothing on this line, to the nearest line below, else above."""
        self.column = max(0, min(self.column + by, len(COLUMNS) - 1))
        rows = sorted(range(len(ROWS)), key=lambda r: (r < self.row, abs(r - self.row)))
        self.row = next(r for r in rows if self.stands(r, self.column))

    def begin_column(self, column: int) -> None:
        """To the first line of a column; behind the last column to the questions."""
        if column >= len(COLUMNS):
            self.row, self.column = len(POINTS), len(COLUMNS) - len(SIDES)
            return
        self.column = column
        self.row = next(r for r in range(len(ROWS)) if self.stands(r, column))

    def advance(self) -> None:
        """On from a cell that was entered: down, then to the next column, then to the questions."""
        last = ROWS.index(places(COLUMNS[self.column][0])[-1])
        if ROWS[self.row] == "movement" and self.cell.side == "right" and not self.both:
            self.column += 1
        elif self.row == last:
            self.next_column()
        else:
            self.move(1)

    def next_column(self) -> None:
        """To the top of the next column, past both where both sides were entered."""
        right = COLUMNS[self.column][1] == "right"
        self.begin_column(self.column + (2 if self.both and right else 1))

    def next_open(self) -> bool:
        """To the next cell that was not entered, column by column; whether there is one."""
        cells = [
            (c, r)
            for c in range(len(COLUMNS))
            for r in range(len(POINTS))
            if self.stands(r, c)
        ]  # fmt: skip
        cells += [(self._side_of(q), len(POINTS) + n) for n, q in enumerate(QUESTIONS)]
        here = (self.column, self.row)
        at = cells.index(here) + 1 if here in cells else 0
        for column, row in cells[at:] + cells[:at]:
            if self._open(column, row):
                self.column, self.row = column, row
                return True
        return False

    def _side_of(self, question: Question) -> int:
        """The column in which a question is looked for: the left one where only that side is open."""
        left = question == "movement" and self.sheet.movements.right is not None
        return 1 if left else 0

    def _open(self, column: int, row: int) -> bool:
        (test, side), name = COLUMNS[column], ROWS[row]
        if name == "movement":
            return getattr(self.sheet.movements, side) is None
        if name in QUESTIONS:
            return getattr(self.sheet, name) is None
        return self.sheet.score(test, side, name) is None

    def go(self, test: Test, side: Side, segment: str) -> None:
        """To one score."""
        self.column, self.row = COLUMNS.index((test, side)), ROWS.index(segment)

    def window(self, height: int) -> tuple[int, int]:
        """How many lines of the grid show on a screen so high, and which is the first."""
        room = height - ABOVE - BELOW - HEADS
        first = max(0, min(self.row - room // 2, len(ROWS) - room))
        return min(room, len(ROWS)), first


def named(cell: Cell) -> str:
    """A cell by its name: ``right light touch T4``."""
    if cell.test is not None:
        return f"{cell.side} {TEST_WORDS[cell.test]} {cell.row}"
    words = next(full for name, (_, full) in QUESTIONS.items() if name == cell.row)
    return f"{words}, {cell.side}" if cell.row == "movement" else words


@cache
def about(test: Test, segment: str) -> str:
    """Where a key point lies, or which muscle it is."""
    if test == "motor":
        row = muscles().key[segment]
        return f"{row.muscle}: {row.check}" if row.check else row.muscle
    sign = catalogue().get(f"{taken_over().sensory[test].signs}_{segment.replace('-', '_')}")
    return sign.place if sign else ""
