"""One examination from beginning or resuming to saved: where findings, reasoning, records and note meet.

The screen draws a `Visit`, the plain lines speak it. What is saved already is a `Case` of the
patient's `Saved` examinations: the note, the referral and the figure are made from it.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, Self

from wardexam.errors import InputError, WardexamError
from wardexam.exam.entry import Change, apply, inverse
from wardexam.exam.examination import Context, Examination, Patient
from wardexam.reasoning.rules.change import Comparison, compare
from wardexam.reasoning.rules.standing import standing
from wardexam.reasoning.rules.urgency import Urgency, assess
from wardexam.records.repository import clock_line, draft_line

if TYPE_CHECKING:
    from wardexam.exam.answers import ScaleName
    from wardexam.note.note import Form
    from wardexam.reasoning.reading import Reading
    from wardexam.reasoning.rules.wording import Wording
    from wardexam.records.repository import Bed, DraftWriter, PatientFile, Summary
    from wardexam.session import Session

LAST_NAMED = 10  # examinations that are named where one is asked for that there is not


@dataclass(frozen=True, slots=True)
class Case:
    """An examination with whose it is and what stood before it: all that its papers say.

    Attributes:
        patient: Whose it is.
        examination: What was found.
        previous: What stands from earlier in the stay; None for a first examination.
        wording: The hospital's own words for urgency.
    """

    patient: Patient
    examination: Examination
    previous: Examination | None
    wording: "Wording"

    def urgency(self, reading: "Reading | None" = None) -> Urgency:
        """How urgent it is; the tool's reading counts only where it is given."""
        return assess(self.examination, self.previous, reading, self.wording)

    def comparison(self) -> Comparison | None:
        """What changed from what stood before; None for a first examination."""
        return compare(self.previous, self.examination) if self.previous else None

    def summary(self, reading: "Reading | None") -> "Summary":
        """What the ward list shows of it."""
        from wardexam.note.headline import summarise

        return summarise(self.urgency(reading), self.comparison(), reading)

    def note(
        self,
        form: "Form" = "table",
        scale: "ScaleName | None" = None,
        *,
        line_end: str = "\n",
        ascii_only: bool = True,
    ) -> str:
        """The note; the tool's reading stays out of it until it is accepted."""
        from wardexam.note.note import render

        return render(
            self.patient,
            self.examination,
            previous=self.previous,
            urgency=self.urgency(),
            form=form,
            scale=scale,
            line_end=line_end,
            ascii_only=ascii_only,
        )

    def referral(self) -> str:
        """The referral."""
        from wardexam.note.referral import render

        urgency = self.urgency()
        return render(self.patient, self.examination, previous=self.previous, urgency=urgency)

    def picture(self) -> str:
        """The figure as an SVG picture."""
        from wardexam.note.svg import render

        return render(self.patient, self.examination)


class Saved:
    """A patient's saved examinations, read once and turned through.

    Args:
        session: Who reads them, where.
        patient_id: Whose they are.
        shown: The line that was chosen, if one was; what opens must be what it showed.

    Raises:
        WardexamError: The patient is not known, or is not who was shown.
    """

    def __init__(self, session: "Session", patient_id: str, shown: "Bed | None" = None) -> None:
        self._wording = session.wording
        self._file = session.ward.file(patient_id)
        self.patient = self._file.patient
        same(self.patient, shown)

    @property
    def last(self) -> Examination | None:
        """The examination saved last, in its last revision."""
        return self._file.examinations[-1] if self._file.examinations else None

    def case(self, examination: Examination) -> Case:
        """One of the examinations with what stood before it."""
        return _case(self._file, examination, self._wording)

    def named(self, which: str | None) -> Case:
        """The examination of this identifier, the last one where none is given.

        Raises:
            InputError: There is no such examination; names the last ones.
        """
        whose = self.patient.id
        if self.last is None:
            raise InputError("no examination is stored", where=whose, remedy="examine first")
        known = self._order
        if which is None:
            return self.case(self.last)
        if which not in known:
            last = ", ".join(known[-LAST_NAMED:])
            raise InputError(f"no examination '{which}'", where=whose, remedy=f"known: {last}")
        return self.case(self._file.examinations[known.index(which)])

    def beside(self, examination: Examination, by: int) -> Examination | None:
        """The revision saved so many before or after one; None where there is none."""
        history = self._file.numbered()
        at = history.index((examination.id, examination.revision)) + by
        if not 0 <= at < len(history):
            return None
        name, number = history[at]
        return self._file.revisions(name)[number - 1]

    def is_last_revision(self, examination: Examination) -> bool:
        """Whether it was not amended since."""
        return examination.revision == self._revisions(examination)

    def place(self, examination: Examination) -> str:
        """Which of the examinations it is, and which revision where there are more."""
        order, count = self._order, self._revisions(examination)
        which = f"examination {order.index(examination.id) + 1} of {len(order)}"
        return which + (f", revision {examination.revision} of {count}" if count > 1 else "")

    @property
    def _order(self) -> list[str]:
        return list(dict.fromkeys(name for name, _ in self._file.numbered()))

    def _revisions(self, examination: Examination) -> int:
        return sum(1 for name, _ in self._file.numbered() if name == examination.id)


def same(patient: Patient, shown: "Bed | None") -> None:
    """Hold what opens against the line that was chosen.

    Raises:
        WardexamError: The record has other details than the line.
    """
    if shown and (patient.id, patient.bed, patient.name) != (
        shown.patient_id, shown.bed, shown.name
    ):  # fmt: skip
        raise WardexamError(
            f"the list showed {shown.bed} {shown.name}, the record says {patient.bed} {patient.name}",
            remedy="nothing was opened; look again and choose",
        )


def _case(file: "PatientFile", examination: Examination, wording: "Wording") -> Case:
    return Case(file.patient, examination, standing(file.telling(examination.id)), wording)


class Step(NamedTuple):
    """A change made, what takes it back, and what was said of it."""

    change: Change
    back: Change
    said: str


class Visit:
    """One examination being entered.

    Made by `open`, `begin`, `resume` or `amend`; ended by `save`, `leave` or `pause`.

    Attributes:
        session: Who examines, where, and what comes in at the edge.
        examination: As far as it has got.
        draft: Where every change is kept.
        amends: Whether it is a further revision of a saved examination.
        said: What there is to say of how it began.
    """

    def __init__(
        self,
        session: "Session",
        file: "PatientFile",
        examination: Examination,
        draft: "DraftWriter",
        said: str = "",
    ) -> None:
        self.session, self.examination, self.draft, self.said = session, examination, draft, said
        self.amends = bool(file.revisions(examination.id))
        self._begun = _case(file, examination, session.wording)
        self._undo: list[Step] = []
        self._redo: list[Step] = []
        session.ward.record("viewed", file.patient.id, session.examiner)

    # --- beginning

    @classmethod
    def open(cls, session: "Session", patient_id: str, shown: "Bed | None" = None) -> Self:
        """The draft that was left of a patient, else a new examination.

        A draft that another session is writing is left to it: both examinations are kept. That a
        draft is damaged is said.

        Args:
            session: Who examines, where.
            patient_id: Whom to examine.
            shown: The line that was chosen, if one was; what opens must be what it showed.

        Raises:
            WardexamError: The record has other details than the line that was chosen.
        """
        ward = session.ward
        file = ward.file(patient_id)
        same(file.patient, shown)
        drafts = [d for d in ward.drafts() if d.patient_id == patient_id and not d.held]
        left = [d for d in drafts if not d.trouble]
        if left:
            said = f"Draft resumed: {draft_line(left[-1], file.patient.bed, session.now())}."
            draft, examination = ward.resume_draft(left[-1].draft_id, session.examiner)
            return cls(session, file, examination, draft, said)
        made = cls._new(session, file)
        if drafts:
            made.said = (
                f"A draft of this patient is damaged and was not resumed: {drafts[-1].trouble}"
            )
        return made

    @classmethod
    def begin(cls, session: "Session", patient_id: str) -> Self:
        """A new examination."""
        return cls._new(session, session.ward.file(patient_id))

    @classmethod
    def _new(cls, session: "Session", file: "PatientFile") -> Self:
        patient, saved = file.patient, file.examinations
        examination = Examination(
            id=session.new_id(),
            patient=patient.id,
            examiner=session.examiner,
            at=session.now(),
            scale=saved[-1].scale if saved else "conventional",
            context=Context(age=patient.age, sex=patient.sex),
        )
        draft = session.ward.start_draft(examination, session.examiner)
        said = clock_line(examination.at, saved[-1].at) if saved else ""
        return cls(session, file, examination, draft, said or "New examination.")

    @classmethod
    def resume(cls, session: "Session", draft_id: str) -> Self:
        """A draft that was left; who resumes it is put down."""
        draft, examination = session.ward.resume_draft(draft_id, session.examiner)
        return cls(session, session.ward.file(examination.patient), examination, draft)

    @classmethod
    def amend(cls, session: "Session", examination: Examination) -> Self:
        """A saved examination opened again; saving makes a further revision of it."""
        session.ward.start_draft(examination, session.examiner).close()
        return cls.open(session, examination.patient)

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
    def case(self) -> Case:
        """What is entered now with what stood before."""
        return self.case_of(self.examination)

    def case_of(self, examination: Examination) -> Case:
        """What would be, were this entered."""
        return Case(self.patient, examination, self.previous, self._begun.wording)

    def reading(self) -> "Reading":
        """What the signs mean, worked out now; a sign left out of a part weighs a little."""
        from wardexam.ready import engine

        return engine().read(self.examination)

    @property
    def steps(self) -> Iterator[Step]:
        """The changes that can be undone, the last first."""
        return reversed(self._undo)

    # --- changing

    def change(self, change: Change, said: str = "") -> None:
        """Make a change and keep it in the draft.

        Raises:
            InputError: The change is not acceptable; nothing has changed.
        """
        step = Step(change, inverse(self.examination, change), said)
        self._take(change)
        self._undo.append(step)
        self._redo.clear()

    def undo(self) -> Step | None:
        """Take the last change back; None where none is left."""
        if not self._undo:
            return None
        step = self._undo.pop()
        self._take(step.back)
        self._redo.append(step)
        return step

    def redo(self) -> Step | None:
        """Make the change again that was undone last; None where none is left."""
        if not self._redo:
            return None
        step = self._redo.pop()
        self._take(step.change)
        self._undo.append(step)
        return step

    def _take(self, change: Change) -> None:
        self.examination = apply(self.examination, change)
        self.draft.append(change)

    # --- ending

    def saving(self, reading: "Reading | None", why: str = "") -> Callable[[], Examination]:
        """What saves the examination as it stands now: to be tried, and tried again where it must wait.

        Args:
            reading: What the signs mean: it may raise the urgency that the ward list shows.
            why: The reason, for an amendment.

        Raises, when called:
            BusyError: Another session is in the way; nothing has changed.
            AmendedMeanwhileError: Someone else amended the examination first; see `go_after`.
        """
        session, examination = self.session, self.examination
        summary = self.case.summary(reading)

        def save() -> Examination:
            if self.amends:
                at = session.now()
                return session.ward.amend(examination, session.examiner, why.strip(), at, summary)
            return session.ward.save(examination, session.examiner, summary)

        return save

    def save(self, reading: "Reading | None", why: str = "") -> Examination:
        """Save, and take the draft away. Raises as `saving` does; the draft then stays."""
        saved = self.saving(reading, why)()
        self.done()
        return saved

    def done(self) -> None:
        """Take the draft of what was saved away."""
        self.session.ward.drop_draft(self.draft)

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
        self.examination = self.examination.model_copy(
            update={"revision": theirs.revision, "amendment": theirs.amendment}
        )
        return text

    def unkept(self, seconds: float) -> int:
        """How many changes are in memory only, once that long has been waited for them."""
        draft = self.draft
        return draft.sent - draft.kept if draft.sent and not draft.flush(seconds) else 0

    def leave(self) -> None:
        """Let go; the draft stays, but where nothing was entered none does."""
        if self.draft.sent:
            self.draft.close()
        else:
            self.done()

    def pause(self, seconds: float) -> None:
        """Let go; the draft stays whatever was entered."""
        self.draft.flush(seconds)
        self.draft.close()
