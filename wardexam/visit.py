"""One examination from beginning or resuming to saved: where findings, reasoning, records and note meet.

The screen draws a `Visit`, the plain lines speak it. What is saved already is a `Case` of the
patient's `Saved` examinations: the note, the referral and the figure are made from it.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple, Self

from pydantic import ValidationError

from wardexam.errors import InputError, RecordsError, WardexamError
from wardexam.exam.act_kinds import ActKind, act_kinds
from wardexam.exam.acts import Act
from wardexam.exam.entry import Change, apply, first_fault, inverse
from wardexam.exam.examination import Amendment, Examination, Findings, Patient
from wardexam.exam.story import context_of
from wardexam.reasoning.rules.acts import written_over
from wardexam.reasoning.rules.change import Comparison, compare
from wardexam.reasoning.rules.own_alarm import OWN
from wardexam.reasoning.rules.raised import first_raised, recorded
from wardexam.reasoning.rules.reason import Reason, Urgency
from wardexam.reasoning.rules.standing import Open, earlier, standing, still_open, unrelieved
from wardexam.reasoning.rules.stay import Slide, Stay
from wardexam.reasoning.rules.urgency import assess, lowered_by
from wardexam.records.repository import AmendedMeanwhileError, clock_line, draft_line

if TYPE_CHECKING:
    from wardexam.exam.answers import ScaleName
    from wardexam.exam.earlier import Earlier
    from wardexam.injury.kept import KeptSheet
    from wardexam.note.reflexes import Form
    from wardexam.reasoning.reading import Reading
    from wardexam.reasoning.rules.wording import Wording
    from wardexam.records.outbox import Unsent
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
        still: What urgency still hears of the stay; of `previous` alone where it is not given.
        replaced: The revision before this one; None for a first one.
        read_at: When its papers are read, where it is the last of the stay: they then say which limits are passed.
        sheets: The stay's cord injury sheets, where it is the last: papers name one that urgency has not heard of.
        earlier: What stands of the stay for the reading, each finding with when it was found.
        stay: The examinations before, for what changed over more than the last one.
        in_error: Who says that the examination was entered in error, when and why; None where it counts.
    """

    patient: Patient
    examination: Examination
    previous: Examination | None
    wording: "Wording"
    still: Open | None = None
    replaced: Examination | None = None
    read_at: "datetime | None" = None
    sheets: "tuple[KeptSheet, ...]" = ()
    earlier: "Earlier | None" = None
    stay: Stay | None = None
    in_error: Amendment | None = None

    def urgency(self, reading: "Reading | None" = None, *, own: bool = False) -> Urgency:
        """How urgent it is.

        Args:
            reading: The tool's reading, where it counts.
            own: Whether the tool's own alarm counts as it was raised before, also without a reading.
        """
        return assess(
            self.examination,
            self.previous,
            reading,
            self.wording,
            own=own,
            still=self.still,
            stay=self.stay,
        )

    @property
    def heard(self) -> Findings:
        """What urgency hears of the stay and of this examination."""
        still = self.still or (still_open((self.previous,)) if self.previous else None)
        return unrelieved(still, self.examination)[0] if still else self.examination

    @property
    def told(self) -> Urgency:
        """How urgent it is for the chart: the tool's own alarm is in it once the suggestion is accepted."""
        return self.urgency(own=bool(self.examination.suggestion))

    def acts(
        self, rule: str | Sequence[str], kind: ActKind, what: str, by: str, at: datetime
    ) -> tuple[Act, ...]:
        """The same done about one reason or several, as `act`; where one is refused all are."""
        rules = [rule] if isinstance(rule, str) else list(dict.fromkeys(rule))
        if not rules:
            raise InputError("no reason is named", remedy="name one that stands")
        return tuple(self.act(r, kind, what, by, at) for r in rules)

    def act(self, rule: str, kind: ActKind, what: str, by: str, at: datetime) -> Act:
        """What was done about one of the reasons, as it is kept with the examination.

        Args:
            rule: The reason's rule.
            kind: What was done; see `Act`.
            what: Whom, which image, what it showed or why; of whom was called and which image was asked
                for the reason's own words where empty.
            by: Who did it, or says so.
            at: When.

        Raises:
            InputError: The reason does not stand, words are missing, or nothing brings it down.
        """
        reasons = {r.rule: r for r in self.urgency(own=True).reasons}
        if rule not in reasons and rule != OWN:
            known = ", ".join(reasons) or "none"
            raise InputError(f"no reason '{rule}' stands", remedy=f"those that stand: {known}")
        words = what.strip() or _usual(reasons.get(rule), kind)
        if not words:
            raise InputError(f"{act_kinds()[kind].words}: no words say how", remedy="write a few")
        if kind == "lowered" and not lowered_by(rule):
            raise InputError(
                "nothing brings this reason down",
                rule,
                "write why it is not needed; its level stays",
            )
        found = self.examination
        on = written_over(self.heard) if kind not in ("called", "asked") else None
        try:
            act = Act(rule=rule, kind=kind, what=words, by=by[:120], at=at, on=on)
        except ValidationError as error:
            raise InputError(first_fault(error)) from None
        if kind == "lowered":
            tried = found.model_copy(update={"acts": (*found.acts, act)})
            case = replace(self, examination=tried)
            reason = next((r for r in case.urgency(own=True).reasons if r.rule == rule), None)
            if reason and not reason.lowered:
                raise InputError(f"cannot be brought down: {reason.ended}", rule)
        return act

    def comparison(self) -> Comparison | None:
        """What changed from what stood before; None for a first examination."""
        return compare(self.previous, self.examination) if self.previous else None

    @property
    def slides(self) -> tuple[Slide, ...]:
        """What is worse than when the stay began."""
        return self.stay.slides(self.examination, self.comparison()) if self.stay else ()

    def to_save(self, reading: "Reading | None" = None) -> tuple[Examination, "Summary"]:
        """The examination with its reasons, as it is saved, and what the ward list then shows of it."""
        from wardexam.note.headline import summarise

        urgency = self.urgency(reading, own=True)
        kept = recorded(self.examination, urgency)
        if reading:
            kept = kept.model_copy(update={"reading": reading.kept})
        return kept, summarise(urgency, self.comparison(), reading, self.slides)

    def note(
        self,
        form: "Form" = "sentences",
        scale: "ScaleName | None" = None,
        *,
        line_end: str = "\n",
        ascii_only: bool = True,
    ) -> str:
        """The note; the tool's reading stays out of it until it is accepted."""
        from wardexam.note.note import render

        told = self.told
        return render(
            self.patient,
            self.examination,
            previous=self.previous,
            urgency=told,
            form=form,
            scale=scale,
            replaced=self.replaced,
            now=self.read_at,
            beside=self._beside,
            graver=self._graver(told),
            stay=self.stay,
            in_error=self.in_error,
            line_end=line_end,
            ascii_only=ascii_only,
        )

    def referral(self) -> str:
        """The referral."""
        from wardexam.note.referral import render

        told = self.told
        return render(
            self.patient,
            self.examination,
            previous=self.previous,
            urgency=told,
            now=self.read_at,
            beside=self._beside,
            graver=self._graver(told),
            stay=self.stay,
            in_error=self.in_error,
        )

    @property
    def _beside(self) -> str:
        """What stands beside a paper and is not in its urgency: a cord injury sheet."""
        from wardexam.note.cord_sheet import line

        return line(self.sheets, self.examination, self.examination.at)

    def _graver(self, told: Urgency) -> Urgency | None:
        """The urgency of the ward list, where that is graver than what a paper tells: the tool's own alarm is in it."""
        whole = told if self.examination.suggestion else self.urgency(own=True)
        return whole if whole.level > told.level else None

    def picture(self) -> str:
        """The figure as an SVG picture."""
        from wardexam.note.svg import render

        return render(self.patient, self.examination, self.in_error)


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
        self._wording, self._now = session.wording, session.now
        self._file = session.ward.file(patient_id)
        self.patient = self._file.patient
        same(self.patient, shown)

    @property
    def file(self) -> "PatientFile":
        """What was read."""
        return self._file

    @property
    def last(self) -> Examination | None:
        """The examination saved last of those that count, in its last revision."""
        return self._file.examinations[-1] if self._file.examinations else None

    @property
    def last_with_errors(self) -> Examination | None:
        """The same of all that were saved, those entered in error too."""
        return self._file.with_errors[-1] if self._file.with_errors else None

    @property
    def urgency(self) -> Urgency | None:
        """How urgent the examination saved last is; None where none counts."""
        return self.case(self.last).urgency(own=True) if self.last else None

    def case(self, examination: Examination) -> Case:
        """One of the examinations with what stood before it."""
        made = case_of(self._file, examination, self._wording)
        last = self.last
        if last is None or (made.examination.id, made.examination.revision) != (last.id, last.revision):  # fmt: skip
            return made
        return replace(made, read_at=self._now(), sheets=self._file.sheets)

    def named(self, which: str | None) -> Case:
        """The examination of this identifier, also one entered in error; the last one that counts where none is given.

        Raises:
            InputError: There is no such examination; names the last ones.
        """
        whose, known = self.patient.id, self._order
        if not known:
            raise InputError("no examination is stored", where=whose, remedy="examine first")
        last = ", ".join(known[-LAST_NAMED:])
        if which is None:
            if self.last is None:
                raise InputError("no examination counts: all were entered in error", whose, f"known: {last}")  # fmt: skip
            return self.case(self.last)
        if which not in known:
            raise InputError(f"no examination '{which}'", where=whose, remedy=f"known: {last}")
        return self.case(self._file.with_errors[known.index(which)])

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


def mark_in_error(
    session: "Session", examination: Examination, why: str, at: datetime | None = None
) -> Examination:
    """Say of a saved examination that it was entered in error: from then on it counts nowhere, and nothing of it is lost.

    Args:
        session: Who says so, where and when.
        examination: Which, in its last revision.
        why: Why, such as ``wrong patient``.
        at: When; now where it is not given.

    Raises:
        InputError: No words say why, or it is marked so already; nothing has changed.
        AmendedMeanwhileError: Someone else amended it at the same moment.
        RecordsError: It could not be saved.
    """
    return _marked(session, examination, why, at, in_error=True)


def mark_valid(
    session: "Session", examination: Examination, why: str, at: datetime | None = None
) -> Examination:
    """Take back that an examination was entered in error: it counts again. Raises as `mark_in_error` does."""
    return _marked(session, examination, why, at, in_error=False)


def _marked(
    session: "Session", examination: Examination, why: str, at: datetime | None, *, in_error: bool
) -> Examination:
    def listed(file: "PatientFile") -> "Summary | None":
        """What the ward list shows of what then counts."""
        last = file.examinations[-1] if file.examinations else None
        return case_of(file, last, session.wording).to_save()[1] if last else None

    return session.ward.mark(
        examination, session.examiner, why.strip(), at or session.now(), listed, in_error=in_error
    )


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


def _usual(reason: Reason | None, kind: ActKind) -> str:
    """Whom the reason names to call, or which image to ask for."""
    if reason is None:
        return ""
    return {"called": reason.call, "asked": reason.image if reason.imaged else ""}.get(kind, "")


def write_act(
    session: "Session", patient_id: str, rule: str | Sequence[str], kind: ActKind, what: str = "",
    shown: "Bed | None" = None, at: datetime | None = None,
) -> Examination:  # fmt: skip
    """Save what was done about a reason, or several at once, of the examination saved last, as a further revision of it.

    Args:
        session: Who writes it, where and when.
        patient_id: Whose it is.
        rule: The reason's rule, or several.
        kind: What was done; see `wardexam.exam.acts.Act`.
        what: Whom, which image, what it showed or why; see `Case.act`.
        shown: The line that was chosen, if one was; what is written to must be what it showed.
        at: When; now where it is not given. The same at the same time again is written once.

    Raises:
        InputError: No examination is stored, or the act cannot be accepted; nothing has changed.
        AmendedMeanwhileError: Someone else amended the examination at the same moment.
        RecordsError: It could not be saved.
    """
    case = Saved(session, patient_id, shown).named(None)
    at = at or session.now()
    made = case.acts(rule, kind, what, session.examiner, at)
    written_before = {a.same for a in case.examination.acts}
    if {a.same for a in made} <= written_before:
        return case.examination
    acts = (*case.examination.acts, *made)
    written = replace(case, examination=case.examination.model_copy(update={"acts": acts}))
    examination, summary = written.to_save()
    why = f"{act_kinds()[kind].words}: {made[0].what}"[:120]
    return session.ward.amend(examination, session.examiner, why, at, summary)


def case_of(file: "PatientFile", examination: Examination, wording: "Wording") -> Case:
    """One of a patient's examinations, in any of its revisions, with what stood before it."""
    told = file.telling(examination.id)
    before = (
        r for r in file.revisions(examination.id) if r.revision == examination.revision - 1
    ) if examination.revision > 1 else iter(())  # fmt: skip
    return Case(
        file.patient, file.counted(examination), standing(told), wording, still_open(told), next(before, None),
        earlier=earlier(told, examination.at), stay=Stay(told), in_error=file.in_error(examination.id),
    )  # fmt: skip


HEARD = ("finding", "rest_normal", "flag", "context")  # what a suggestion is made of
WITHDRAWN = "Suggestion out of the note: more was entered."


class Step(NamedTuple):
    """A change made, what takes it back, what was said of it, and whether one keystroke made it with the one before."""

    change: Change
    back: Change
    said: str
    joined: bool = False


class Visit:
    """One examination being entered.

    Made by `open`, `begin`, `resume` or `amend`; ended by `save`, `leave` or `pause`.

    Attributes:
        session: Who examines, where, and what comes in at the edge.
        examination: As far as it has got.
        draft: Where every change is kept.
        amends: Whether it is a further revision of a saved examination.
        resumed: Whether it goes on from a draft that was left.
        entries: How often the doctor has changed it; what the tool puts down by itself does not count.
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
        self.resumed = False
        self.entries = 0
        self._opened = examination
        self._stored = next(iter(file.revisions(examination.id)[-1:]), None)
        self._begun = case_of(file, examination, session.wording)
        self._order = [*dict.fromkeys(name for name, _ in file.numbered())]
        self._kept = draft.kept, session.now()
        self._undo: list[Step] = []
        self._redo: list[Step] = []
        self._noticed: list[tuple[int, Change]] = []  # after how many steps, and what takes it back

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
        opened = session.ward.opened(patient_id, session.examiner)
        file = opened.file
        same(file.patient, shown)
        drafts = [d for d in opened.drafts if not d.held]
        left = [d for d in drafts if not d.trouble]
        if left:
            said = f"Draft resumed: {draft_line(left[-1], file.patient.bed, session.now())}."
            draft, examination = session.ward.resume_draft(left[-1].draft_id, session.examiner)
            made = cls(session, file, examination, draft, said)
            made.resumed = not made.amends or bool(left[-1].keys)
            return made
        made = cls._new(session, file)
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
        return self._begun.earlier

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

    @property
    def kept_words(self) -> str:
        """Whether what was entered is on disk, and since when: ``kept 14:02``."""
        if not self.draft.sent:
            return "nothing entered"
        return self.kept_at if self.draft.kept >= self.draft.sent else "keeping"

    @property
    def kept_at(self) -> str:
        """When the last of what was entered came on disk: ``kept 14:02``; empty where nothing did, or not all does."""
        if not self.draft.kept or self.draft.problem:
            return ""
        if self._kept[0] != self.draft.kept:
            self._kept = self.draft.kept, self.session.now()
        return f"kept {self._kept[1]:%H:%M}"

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

    def done(self) -> None:
        """Take the draft of what was saved away; where that cannot be done now, the next start does it."""
        try:
            self.session.ward.drop_draft(self.draft)
        except RecordsError:
            self.draft.close()

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

    def leave(self) -> None:
        """Let go; the draft stays, but where nothing was entered none does."""
        if self.untouched:
            self.done()
        else:
            self.draft.close()

    def pause(self, seconds: float) -> None:
        """Let go; the draft stays whatever was entered."""
        self.draft.flush(seconds)
        self.draft.close()
