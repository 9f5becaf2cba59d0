"""The app: which screen shows, what they share, and how the process ends."""

import threading
import time
from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from textual import events
from textual.screen import Screen

from wardexam import signals
from wardexam.errors import RecordsError, WardexamError
from wardexam.terminal import textual_port
from wardexam.terminal.environment import Terminal
from wardexam.terminal.keys import SCREENS, help_lines, key_of
from wardexam.terminal.loading import warm
from wardexam.terminal.painting import PaintingApp
from wardexam.terminal.screens.base import LineScreen
from wardexam.terminal.screens.ward import WardScreen
from wardexam.terminal.sending import Sending
from wardexam.terminal.store_calls import StoreCalls
from wardexam.terminal.tour import BED

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from wardexam.case import Case
    from wardexam.exam.act_kinds import ActKind
    from wardexam.exam.acts import Act
    from wardexam.exam.examination import Examination, Findings, Patient
    from wardexam.injury.kept import KeptSheet
    from wardexam.injury.sheet import InjurySheet
    from wardexam.injury_visit import InjuryVisit, SavedSheets
    from wardexam.reasoning.rules.reason import Urgency
    from wardexam.records.repository import Bed, Repository
    from wardexam.saved import Saved
    from wardexam.session import Session
    from wardexam.terminal.host import Host
    from wardexam.terminal.keymap import Keymap
    from wardexam.terminal.keys import Key
    from wardexam.terminal.screens.text import NoteScreen, TextScreen
    from wardexam.terminal.tour import Tour
    from wardexam.visit import Visit

IDLE_SECONDS = 300.0
PATIENCE = 0.1  # seconds that a key waits for another session; what takes longer goes on elsewhere
LEFT_OVER = "Left out: all that came at once behind that key, up to a pause."
PAUSED = 0.7  # seconds without a key: who saw that keys were left out begins again
CLOSING = 0.3  # seconds that the end waits for a call of the store that is under way
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
        self.pages: dict[str, str] = {}  # the rows where an examination was left, by patient
        self._verifying = False
        self._closed_burst = 0  # the burst in which a key closed a question
        self._left_out_at = float("-inf")  # when a key was left out last
        self.calls = StoreCalls(self)
        self.sending = Sending(self)
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
        app.calls.close(CLOSING)
        keep(1.0)
        session.ward.patience = 3.0
        with suppress(RecordsError):
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
                # What a colleague enters meanwhile is no change of the list, and may be an alarm on it.
                if self.ward.verify() or any(d.held for d in self.ward.drafts()):
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
        elif not isinstance(event, events.Key | events.Paste | events.MouseEvent):
            await super().on_event(event)
        elif self.calls.holding or not screen.ready:
            self.calls.keep(event)
        else:
            await self.take(event)

    async def take(self, event: events.Event) -> None:
        """Act on a key, paste or click, on the screen that is on top now."""
        screen = self.screen if self.screen_stack else None
        if not isinstance(screen, LineScreen):
            await super().on_event(event)
        elif isinstance(event, events.Key):
            if self._left_over(event):
                screen.say(LEFT_OVER)
            elif not self._kept_by_tour(screen, event.key):
                screen.on_key(event)
        elif self.led:
            event.stop()  # the tour is typed
        elif isinstance(event, events.Paste):
            screen.on_paste(event)
        elif isinstance(event, events.MouseEvent):
            screen.on_mouse(event)

    def call_later(self, callback: "Callable[..., Any]", *args: Any, **kwargs: Any) -> bool:
        """Call it in the app's thread; whether it will be: a thread may have its answer when the app has ended."""
        try:
            return super().call_later(callback, *args, **kwargs)
        except RuntimeError:  # its loop is closed
            if self.is_running:
                raise
            return False

    def refused(self, error: WardexamError) -> None:
        """Say on the screen on top why something could not be done."""
        if self.screen_stack and isinstance(self.screen, LineScreen):
            self.screen.refused(error)

    def tell(self, text: str) -> None:
        """Say something on the screen on top."""
        if self.screen_stack and isinstance(self.screen, LineScreen):
            self.screen.say(text)

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
        """Whether a key came in one piece with the one that closed a question: then it is none.

        Nor is any that follows without a pause: the end of what was cut would mean something else.
        """
        number = textual_port.burst_of(event).number
        behind = bool(number) and number == self._closed_burst
        if behind or event.time - self._left_out_at < PAUSED:
            self._left_out_at = event.time
            return True
        self._closed_burst = 0
        return False

    def touched(self) -> None:
        """A key was pressed."""
        self._last_key = time.monotonic()

    def _idle(self) -> None:
        from wardexam.terminal.screens.hidden import HiddenScreen

        idle = time.monotonic() - self._last_key > IDLE_SECONDS
        if idle and not self.calls.holding and not isinstance(self.screen, HiddenScreen):
            self.hide()

    def hide(self) -> None:
        """Hide what the screen shows."""
        from wardexam.terminal.screens.hidden import HiddenScreen

        self.push_screen(HiddenScreen())

    def show_help(self, keys: "tuple[Key, ...]") -> None:
        """What these keys do."""
        from wardexam.terminal.screens.text import HelpScreen

        lines = help_lines(keys, self.size.width, self.size.height - 3)
        self.push_screen(HelpScreen("\n".join(lines)))

    def show_commands(self, keys: "tuple[Key, ...]", do: "Callable[[str], None]") -> None:
        """Every command of these keys, to search; `do` gets the action that is chosen."""
        from wardexam.terminal.screens.commands import CommandsScreen

        self.push_screen(CommandsScreen(keys, do))

    def examine(
        self, patient_id: str, shown: "Bed | None" = None, then: "Callable[[], None]" = lambda: None
    ) -> None:
        """Open the examination: the patient's draft if one was left, else a new one; then go on."""

        def read() -> "Visit":
            from wardexam.visit import Visit

            return Visit.open(self.session, patient_id, shown)

        def opened(visit: "Visit") -> None:
            self._open(visit)
            then()

        self.calls.open(read, opened, given_up=lambda visit: visit.leave())

    def _amend(self, examination: "Examination", leave: "Callable[[], None]") -> None:
        """Open a saved examination again, once its note is left; saving makes a further revision of it."""

        def read() -> "Visit":
            from wardexam.visit import Visit

            return Visit.amend(self.session, examination)

        def opened(visit: "Visit") -> None:
            leave()
            self._open(visit)

        def failed(error: WardexamError) -> None:
            leave()
            self.refused(error)

        self.calls.open(read, opened, failed, given_up=lambda visit: visit.leave())

    def _open(self, visit: "Visit") -> None:
        from wardexam.terminal.examine.screen import ExamineScreen

        self.visit = visit
        page = self.pages.pop(visit.patient.id, "")
        self.push_screen(ExamineScreen(visit, page if visit.resumed else ""))

    def _nothing_saved(self, saved: "Saved") -> WardexamError:
        none = "no examination is saved yet"
        if saved.last_with_errors:
            none = "no examination counts: all were entered in error"
        opens, why = (
            key_of(self.keymap[at], do) for at, do in (("ward", "open"), ("examine", "why"))
        )
        return WardexamError(none, remedy=f"{opens} examines, {why} there says why it is urgent")

    def saved(
        self, visit: "Visit", examination: "Examination", leave: "Callable[[], None]"
    ) -> None:
        """Take the draft of an examination that was saved away, leave its screen, and show its note."""

        def failed(error: WardexamError) -> None:
            leave()
            self.tell(f"Saved. Its note cannot be shown now: {error.line}")

        def said(note: "NoteScreen") -> str:
            return f"Saved. {note.key('copy')} copies the note, {note.key('leave')} goes back to the ward."

        self._show_note(
            visit.patient.id, examination, before=visit.done, leave=leave, failed=failed, said=said
        )

    def show_note(self, patient_id: str, shown_as: "Bed | None" = None) -> None:
        """The note of the examination saved last; others can be turned to."""
        self._show_note(patient_id, None, shown_as)

    def _show_note(
        self, patient_id: str, examination: "Examination | None", shown_as: "Bed | None" = None, *,
        before: "Callable[[], None]" = lambda: None, leave: "Callable[[], None]" = lambda: None,
        failed: "Callable[[WardexamError], None] | None" = None, said: "Callable[[NoteScreen], str]" = lambda _: "",
    ) -> None:  # fmt: skip
        """The note of an examination, the last one when none is given.

        Args:
            patient_id: Whose it is.
            examination: Which; None for the one saved last.
            shown_as: The line that was chosen, if one was.
            before: Done in the store's thread before it is read.
            leave: Leaves the screen in whose place it is shown.
            failed: Gets why it cannot be shown.
            said: What is then said.
        """

        def read() -> "tuple[Saved, Examination, Case]":
            from wardexam.saved import Saved

            before()
            saved = Saved(self.session, patient_id, shown_as)
            shown = examination or saved.last or saved.last_with_errors
            if shown is None:
                raise self._nothing_saved(saved)
            case = saved.case(shown)
            self.ward.record("viewed", patient_id, self.session.examiner)
            return saved, shown, case

        def show(found: "tuple[Saved, Examination, Case]") -> None:
            from wardexam.terminal.screens.text import NoteScreen

            saved, shown, case = found

            def turn(by: int) -> None:
                if other := saved.beside(shown, by):
                    self._show_note(patient_id, other, leave=screen.do_leave)
                else:
                    screen.say("No earlier note." if by < 0 else "No later note.")

            amend = mark = None
            if saved.is_last_revision(shown):
                mark = lambda: self._mark(saved.patient, shown, screen)  # noqa: E731
                if not shown.in_error:
                    amend = lambda: self._amend(shown, screen.do_leave)  # noqa: E731
            screen: NoteScreen = NoteScreen(
                case, saved.place(shown), saved.urgency, turn, amend, mark
            )
            leave()
            self.push_screen(screen)
            screen.said = said(screen)

        self.calls.open(read, show, failed)

    def _mark(self, patient: "Patient", shown: "Examination", note: "NoteScreen") -> None:
        """Ask why an examination was entered in error, or why it counts again; its note then says so."""
        from wardexam.exam.in_error import fault_of_why, marking
        from wardexam.saved import mark_in_error, mark_valid

        asked, about, said = marking(patient, shown)
        mark = mark_valid if shown.in_error else mark_in_error

        def marked(made: "Examination") -> None:
            if note.there and self.screen is note:
                self._show_note(made.patient, made, leave=note.do_leave, said=lambda _: said)
            else:
                self.tell(said)

        def answered(why: str) -> str | None:
            if wrong := fault_of_why(why):
                return wrong
            at = self.session.now()  # tried again with this time, so that it is written once
            self.calls.change(
                lambda: mark(self.session, shown, why, at),
                marked,
                self.refused,
                lambda waits: self.tell(f"Not written yet: {waits}; it follows by itself."),
            )
            return None

        note.ask(asked, answered, choices=about)

    def show_reasons(self, patient_id: str, shown_as: "Bed | None" = None) -> None:
        """Why the examination saved last is urgent; what is done about it is saved with it."""

        def read() -> "tuple[Saved, Case]":
            from wardexam.saved import Saved

            saved = Saved(self.session, patient_id, shown_as)
            if saved.last is None:
                raise self._nothing_saved(saved)
            self.ward.record("viewed", patient_id, self.session.examiner)
            return saved, saved.named(None)

        def show(found: "tuple[Saved, Case]") -> None:
            from wardexam.saved import write_act
            from wardexam.terminal.screens.reasons import ReasonsScreen

            saved, case = found

            def write(
                rules: list[str], kind: "ActKind", what: str, done: "Callable[[Sequence[Act]], None]",
                failed: "Callable[[WardexamError], None]",
            ) -> None:  # fmt: skip
                def written(examination: "Examination") -> None:
                    nonlocal case
                    case = replace(case, examination=examination)
                    done(examination.acts[-len(rules) :])

                at = self.session.now()  # tried again with this time, so that it is written once
                self.calls.change(
                    lambda: write_act(self.session, patient_id, rules, kind, what, shown_as, at),
                    written,
                    failed,
                    lambda waits: self.tell(f"Not written yet: {waits}; it follows by itself."),
                )

            screen = ReasonsScreen(saved.patient, lambda: case.urgency(own=True), write)
            self.push_screen(screen)

        self.calls.open(read, show)

    def show_course(self, patient_id: str, shown_as: "Bed | None" = None) -> None:
        """Examinations, what changed between them, and the course."""

        def read() -> "tuple[Saved, str]":
            from wardexam.saved import Saved
            from wardexam.terminal.course import course_text

            saved = Saved(self.session, patient_id, shown_as)
            self.ward.record("viewed", patient_id, self.session.examiner)
            return saved, course_text(saved.file)

        def show(found: "tuple[Saved, str]") -> None:
            from wardexam.terminal.screens.text import TextScreen

            saved, text = found
            course = TextScreen("Course", text, patient=saved.patient, urgency=saved.urgency)
            self.push_screen(course)

        self.calls.open(read, show)

    def open_sheet(
        self, patient_id: str, shown_as: "Bed | None" = None, urgency: "Callable[[], Urgency] | None" = None
    ) -> None:  # fmt: skip
        """Open the cord injury sheet: the draft if one was left, else a new one."""

        def read() -> "InjuryVisit":
            from wardexam.injury_visit import InjuryVisit

            return InjuryVisit.open(self.session, patient_id, shown_as)

        self._open_sheet(patient_id, read, urgency)

    def _open_sheet(
        self, patient_id: str, opening: "Callable[[], InjuryVisit]", urgency: "Callable[[], Urgency] | None" = None,
    ) -> None:  # fmt: skip
        def read() -> "tuple[InjuryVisit, Saved]":
            from wardexam.saved import Saved

            sheet = opening()
            try:
                return sheet, Saved(self.session, patient_id)
            except WardexamError:
                sheet.leave()
                raise

        def opened(found: "tuple[InjuryVisit, Saved]") -> None:
            from wardexam.injury.kept import at_words
            from wardexam.terminal.injury.screen import InjuryScreen

            sheet, saved = found

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

        self.calls.open(read, opened, given_up=lambda found: found[0].leave())

    def _into_examination(self, patient_id: str, scores: "InjurySheet") -> None:
        """Write a sheet's scores into the examination that is open below, else into the one that opens."""
        from wardexam.terminal.examine.actions import take_scores
        from wardexam.terminal.examine.screen import ExamineScreen

        def take() -> None:
            if isinstance(self.screen, ExamineScreen):
                self.call_later(take_scores, self.screen, scores)

        if isinstance(self.screen, ExamineScreen):
            take()
        else:
            self.examine(patient_id, then=take)

    def saved_sheet(
        self, visit: "InjuryVisit", kept: "KeptSheet", leave: "Callable[[], None]", to_signs: str
    ) -> None:
        """Take the draft of a sheet that was saved away, leave its screen, and show its worksheet."""

        def failed(error: WardexamError) -> None:
            leave()
            self.tell(f"Saved. Its worksheet cannot be shown now: {error.line}")

        def said(paper: "TextScreen", sheets: "SavedSheets") -> str:
            if sheets.unheard(kept):
                give = f"{paper.key('amend')}, then {to_signs}"
                return f"Saved. Urgency and note hear of it once {give} gives it to an examination."
            return f"Saved. {paper.key('copy')} copies it, {paper.key('leave')} goes back."

        self._show_sheet(visit.patient.id, kept, leave, before=visit.done, failed=failed, said=said)

    def show_sheet(
        self, patient_id: str, kept: "KeptSheet | None", leave: "Callable[[], None]", *, none: str = ""
    ) -> None:  # fmt: skip
        """The worksheet of a saved cord injury sheet, the one saved last when none is given."""
        self._show_sheet(patient_id, kept, leave, none=none)

    def _show_sheet(
        self, patient_id: str, wanted: "KeptSheet | None", leave: "Callable[[], None]", *,
        before: "Callable[[], None]" = lambda: None, failed: "Callable[[WardexamError], None] | None" = None,
        said: "Callable[[TextScreen, SavedSheets], str]" = lambda *_: "", none: str = "",
    ) -> None:  # fmt: skip
        def read() -> "tuple[SavedSheets, KeptSheet | None, Saved]":
            from wardexam.injury_visit import SavedSheets
            from wardexam.saved import Saved

            before()
            sheets, saved = SavedSheets(self.session, patient_id), Saved(self.session, patient_id)
            self.ward.record("viewed", patient_id, self.session.examiner)
            return sheets, wanted or sheets.last, saved

        def show(found: "tuple[SavedSheets, KeptSheet | None, Saved]") -> None:
            from wardexam.terminal.screens.text import TextScreen

            sheets, kept, saved = found
            if kept is None:
                self.tell(none)
                return
            last = sheets.is_last_revision(kept)

            def turn(by: int) -> None:
                if other := sheets.beside(kept, by):
                    self._show_sheet(patient_id, other, screen.do_leave)
                else:
                    screen.say("No earlier sheet." if by < 0 else "No later sheet.")

            screen: TextScreen = TextScreen(
                "Worksheet", sheets.paper(kept), turn=turn, patient=sheets.patient,
                which=sheets.place(kept), amend=(lambda: self._amend_sheet(kept, screen)) if last else None,
                urgency=saved.urgency,
            )  # fmt: skip
            leave()
            self.push_screen(screen)
            screen.said = said(screen, sheets)

        self.calls.open(read, show, failed)

    def _amend_sheet(self, kept: "KeptSheet", paper: "TextScreen") -> None:
        """Leave the worksheet of a saved sheet and open that again; a sheet under way below is left first."""
        from wardexam.terminal.injury.screen import InjuryScreen

        def read() -> "InjuryVisit":
            from wardexam.injury_visit import InjuryVisit

            return InjuryVisit.amend(self.session, kept)

        def go_on() -> None:
            self._open_sheet(kept.patient, read)

        paper.do_leave()
        below = self.screen
        if isinstance(below, InjuryScreen):
            below.give_way(go_on)
        else:
            go_on()

    def show_handover(self) -> None:
        """The handover sheet."""

        def read() -> str:
            from wardexam.note import handover
            from wardexam.note.gone import gone
            from wardexam.unsaved import begun

            papers, now = self.ward.papers(), self.session.now()
            self.ward.record("viewed", "ward", self.session.examiner)
            return handover.sheet(
                papers, papers.head, now=now, wording=self.session.wording,
                begun=begun(self.ward, papers.drafts, self.session.wording),
                left=gone(self.ward, now, self.session.wording),
            )  # fmt: skip

        def show(text: str) -> None:
            from wardexam.note import handover
            from wardexam.terminal.screens.text import TextScreen

            self.push_screen(TextScreen("Handover", text, page=handover.PAGE_LINES, trail="ward"))

        self.calls.open(read, show)


if TYPE_CHECKING:

    def _host(app: WardApp) -> Host:
        """The app gives all that a screen asks of it: the types hold that here."""
        return app
