"""What an examination being entered holds: its rows, the cursor, what was found at it."""

import textwrap
from collections.abc import Hashable
from typing import TYPE_CHECKING, NamedTuple

from wardexam.anatomy.catalogue import Sign, signs_of
from wardexam.exam.answers import AnswerSet, answers_for
from wardexam.exam.entry import Change
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.findings import (
    REASON_WORDS,
    Finding,
    Quality,
    Reason,
    Side,
)
from wardexam.exam.flags import Flag, flags
from wardexam.exam.row_sets import row_sets
from wardexam.note.note import PART_TITLES
from wardexam.reasoning.rules.change import sum_score
from wardexam.terminal.screens.base import LineScreen
from wardexam.terminal.thinking import Thinking

if TYPE_CHECKING:
    from wardexam.reasoning.reading import Reading
    from wardexam.reasoning.rules.urgency import Urgency
    from wardexam.records.repository import DraftWriter


Row = Sign | Flag
FLAGS = "flags"
GRID = 47  # columns of the grid
# One letter for each reason why a sign is not testable, shown when it is asked for.
REASON_KEYS: dict[str, Reason] = {
    "p": "pain", "c": "cast", "a": "amputation", "r": "cannot_relax", "d": "declined", "s": "sedated",
    "f": "cannot_follow", "w": "dressing", "k": "contracture", "n": "not_available", "o": "other",
}  # fmt: skip
QUALITY_KEYS: dict[str, Quality] = {
    "i": "inverted",
    "c": "crossed",
    "p": "pendular",
    "h": "hung_up",
    "r": "reinforced",
}


class Step(NamedTuple):
    """A change made, what takes it back, and what was said of it."""

    change: Change
    back: Change
    said: str


class ExamineSheet(LineScreen):
    """One examination being entered.

    Args:
        patient: Whose body it is.
        examination: As far as it has got.
        previous: What stands from earlier in the stay, shown beside.
        draft: Where every change is kept.
        said: What the status line says first.
        amends: Whether it is a further revision of a saved examination.
    """

    BODIES = ("labels", "grades", "before", "panel", "figure")

    def __init__(
        self,
        patient: Patient,
        examination: Examination,
        previous: Examination | None,
        draft: "DraftWriter",
        said: str,
        *,
        amends: bool = False,
    ) -> None:
        super().__init__()
        self.shown_kept, self._trouble = 0, ""
        self.patient, self.examination, self.previous, self.draft = (
            patient,
            examination,
            previous,
            draft,
        )
        self.said = said
        self.amends = amends
        self._page = "core"
        self._row, self._side = 0, 0
        self._down_first = self._both = False
        self._choice: str = ""  # "reason", "quality", "rows" or "jump" while one letter is awaited
        self._undo: list[Step] = []
        self._redo: list[Step] = []
        self._reading: Reading | None = None
        self._failed = False
        self._foreseen: dict[Hashable, tuple[Reading, Urgency]] = {}
        # What cells show, kept as long as what they show stays.
        self._found: dict[tuple[str, Side], Finding] = {}
        self._marks: dict[tuple[str, Side], tuple[Finding | None, str, str]] = {}
        self._befores: dict[tuple[str, str], str] = {}
        self._assessed: tuple[tuple[Examination, Reading | None], Urgency] | None = None
        self._asked = self._number_read = 0
        self._thought_at: tuple[int, str, int, bool] | None = None
        self._thinking: Thinking | None = None

    @property
    def rows(self) -> tuple[Row, ...]:
        """The rows of the page that shows."""
        if self._page == FLAGS:
            return tuple(flags().values())
        sets = row_sets()
        return sets[self._page].signs if self._page in sets else signs_of(self._page)

    @property
    def row(self) -> Row:
        """The row under the cursor."""
        return self.rows[self._row]

    def _sides(self, row: Row) -> tuple[Side, ...]:
        return ("right", "left") if isinstance(row, Sign) and row.sides == "each" else ("midline",)

    @property
    def side(self) -> Side:
        """The side under the cursor."""
        sides = self._sides(self.row)
        return sides[min(self._side, len(sides) - 1)]

    def _answers(self) -> AnswerSet:
        assert isinstance(self.row, Sign)
        return answers_for(self.row.answers, self.examination.scale)

    def accepted(self) -> str:
        """The answers a key gives here, in one short line."""
        if isinstance(self.row, Flag):
            return "1 yes  0 no"
        if self.row.answers == "level":
            return "0 none  10: reduced below T10  enter: type C6, L1"
        if self.row.answers == "residual":
            return "type the mL, then enter"
        signs = {"minus": "-", "plus": "+"}
        return " ".join(
            f"{signs.get(a.key, a.key)} {a.mark}" if a.key != a.mark else a.key
            for a in self._answers().answers
        )

    def _finding(self) -> Finding | None:
        return (
            self.examination.finding(self.row.id, self.side) if isinstance(self.row, Sign) else None
        )

    def _last_graded(self) -> tuple[str, Side] | None:
        """The sign last graded: a quality speaks of it when the cursor has moved on."""
        for change in (step.change for step in reversed(self._undo)):
            if change.what == "finding" and change.value:
                return change.value["sign"], change.value["side"]
        return None

    @property
    def _place(self) -> tuple[int, str, int, bool]:
        """What the next key may change: which examination, and where the cursor stands."""
        return id(self.examination), self.row.id, self._side, self._both

    def _urgency(self, examination: Examination, reading: "Reading | None") -> "Urgency":
        from wardexam.reasoning.rules.urgency import assess

        wording = self.ward_app.wording
        return assess(examination, self.previous, reading, wording)

    def _count(self) -> tuple[int, int]:
        if self._page == FLAGS:
            return len(self.examination.flags), len(flags())
        cells = [(r.id, s) for r in self.rows for s in self._sides(r)]
        return sum(1 for sign, side in cells if self.examination.finding(sign, side)), len(cells)

    def _title(self) -> str:
        if self._page == FLAGS:
            return "Red flags"
        if self._page not in row_sets():
            score = sum_score(self.examination) if self._page == "power" else None
            return PART_TITLES[self._page] + ("" if score is None else f", sum {score}/60")
        name = row_sets()[self._page].name
        long = f"Reflexes and more: {name}"
        return long if len(long) <= 24 else name.capitalize()

    def _stated_here(self) -> list[str]:
        """The statements about parts of this page, in few short lines."""
        parts = {row.part for row in self.rows if isinstance(row, Sign)}
        said = [
            f"{s.limb.replace('right', 'R').replace('left', 'L')} {s.part}"
            for s in self.examination.rest_normal
            if s.part in parts
        ]
        return textwrap.wrap(f"Rest normal: {', '.join(said)}", 25)[:6] if said else []

    def _window(self) -> tuple[int, int]:
        """How many rows show, and which is the first."""
        room = self.size.height - 4 - len(self._stated_here())
        return room, max(0, min(self._row - room // 2, len(self.rows) - room))

    @staticmethod
    def _reasons() -> list[str]:
        """Why a sign may not be testable, with the letters; more than one line holds."""
        return [f"{key} {REASON_WORDS[reason]}" for key, reason in REASON_KEYS.items()]
