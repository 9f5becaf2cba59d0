"""A patient's saved examinations: turned through, marked as entered in error, and what is done about them written down."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from wardexam.case import Case, case_of
from wardexam.errors import InputError, WardexamError
from wardexam.exam.act_kinds import ActKind, act_kinds
from wardexam.exam.examination import Examination, Patient
from wardexam.reasoning.rules.reason import Urgency

if TYPE_CHECKING:
    from wardexam.records.repository import Bed, PatientFile, Summary
    from wardexam.session import Session

LAST_NAMED = 10  # examinations that are named where one is asked for that there is not


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
        """What the ward list shows of what then counts, and until the next is saved that the last does not."""
        from wardexam.note.headline import with_void

        last = file.examinations[-1] if file.examinations else None
        if last is None:
            return None
        return with_void(
            case_of(file, last, session.wording).to_save()[1], file, at or session.now()
        )

    return session.ward.mark(
        examination, session.examiner, why.strip(), at or session.now(), listed, in_error=in_error
    )


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
