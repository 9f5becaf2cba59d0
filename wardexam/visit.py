"""One examination from beginning or resuming to saved: the screen draws a `Visit`, the plain lines speak it."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple, Self

from wardexam.case import Case, case_of
from wardexam.errors import InputError
from wardexam.exam.act_kinds import ActKind, act_kinds
from wardexam.exam.acts import Act
from wardexam.exam.admission import context_of
from wardexam.exam.entry import Change, apply, inverse
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.late_entry import late_words, made_at
from wardexam.exam.moments import moment
from wardexam.exam.text import clean, counted, cut
from wardexam.reasoning.rules.raised import first_raised, since_admission
from wardexam.records.repository import AmendedMeanwhileError, clock_line, draft_line
from wardexam.records.whose import writer_of
from wardexam.saved import same
from wardexam.under_way import UnderWay

if TYPE_CHECKING:
    from wardexam.exam.earlier import Earlier
    from wardexam.reasoning.reading import Reading
    from wardexam.records.outbox import Unsent
    from wardexam.records.repository import Bed, DraftInfo, DraftWriter, PatientFile
    from wardexam.session import Session

NAMED = 18  # columns of who else has the patient open
HEARD = ("finding", "rest_normal", "flag", "context")  # what a suggestion is made of
WITHDRAWN = "Suggestion out of the note: more was entered."


class Step(NamedTuple):
    """A change made, what takes it back, what was said of it, and whether one keystroke made it with the one before."""

    change: Change
    back: Change
    said: str
    joined: bool = False


def _beside(session: "Session", drafts: "Sequence[DraftInfo]") -> str:
    """That another session has an examination of the patient open, by whom and how far; empty where none has."""
    held = [d for d in drafts if d.held]
    if not held:
        return ""
    last = held[-1]
    who = writer_of(session.ward, last)
    entries = counted(last.keys, "entry", "entries") if last.keys else "nothing entered"
    return f"OPEN ELSEWHERE: {cut(clean(who), NAMED)}, {entries}. Yours is apart."


class Visit(UnderWay):
    """One examination being entered.

    Made by `open`, `begin`, `resume` or `amend`; ended by `save`, `leave` or `pause`.

    Attributes:
        examination: As far as it has got.
        resumed: Whether it goes on from a draft that was left.
        entries: How often the doctor has changed it; what the tool puts down by itself does not count.
        said: What there is to say of how it began.
        beside: Who else has an examination of this patient open, in a sentence; empty where nobody has.
    """

    def __init__(
        self,
        session: "Session",
        file: "PatientFile",
        examination: Examination,
        draft: "DraftWriter",
        said: str = "",
    ) -> None:
        super().__init__(session, draft)
        self.examination, self.said = examination, said
        self.amends = bool(file.revisions(examination.id))
        self.resumed = False
        self.entries = 0
        self.beside = ""
        self._opened = examination
        self._stored = next(iter(file.revisions(examination.id)[-1:]), None)
        self._begun = case_of(file, examination, session.wording)
        self._order = [*dict.fromkeys(name for name, _ in file.numbered())]
        self._undo: list[Step] = []
        self._redo: list[Step] = []
        self._noticed: list[tuple[int, Change]] = []  # after how many steps, and what takes it back

    # --- beginning

    @classmethod
    def open(cls, session: "Session", patient_id: str, shown: "Bed | None" = None) -> Self:
        """The draft that was left of a patient, else a new examination.

        A draft that another session is writing is left to it: both examinations are kept. That a
        draft is damaged is said. One that amends an examination entered in error is kept: it cannot be saved.

        Args:
            session: Who examines, where.
            patient_id: Whom to examine.
            shown: The line that was chosen, if one was; what opens must be what it showed.

        Raises:
            WardexamError: The record has other details than the line that was chosen.
        """
        opened = session.ward.opened(patient_id, session.examiner)
        file = opened.file
        same(file.patient, shown)
        drafts = [d for d in opened.drafts if not d.held and not file.in_error(d.draft_id)]
        left = [d for d in drafts if not d.trouble]
        if left:
            said = f"Draft resumed: {draft_line(left[-1], file.patient.bed, session.now())}."
            draft, examination = session.ward.resume_draft(left[-1].draft_id, session.examiner)
            made = cls(session, file, examination, draft, said)
            made.resumed = not made.amends or bool(left[-1].keys)
            made.beside = _beside(session, opened.drafts)
            return made
        made = cls._new(session, file)
        made.beside = _beside(session, opened.drafts)
        if drafts:
            made.said = (
                f"A draft of this patient is damaged and was not resumed: {drafts[-1].trouble}"
            )
        return made

    @classmethod
    def begin(cls, session: "Session", patient_id: str) -> Self:
        """A new examination."""
        return cls._new(session, session.ward.opened(patient_id, session.examiner).file)

    @classmethod
    def _new(cls, session: "Session", file: "PatientFile") -> Self:
        patient, saved = file.patient, file.examinations
        examination = Examination(
            id=session.new_id(),
            patient=patient.id,
            examiner=session.examiner,
            at=session.now(),
            scale=saved[-1].scale if saved else "conventional",
            # Later in the stay what was told before stands, or is asked anew.
            context=context_of("" if saved else patient.remark, patient.age, patient.sex),
        )
        if not saved and patient.remark:
            examination = since_admission(examination, patient.admitted)
        draft = session.ward.start_draft(examination, session.examiner)
        said = clock_line(examination.at, saved[-1].at) if saved else ""
        return cls(session, file, examination, draft, said or "New examination.")

    @classmethod
    def resume(cls, session: "Session", draft_id: str) -> Self:
        """A draft that was left; who resumes it is put down."""
        draft, examination = session.ward.resume_draft(draft_id, session.examiner)
        file = session.ward.opened(examination.patient, session.examiner).file
        made = cls(session, file, examination, draft)
        made.resumed = True
        return made

    @classmethod
    def amend(cls, session: "Session", examination: Examination) -> Self:
        """A saved examination opened again; saving makes a further revision of it."""
        session.ward.start_draft(examination, session.examiner).close()
        visit = cls.open(session, examination.patient)
        if visit.amends and visit.examination.id == examination.id:
            visit.said = "What was saved stays. Saving makes a further revision and asks why."
        return visit

    # --- what it is

    @property
    def patient(self) -> Patient:
        """Whose body it is."""
        return self._begun.patient

    @property
    def previous(self) -> Examination | None:
        """What stands from earlier in the stay."""
        return self._begun.previous

    @property
    def which(self) -> str:
        """Which of the patient's examinations it is: ``first examination``, ``examination 4``, ``AMENDING 2 of 3``."""
        order = self._order
        if self.amends:
            return f"AMENDING {order.index(self.examination.id) + 1} of {len(order)}"
        return f"examination {len(order) + 1}" if order else "first examination"

    @property
    def case(self) -> Case:
        """What is entered now with what stood before."""
        return self.case_of(self.examination)

    def case_of(self, examination: Examination) -> Case:
        """What would be, were this entered."""
        return replace(self._begun, examination=examination)

    def reading(self) -> "Reading":
        """What the signs mean, worked out now; what is not entered yet weighs nothing, what was found before less with each hour."""
        from wardexam.ready import engine

        return engine().read(self.examination, silence=False, earlier=self.earlier)

    @property
    def earlier(self) -> "Earlier | None":
        """What stands of the stay, each finding with when it was found; None for a first examination."""
        earlier = self._begun.earlier
        return earlier and earlier.as_of(self.examination.at)

    @property
    def steps(self) -> Iterator[Step]:
        """The changes that can be undone, the last first."""
        return reversed(self._undo)

    @property
    def withdrawn(self) -> bool:
        """Whether a suggestion that was accepted is out of the note because of what was entered since."""
        last = next((s.said for s in self.steps if s.change.what == "suggestion"), "")
        return last == WITHDRAWN

    # --- changing

    @property
    def onset_earlier(self) -> str:
        """When it began as told earlier in the stay; empty where it was not."""
        told = self.previous.context.onset if self.previous else "unknown"
        return "" if told == "unknown" else told

    @property
    def asks_onset(self) -> bool:
        """Whether it is asked first when it began: nothing is entered yet, and it was not told before."""
        e = self.examination
        entered = self.amends or e.findings or e.flags or e.context.onset != "unknown"
        return not entered and not self.onset_earlier

    def change(self, change: Change, said: str = "") -> bool:
        """Make a change and keep it in the draft; see `change_together`.

        Raises:
            InputError: The change is not acceptable; nothing has changed.
        """
        return self.change_together([(change, said)])

    def change_together(self, made: Iterable[tuple[Change, str]]) -> bool:
        """Make what one keystroke of the doctor changes, each with what is said of it; it is undone as one.

        A suggestion was accepted for what was found then: what is found or told otherwise takes it out of the note.

        Returns:
            Whether it did.

        Raises:
            InputError: A change is not acceptable; nothing has changed.
        """
        changed, steps = self.examination, list[Step]()
        for change, said in made:
            steps.append(Step(change, inverse(changed, change), said, joined=bool(steps)))
            changed = apply(changed, change)
        if withdrawn := bool(changed.suggestion) and any(s.change.what in HEARD for s in steps):
            out = Change("suggestion", "", "")
            steps.append(Step(out, inverse(changed, out), WITHDRAWN, joined=True))
            changed = apply(changed, out)
        self.examination = changed
        for step in steps:
            self.draft.append(step.change)
        self.entries += 1
        self._undo += steps
        self._redo.clear()
        return withdrawn

    def undo(self) -> Step | None:
        """Take back what the last keystroke changed, all of it; its first step, None where none is left."""
        self.entries += bool(self._undo)
        last = None
        while self._undo and last is None:
            step = self._undo.pop()
            self._take(step.back)
            self._redo.append(step)
            last = None if step.joined else step
        while self._noticed and len(self._undo) < self._noticed[-1][0]:
            self._take(self._noticed.pop()[1])
        return last

    def redo(self) -> Step | None:
        """Make again what was undone last; its first step, None where none is left."""
        if not self._redo:
            return None
        self.entries += 1
        first = self._redo[-1]
        while self._redo and (self._redo[-1].joined or self._redo[-1] is first):
            step = self._redo.pop()
            self._take(step.change)
            self._undo.append(step)
        return first

    def _take(self, change: Change) -> None:
        self.examination = apply(self.examination, change)
        self.draft.append(change)

    def made_at(self, text: str) -> tuple[Change, str]:
        """What has it be made at a time before it was entered, or with no text as it was entered, and what is said of that.

        Raises:
            InputError: The time cannot be read, or the last examination was made after it.
        """
        before = self.previous.at if self.previous else None
        change = made_at(self.examination, text, before)
        changed = apply(self.examination, change)
        said = f"Examined {moment(changed.at, self.session.now())}"
        said += f"; {late}." if (late := late_words(changed)) else ", as it was entered."
        return change, said

    def act(self, rule: str | Sequence[str], kind: ActKind, what: str = "") -> tuple[Act, ...]:
        """Write what was done about a reason, or several at once, now and by who examines; see `Case.act`.

        Raises:
            InputError: It is not acceptable; nothing has changed.
        """
        made = self.case.acts(rule, kind, what, self.session.examiner, self.session.now())
        acts = [a.model_dump(mode="json") for a in (*self.examination.acts, *made)]
        self.change(Change("acts", "", acts), f"{act_kinds()[kind].words}: {made[0].what}")
        return made

    def notice(self, reading: "Reading") -> None:
        """Put down when the tool's own alarm is first raised: it then stays until it is settled.

        It is no step of the doctor's. Once what it was raised on is undone it is taken back, and raised anew where
        what is left asks for it.
        """
        raised = first_raised(self.examination, self.previous, reading, self.session.now())
        if raised is not None:
            change = Change("raised", "", [r.model_dump(mode="json") for r in raised])
            self._noticed.append((len(self._undo), inverse(self.examination, change)))
            self._take(change)

    # --- ending

    def saving(self, reading: "Reading | None", why: str = "") -> Callable[[], Examination]:
        """What saves the examination as it stands now: to be tried, and tried again where it must wait.

        Args:
            reading: What the signs mean: it may raise the urgency that the ward list shows.
            why: The reason, for an amendment.

        Raises, when called:
            BusyError: Another session is in the way; nothing has changed.
            AmendedMeanwhileError: Someone else amended the examination first, or it was saved before and entered
                further since; see `go_after`.
        """
        session, amends = self.session, self.amends
        # What was suggested before speaks of other findings.
        entered = self.examination.model_copy(update={"reading": None})

        def save() -> Examination:
            # What was done meanwhile about reasons that stand, from the list, is carried on.
            file = session.ward.file(entered.patient)
            examination, summary = case_of(file, entered, session.wording).to_save(reading)
            if amends:
                at = session.now()
                return session.ward.amend(examination, session.examiner, why.strip(), at, summary)
            try:
                return session.ward.save(examination, session.examiner, summary)
            except InputError:
                # Saved before, as by a try whose answer never came, and then entered further.
                if stored := file.revisions(entered.id):
                    raise AmendedMeanwhileError(stored[-1]) from None
                raise

        return save

    def unsent(self, reading: "Reading | None", why: str = "") -> "Callable[[], Unsent]":
        """What makes the same save, as it stands now, to be kept until the store can be reached again."""
        from wardexam.records.outbox import Unsent

        by, at, reason = (
            self.session.examiner,
            self.session.now(),
            why.strip() if self.amends else "",
        )
        case = self.case_of(self.examination.model_copy(update={"reading": None}))

        def made() -> Unsent:
            examination, summary = case.to_save(reading)
            return Unsent(examination, by, at, reason, summary)

        return made

    def save(self, reading: "Reading | None", why: str = "") -> Examination:
        """Save, and take the draft away. Raises as `saving` does; the draft then stays."""
        saved = self.saving(reading, why)()
        self.done()
        return saved

    def _drop(self) -> None:
        self.session.ward.drop_draft(self.draft)

    def go_on(self, saved: Examination) -> None:
        """Go on from what was saved of this meanwhile: saving then makes a further revision of it."""
        self.amends, self._stored = True, saved
        self._order = [*dict.fromkeys((*self._order, saved.id))]
        self.examination = self.examination.model_copy(
            update={"revision": saved.revision, "amendment": saved.amendment}
        )

    def go_after(self, theirs: Examination, save: str) -> str:
        """Go on from what someone else saved meanwhile: saving then makes the revision after theirs.

        Args:
            theirs: The revision that they saved.
            save: The key that saves.

        Returns:
            What theirs and this say differently, for the doctor to decide.
        """
        from wardexam.note.differences import differences

        text = differences(theirs, self.examination, save)
        # What they did about the reasons is done: it stands beside what is entered here.
        acts = {a.same: a for a in (*theirs.acts, *self.examination.acts)}
        self.go_on(theirs)
        self.examination = self.examination.model_copy(update={"acts": tuple(acts.values())})
        return text

    @property
    def untouched(self) -> bool:
        """Whether nothing was entered, or all of it was taken back."""
        begun = self._opened
        now = self.examination.model_copy(
            update={"raised": begun.raised, "entered_by": begun.entered_by}
        )
        return not self.draft.sent or (not (self.resumed or self.amends) and now == begun)

    @property
    def changes_nothing(self) -> bool:
        """Whether it is a further revision that says nothing else than the one before it."""
        from wardexam.note.differences import revised

        before = self._stored
        return self.amends and before is not None and not revised(before, self.examination)

    def pause(self, seconds: float) -> None:
        """Let go; the draft stays whatever was entered."""
        self.draft.flush(seconds)
        self.draft.close()
