"""The examination: rows are signs, columns the patient's right and left; a key grades and moves on.

One key path for the whole grid, so that typed-ahead keys land in order. A key that is not accepted
changes nothing and says what would be.
"""

import textwrap
from collections.abc import Callable, Hashable, Iterator
from typing import TYPE_CHECKING, Any, NamedTuple, get_args

from textual.geometry import Offset

from wardexam.anatomy.catalogue import PARTS, SEGMENTS, Sign, catalogue, signs_of
from wardexam.errors import InputError, WardexamError
from wardexam.exam.answers import SCALES, Answer, AnswerSet, answers_for
from wardexam.exam.entry import Change, apply, inverse
from wardexam.exam.examination import Complaint, ComplaintSide, Examination, Onset, Patient
from wardexam.exam.findings import (
    QUALITY_SIGNS,
    QUALITY_WORDS,
    REASON_WORDS,
    Finding,
    Quality,
    Reason,
    Side,
)
from wardexam.exam.flags import Flag, flags
from wardexam.exam.row_sets import row_sets
from wardexam.exam.text import clean
from wardexam.note.cells import narrow
from wardexam.note.note import PART_TITLES
from wardexam.reasoning.change import compare, differs, sum_score
from wardexam.terminal.keys import hint
from wardexam.terminal.panel import more_lines, panel_lines
from wardexam.terminal.screens.base import LineScreen
from wardexam.terminal.thinking import KEPT, Thinking, essence

if TYPE_CHECKING:
    from wardexam.reasoning.reading import Reading
    from wardexam.reasoning.urgency import Urgency
    from wardexam.records.repository import DraftWriter, Summary

Row = Sign | Flag
WIDE, WIDE_PANEL = 120, 38  # from this width the figure joins on the right of a panel of this width
FLAGS = "flags"
PATIENCE = 2.0  # seconds that saving waits for the reading of the last key
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
NUMBER_KEYS = {"minus": "minus", "plus": "plus", "equals_sign": "plus"}


class Step(NamedTuple):
    """A change made, what takes it back, and what was said of it."""

    change: Change
    back: Change
    said: str


class ExamineScreen(LineScreen):
    """One examination being entered.

    Args:
        patient: Whose body it is.
        examination: As far as it has got.
        previous: What stands from earlier in the stay, shown beside.
        draft: Where every change is kept.
        said: What the status line says first.
        amends: Whether it is a further revision of a saved examination.
    """

    SCREEN = "examine"
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

    def on_mount(self) -> None:
        """Start the reasoning; the base draws."""
        app = self.app  # the thread has none of its own, and may answer when the screen is gone
        self._thinking = Thinking(
            lambda number, reading: app.call_later(self._answered, number, reading), self._ahead
        )
        self._think()
        self.draft.settled = lambda: app.call_later(self._kept)

    # --- what shows

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

    def _title(self) -> str:
        if self._page == FLAGS:
            return "Red flags"
        if self._page not in row_sets():
            score = sum_score(self.examination) if self._page == "power" else None
            return PART_TITLES[self._page] + ("" if score is None else f", sum {score}/60")
        name = row_sets()[self._page].name
        long = f"Reflexes and more: {name}"
        return long if len(long) <= 24 else name.capitalize()

    def _count(self) -> tuple[int, int]:
        if self._page == FLAGS:
            return len(self.examination.flags), len(flags())
        cells = [(r.id, s) for r in self.rows for s in self._sides(r)]
        return sum(1 for sign, side in cells if self.examination.finding(sign, side)), len(cells)

    def draw(self) -> None:
        """The heading, the grid, the last examination beside it, the panel, the figure."""
        e, width = self.examination, self.size.width
        age = "" if e.context.age is None else f" {e.context.age}y"
        done, whole = self._count()
        who = f"{clean(self.patient.bed)} {clean(self.patient.name)[:18]}{age}"
        self.canvas("heading").show(
            [
                [
                    (
                        f"{who}  {e.at:%d %b %H:%M} {clean(e.examiner)[:10]}  {done}/{whole}, {len(e.findings)} in all  scale {e.scale}"[
                            :width
                        ],
                        "accent",
                    )
                ]
            ]
        )
        self._found = {f.key: f for f in e.findings}
        stated = self._stated_here()
        room, first = self._window()
        labels: list[Any] = [[(f"{self._title()[:24]:<25}", "strong")]]
        grades: list[Any] = [[(" R     L    " if self._page != FLAGS else "answer      ", "quiet")]]
        change = compare(self.previous, e) if self.previous else None
        before = ["now WORSE" if change and change.worse else "before"]
        for number, row in enumerate(self.rows[first : first + room], first):
            pointer = self.ward_app.glyphs.pointer if number == self._row else " "
            if isinstance(row, Flag):
                labels.append([(f"{pointer}{row.short[:24]}", "")])
            else:
                labels.append([(f"{pointer}{row.name[:17]:<17} {row.segment_range[:6]:<6}", "")])
            grades.append(self._grades(row, number))
            before.append(self._before(row))
        labels += [[(line, "strong")] for line in stated]
        self.canvas("labels").show(labels)
        self.canvas("grades").show(grades)
        before += [""] * (self.size.height - 3 - len(before))
        rule = self.ward_app.glyphs.rule
        self.canvas("before").show([[(f"{text:<9}{rule}", "quiet")] for text in before])
        self._draw_panel()

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

    def _about(self) -> str:
        """The row under the cursor in full: name, segments, where to touch; or the question."""
        row = self.row
        if isinstance(row, Flag):
            return row.ask
        where = "" if self.side == "midline" else f"{self.side} "
        more = [m for m in (row.segment_range, row.nerve, row.place) if m]
        return f"{where}{row.name}{': ' if more else ''}{', '.join(more)}"

    def _grades(self, row: Row, number: int) -> list[tuple[str, str]]:
        pieces: list[tuple[str, str]] = []
        for index, side in enumerate(self._sides(row)):
            if isinstance(row, Flag):
                text = self.examination.flags.get(row.id, "not asked")
            else:
                text = self._mark(row, side)
            here = number == self._row and index == min(self._side, len(self._sides(row)) - 1)
            width = 5 if len(self._sides(row)) == 2 else 10
            pieces += [(f"{text[:width]:<{width}}", "cursor" if here else ""), (" ", "")]
        return pieces

    def _mark(self, row: Sign, side: Side) -> str:
        finding, scale = self._found.get((row.id, side)), self.examination.scale
        known = self._marks.get((row.id, side))
        if known and known[0] is finding and known[1] == scale:
            return known[2]
        text = narrow(finding, scale)
        if finding and "reinforced" in finding.qualities:
            text += "r"
        elif finding and finding.qualities:
            text += finding.qualities[0][0]
        old = self.previous.finding(row.id, side) if self.previous else None
        if finding and old and differs(old, finding):
            text += "!"
        self._marks[row.id, side] = finding, scale, text
        return text

    def _before(self, row: Row) -> str:
        place = (row.id, self.examination.scale)
        if place not in self._befores:
            self._befores[place] = self._before_anew(row)
        return self._befores[place]

    def _before_anew(self, row: Row) -> str:
        if self.previous is None:
            return ""
        if isinstance(row, Flag):
            return self.previous.flags.get(row.id, "")
        found = [self.previous.finding(row.id, s) for s in self._sides(row)]
        return "/".join(narrow(f, self.examination.scale) for f in found)[:9] if any(found) else ""

    def _urgency(self, examination: Examination, reading: "Reading | None") -> "Urgency":
        from wardexam.reasoning.urgency import assess

        wording = self.ward_app.wording
        return assess(examination, self.previous, reading, wording)

    def _draw_panel(self) -> None:
        wide = self.size.width >= WIDE
        width = WIDE_PANEL - 1 if wide else min(60, self.size.width - 47)
        figure_canvas = self.canvas("figure")
        if figure_canvas.display != wide:
            figure_canvas.display = wide
            self.canvas("panel").styles.width = WIDE_PANEL if wide else "1fr"
        of = (self.examination, self._reading)
        if self._assessed is None or any(
            a is not b for a, b in zip(of, self._assessed[0], strict=True)
        ):
            seen = self._foreseen.get(essence(self.examination))
            foreseen = seen is not None and seen[0] is self._reading
            urgency = seen[1] if seen and foreseen else self._urgency(*of)
            self._assessed = of, urgency
        urgency = self._assessed[1]
        lines = panel_lines(
            self.examination,
            urgency,
            self._reading,
            width,
            failed=self._failed,
            glyphs=self.ward_app.glyphs,
            suggested=self.key("suggested"),
            asks=self.key("flags"),
        )
        more = more_lines(self.examination, self.previous, urgency, width)
        self.canvas("panel").show((lines + more)[: self.size.height - 3])
        if wide:
            figure_canvas.show(
                [[(line, "quiet")] for line in self._figure(figure_canvas.size.width)]
            )

    def _figure(self, width: int) -> list[str]:
        from wardexam.note.body import figure

        plain = self.ward_app.terminal.ascii
        width = max(35, width)
        return figure(self.examination, self.examination.scale, ascii_only=plain, width=width)

    def hint_text(self) -> str:
        """What is accepted at the cursor, then the other keys."""
        if self._choice == "reason":
            return "  ".join(self._reasons()[5:])[: self.size.width - 1]
        if self._choice == "quality":
            return "  ".join(f"{k} {QUALITY_WORDS[q]}" for k, q in QUALITY_KEYS.items())[
                : self.size.width - 1
            ]
        if self._choice == "jump":
            return "  ".join(f"{s.letter} {s.name}" for s in signs_of("reflexes"))[
                : self.size.width - 1
            ]
        if self._choice == "rows":
            sets = (f"{n} {s.short}" for n, s in enumerate(row_sets().values(), 1))
            return "  ".join(sets)[: self.size.width - 1]
        accepted = self.accepted()
        between = self.ward_app.glyphs.between
        return f"{accepted} {between} {hint(self.keys, self.size.width - len(accepted) - 4)}"

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

    def _answers(self) -> AnswerSet:
        assert isinstance(self.row, Sign)
        return answers_for(self.row.answers, self.examination.scale)

    def redraw(self) -> None:
        """Draw, and put the terminal's own cursor on the cell."""
        super().redraw()
        if self._thought_at != self._place:
            self._think()
        _, first = self._window()
        column = 25 + 6 * min(self._side, len(self._sides(self.row)) - 1)
        self.app.cursor_position = Offset(column, 2 + self._row - first)

    # --- changing

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

    @property
    def _place(self) -> tuple[int, str, int, bool]:
        """What the next key may change: which examination, and where the cursor stands."""
        return id(self.examination), self.row.id, self._side, self._both

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

    def draw_status(self) -> None:
        """The status line ends with how much is on disk."""
        super().draw_status()
        if not self._typing and self.query("#hint"):
            self.shown_kept = self.draft.kept
            kept = f"kept to change {self.shown_kept}"
            if self.draft.problem:  # the line itself says where it is kept
                kept = "" if self.said == self.draft.problem else "NOT IN THE WARD"
            room = self.size.width - len(kept) - 2
            said = (self.said or self._about())[:room]
            self.canvas("status").show([[(f"{said:<{room}}", ""), (f" {kept}", "quiet")]])

    # --- keys

    def press(self, key: str, character: str | None) -> None:
        """Grades first, then actions."""
        if self._choice:
            self._choose(key)
            return
        if isinstance(self.row, Flag) and key in ("0", "1", "y", "n"):
            self._flag("yes" if key in ("1", "y") else "no")
            return
        if key.isdecimal() or key in NUMBER_KEYS:
            self._grade(NUMBER_KEYS.get(key, key))
            return
        super().press(key, character)

    def _flag(self, answer: str) -> None:
        assert isinstance(self.row, Flag)
        if self.change(Change("flag", self.row.id, answer), f"{self.row.ask} {answer}."):
            self._row = min(self._row + 1, len(self.rows) - 1)
            self._changed()

    def _grade(self, key: str) -> None:
        row = self.row
        if isinstance(row, Flag):
            self.say(f"Here: {self.accepted()}.")
            return
        if row.answers == "residual" or (row.answers == "level" and key in "123456789"):
            self.do_number(key)
            return
        answer = next((a for a in self._answers().answers if a.key == key), None)
        if answer is None:
            self.say(f"{row.name}: here {self.accepted()}.")
            return
        sides = self._sides(row) if self._both else (self.side,)
        for side in sides:
            words = answer.mark if row.answers in ("tendon", "mrc") else answer.words
            where = "" if side == "midline" else f"{side} "
            if not self.change(self._graded(row, side, answer), f"{where}{row.name} {words}"):
                return
        if self._both:
            self.said = f"both {row.name} {answer.mark}"
            self._side = 1
        self._both = False
        self._advance()
        self._changed()

    def _graded(self, row: Sign, side: Side, answer: Answer) -> Change:
        value = {"sign": row.id, "side": side, "answer": answer.code}
        if row.answers == "tendon":
            value["scale"] = self.examination.scale
        return Change("finding", f"{row.id} {side}", value)

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

    def _choose(self, key: str) -> None:
        kind, self._choice = self._choice, ""
        if kind == "reason" and key in REASON_KEYS and isinstance(self.row, Sign):
            reason = REASON_KEYS[key]
            value = {"sign": self.row.id, "side": self.side, "not_testable": reason}
            where = f"{self.side} {self.row.name}"
            if self.change(
                Change("finding", f"{self.row.id} {self.side}", value),
                f"{where} not testable: {REASON_WORDS[reason]}",
            ):
                self._advance()
                self._changed()
        elif kind == "quality" and key in QUALITY_KEYS:
            self._toggle(QUALITY_KEYS[key])
        elif kind == "rows":
            names = list(row_sets())
            if key.isdecimal() and 1 <= int(key) <= len(names):
                self._show(names[int(key) - 1])
            else:
                self.say("No set of rows has that number. Nothing was changed.")
        elif kind == "jump":
            found = next((s for s in signs_of("reflexes") if s.letter == key), None)
            if found:
                self._go(found.id, "right" if found.sides == "each" else "midline")
            else:
                self.say("No reflex has that letter. Nothing was changed.")
        else:
            self.say("Nothing was changed.")

    @staticmethod
    def _reasons() -> list[str]:
        """Why a sign may not be testable, with the letters; more than one line holds."""
        return [f"{key} {REASON_WORDS[reason]}" for key, reason in REASON_KEYS.items()]

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

    def _toggle(self, quality: Quality) -> None:
        finding = self._finding()
        if finding is None and (last := self._last_graded()):
            finding = self.examination.finding(*last)
        if finding is None or finding.answer is None:
            self.say("Grade the reflex first.")
            return
        if finding.sign not in QUALITY_SIGNS[quality]:
            self.say(f"'{quality.replace('_', ' ')}' means nothing at {finding.row.name}.")
            return
        held = [q for q in finding.qualities if q != quality]
        value = finding.model_dump(mode="json")
        value["qualities"] = held if quality in finding.qualities else [*held, quality]
        words = QUALITY_WORDS[quality]
        verb = "no longer " if quality in finding.qualities else ""
        if self.change(
            Change("finding", f"{finding.sign} {finding.side}", value),
            f"{finding.side} {finding.row.name}: {verb}{words}",
        ):
            self._changed()

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

    def do_both(self) -> None:
        """The next grade goes to both sides."""
        self._both = not self._both
        self.say("The next grade goes to both sides." if self._both else "One side again.")
        self._think()

    def do_reinforced(self) -> None:
        """Only with reinforcement."""
        self._toggle("reinforced")

    def do_quality(self) -> None:
        """Await a quality's letter."""
        self._choice = "quality"
        self.draw_status()

    def do_not_testable(self) -> None:
        """Await a reason's letter."""
        if isinstance(self.row, Flag):
            self.say(f"Here: {self.accepted()}.")
            return
        self._choice = "reason"
        self.say(f"Not testable: {'  '.join(self._reasons()[:5])}")

    def do_clear(self) -> None:
        """Take the finding away."""
        row = self.row
        what: Any = "flag" if isinstance(row, Flag) else "finding"
        key = row.id if isinstance(row, Flag) else f"{row.id} {self.side}"
        if isinstance(row, Flag) and row.id not in self.examination.flags:
            self.say("Not asked already.")
        elif isinstance(row, Sign) and self._finding() is None:
            self.say("Not examined already.")
        elif self.change(
            Change(what, key, None),
            f"{key.replace('_', ' ')}: {'not asked' if what == 'flag' else 'not examined'}",
        ):
            self._changed()

    def do_number(self, typed: str = "") -> None:
        """Type a number or a level, for the row or for the sign graded last."""
        row = self.row
        if isinstance(row, Sign) and row.answers == "level":
            where = "both sides" if self._both else self.side
            start = f"T{typed}" if typed else ""
            self.ask(f"{where} {row.name}: reduced below (C2 to S4):", self._level, start)
            return
        finding = self._measured()
        if finding is None:
            self.say(f"No number belongs here. {self.accepted()}")
            return
        amount = answers_for(finding.row.answers).amount
        assert amount is not None
        side = "" if finding.side == "midline" else f"{finding.side} "
        question = f"{side}{finding.row.name}, {amount.unit}:"
        self.ask(question, lambda text: self._number(finding, amount.unit, text), typed)

    def _measured(self) -> Finding | None:
        """The finding that a number belongs to: at the cursor, else the last graded."""
        row, found = self.row, [self._finding()]
        if isinstance(row, Sign) and row.answers == "residual":
            return found[0] or Finding(sign=row.id, side="midline", answer="measured", amount=0)
        if last := self._last_graded():
            found.append(self.examination.finding(*last))
        for finding in found:
            if finding and finding.answer and finding.row.answers != "tendon":
                amount = answers_for(finding.row.answers).amount
                if amount and finding.answer in amount.answers:
                    return finding
        return None

    def _level(self, text: str) -> None:
        assert isinstance(self.row, Sign)
        level, row = text.strip().upper(), self.row
        if level not in SEGMENTS:
            self.say(f"'{clean(text)[:10]}' is no segment: C2 to S4. Nothing was changed.")
            return
        sides = self._sides(row) if self._both else (self.side,)
        for side in sides:
            value = {"sign": row.id, "side": side, "answer": level}
            said = f"{side} {row.name}: reduced below {level}"
            if not self.change(Change("finding", f"{row.id} {side}", value), said):
                return
        if self._both:
            self.said = f"both sides {row.name}: reduced below {level}"
            self._side = 1
        self._both = False
        self._advance()
        self._changed()

    def _number(self, finding: Finding, unit: str, text: str) -> None:
        if not text.strip().isdecimal():
            self.say("A whole number is needed. Nothing was changed.")
            return
        value = finding.model_dump(mode="json") | {"amount": int(text)}
        key = f"{finding.sign} {finding.side}"
        if self.change(Change("finding", key, value), f"{finding.row.name} {int(text)} {unit}"):
            if finding.key == (self.row.id, self.side):
                self._advance()
            self._changed()

    def do_comment(self) -> None:
        """Comment on the finding, or on the whole examination."""
        finding = self._finding()

        def commented(text: str) -> None:
            if finding:
                value = finding.model_dump(mode="json") | {"comment": text}
                done = self.change(
                    Change("finding", f"{finding.sign} {finding.side}", value),
                    "Comment on the finding kept.",
                )
            else:
                done = self.change(Change("comment", "", text), "Comment kept.")
            if done:
                self._changed()

        self.ask(
            "Comment:" if finding is None else f"Comment on {finding.row.name}:",
            commented,
            finding.comment if finding else self.examination.comment,
        )

    def do_impression(self) -> None:
        """The doctor's own words."""

        def written(text: str) -> None:
            if self.change(Change("impression", "", text), "Impression kept."):
                self._changed()

        self.ask("Impression:", written, self.examination.impression)

    CONTEXT = (
        ("onset", get_args(Onset)),
        ("complaint", get_args(Complaint)),
        ("complaint_side", get_args(ComplaintSide)),
        ("bears_weight", ("yes", "no")),
    )

    def do_context(self) -> None:
        """Ask onset, complaint, side and weight-bearing in turn; empty leaves unknown."""
        self._ask_context(0)

    def _ask_context(self, number: int) -> None:
        if number == len(self.CONTEXT):
            self.said = "Context kept."
            self._changed()
            return
        field, allowed = self.CONTEXT[number]
        name = field.replace("_", " ")

        def answered(text: str) -> None:
            typed = text.strip().lower().replace(" ", "_")
            # The first letters are enough where they name one answer.
            fits = [a for a in allowed if a == typed] or [a for a in allowed if a.startswith(typed)]
            if typed and len(fits) != 1:
                self._ask_one_of(name, allowed, answered)
                return
            if typed:
                self.change(Change("context", field, fits[0]), "")
            self._ask_context(number + 1)

        self._ask_one_of(name, allowed, answered)

    def _ask_one_of(self, name: str, allowed: tuple[str, ...], then: Callable[[str], None]) -> None:
        words = ", ".join(a.replace("_", " ") for a in allowed)
        self.ask(f"{name}: {words}"[: max(30, self.size.width - 14)] + ":", then)

    def _step(
        self,
        source: list[Step],
        target: list[Step],
        verb: str,
        *,
        back: bool,
    ) -> None:
        if not source:
            self.say(f"Nothing {verb}: no change is left.")
            return
        step = source.pop()
        change = step.back if back else step.change
        self.examination = apply(self.examination, change)
        self.draft.append(change)
        target.append(step)
        named = step.said.split(". ")[0].rstrip(".") or change.key.replace("_", " ") or change.what
        self.said = f"{verb.capitalize()}: {named}."
        self._changed()

    def do_undo(self) -> None:
        """Undo."""
        self._step(self._undo, self._redo, "undone", back=True)

    def do_redo(self) -> None:
        """Redo."""
        self._step(self._redo, self._undo, "done again", back=False)

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

    def do_rest(self) -> None:
        """State that the rest of this limb was examined and normal, or withdraw it."""
        row = self.row
        if isinstance(row, Flag) or row.limb == "saddle" or row.part == "sphincters":
            self.say("Refused: flags, saddle and sphincters are answered one by one.")
            return
        limb = row.limb if row.limb in ("head", "trunk") else f"{self.side} {row.limb}"
        if self.side == "midline" and row.limb not in ("head", "trunk"):
            self.say("Choose a row with sides for this statement.")
            return
        key = f"{row.part} {limb}"
        if any(f"{s.part} {s.limb}" == key for s in self.examination.rest_normal):
            if self.change(
                Change("rest_normal", key, None), f"Withdrawn: rest of {limb} {row.part}."
            ):
                self._changed()
            return
        value = {
            "part": row.part,
            "limb": limb,
            "by": self.examination.examiner,
            "at": self.ward_app.now().isoformat(),
        }
        if self.change(
            Change("rest_normal", key, value),
            f"Stated: rest of {limb} {row.part} examined, normal. {self.key('rest')} withdraws.",
        ):
            self._changed()

    def do_figure(self) -> None:
        """The body with its grades and the loss of sensation."""
        from wardexam.terminal.screens.text import TextScreen

        text = "\n".join(self._figure(self.size.width - 1))
        self.app.push_screen(TextScreen(f"Figure  bed {clean(self.patient.bed)}", text))

    def do_scale(self) -> None:
        """Next scale; findings keep the one they were graded on."""
        scale = SCALES[(SCALES.index(self.examination.scale) + 1) % len(SCALES)]
        if self.change(
            Change("scale", "", scale),
            f"Scale {scale}; what was graded is shown on it and stays as graded.",
        ):
            self._changed()

    def do_accept(self) -> None:
        """Accept the suggestion into the note, or withdraw it."""
        from wardexam.note.suggestion import accepted_text

        if self.examination.suggestion:
            text, said = "", "Suggestion withdrawn from the note."
        else:
            reading = self._settled()
            text = accepted_text(reading) if reading else ""
            said = "Suggestion accepted into the note."
        if not text and not self.examination.suggestion:
            self.say("No suggestion to accept yet.")
        elif self.change(Change("suggestion", "", text), said):
            self._changed()

    def do_save(self) -> None:
        """Save and show the note; an amendment asks for its reason first."""
        if self.amends:
            self.ask("Why is it amended?", self._save)
        else:
            self._save("")

    def _save(self, why: str) -> None:
        if self.amends and not why.strip():
            self.say("An amendment needs a reason. Nothing was saved.")
            return
        from wardexam.note.headline import summarise

        app = self.ward_app
        reading = self._settled()
        urgency = self._urgency(self.examination, reading)
        change = compare(self.previous, self.examination) if self.previous else None
        summary = summarise(urgency, change, reading)
        try:
            saved = self._stored(why, summary)
        except WardexamError as error:
            self.say(error.line[: self.size.width])
            return
        app.draft = None
        self.dismiss(None)
        app.show_note(self.patient.id, saved)

    def _stored(self, why: str, summary: "Summary") -> Examination:
        app = self.ward_app
        if self.amends:
            saved = app.ward.amend(self.examination, app.examiner, why.strip(), app.now(), summary)
        else:
            saved = app.ward.save(self.examination, app.examiner, summary)
        app.ward.drop_draft(self.draft)
        return saved

    def do_leave(self) -> None:
        """Back to the ward; an examination nobody touched leaves no draft."""
        if self.draft.sent:
            self.draft.close()
        else:
            self.ward_app.ward.drop_draft(self.draft)
        self.ward_app.draft = None
        self.dismiss(None)
