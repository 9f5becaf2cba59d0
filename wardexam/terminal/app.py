"""The app: which screen shows, what they share, and how the process ends."""

import threading
import time
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from textual import events
from textual.screen import Screen

from wardexam import signals
from wardexam.errors import WardexamError
from wardexam.terminal import textual_port
from wardexam.terminal.environment import Terminal
from wardexam.terminal.keys import SCREENS, help_lines, key_of
from wardexam.terminal.loading import warm
from wardexam.terminal.painting import PaintingApp
from wardexam.terminal.screens.base import LineScreen
from wardexam.terminal.screens.ward import WardScreen
from wardexam.terminal.tour import BED
from wardexam.terminal.waiting import Waiting

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from wardexam.exam.acts import Act, ActKind
    from wardexam.exam.examination import Examination, Findings
    from wardexam.injury.kept import KeptSheet
    from wardexam.injury.sheet import InjurySheet
    from wardexam.injury_visit import InjuryVisit
    from wardexam.reasoning.rules.urgency import Urgency
    from wardexam.records.repository import Bed, Repository
    from wardexam.session import Session
    from wardexam.terminal.host import Host
    from wardexam.terminal.keymap import Keymap
    from wardexam.terminal.keys import Key
    from wardexam.terminal.tour import Tour
    from wardexam.visit import Visit

IDLE_SECONDS = 300.0
PATIENCE = 0.1  # seconds that a key waits for another session; what takes longer goes on elsewhere
LEFT_OVER = "Left out: what was pasted behind Enter. Nothing of it was a key."
VERIFY_SECONDS = 20.0  # between two looks at the files behind the list


class WardApp(PaintingApp):
    """The ward on a terminal.

    Args:
        session: Who examines, where, and what comes in at the edge.
        terminal: What the terminal can show.
        notice: A line shown at the start.
        keymap: The keys of every screen; the built-in ones when None.
        tour: Leads through an examination, if one is wanted.
    """

    ENABLE_COMMAND_PALETTE = False
    CSS_PATH = "styles.tcss"

    def __init__(
        self, session: "Session", *, terminal: Terminal, notice: str = "", keymap: "Keymap | None" = None,
        tour: "Tour | None" = None, **options: Any,
    ) -> None:  # fmt: skip
        super().__init__(terminal, ansi_color=True, **options)
        self.session = session
        self.keymap = keymap or SCREENS
        self.notice = notice
        self.tour = tour
        self.visit: Visit | None = None  # the one under way, to be kept when the terminal goes
        self.sheet: InjuryVisit | None = None  # the cord injury sheet under way, likewise
        self._verifying = False
        self._closed_burst = 0  # the burst in which a key closed a question
        self.waiting = Waiting(self)
        self._last_key = time.monotonic()
        self.ward.patience = PATIENCE

    @property
    def ward(self) -> "Repository":
        """Where the ward is kept."""
        return self.session.ward

    @classmethod
    def run_on(cls, session: "Session", *, terminal: Terminal, **options: Any) -> int:
        """Run until the doctor leaves; gives the exit code."""
        app: WardApp | None = None

        def keep(timeout: float) -> None:
            for under_way in (app.visit, app.sheet) if app is not None else ():
                if under_way is not None:
                    under_way.draft.flush(timeout)

        def leave() -> None:
            if app is not None:
                app.leave()

        def restore() -> None:
            if app is not None:
                app.give_back()

        ending = signals.Ending(keep=keep, leave=leave, restore=restore)
        driver_class = textual_port.driver_for(ascii_only=terminal.ascii, hung_up=ending.hang_up)
        app = cls(session, terminal=terminal, driver_class=driver_class, **options)
        with signals.watch(ending):
            app.run(mouse=terminal.mouse)
        keep(1.0)
        session.ward.patience = 3.0
        session.ward.settle()  # events that waited for another session
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
            if self._left_over(event):
                screen.say(LEFT_OVER)
            elif not self._kept_by_tour(screen, event.key):
                screen.on_key(event)
        elif self.led and isinstance(event, events.Paste | events.MouseEvent):
            event.stop()  # the tour is typed
        elif isinstance(event, events.Paste):
            screen.on_paste(event)
        elif isinstance(event, events.MouseEvent):
            screen.on_mouse(event)
        else:
            await super().on_event(event)

    @property
    def led(self) -> str:
        """What the tour says to type; empty where there is none."""
        return self.tour.words if self.tour else ""

    @property
    def led_to(self) -> str:
        """The bed that the tour begins at; empty where there is none."""
        return BED if self.tour else ""

    def _kept_by_tour(self, screen: LineScreen, key: str) -> bool:
        """Whether the tour keeps a key for itself; what it says stands below."""
        from wardexam.terminal.screens.hidden import HiddenScreen

        if self.tour is None or isinstance(screen, HiddenScreen):
            return False
        said = self.tour.take(key)
        if self.tour.left:
            self.tour = None
        if said:
            self.touched()
            screen.say(said)
        return bool(said)

    def closed_by(self, event: events.Event) -> None:
        """A key closed a question: what came with it in one piece is no key of what is below."""
        self._closed_burst = textual_port.burst_of(event).number

    def _left_over(self, event: events.Key) -> bool:
        """Whether a key came in one piece with the one that closed a question: then it is none."""
        number = textual_port.burst_of(event).number
        if not number or number != self._closed_burst:
            self._closed_burst = 0
            return False
        return True

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

    def show_help(self, keys: "tuple[Key, ...]") -> None:
        """What these keys do."""
        from wardexam.terminal.screens.text import TextScreen

        lines = help_lines(keys, self.size.width, self.size.height - 3)
        self.push_screen(TextScreen("Keys", "\n".join(lines), helps=True))

    def show_commands(self, keys: "tuple[Key, ...]", do: "Callable[[str], None]") -> None:
        """Every command of these keys, to search; `do` gets the action that is chosen."""
        from wardexam.terminal.screens.commands import CommandsScreen

        self.push_screen(CommandsScreen(keys, do))

    def examine(self, patient_id: str, shown: "Bed | None" = None) -> None:
        """Open the examination: the patient's draft if one was left, else a new one."""
        from wardexam.visit import Visit

        self._open(Visit.open(self.session, patient_id, shown))

    def amend(self, examination: "Examination") -> None:
        """Open a saved examination again; saving makes a further revision of it."""
        from wardexam.visit import Visit

        self._open(Visit.amend(self.session, examination))

    def _open(self, visit: "Visit") -> None:
        from wardexam.terminal.examine.screen import ExamineScreen

        self.visit = visit
        self.push_screen(ExamineScreen(visit))

    def show_note(
        self, patient_id: str, examination: "Examination | None" = None, shown_as: "Bed | None" = None
    ) -> None:  # fmt: skip
        """The note of an examination, the last one when none is given; others can be turned to."""
        from wardexam.terminal.screens.text import TextScreen
        from wardexam.visit import Saved

        saved = Saved(self.session, patient_id, shown_as)
        shown = examination or saved.last
        if shown is None:
            raise WardexamError(
                "no examination is saved yet",
                remedy=f"press {key_of(self.keymap['ward'], 'open')} to examine",
            )
        case = saved.case(shown)
        self.ward.record("viewed", patient_id, self.session.examiner)

        def turn(by: int) -> None:
            if other := saved.beside(shown, by):
                self.pop_screen()
                self.show_note(patient_id, other)
            else:
                screen.say("No earlier note." if by < 0 else "No later note.")

        screen = TextScreen(
            "Note", render=case.note, referral=case.referral, turn=turn, patient=saved.patient,
            patient_id=patient_id, which=saved.place(shown),
            amend=(lambda: self.amend(shown)) if saved.is_last_revision(shown) else None, urgency=saved.urgency,
        )  # fmt: skip
        self.push_screen(screen)

    def show_reasons(self, patient_id: str, shown_as: "Bed | None" = None) -> None:
        """Why the examination saved last is urgent; what is done about it is saved with it."""
        from wardexam.terminal.screens.reasons import ReasonsScreen
        from wardexam.visit import Saved, write_act

        saved = Saved(self.session, patient_id, shown_as)
        if saved.last is None:
            raise WardexamError(
                "no examination is saved yet",
                remedy=f"press {key_of(self.keymap['ward'], 'open')} to examine",
            )
        self.ward.record("viewed", patient_id, self.session.examiner)
        case = saved.named(None)

        def write(rules: list[str], kind: "ActKind", what: str) -> "Sequence[Act]":
            nonlocal case
            examination = write_act(self.session, patient_id, rules, kind, what, shown_as)
            case = replace(case, examination=examination)
            return examination.acts[-len(rules) :]

        self.push_screen(ReasonsScreen(saved.patient, lambda: case.urgency(own=True), write))

    def show_course(self, patient_id: str, shown_as: "Bed | None" = None) -> None:
        """Examinations, what changed between them, and the course."""
        from wardexam.terminal.course import course_text
        from wardexam.terminal.screens.text import TextScreen
        from wardexam.visit import Saved

        urgency = Saved(self.session, patient_id, shown_as).urgency
        file = self.ward.file(patient_id)
        text = course_text(file)
        self.ward.record("viewed", patient_id, self.session.examiner)
        course = TextScreen(
            "Course", text, patient=file.patient, patient_id=patient_id, urgency=urgency
        )
        self.push_screen(course)

    def open_sheet(
        self, patient_id: str, shown_as: "Bed | None" = None, urgency: "Callable[[], Urgency] | None" = None
    ) -> None:  # fmt: skip
        """Open the cord injury sheet: the draft if one was left, else a new one."""
        from wardexam.injury_visit import InjuryVisit

        self._open_sheet(InjuryVisit.open(self.session, patient_id, shown_as), urgency)

    def _open_sheet(
        self, sheet: "InjuryVisit", urgency: "Callable[[], Urgency] | None" = None
    ) -> None:
        from wardexam.injury.kept import at_words
        from wardexam.terminal.injury.screen import InjuryScreen
        from wardexam.visit import Saved

        patient_id = sheet.patient.id
        saved = Saved(self.session, patient_id)

        def findings() -> "tuple[Findings, str] | None":
            """What is being entered, where the sheet lies over it, else what was saved last."""
            if self.visit is not None and self.visit.patient.id == patient_id:
                return self.visit.examination, "examination being entered"
            last = saved.last
            return (last, f"examination of {at_words(last.at)}") if last else None

        self.sheet = sheet
        self.push_screen(
            InjuryScreen(
                sheet,
                findings,
                lambda scores: self._into_examination(patient_id, scores),
                urgency or (lambda: saved.urgency),
            )
        )

    def _into_examination(self, patient_id: str, scores: "InjurySheet") -> None:
        """Write a sheet's scores into the examination that is open below, else into the one that opens."""
        from wardexam.terminal.examine.actions import take_scores
        from wardexam.terminal.examine.screen import ExamineScreen

        if not isinstance(self.screen, ExamineScreen):
            self.examine(patient_id)
        if isinstance(self.screen, ExamineScreen):
            self.call_later(take_scores, self.screen, scores)

    def show_sheet(self, patient_id: str, kept: "KeptSheet") -> None:
        """The worksheet of a saved cord injury sheet; others can be turned to."""
        from wardexam.injury_visit import InjuryVisit, SavedSheets
        from wardexam.terminal.injury.screen import InjuryScreen
        from wardexam.terminal.screens.text import TextScreen
        from wardexam.visit import Saved

        sheets = SavedSheets(self.session, patient_id)
        self.ward.record("viewed", patient_id, self.session.examiner)

        def turn(by: int) -> None:
            if other := sheets.beside(kept, by):
                self.pop_screen()
                self.show_sheet(patient_id, other)
            else:
                screen.say("No earlier sheet." if by < 0 else "No later sheet.")

        def amend() -> None:
            # Where it was turned to from a sheet under way, that is left first: one sheet at a time.
            if not isinstance(self.screen, InjuryScreen) or self.screen.give_way():
                self._open_sheet(InjuryVisit.amend(self.session, kept))

        screen = TextScreen(
            "Worksheet", sheets.paper(kept), turn=turn, patient=sheets.patient, patient_id=patient_id,
            which=sheets.place(kept), amend=amend if sheets.is_last_revision(kept) else None,
            urgency=Saved(self.session, patient_id).urgency,
        )  # fmt: skip
        self.push_screen(screen)

    def show_handover(self) -> None:
        """The handover sheet."""
        from wardexam.note import handover
        from wardexam.terminal.screens.text import TextScreen

        papers = self.ward.papers()
        text = handover.sheet(
            papers, papers.head, now=self.session.now(), wording=self.session.wording
        )
        self.ward.record("viewed", "ward", self.session.examiner)
        self.push_screen(TextScreen("Handover", text, page=handover.PAGE_LINES, patient_id="ward"))


if TYPE_CHECKING:

    def _host(app: WardApp) -> Host:
        """The app gives all that a screen asks of it: the types hold that here."""
        return app
