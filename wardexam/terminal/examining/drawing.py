"""How the examination looks: labels, grades, what was before, the panel, the hints."""

from typing import Any

from wardexam.anatomy.catalogue import Sign, signs_of
from wardexam.exam.findings import (
    QUALITY_WORDS,
    Side,
)
from wardexam.exam.flags import Flag
from wardexam.exam.identity import heading
from wardexam.exam.row_sets import row_sets
from wardexam.exam.text import clean, cut
from wardexam.note.cells import narrow
from wardexam.reasoning.rules.change import compare, differs
from wardexam.terminal.examining.sheet import FLAGS, QUALITY_KEYS, ExamineSheet, Row
from wardexam.terminal.keys import hint
from wardexam.terminal.panel import more_lines, panel_lines
from wardexam.terminal.thinking import essence

WIDE, WIDE_PANEL = 120, 38  # from this width the figure joins on the right of a panel of this width


class ExamineDrawing(ExamineSheet):
    """How the examination looks: labels, grades, what was before, the panel, the hints."""

    def draw(self) -> None:
        """The heading, the grid, the last examination beside it, the panel, the figure."""
        e, width = self.examination, self.size.width
        age = "" if e.context.age is None else f" {e.context.age}y"
        done, whole = self._count()
        when, by = f"{age}  {e.at:%d %b %H:%M}", f" {cut(clean(e.examiner), 10)}"
        few, scale = f"  {done}/{whole}", f"  scale {e.scale}"
        count = f"{few}, {len(e.findings)} in all"
        # What is left out when it does not fit, the last first; the count in full before the scale.
        tails = (
            f"{when}{by}{count}{scale}", f"{when}{by}{few}{scale}", f"{when}{by}{count}", f"{when}{by}{few}",
            f"{when}{by}", when, age, "",
        )  # fmt: skip
        who = heading(self.patient, f"{clean(self.patient.bed)} ", tails, width)
        self.canvas("heading").show([[(who, "accent")]])
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
