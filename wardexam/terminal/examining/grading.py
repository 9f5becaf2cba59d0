"""Keys that write: grades, qualities, numbers, levels, reasons, statements."""

from typing import Any

from wardexam.anatomy.catalogue import SEGMENTS, Sign, signs_of
from wardexam.exam.answers import answers_for
from wardexam.exam.entry import Change
from wardexam.exam.findings import (
    QUALITY_SIGNS,
    QUALITY_WORDS,
    REASON_WORDS,
    Finding,
    Quality,
)
from wardexam.exam.flags import Flag
from wardexam.exam.row_sets import row_sets
from wardexam.exam.text import clean
from wardexam.terminal.examining.moving import ExamineMoving
from wardexam.terminal.examining.sheet import QUALITY_KEYS, REASON_KEYS

NUMBER_KEYS = {"minus": "minus", "plus": "plus", "equals_sign": "plus"}


class ExamineGrading(ExamineMoving):
    """Keys that write: grades, qualities, numbers, levels, reasons, statements."""

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
