"""The ward list: who lies where, how urgent, whether worse, when due."""

import textwrap
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from wardexam.errors import InputError, WardexamError
from wardexam.exam.identity import (
    CHECK,
    day_words,
    missing,
    read_birth_date,
    read_number,
    years_completed,
)
from wardexam.note.reasons import TODAY, listed_word, running
from wardexam.records.repository import Bed, ConflictError, draft_line
from wardexam.terminal.canvas import Line
from wardexam.terminal.screens.base import LineScreen

if TYPE_CHECKING:
    from wardexam.exam.examination import Patient

ORDERS = ("bed", "urgency", "worsening", "due")
POLL_SECONDS = 1.5
URGENCY = ("open", "days", "today", "NOW")


SOON = timedelta(hours=12)  # a limit that ends later stands only below the list, for who is chosen
AHEAD = timedelta(minutes=5)  # what two hosts' clocks may differ by


def _ahead(then: str | None, now: datetime) -> bool:
    """Whether a time is still to come: the clock was wrong then, or is now."""
    return then is not None and datetime.fromisoformat(then) > now + AHEAD


def _patient(details: Mapping[str, Any]) -> "Patient":
    """The patient with these details.

    Raises:
        InputError: A detail is refused; its text says where and what is allowed.
    """
    from pydantic import ValidationError

    from wardexam.exam.entry import first_fault
    from wardexam.exam.examination import Patient

    try:
        return Patient.model_validate(details)
    except ValidationError as error:
        raise InputError(first_fault(error)) from None


def _rank(bed: Bed) -> float:
    """How urgent a bed is for the order: who was never examined stands directly under NOW."""
    if bed.summary:
        return bed.summary.urgency
    return 2.5 if bed.last_at is None else 0


def _ago(then: str | None, now: datetime) -> str:
    if then is None:
        return "never"
    if _ahead(then, now):
        return f"{datetime.fromisoformat(then).year}?"
    hours = (now - datetime.fromisoformat(then)).total_seconds() / 3600
    return (
        f"{hours * 60:.0f} min"
        if hours < 1
        else f"{hours:.0f} h"
        if hours < 48
        else f"{hours / 24:.0f} d"
    )


def _due(bed: Bed, now: datetime) -> str:
    if _ahead(bed.last_at, now):
        return "CLOCK"
    if bed.due_at is None:
        return "" if bed.recheck_hours is None else "FIRST"
    hours = (bed.due_at - now).total_seconds() / 3600
    span = f"{abs(hours):.0f}h" if abs(hours) < 100 else f"{abs(hours) / 24:.0f}d"
    return f"LATE {span}" if hours < 0 else f"in {span}"


class WardScreen(LineScreen):
    """The ward list."""

    SCREEN = "ward"

    def __init__(self) -> None:
        super().__init__()
        self._beds: tuple[Bed, ...] = ()
        self._chosen: str | None = None  # the patient under the cursor, wherever the list puts them
        self._order = 0
        self._search = ""
        self._discharged = False
        self._stamp: Any = None

    def on_mount(self) -> None:
        """Read the list and watch for other sessions' changes."""
        self._reload()
        self._choose(0)
        self.said = self._drafts_left() or self.said or self.ward_app.notice
        self.set_interval(POLL_SECONDS, self._poll)

    def _drafts_left(self) -> str:
        """Drafts that nobody is writing: whose, how old, and what may be done with them."""
        drafts = [d for d in self.ward_app.ward.drafts() if not d.held]
        if not drafts:
            return ""
        last, beds = drafts[-1], {bed.patient_id: bed.bed for bed in self._beds}
        more = f" and {len(drafts) - 1} more (*)" if len(drafts) > 1 else ""
        if last.trouble:
            return f"A draft is damaged{more}: {last.trouble}"
        if last.patient_id in beds:
            self._chosen = last.patient_id  # the keys named below act on this patient
        told = draft_line(
            last, beds.get(last.patient_id, "not listed"), self.ward_app.session.now()
        )
        return (
            f"Draft: {told}{more}. {self.key('open')} resumes, {self.key('set_aside')} sets aside."
        )

    def on_screen_resume(self) -> None:
        """Read again on coming back; the base then draws."""
        self._reload()

    def _poll(self) -> None:
        if self.app.screen is self and self.ward_app.ward.stamp() != self._stamp:
            self.reload()

    def reload(self) -> None:
        """Read the list again and draw it; who was chosen stays chosen, or is said to have left it."""
        chosen = self._bed
        self._reload()
        if chosen and self._bed is None and not self._typing:
            self.said = (
                f"{chosen.bed} {chosen.name} is not on this list any more. Nobody is chosen."
            )
        self.redraw()

    def _reload(self) -> None:
        ward = self.ward_app.ward
        try:
            self._stamp = ward.stamp()
            beds = ward.beds(discharged=self._discharged)
        except WardexamError as error:
            self.said = error.line
            return
        if ward.problem:
            self.said = ward.problem
        wanted = self._search.lower()
        found = [b for b in beds if wanted in f"{b.bed} {b.name}".lower()]
        now = self.ward_app.session.now()
        first, never = 0.0, float("inf")  # never examined, though a schedule is set; no schedule
        keys: tuple[Callable[[Bed], Any], ...] = (
            lambda b: (b.bed, b.name),
            lambda b: (-_rank(b), b.bed),
            lambda b: (
                not (b.summary and b.summary.worse),
                -_rank(b),
                b.bed,
            ),
            lambda b: (
                first
                if _ahead(b.last_at, now)
                else b.due_at.timestamp()
                if b.due_at
                else first
                if b.recheck_hours
                else never,
                b.bed,
            ),
        )
        self._beds = tuple(sorted(found, key=keys[self._order]))

    def draw(self) -> None:
        """The heading and as many beds as fit, around the cursor."""
        app, now = self.ward_app, self.ward_app.session.now()
        kind = "Discharged" if self._discharged else "Ward"
        search = f'   search "{self._search}"' if self._search else ""
        self.canvas("heading").show(
            [
                [
                    (
                        f"{kind}  {now:%d %b %Y %H:%M}  {app.session.examiner[:20]}  {len(self._beds)} patients, by {ORDERS[self._order]}{search}",
                        "accent",
                    )
                ]
            ]
        )
        names = (
            f"{'Bed':<6}{'Name':<17}{'Age':>3} {'Urgency':<8}{'':<6}{'Last':>6} {'Due':<8} Reason"
        )
        lines: list[Line] = [[(f"  {names}", "quiet")]]
        room, first = self._window()
        lines += [
            self._line(bed, now, chosen=bed.patient_id == self._chosen)
            for bed in self._beds[first : first + room]
        ]
        if not self._beds:
            lines += [
                [("", "")],
                [
                    (
                        "  "
                        + (
                            "Nobody is found."
                            if self._search or self._discharged
                            else f"The ward is empty. Press {self.key('admit')} to admit the first patient."
                        ),
                        "",
                    )
                ],
            ]
        lines += [[] for _ in range(room + 1 - len(lines))]
        self.canvas("body").show([*lines, self._clock(now)])

    def _line(self, bed: Bed, now: datetime, *, chosen: bool) -> Line:
        from wardexam.exam.text import clean, to_ascii

        clear = to_ascii if self.ward_app.terminal.ascii else clean
        summary = bed.summary
        word = listed_word(summary, now, URGENCY[summary.urgency]) if summary else "?"
        mark = "*" if bed.has_draft else " "
        age = "" if bed.age is None else str(bed.age)
        who = f"{mark} {clear(bed.bed)[:5]:<6}{clear(bed.name)[:16]:<17}{age:>3} "
        worse = "worse" if summary and summary.worse else ""
        rest = f"{worse:<6}{_ago(bed.last_at, now):>6} {_due(bed, now):<8} "
        text = (
            "RECORD UNREADABLE"
            if bed.trouble
            else summary.headline
            if summary
            else "not examined"
            if bed.last_at is None
            else "not worked out"
        )
        if _ahead(bed.last_at, now) and bed.last_at:
            text = f"dated {datetime.fromisoformat(bed.last_at):%d %b %Y}, still to come; {text}"
        due = summary.due_at if summary and not bed.discharged else None
        clock = running(summary, now, step=False) if summary and due and due < now + SOON else ""
        late = clock.startswith("OVERDUE")
        room = max(10, self.size.width - 60) - len(clock) - bool(clock)
        text = textwrap.shorten(text, max(2, room), placeholder="..")
        style = "cursor" if chosen else ""
        urgent = (
            "alarm"
            if word == "NOW" and not chosen
            else "strong"
            if summary and summary.urgency == TODAY and not chosen
            else style
        )
        # A mark while nothing was done about one of the gravest reasons.
        new = " !" if summary and summary.new and summary.urgency else ""
        line: Line = [(who, style), (f"{word}{new}".ljust(7), urgent), (" ", style), (rest, style)]
        if clock:
            line += [(clock, "alarm" if late and not chosen else style), (" ", style)]
        return [*line, (text, style)]

    def _clock(self, now: datetime) -> Line:
        """By when what is to be done for the patient who is chosen, and why."""
        from wardexam.exam.text import clean, to_ascii

        bed = self._bed
        if bed is None or bed.summary is None or bed.discharged or not bed.summary.due:
            return []
        clear = to_ascii if self.ward_app.terminal.ascii else clean
        clock = running(bed.summary, now)
        text = clear(f"{bed.bed}  {clock}; {bed.summary.headline}")
        style = "alarm" if clock.startswith("OVERDUE") else "strong"
        return [(f"  {text}"[: self.size.width], style)]

    @property
    def _row(self) -> int | None:
        """Where the chosen patient stands in the list now; None when on it no more."""
        places = (n for n, bed in enumerate(self._beds) if bed.patient_id == self._chosen)
        return next(places, None)

    @property
    def _bed(self) -> Bed | None:
        row = self._row
        return None if row is None else self._beds[row]

    def _choose(self, row: int) -> None:
        """Choose who stands at a line of the list as it is shown."""
        inside = max(0, min(row, len(self._beds) - 1))
        self._chosen = self._beds[inside].patient_id if self._beds else None

    def _with_bed(self, do: Callable[[Bed], None]) -> None:
        if self._bed is None:
            self.say(
                "Nobody is chosen. Choose a patient with the arrows."
                if self._beds
                else f"Nobody is chosen. Press {self.key('admit')} to admit a patient."
            )
            return
        try:
            do(self._bed)
        except WardexamError as error:
            self._done(error.line)  # the list says now what is true

    def _window(self) -> tuple[int, int]:
        """How many beds show, and which is the first."""
        room = self.size.height - 5  # below them the clock of the one who is chosen
        return room, max(0, min((self._row or 0) - room // 2, len(self._beds) - room))

    def click(self, x: int, y: int) -> None:
        """A click on a bed chooses it; on the chosen one examines."""
        room, first = self._window()
        row = first + y - 2
        if not 0 <= y - 2 < room or row >= len(self._beds):
            return
        if row == self._row:
            self.do_open()
        else:
            self._choose(row)
            self.redraw()

    def _move(self, by: int) -> None:
        row = self._row
        self._choose(0 if row is None else row + by)
        self.redraw()

    def do_up(self) -> None:
        """Move up."""
        self._move(-1)

    def do_down(self) -> None:
        """Move down."""
        self._move(1)

    def do_open(self) -> None:
        """Examine."""
        self._with_bed(lambda bed: self.ward_app.examine(bed.patient_id, bed))

    def do_note(self) -> None:
        """The last note."""
        self._with_bed(lambda bed: self.ward_app.show_note(bed.patient_id, shown_as=bed))

    def do_why(self) -> None:
        """Every reason of the last examination, and what was done."""
        self._with_bed(lambda bed: self.ward_app.show_reasons(bed.patient_id, bed))

    def do_course(self) -> None:
        """Examinations, changes, course."""
        self._with_bed(lambda bed: self.ward_app.show_course(bed.patient_id, bed))

    def do_search(self) -> None:
        """Search."""

        def found(text: str) -> None:
            self._search = text.strip()
            self._reload()
            if self._bed is None:
                self._choose(0)
            self.redraw()

        self.ask("Search bed or name (empty shows all):", found)

    def do_order(self) -> None:
        """Next order."""
        self._order = (self._order + 1) % len(ORDERS)
        self._reload()
        self.redraw()

    def do_discharged(self) -> None:
        """Discharged patients, or the ward."""
        self._discharged = not self._discharged
        self._reload()
        self._choose(0)
        self.redraw()

    def do_admit(self) -> None:
        """Ask for the details of a new patient."""
        self._form({}, self._admit, self.ward_app.session.now())

    def do_edit(self) -> None:
        """Change details."""

        def edit(bed: Bed) -> None:
            patient = self.ward_app.ward.patient(bed.patient_id)
            shown = {
                k: "" if (v := getattr(patient, k)) is None else str(v) for k, _ in self.QUESTIONS
            }
            if patient.born:
                shown["born"] = day_words(patient.born)
            self._form(
                shown, lambda given: self._edit(patient, given), patient.admitted, every=True
            )

        self._with_bed(edit)

    QUESTIONS = (
        ("bed", "Bed:"), ("name", "Name:"), ("number", "Hospital number (empty if not known):"),
        ("born", "Born, as 4 Mar 1985 (or empty):"), ("age", "Age in years (empty if not known):"),
        ("sex", "Sex: female, male, other, unknown:"), ("recheck_hours", "Re-examine every how many hours (empty: no schedule):"),
    )  # fmt: skip

    def _form(
        self,
        given: dict[str, str],
        done: Callable[[dict[str, Any]], None],
        admitted: datetime,
        *,
        every: bool = False,
    ) -> None:
        """Ask every detail in turn; one that cannot be is asked again, and nothing typed is lost.

        The birth date is asked for where there is no number, the age where there is no birth date.

        Args:
            given: What is known already, as text.
            done: Gets the details as they are kept.
            admitted: When the patient came.
            every: Whether the birth date is asked for in any case.
        """
        values: dict[str, Any] = {}

        def step(number: int, first: str = "") -> None:
            if number == len(self.QUESTIONS):
                done(values)
                return
            field, question = self.QUESTIONS[number]
            if field == "born" and values["number"] and not every:
                step(number + 1)
                return
            if field == "age" and values.get("born"):
                values["age"] = years_completed(values["born"], admitted.date())
                step(number + 1, f"Born {day_words(values['born'])}")
                return

            def answered(text: str) -> None:
                given[field] = text.strip()
                values[field], wrong = self._detail(field, given[field], admitted)
                step(number if wrong else number + 1, wrong)

            self.ask(f"{first}. {question}" if first else question, answered, given.get(field, ""))

        step(0)

    def _detail(self, field: str, text: str, admitted: datetime) -> tuple[Any, str]:
        """A detail as it is kept, and what is wrong with it, if anything."""
        value: Any = text
        if field in ("age", "recheck_hours"):
            if text and not text.isdecimal():
                return None, f"'{text[:10]}' is no whole number"
            value = int(text) if text else None
        elif field == "sex":
            sexes = ("female", "male", "other", "unknown")
            value = next(
                (s for s in sexes if text and s.startswith(text.lower())), text or "unknown"
            )
        elif field in ("number", "born"):
            try:
                value = read_number(text) if field == "number" else None
                if field == "born" and text:
                    value = read_birth_date(text, admitted.date())
            except InputError as error:
                return None, error.what[:1].upper() + error.what[1:]
        elif not text:
            return None, "Not empty"
        whole = {"id": "checked0", "bed": "-", "name": "-", "admitted": admitted}
        try:
            _patient({**whole, field: value})
        except InputError as error:
            wrong = error.what.removeprefix(f"{field}: ")
            return None, wrong[:1].upper() + wrong[1:]
        return value, ""

    def _admit(self, values: dict[str, Any]) -> None:
        app = self.ward_app
        try:
            patient = _patient(
                {**values, "id": app.session.new_id(), "admitted": app.session.now()}
            )
        except InputError as error:
            self.say(f"Not admitted: {error.what}")
            return

        def admitted(_: Any) -> None:
            self._chosen = patient.id
            key = self.key("open").capitalize()
            self._done(
                f"Admitted {CHECK} {key} examines."
                if missing(patient)
                else f"Admitted. {key} starts the examination."
            )

        self._attempt(lambda: app.ward.admit(patient, app.session.examiner), admitted, "admitted")

    def _attempt(
        self, action: Callable[[], Any], done: Callable[[Any], None], word: str,
        failed: Callable[[WardexamError], None] | None = None,
    ) -> None:  # fmt: skip
        """Change something in the ward, now or as soon as the session in the way lets go."""
        self.ward_app.waiting.attempt(
            action,
            done,
            failed or (lambda error: self._done(error.line)),
            lambda busy: self.say(
                f"Not {word} yet: held by {busy.holder}. It is done when that lets go."
            ),
        )

    def act(self, action: str) -> None:
        """Do an action; what was said of the one before goes with it, what is wrong with the ward stays."""
        self.said = self.ward_app.ward.problem
        super().act(action)

    def _done(self, said: str) -> None:
        """Say what was done, on the list as it is now."""
        self._reload()
        self.said = said
        self.redraw()

    def _edit(self, patient: Any, values: dict[str, Any]) -> None:
        try:
            changed = _patient({**patient.model_dump(), **values})
        except InputError as error:
            self._done(f"Not saved: {error.what}")
            return

        def failed(error: WardexamError) -> None:
            if not isinstance(error, ConflictError):
                self._done(error.line)
                return
            stored = error.stored
            differ = [
                f"{k}: theirs '{getattr(stored, k)}', yours '{v}'"
                for k, v in values.items()
                if getattr(stored, k) != v
            ]
            self._done(
                ("Changed by someone else meanwhile. " + "; ".join(differ))[: self.size.width]
            )

        app = self.ward_app
        self._attempt(
            lambda: app.ward.update(changed, app.session.examiner),
            lambda _: self._done(f"Saved {CHECK}" if missing(changed) else "Details saved."),
            "saved",
            failed,
        )

    def do_discharge(self) -> None:
        """Discharge after a typed yes, or restore."""

        def ask(bed: Bed) -> None:
            verb = "Restore" if self._discharged else "Discharge"
            self.ask(
                f"{verb} {bed.bed} {bed.name}? Type yes:", lambda text: self._leave_ward(bed, text)
            )

        self._with_bed(ask)

    def _leave_ward(self, bed: Bed, text: str) -> None:
        app, back = self.ward_app, bool(bed.discharged)
        if text.strip().lower() != "yes":
            self.say("Nothing was changed.")
            return
        said = f"Restored: {bed.bed} {bed.name}." if back else (
            f"Discharged: {bed.bed} {bed.name}; kept under {self.key('discharged')}."
        )  # fmt: skip

        def leave() -> None:
            if back:
                app.ward.restore(bed.patient_id, app.session.examiner)
            else:
                app.ward.discharge(bed.patient_id, app.session.now(), app.session.examiner)

        def left(_: Any) -> None:
            row = self._row
            self._done(said)
            if self._bed is None and row is not None:
                self._choose(row)
                self.redraw()

        self._attempt(leave, left, "restored" if back else "discharged")

    def do_set_aside(self) -> None:
        """Set the patient's draft aside."""

        def aside(bed: Bed) -> None:
            drafts = [
                d
                for d in self.ward_app.ward.drafts()
                if (d.patient_id == bed.patient_id or (d.trouble and not d.patient_id))
                and not d.held
            ]
            if not drafts:
                self.say("No draft is left for this patient.")
                return
            self.ward_app.ward.set_aside(drafts[-1].draft_id, self.ward_app.session.examiner)
            self._done("Draft set aside; its file stays in the ward's folder.")

        self._with_bed(aside)

    def do_handover(self) -> None:
        """The handover sheet."""
        self.ward_app.show_handover()

    def do_hide(self) -> None:
        """Hide the screen."""
        self.ward_app.hide()

    def do_leave(self) -> None:
        """Quit."""
        self.app.exit()
