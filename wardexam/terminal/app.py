"""The app: which screen shows, what they share, and how the process ends."""

import threading
import time
from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, Any

from textual import events
from textual.screen import Screen

from wardexam.errors import WardexamError
from wardexam.terminal import signals, textual_port
from wardexam.terminal.environment import Terminal
from wardexam.terminal.keys import SCREENS
from wardexam.terminal.painting import PaintingApp
from wardexam.terminal.screens.base import LineScreen
from wardexam.terminal.screens.ward import WardScreen
from wardexam.terminal.thinking import warm
from wardexam.terminal.waiting import Waiting

if TYPE_CHECKING:
    from wardexam.exam.answers import ScaleName
    from wardexam.exam.examination import Examination, Patient
    from wardexam.reasoning.rules.wording import Wording
    from wardexam.records.repository import Bed, DraftWriter, Repository
    from wardexam.terminal.keymap import Keymap

IDLE_SECONDS = 300.0
PATIENCE = 0.1  # seconds that a key waits for another session; what takes longer goes on elsewhere
VERIFY_SECONDS = 20.0  # between two looks at the files behind the list


class WardApp(PaintingApp):
    """The ward on a terminal.

    Args:
        ward: Where it is kept.
        examiner: Who examines.
        now: Gives the time with its zone.
        new_id: Gives a new opaque identifier.
        terminal: What the terminal can show.
        notice: A line shown at the start.
        keymap: The keys of every screen; the built-in ones when None.
        wording: The hospital's own words for urgency.
    """

    ENABLE_COMMAND_PALETTE = False
    CSS_PATH = "styles.tcss"

    def __init__(
        self, ward: "Repository", *, examiner: str, now: Callable[[], datetime], new_id: Callable[[], str],
        terminal: Terminal, notice: str = "", keymap: "Keymap | None" = None, wording: "Wording | None" = None, **options: Any,
    ) -> None:  # fmt: skip
        super().__init__(terminal, ansi_color=True, **options)
        self.ward, self.examiner, self.now, self.new_id = ward, examiner, now, new_id
        self.keymap = keymap or SCREENS
        self.notice, self.wording = notice, wording or {}
        self.draft: DraftWriter | None = None
        self._verifying = False
        self.waiting = Waiting(self)
        self._last_key = time.monotonic()
        ward.patience = PATIENCE

    @classmethod
    def run_on(cls, ward: "Repository", *, terminal: Terminal, **options: Any) -> int:
        """Run until the doctor leaves; gives the exit code."""
        app: WardApp | None = None

        def keep(timeout: float) -> None:
            if app is not None and app.draft is not None:
                app.draft.flush(timeout)

        def leave() -> None:
            if app is not None:
                app.leave()

        def restore() -> None:
            if app is not None:
                app.give_back()

        ending = signals.Ending(keep=keep, leave=leave, restore=restore)
        driver_class = textual_port.driver_for(ascii_only=terminal.ascii, hung_up=ending.hang_up)
        app = cls(ward, terminal=terminal, driver_class=driver_class, **options)
        with signals.watch(ending):
            app.run(mouse=terminal.mouse)
        keep(1.0)
        ward.patience = 3.0
        ward.settle()  # events that waited for another session
        return ending.code or app.return_code or 0

    def get_default_screen(self) -> Screen[None]:
        """The ward, below every other screen."""
        return WardScreen()

    def on_mount(self) -> None:
        """Hide the screen after idle minutes."""
        self.set_interval(15.0, self._idle)
        self.set_interval(VERIFY_SECONDS, self.verify)
        self.call_after_refresh(self.verify)
        if not self.is_headless:
            self.call_after_refresh(warm)

    def verify(self) -> None:
        """Look at the files behind the list in a thread; the list is drawn anew when it says more then."""

        def look() -> None:
            try:
                self.ward.settle()
                if self.ward.verify():
                    self.call_later(self._list_again)
            except (WardexamError, OSError):
                return  # said where the list is read
            finally:
                self._verifying = False

        if not self._verifying:
            self._verifying = True
            threading.Thread(target=look, daemon=True, name="wardexam-verify").start()

    def _list_again(self) -> None:
        if isinstance(self.screen, WardScreen):
            self.screen.reload()

    async def on_event(self, event: events.Event) -> None:
        """Hand every key, paste and click to the screen that is on top when its turn comes.

        Textual forwards a key to the screen on top when it arrives, so that a key typed ahead of a
        screen that is just opening would land on the one below.
        """
        screen = self.screen if self.screen_stack else None
        if not isinstance(screen, LineScreen):
            await super().on_event(event)
        elif isinstance(event, events.Key) and event.key == "ctrl+l":
            screen.do_repaint()  # whatever is being typed
        elif isinstance(event, events.Key):
            screen.on_key(event)
        elif isinstance(event, events.Paste):
            screen.on_paste(event)
        elif isinstance(event, events.MouseEvent):
            screen.on_mouse(event)
        else:
            await super().on_event(event)

    def touched(self) -> None:
        """A key was pressed."""
        self._last_key = time.monotonic()

    def _idle(self) -> None:
        from wardexam.terminal.screens.hidden import HiddenScreen

        if time.monotonic() - self._last_key > IDLE_SECONDS and not isinstance(
            self.screen, HiddenScreen
        ):
            self.hide()

    def hide(self) -> None:
        """Hide what the screen shows."""
        from wardexam.terminal.screens.hidden import HiddenScreen

        self.push_screen(HiddenScreen())

    def examine(self, patient_id: str, shown: "Bed | None" = None) -> None:
        """Open the examination: the patient's draft if one was left, else a new one.

        A draft that another session is writing is left to it: both examinations are kept.

        Args:
            patient_id: Whom to examine.
            shown: The line that was chosen; what opens must be what it showed.
        """
        from wardexam.exam.examination import Context, Examination
        from wardexam.reasoning.rules.standing import standing
        from wardexam.records.repository import clock_line, draft_line
        from wardexam.terminal.screens.examine import ExamineScreen

        file = self.ward.file(patient_id)
        patient, stored = file.patient, file.examinations
        self._same(patient, shown)
        drafts = [d for d in self.ward.drafts() if d.patient_id == patient_id and not d.held]
        left = [d for d in drafts if not d.trouble]
        if left:
            draft, examination = self.ward.resume_draft(left[-1].draft_id, self.examiner)
            said = f"Draft resumed: {draft_line(left[-1], patient.bed, self.now())}."
        else:
            scale = stored[-1].scale if stored else "conventional"
            examination = Examination(
                id=self.new_id(),
                patient=patient_id,
                examiner=self.examiner,
                at=self.now(),
                scale=scale,
                context=Context(age=patient.age, sex=patient.sex),
            )
            draft, said = self.ward.start_draft(examination, self.examiner), "New examination."
            said = (clock_line(examination.at, stored[-1].at) if stored else "") or said
            if drafts:
                said = (
                    f"A draft of this patient is damaged and was not resumed: {drafts[-1].trouble}"
                )
        self.draft = draft
        amends = bool(file.revisions(examination.id))
        self.ward.record("viewed", patient_id, self.examiner)
        previous = standing(file.telling(examination.id))
        self.push_screen(ExamineScreen(patient, examination, previous, draft, said, amends=amends))

    @staticmethod
    def _same(patient: "Patient", shown: "Bed | None") -> None:
        """Whether what opens is what was chosen.

        Raises:
            WardexamError: The record has other details than the line that was chosen.
        """
        if shown and (patient.id, patient.bed, patient.name) != (
            shown.patient_id, shown.bed, shown.name
        ):  # fmt: skip
            raise WardexamError(
                f"the list showed {shown.bed} {shown.name}, the record says {patient.bed} {patient.name}",
                remedy="nothing was opened; look again and choose",
            )

    def amend(self, examination: "Examination") -> None:
        """Open a saved examination again; saving makes a further revision of it."""
        self.ward.start_draft(examination, self.examiner).close()
        self.examine(examination.patient)

    def show_note(
        self, patient_id: str, examination: "Examination | None" = None, shown_as: "Bed | None" = None
    ) -> None:  # fmt: skip
        """The note of an examination, the last one when none is given; others can be turned to."""
        from wardexam.note import note, referral
        from wardexam.reasoning.rules.standing import standing
        from wardexam.reasoning.rules.urgency import assess
        from wardexam.terminal.screens.text import TextScreen

        file = self.ward.file(patient_id)
        patient, stored = file.patient, file.examinations
        self._same(patient, shown_as)
        shown = examination or (stored[-1] if stored else None)
        if shown is None:
            raise WardexamError("no examination is saved yet", remedy="press enter to examine")
        previous = standing(file.telling(shown.id))
        urgency = assess(shown, previous, None, self.wording)

        def render(form: "note.Form", scale: "ScaleName | None") -> str:
            return note.render(
                patient, shown, previous=previous, urgency=urgency, form=form, scale=scale
            )

        self.ward.record("viewed", patient_id, self.examiner)
        history = file.numbered()
        at = history.index((shown.id, shown.revision))
        order = list(dict.fromkeys(name for name, _ in history))
        count = sum(1 for name, _ in history if name == shown.id)

        def turn(by: int) -> None:
            if 0 <= at + by < len(history):
                name, number = history[at + by]
                self.pop_screen()
                self.show_note(patient_id, file.revisions(name)[number - 1])
            else:
                screen.say("No earlier note." if by < 0 else "No later note.")

        which = f"examination {order.index(shown.id) + 1} of {len(order)}" + (
            f", revision {shown.revision} of {count}" if count > 1 else ""
        )
        screen = TextScreen(
            "Note", render=render, patient=patient, patient_id=patient_id, which=which, turn=turn,
            amend=(lambda: self.amend(shown)) if shown.revision == count else None,
            referral=lambda: referral.render(patient, shown, previous=previous, urgency=urgency),
        )  # fmt: skip
        self.push_screen(screen)

    def show_course(self, patient_id: str, shown_as: "Bed | None" = None) -> None:
        """Examinations, what changed between them, and the course."""
        from wardexam.terminal.course import course_text
        from wardexam.terminal.screens.text import TextScreen

        file = self.ward.file(patient_id)
        self._same(file.patient, shown_as)
        text = course_text(file)
        self.ward.record("viewed", patient_id, self.examiner)
        self.push_screen(TextScreen("Course", text, patient=file.patient, patient_id=patient_id))

    def show_handover(self) -> None:
        """The handover sheet."""
        from wardexam.note import handover
        from wardexam.terminal.screens.text import TextScreen

        text = handover.sheet(
            self.ward.papers(), self.ward.trail_head(), now=self.now(), wording=self.wording
        )
        self.ward.record("viewed", "ward", self.examiner)
        self.push_screen(TextScreen("Handover", text, page=handover.PAGE_LINES, patient_id="ward"))
