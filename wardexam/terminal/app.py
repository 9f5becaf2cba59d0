"""The app: which screen shows, what they share, and how the process ends."""

import time
from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, Any

from textual import events
from textual.screen import Screen

from wardexam.errors import WardexamError
from wardexam.terminal import signals, workarounds
from wardexam.terminal.environment import Terminal
from wardexam.terminal.keys import SCREENS
from wardexam.terminal.painting import PaintingApp
from wardexam.terminal.screens.base import LineScreen
from wardexam.terminal.screens.ward import WardScreen
from wardexam.terminal.thinking import warm

if TYPE_CHECKING:
    from wardexam.exam.answers import ScaleName
    from wardexam.exam.examination import Examination
    from wardexam.reasoning.rules.wording import Wording
    from wardexam.records.repository import DraftWriter, Repository
    from wardexam.terminal.keymap import Keymap

IDLE_SECONDS = 300.0


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
        self._last_key = time.monotonic()

    @classmethod
    def run_on(cls, ward: "Repository", *, terminal: Terminal, **options: Any) -> int:
        """Run until the doctor leaves; gives the exit code."""
        app: WardApp | None = None

        def keep(timeout: float) -> None:
            if app is not None and app.draft is not None:
                app.draft.flush(timeout)

        def leave() -> None:
            if app is not None and app._loop is not None:
                app._loop.call_soon_threadsafe(app.exit)

        def restore() -> None:
            driver: Any = app._driver if app is not None else None
            if driver is not None:
                driver.restore_now()

        ending = signals.Ending(keep=keep, leave=leave, restore=restore)
        driver_class = workarounds.driver_for(ascii_only=terminal.ascii, hung_up=ending.hang_up)
        app = cls(ward, terminal=terminal, driver_class=driver_class, **options)
        with signals.watch(ending):
            app.run(mouse=terminal.mouse)
        keep(1.0)
        return ending.code or app.return_code or 0

    def get_default_screen(self) -> Screen[None]:
        """The ward, below every other screen."""
        return WardScreen()

    def on_mount(self) -> None:
        """Hide the screen after idle minutes."""
        self.set_interval(15.0, self._idle)
        if not self.is_headless:
            self.call_after_refresh(warm)

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

    def examine(self, patient_id: str) -> None:
        """Open the examination: the patient's draft if one was left, else a new one.

        A draft that another session is writing is left to it: both examinations are kept.
        """
        from wardexam.exam.examination import Context, Examination
        from wardexam.reasoning.rules.standing import standing
        from wardexam.records.repository import clock_line, draft_line
        from wardexam.terminal.screens.examine import ExamineScreen

        patient = self.ward.patient(patient_id)
        stored = self.ward.examinations(patient_id)
        left = [d for d in self.ward.drafts() if d.patient_id == patient_id and not d.held]
        if left:
            draft, examination = self.ward.resume_draft(left[-1].draft_id)
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
        self.draft = draft
        amends = bool(self.ward.revisions(patient_id, examination.id))
        if amends:
            stored = tuple(e for e in stored if e.id != examination.id)
        self.ward.record("viewed", patient_id, self.examiner)
        previous = standing(stored, until=examination)
        self.push_screen(ExamineScreen(patient, examination, previous, draft, said, amends=amends))

    def amend(self, examination: "Examination") -> None:
        """Open a saved examination again; saving makes a further revision of it."""
        self.ward.start_draft(examination, self.examiner).close()
        self.examine(examination.patient)

    def show_note(self, patient_id: str, examination: Any = None) -> None:
        """The note of an examination, the last one when none is given; others can be turned to."""
        from wardexam.note import note, referral
        from wardexam.reasoning.rules.standing import standing
        from wardexam.reasoning.rules.urgency import assess
        from wardexam.terminal.screens.text import TextScreen

        patient = self.ward.patient(patient_id)
        stored = self.ward.examinations(patient_id)
        shown = examination or (stored[-1] if stored else None)
        if shown is None:
            raise WardexamError("no examination is saved yet", remedy="press enter to examine")
        previous = standing(stored, until=shown)
        urgency = assess(shown, previous, None, self.wording)

        def render(form: "note.Form", scale: "ScaleName | None") -> str:
            return note.render(
                patient, shown, previous=previous, urgency=urgency, form=form, scale=scale
            )

        self.ward.record("viewed", patient_id, self.examiner)
        history = [r for e in stored for r in self.ward.revisions(patient_id, e.id)]
        at = next(
            n for n, r in enumerate(history) if (r.id, r.revision) == (shown.id, shown.revision)
        )
        number = next(n for n, e in enumerate(stored, 1) if e.id == shown.id)
        count = sum(1 for r in history if r.id == shown.id)

        def turn(by: int) -> None:
            if 0 <= at + by < len(history):
                self.pop_screen()
                self.show_note(patient_id, history[at + by])
            else:
                screen.say("No earlier note." if by < 0 else "No later note.")

        which = f"examination {number} of {len(stored)}" + (
            f", revision {shown.revision} of {count}" if count > 1 else ""
        )
        screen = TextScreen(
            f"Note  bed {patient.bed}  {which}", render=render, patient_id=patient_id, turn=turn,
            amend=(lambda: self.amend(shown)) if shown.revision == count else None,
            referral=lambda: referral.render(patient, shown, previous=previous, urgency=urgency),
        )  # fmt: skip
        self.push_screen(screen)

    def show_course(self, patient_id: str) -> None:
        """Examinations, what changed between them, and the course."""
        from wardexam.terminal.course import course_text
        from wardexam.terminal.screens.text import TextScreen

        stored = self.ward.examinations(patient_id)
        revisions = {e.id: self.ward.revisions(patient_id, e.id) for e in stored}
        text = course_text(stored, revisions)
        self.ward.record("viewed", patient_id, self.examiner)
        self.push_screen(
            TextScreen(
                f"Course  bed {self.ward.patient(patient_id).bed}", text, patient_id=patient_id
            )
        )

    def show_handover(self) -> None:
        """The handover sheet."""
        from wardexam.note import handover
        from wardexam.terminal.screens.text import TextScreen

        beds = self.ward.beds()
        rows = [
            (self.ward.patient(b.patient_id), self.ward.examinations(b.patient_id), b.summary)
            for b in beds
            if not b.trouble
        ]
        text = handover.render(rows, now=self.now(), wording=self.wording)
        self.ward.record("viewed", "ward", self.examiner)
        self.push_screen(
            TextScreen(
                "Handover",
                text + handover.left_out(beds),
                page=handover.PAGE_LINES,
                patient_id="ward",
            )
        )
