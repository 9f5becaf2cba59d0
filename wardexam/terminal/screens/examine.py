"""The examination: rows are signs, columns the patient's right and left; a key grades and moves on.

One key path for the whole grid, so that typed-ahead keys land in order. A key that is not accepted
changes nothing and says what would be.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING, get_args

from wardexam.errors import WardexamError
from wardexam.exam.answers import SCALES
from wardexam.exam.entry import Change, apply
from wardexam.exam.examination import Complaint, ComplaintSide, Examination, Onset
from wardexam.exam.text import clean
from wardexam.reasoning.rules.change import compare
from wardexam.records.repository import AmendedMeanwhileError
from wardexam.terminal.examining.grading import ExamineGrading
from wardexam.terminal.examining.sheet import Step

if TYPE_CHECKING:
    from wardexam.records.repository import Summary


class ExamineScreen(ExamineGrading):
    """One examination being entered; see `ExamineSheet` for what it takes."""

    SCREEN = "examine"
    # What is asked of the story, in this order, with what may be answered.
    CONTEXT = (
        ("onset", get_args(Onset)),
        ("complaint", get_args(Complaint)),
        ("complaint_side", get_args(ComplaintSide)),
        ("bears_weight", ("yes", "no")),
    )

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

    def do_figure(self) -> None:
        """The body with its grades and the loss of sensation."""
        from wardexam.terminal.screens.text import TextScreen

        text = "\n".join(self._figure(self.size.width - 1))
        over = f"{self.patient.identity}, bed {clean(self.patient.bed)}\n"
        self.app.push_screen(
            TextScreen("Figure", text, patient=self.patient, patient_id=self.patient.id, over=over)
        )

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

        reading = self._settled()
        urgency = self._urgency(self.examination, reading)
        change = compare(self.previous, self.examination) if self.previous else None
        summary = summarise(urgency, change, reading)
        examination, app = self.examination, self.app  # a thread has no app of its own
        self.ward_app.waiting.attempt(
            lambda: self._stored(examination, why, summary),
            self._saved,
            self._not_saved,
            lambda busy: self.say(
                f"Not saved yet: held by {busy.holder}. It is saved when that lets go; {self.key('leave')} leaves, the draft is kept."[
                    : self.size.width
                ]
            ),
            # Whoever grades on, or leaves, has not asked for this to be saved.
            wanted=lambda: self.examination is examination and app.screen is self,
        )

    def _stored(self, examination: Examination, why: str, summary: "Summary") -> Examination:
        app = self.ward_app
        if self.amends:
            return app.ward.amend(examination, app.examiner, why.strip(), app.now(), summary)
        return app.ward.save(examination, app.examiner, summary)

    def _saved(self, saved: Examination) -> None:
        if (
            not self.is_attached
        ):  # left while it waited: the draft, saved now, is swept at the next start
            return
        app = self.ward_app
        app.ward.drop_draft(self.draft)
        app.draft = None
        self.dismiss(None)
        app.show_note(self.patient.id, saved)

    def _not_saved(self, error: WardexamError) -> None:
        if isinstance(error, AmendedMeanwhileError):
            self._show_both(error.stored)
        else:
            self.say(error.line[: self.size.width])

    def _show_both(self, theirs: Examination) -> None:
        """Show what someone else has saved meanwhile beside what is entered here.

        Once both have been seen, saving makes a revision after theirs.
        """
        from wardexam.note.differences import differences
        from wardexam.terminal.screens.text import TextScreen

        assert theirs.amendment is not None
        text = differences(theirs, self.examination, self.key("save"))
        self.examination = self.examination.model_copy(
            update={"revision": theirs.revision, "amendment": theirs.amendment}
        )
        self.said = f"Not saved: {clean(theirs.amendment.by)} amended it meanwhile."
        self._changed()
        self.app.push_screen(TextScreen(f"Amended meanwhile  bed {clean(self.patient.bed)}", text))

    def do_leave(self) -> None:
        """Back to the ward; an examination nobody touched leaves no draft."""
        if self.draft.sent and not self.draft.flush(0.3):
            lost = self.draft.sent - self.draft.kept
            self.ask(
                f"{lost} changes are in memory only and would be lost. Type lose to leave, enter stays:",
                self._leave_unkept,
            )
            return
        self._leave()

    def _leave_unkept(self, text: str) -> None:
        if text.strip().lower() == "lose":
            self._leave()
        else:
            self.say("Still here. Free the disk, or copy the note before leaving.")

    def _leave(self) -> None:
        if self.draft.sent:
            self.draft.close()
        else:
            self.ward_app.ward.drop_draft(self.draft)
        self.ward_app.draft = None
        self.dismiss(None)
