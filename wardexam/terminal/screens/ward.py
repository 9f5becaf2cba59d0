"""The ward list: who lies where, how urgent, whether worse, when due."""

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

from wardexam.errors import InputError, WardexamError
from wardexam.exam.identity import CHECK, mark, missing
from wardexam.exam.text import clean, counted, plain_letters
from wardexam.governance.reviews import due_line
from wardexam.records.repository import Bed, ConflictError, DraftInfo, draft_line
from wardexam.records.whose import namesakes, number_words, other_with, with_part_of_number
from wardexam.terminal import ward_list
from wardexam.terminal.choices import numbered
from wardexam.terminal.keys import hint
from wardexam.terminal.screens.base import LineScreen
from wardexam.terminal.screens.patient_details import DetailQuestions, patient_of, typed_details
from wardexam.terminal.ward_order import BY_DUE, ORDERS, ordered

if TYPE_CHECKING:
    from wardexam.exam.examination import Patient
    from wardexam.exam.outcome import Outcome
    from wardexam.reasoning.rules.wording import Wording
    from wardexam.records.repository import PatientFile, Repository, Watch

T = TypeVar("T")
Listed = tuple[tuple[Bed, ...], str]  # a list, and what is wrong with the ward
# What keys do where the discharged are listed, as the bottom line says it.
DISCHARGED_KEYS = {
    "discharge": "restore", "discharged": "the ward", "note": "note", "course": "course", "outcome": "outcome",
    "find": "find", "leave": "quit", "help": "help",
}  # fmt: skip
AGAIN_SECONDS = 2.0  # after which a list that could not be read is read again


class WardScreen(LineScreen):
    """The ward list."""

    SCREEN = "ward"

    def __init__(self) -> None:
        super().__init__()
        self._read: tuple[Bed, ...] | None = None  # the list as it was read last
        self._beds: tuple[Bed, ...] = ()
        self._asked = False  # whether the list was asked for: from then on keys wait for it
        self._away = ""  # why the list could not be read now; empty where it could
        self._trying = False  # whether it is read again in a moment
        self._problem = ""  # what is wrong with the ward, as it was read last
        self._chosen: str | None = None  # the patient under the cursor, wherever the list puts them
        self._alike: dict[str, Bed] = {}  # who has another of the same name in the list
        self._order = 0
        self._search = ""
        self._numbered: frozenset[str] = frozenset()  # who has the number that is sought
        self._discharged = False
        self._watch: Watch | None = None
        self._details = DetailQuestions(self)
        self._told_unkept = 0  # how many changes leaving was told to lose, by the key before

    def on_mount(self) -> None:
        """Read the list and watch for other sessions' changes; a key typed ahead finds it read already."""
        self._read_first()

    def _read_first(self) -> None:
        app, ward = self.app, self.ward_app.ward

        def read() -> "tuple[Listed, tuple[DraftInfo, ...], tuple[DraftInfo, ...], Watch]":
            watch = ward.watch(lambda: app.call_later(self._changed))
            try:
                return self._look(ward), ward.drafts(), ward.sheet_drafts.infos(), watch
            except WardexamError:
                watch.close()
                raise

        calls = self.ward_app.calls
        if self._asked:  # it could not be read before: keys do not wait for it once more
            calls.behind(read, lambda found: self._begin(*found), self._unread)
            return
        self._asked = True
        calls.open(read, lambda found: self._begin(*found), self._unread, stays=True)

    def _begin(
        self, read: Listed, drafts: tuple[DraftInfo, ...], sheets: tuple[DraftInfo, ...], watch: "Watch"
    ) -> None:  # fmt: skip
        """Show the list the first time."""
        self._watch = watch
        self._take(read)
        self.ward_app.sending.begin()
        at = (n for n, bed in enumerate(self._beds) if bed.bed == self.ward_app.led_to)
        self._choose(next(at, 0))
        self.said = (
            self._drafts_left(drafts, sheets)
            or self.said
            or self.ward_app.notice
            or self._review_due()
        )
        self.redraw()

    @property
    def ready(self) -> bool:
        """Whether the list was asked for: a key typed ahead acts on it."""
        return self._asked

    def _unread(self, error: WardexamError) -> None:
        """The list cannot be read: it stays as it was, that is said until it can, and it is tried again."""
        self._away = error.line
        self.say(error.line)
        if not self._trying:
            self._trying = True
            self.set_timer(AGAIN_SECONDS, self._try_again)

    def _try_again(self) -> None:
        self._trying = False
        if self._watch is None:
            self._read_first()
        elif self._away:
            self._read_again(hold=False)

    def on_unmount(self) -> None:
        """Watch no more."""
        if self._watch:
            self._watch.close()

    def press(self, key: str, character: str | None) -> None:
        """Do what a key does here."""
        if key == "escape" and self._search:
            self._search, self._numbered = "", frozenset()
            self._arrange()
            if self._bed is None:
                self._choose(0)
            self.redraw()
            return
        super().press(key, character)

    def _drafts_left(self, found: tuple[DraftInfo, ...], sheets: tuple[DraftInfo, ...]) -> str:
        """Drafts that nobody is writing: whose, how old, and what may be done with them; sheets where no examination is left."""
        drafts, of_sheets = ([d for d in kind if not d.held] for kind in (found, sheets))
        left = drafts or of_sheets
        if not left:
            return ""
        last, beds = left[-1], {bed.patient_id: bed.bed for bed in self._beds}
        more = f" and {len(left) - 1} more" if len(left) > 1 else ""
        more += " (*)" if more and drafts else ""
        if last.trouble and drafts:
            return f"A draft is damaged{more}: {last.trouble}"
        if last.trouble:
            return f"A draft of a cord injury sheet is damaged: {last.trouble}"
        if last.patient_id in beds:
            self._chosen = last.patient_id  # the keys named below act on this patient
        told = draft_line(
            last, beds.get(last.patient_id, "not listed"), self.ward_app.session.now()
        )
        if drafts:
            return f"Draft: {told}{more}. {self.key('open')} resumes, {self.key('set_aside')} sets aside."
        return f"Sheet: {told}{more}. {self.key('injury')} resumes."

    # --- reading

    def on_screen_resume(self) -> None:
        """Read again on coming back; keys wait a moment for it. The base draws."""
        if self._read is not None:
            self._read_again()

    def _changed(self) -> None:
        """Another session may have changed the ward."""
        if self.there and self.app.screen is self:
            self.reload()

    def reload(self) -> None:
        """Read the list again and draw it; who was chosen stays chosen, or is said to have left it."""
        self._read_again(hold=False)

    def _read_again(self, *, hold: bool = True) -> None:
        ward, discharged = self.ward_app.ward, self._discharged

        def take(read: Listed) -> None:
            if discharged != self._discharged:
                return  # the other list was turned to meanwhile
            chosen = self._bed
            self._take(read)
            if chosen and self._bed is None and not self.asking:
                self.said = (
                    f"{chosen.bed} {chosen.name} is not on this list any more. Nobody is chosen."
                )
            if self.app.screen is self:
                self.redraw()

        self.ward_app.calls.behind(
            lambda: self._look(ward, discharged=discharged), take, self._unread, hold=hold
        )

    @staticmethod
    def _look(ward: "Repository", *, discharged: bool = False) -> Listed:
        """The list and what is wrong with the ward; in the store's thread."""
        return ward.beds(discharged=discharged), ward.problem

    @staticmethod
    def _told(ward: "Repository", beds: tuple[Bed, ...], wording: "Wording") -> tuple[Bed, ...]:
        """The list with what drafts and reasons for admission say; in the store's thread."""
        drafts = ward.drafts()
        if not (drafts or any(b.reason for b in beds if not b.last_at)):
            return beds
        from wardexam.unsaved import told  # the rules are needed for nothing else here

        return told(ward, beds, drafts, wording)

    def _take(self, read: Listed) -> None:
        """Take a list that was read in the place of the one before."""
        beds, self._problem = read
        before = {(b.patient_id, b.last_at): b for b in self._read or ()}
        # What was told stands until it is told anew or examined, so that no alarm goes out and comes on again.
        self._read = tuple(
            replace(b, draft=was.draft, told=was.told)
            if (was := before.get((b.patient_id, b.last_at)))
            else b
            for b in beds
        )
        self._hear(beds)
        if self._away:
            self._away, self.said = "", "The ward can be read again."
            self.ward_app.sending.soon()
        if self._problem:
            self.said = self._problem
        self._arrange()

    def _hear(self, beds: tuple[Bed, ...]) -> None:
        """Ask what is told of these; no key waits for it, since the rules are loaded for it."""
        ward, shown = self.ward_app.ward, self._read
        wording = self.ward_app.session.wording

        def heard(told: tuple[Bed, ...]) -> None:
            if self._read is not shown:
                return  # read again meanwhile
            self._read = told
            self._arrange()
            if self.app.screen is self:
                self.redraw()

        self.ward_app.calls.behind(lambda: self._told(ward, beds, wording), heard, self._unread)

    def _arrange(self) -> None:
        """Order the list as it was read last, and leave out who is not sought."""
        self._alike = namesakes(self._read or ())
        found = [b for b in self._read or () if self._is_sought(b)]
        now = self.ward_app.session.now()
        self._beds = ordered(found, ORDERS[self._order], now)

    def _is_sought(self, bed: Bed) -> bool:
        """Whether a bed or name holds what is sought, with or without its accents, or the number does."""
        line = plain_letters(f"{bed.bed} {bed.name}")
        return plain_letters(self._search) in line or bed.patient_id in self._numbered

    @property
    def _tell(self) -> ward_list.Teller:
        app = self.ward_app
        by_due = ORDERS[self._order] == BY_DUE
        return ward_list.Teller(
            app.session.now(),
            self.size.width,
            app.terminal.ascii,
            app.glyphs.pointer,
            by_due,
            self._alike,
        )

    @property
    def _place(self) -> ward_list.Place:
        return ward_list.place(self._beds, self._row, self.size.height, self._tell)

    def draw(self) -> None:
        """The heading and as many beds as fit, around the cursor."""
        if self._read is None:
            return  # nothing is known of the ward yet
        app, tell, place = self.ward_app, self._tell, self._place
        kind = "Discharged" if self._discharged else "Ward"
        search = f'   search "{self._search}"' if self._search else ""
        who = f"{tell.now:%d %b %Y %H:%M}  {app.session.examiner[:20]}"
        count = counted(len(self._beds), "patient")
        if self._search:
            count = f"{len(self._beds)} of {counted(len(self._read), 'patient')}"
        if place.room < len(self._beds):
            count = f"{place.first + 1}-{place.first + place.room} of {count}"
        head = f"{kind}  {who}  {count}, by {ORDERS[self._order]}{search}"
        self.canvas("heading").show([[(head[: tell.width], "accent")]])
        if self._details.offered:
            offered = numbered(self._details.offered, self.size.width)
            self.canvas("body").show([[], *([(line, "")] for line in offered)])
            return
        lines = [ward_list.names(tell, place.each)]
        for bed in self._beds[place.first : place.first + place.room]:
            chosen = bed.patient_id == self._chosen
            lines += ward_list.bed_lines(bed, tell, place.each, chosen=chosen)
        if not self._beds:
            empty = f"The ward is empty. Press {self.key('admit')} to admit the first patient."
            nobody = "Nobody has this bed, name or number. Escape shows all."
            nowhere = f"Nobody is discharged. {self.key('discharged')} shows the ward."
            said = nobody if self._search else nowhere if self._discharged else empty
            lines += [[], [(f"  {said}", "")]]
        height = self.size.height - ward_list.AROUND + 1 - len(place.below)
        lines += [[] for _ in range(height - len(lines))]
        self.canvas("body").show([*lines, *place.below])

    def hint_text(self) -> str:
        """What keys do here; where nobody lies, those that need nobody."""
        if self._search:
            return f"escape shows all  {hint(self.keys, self.size.width - 19)}"
        if self._discharged:
            here = (replace(k, label=DISCHARGED_KEYS.get(k.action, "")) for k in self.keys)
            return hint(tuple(here), self.size.width - 1)
        if self._beds:
            return super().hint_text()
        needed = {"admit", "leave", "help", "commands", "discharged"}
        keys = (row for row in self.keys if row.action in needed)
        return hint(tuple(keys), self.size.width - 1)

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
        do(self._bed)

    def refused(self, error: WardexamError) -> None:
        """Say why something could not be done; the list then says what is true."""
        self._done(error.line)

    def click(self, x: int, y: int) -> None:
        """A click on a bed chooses it; on the chosen one examines."""
        place = self._place
        at = (y - 2) // place.each
        row = place.first + at
        if not 0 <= at < place.room or row >= len(self._beds):
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

    def paged(self, pages: int) -> bool:
        """So many pages of the list on."""
        self._move(pages * self._place.room)
        return True

    def do_open(self) -> None:
        """Examine; whoever is discharged is restored first."""
        if self._discharged:
            self.say(f"Discharged: {self.key('discharge')} restores the stay, then examine.")
            return
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

    def do_injury(self) -> None:
        """The cord injury sheet."""
        self._with_bed(lambda bed: self.ward_app.open_sheet(bed.patient_id, bed))

    def do_find(self) -> None:
        """Find by bed, name or number."""
        ward, listed = self.ward_app.ward, self._read or ()

        def show(numbered: frozenset[str]) -> None:
            self._numbered = numbered
            self._arrange()
            if self._bed is None and self._beds:  # where nobody has this, who was chosen stays so
                self._choose(0)
            self.redraw()

        def found(text: str) -> None:
            self._search = text.strip()
            if any(map(str.isdecimal, self._search)):
                sought = self._search
                self.ward_app.calls.open(lambda: with_part_of_number(ward, listed, sought), show)
            else:
                show(frozenset())

        self.ask("Bed, name or number (empty shows all):", found)

    def do_order(self) -> None:
        """Next order, from its top."""
        self._order = (self._order + 1) % len(ORDERS)
        self._arrange()
        self._choose(0)
        self.redraw()

    def do_discharged(self) -> None:
        """Discharged patients, or the ward."""
        ward, discharged = self.ward_app.ward, not self._discharged

        def turn(read: Listed) -> None:
            self._discharged = discharged
            self._take(read)
            if self._bed is None:  # who was chosen stays so, wherever the list has them
                self._choose(0)
            self.redraw()

        self.ward_app.calls.open(lambda: self._look(ward, discharged=discharged), turn)

    def do_admit(self) -> None:
        """Ask for the details of a new patient."""
        self._details.ask({}, self._admit, self.ward_app.session.now())

    def do_edit(self) -> None:
        """Change details."""

        def edit(patient: "Patient") -> None:
            self._details.ask(
                typed_details(patient),
                lambda given: self._edit(patient, given),
                patient.admitted,
                of=patient.id,
            )

        app = self.ward_app
        self._with_bed(lambda bed: app.calls.open(lambda: app.ward.patient(bed.patient_id), edit))

    def draw_status(self) -> None:
        """The base's lines; what could be chosen goes with the question that offered it."""
        if self._details.offered and not self.asking:
            self._details.offered = ()
            self.redraw()
            return
        super().draw_status()

    def _admit(self, values: dict[str, Any]) -> None:
        app = self.ward_app
        try:
            patient = patient_of(
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

        self._change(lambda: app.ward.admit(patient, app.session.examiner), admitted, "admitted")

    def _change(
        self, action: Callable[[], T], done: Callable[[T], None], word: str,
        failed: Callable[[WardexamError], None] | None = None,
    ) -> None:  # fmt: skip
        """Change something in the ward, now or as soon as the session in the way lets go."""
        self.ward_app.calls.change(
            action,
            done,
            failed or self.refused,
            lambda what: self.say(f"Not {word} yet: {what}; it follows by itself."),
        )

    def act(self, action: str) -> None:
        """Do an action; what was said of the one before goes with it, what is wrong with the ward stays."""
        self.said = self.lasting
        if action != "leave":
            self._told_unkept = 0
        super().act(action)

    @property
    def lasting(self) -> str:
        """That the list cannot be read, what is wrong with the ward, what waits for its store; else a review due."""
        return self._away or self._problem or self.ward_app.sending.words or self._review_due()

    def _review_due(self) -> str:
        session = self.ward_app.session
        return due_line(session.wording, session.now().date())

    def _done(self, said: str, then: Callable[[], None] = lambda: None) -> None:
        """Say what was done, on the list as it is now; keys wait a moment for that."""
        ward, discharged = self.ward_app.ward, self._discharged

        def take(read: Listed) -> None:
            if discharged == self._discharged:
                self._take(read)
                then()
            self.said = said
            self.redraw()

        def unread(error: WardexamError) -> None:
            self._unread(error)
            self.say(said)

        self.said = said
        self.draw_status()
        self.ward_app.calls.behind(
            lambda: self._look(ward, discharged=discharged), take, unread, hold=True
        )

    def _edit(self, patient: Any, values: dict[str, Any]) -> None:
        try:
            changed = patient_of({**patient.model_dump(), **values})
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
        self._change(
            lambda: app.ward.update(changed, app.session.examiner),
            lambda _: self._done(f"Saved {CHECK}" if missing(changed) else "Details saved."),
            "saved",
            failed,
        )

    def do_discharge(self) -> None:
        """Discharge after a typed yes, or restore."""
        app = self.ward_app

        def ask(bed: Bed, patient: "Patient") -> None:
            verb = "Restore" if self._discharged else "Discharge"
            stands = bed.summary.urgency_word.upper() if bed.summary and bed.summary.urgency else ""
            still = f" {stands} stands: {bed.summary.headline}." if stands and bed.summary else ""
            self.ask(
                f"{verb} {clean(bed.bed)} {clean(bed.name)} {mark(patient)}?{'' if self._discharged else still} Type yes:",
                lambda text: self._leave_ward(patient, text),
            )

        def read(bed: Bed) -> "Patient":
            from wardexam.saved import same

            patient = app.ward.patient(bed.patient_id)
            same(patient, bed)
            return patient

        self._with_bed(
            lambda bed: app.calls.open(lambda: read(bed), lambda patient: ask(bed, patient))
        )

    def _leave_ward(self, patient: "Patient", text: str) -> None:
        app, back = self.ward_app, bool(patient.discharged)
        if text.strip().lower() != "yes":
            self.say("Nothing was changed.")
            return
        who = f"{patient.bed} {patient.name}"
        said = f"Restored: {who}." if back else (
            f"Discharged: {who}; kept under {self.key('discharged')}."
        )  # fmt: skip

        def leave() -> None:
            if back:
                if other := other_with(app.ward, "number", patient.number, patient.id):
                    raise InputError(f"{number_words(patient.number, other)}: not restored")
                app.ward.restore(patient, app.session.examiner)
            else:
                app.ward.discharge(patient, app.session.now(), app.session.examiner)

        def left(_: Any) -> None:
            row = self._row

            def choose() -> None:
                if self._bed is None and row is not None:
                    self._choose(row)

            self._done(said, choose)

        def failed(error: WardexamError) -> None:
            changed = "Changed by someone else meanwhile; nothing was done. Look, and do it again."
            self._done(changed if isinstance(error, ConflictError) else error.line)

        self._change(leave, left, "restored" if back else "discharged", failed)

    def do_outcome(self) -> None:
        """Ask what it was in the end, and record it."""
        from wardexam.terminal.outcome_questions import ask_outcome

        app = self.ward_app

        def conclude(bed: Bed, file: "PatientFile") -> None:
            ask_outcome(
                self.ask,
                f"{clean(bed.bed)} {clean(bed.name)} {mark(file.patient)}",
                file,
                app.session,
                lambda made, doubt: self._conclude(bed, made, doubt),
                lambda error: self.say(f"Not recorded: {error.what}."),
            )

        self._with_bed(
            lambda bed: app.calls.open(
                lambda: app.ward.file(bed.patient_id), lambda file: conclude(bed, file)
            )
        )

    def _conclude(self, bed: Bed, made: "Outcome", doubt: str) -> None:
        app = self.ward_app
        by = app.session.examiner
        self._change(
            lambda: app.ward.conclude(made, by),
            lambda kept: self._done(
                f"Recorded: {clean(bed.bed)}. {doubt}"
                if doubt
                else f"Recorded what it was in the end: {clean(bed.bed)}, revision {kept.revision}."
            ),
            "recorded",
        )

    def do_set_aside(self) -> None:
        """Set the patient's draft aside."""
        app = self.ward_app

        def aside(bed: Bed, found: tuple[DraftInfo, ...]) -> None:
            drafts = [
                d
                for d in found
                if (d.patient_id == bed.patient_id or (d.trouble and not d.patient_id))
                and not d.held
            ]
            if not drafts:
                self.say("No draft is left for this patient.")
                return
            draft = drafts[-1]

            def gone() -> None:
                self._change(
                    lambda: app.ward.set_aside(draft.draft_id, app.session.examiner),
                    lambda _: self._done("Draft set aside: it is kept, and not offered again."),
                    "set aside",
                )

            told = draft_line(draft, clean(bed.bed), app.session.now())
            said = bed.draft if bed.draft and bed.draft.urgency else None
            standing = (
                f"{said.urgency_word.upper()}, {said.short or said.headline}: " if said else ""
            )
            self.confirm(f"{standing}set aside the draft of {told}? y does:", gone, yes=("y", "Y"))

        self._with_bed(lambda bed: app.calls.open(app.ward.drafts, lambda found: aside(bed, found)))

    def do_handover(self) -> None:
        """The handover sheet."""
        self.ward_app.show_handover()

    def do_hide(self) -> None:
        """Hide the screen."""
        self.ward_app.hide()

    @property
    def _unkept(self) -> str:
        """That changes are still to come; empty where none is."""
        count = self.ward_app.calls.to_come
        return (
            f"{counted(count, 'change')} {'is' if count == 1 else 'are'} not kept yet"
            if count
            else ""
        )

    @property
    def unseen_words(self) -> str:
        """Whether all is kept, and the way out, where nothing else can be shown."""
        key = self.key("leave")
        return f"{self._unkept}; {key} twice leaves" if self._unkept else super().unseen_words

    def do_leave(self) -> None:
        """Quit; while a change is still to come, where that is told a second time."""
        count = self.ward_app.calls.to_come
        if count <= self._told_unkept:
            self.app.exit()
            return
        self._told_unkept = count
        key = self.key("leave")
        self.say(f"{self._unkept}: stay until it follows, or {key} again leaves without it.")
        self.redraw()
