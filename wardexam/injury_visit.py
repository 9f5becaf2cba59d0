"""One cord injury sheet from beginning or resuming to saved: where sheet, ward and the other sheets meet.

The screen draws an `InjuryVisit`; the worksheet of a saved sheet is made by `SavedSheets`.
"""

from collections.abc import Callable, Iterable
from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple, Self

from wardexam.errors import InputError
from wardexam.exam.examination import Amendment, Patient
from wardexam.exam.identity import full
from wardexam.exam.text import clean, held
from wardexam.injury.changed import changes, told
from wardexam.injury.computed import Computed, compute
from wardexam.injury.entry import SheetChange, apply, inverse
from wardexam.injury.kept import KeptSheet, at_words
from wardexam.injury.sheet import InjurySheet
from wardexam.injury.worksheet import worksheet
from wardexam.note.cord_sheet import unheard
from wardexam.records.repository import draft_line
from wardexam.saved import same
from wardexam.under_way import UnderWay

if TYPE_CHECKING:
    from wardexam.records.outbox import Unsent
    from wardexam.records.repository import Bed, DraftWriter, PatientFile
    from wardexam.session import Session

NEW = "New sheet: nothing in it is known yet."
UNHEARD = "NOT IN THE URGENCY: urgency and note do not hear of these scores until they are given to an examination"


def latest(sheets: Iterable[KeptSheet]) -> list[KeptSheet]:
    """The last revision of each sheet, in the order in which the sheets were saved."""
    return [*{s.id: s for s in sheets}.values()]


def since(before: KeptSheet | None, now: Computed) -> list[str]:
    """What changed since the sheet before, a sentence each behind the one that says which; empty without one."""
    if before is None:
        return []
    found = told(changes(compute(before.sheet, deciding=False), now))
    head = f"Since the sheet of {at_words(before.at)} by {clean(before.examiner)}"
    return [f"{head}:", *found] if found else [f"{head}: no difference in what both sheets have"]


def paper(
    patient: Patient, kept: KeptSheet, computed: Computed, before: KeptSheet | None, note: str = ""
) -> str:
    """A sheet's worksheet for the chart.

    Args:
        patient: Whose it is.
        kept: Who scored it and when.
        computed: Its results.
        before: The sheet before it, if there is one.
        note: What else is said of it, such as that it is not saved.
    """
    whose = f"{full(patient, unbroken=True)}, {held(f'bed {clean(patient.bed)}')}"
    about = [*kept.about, *([note] if note else [])]
    return worksheet(computed, whose, about, since(before, computed))


class SavedSheets:
    """A patient's saved cord injury sheets, read once and turned through.

    Args:
        session: Who reads them, where.
        patient_id: Whose they are.
        shown: The line that was chosen, if one was; what opens must be what it showed.

    Raises:
        WardexamError: The patient is not known, or is not who was shown.
    """

    def __init__(self, session: "Session", patient_id: str, shown: "Bed | None" = None) -> None:
        file = session.ward.file(patient_id)
        self.patient = file.patient
        same(self.patient, shown)
        self._all = file.sheets
        self._last = file.examinations[-1] if file.examinations else None

    @property
    def last(self) -> KeptSheet | None:
        """The sheet saved last, in its last revision."""
        return latest(self._all)[-1] if self._all else None

    def before(self, kept: KeptSheet) -> KeptSheet | None:
        """The sheet saved before one, in its last revision."""
        order = latest(self._all)
        at = next((n for n, s in enumerate(order) if s.id == kept.id), len(order))
        return order[at - 1] if at else None

    def beside(self, kept: KeptSheet, by: int) -> KeptSheet | None:
        """The revision saved so many before or after one, sheet by sheet; None where there is none."""
        order = [s for last in latest(self._all) for s in self._all if s.id == last.id]
        at = [(s.id, s.revision) for s in order].index((kept.id, kept.revision)) + by
        return order[at] if 0 <= at < len(order) else None

    def is_last_revision(self, kept: KeptSheet) -> bool:
        """Whether it was not amended since."""
        return kept in latest(self._all)

    def place(self, kept: KeptSheet) -> str:
        """Which of the sheets it is, and which revision where there are more."""
        order = latest(self._all)
        at = next(n for n, s in enumerate(order, 1) if s.id == kept.id)
        count = sum(s.id == kept.id for s in self._all)
        which = f"sheet {at} of {len(order)}"
        return which + (f", revision {kept.revision} of {count}" if count > 1 else "")

    def paper(self, kept: KeptSheet) -> str:
        """The worksheet of one of the sheets."""
        note = UNHEARD if self.unheard(kept) else ""
        return paper(self.patient, kept, compute(kept.sheet), self.before(kept), note)

    def unheard(self, kept: KeptSheet) -> bool:
        """Whether urgency and note have not heard of its scores, though no examination followed."""
        return kept in unheard(self._all, self._last)


class SheetStep(NamedTuple):
    """A change made, what takes it back, and what was said of it."""

    change: SheetChange
    back: SheetChange
    said: str


class InjuryVisit(UnderWay):
    """One cord injury sheet being entered.

    Made by `open` or `amend`; ended by `saving` and `done`, or `leave`.

    Attributes:
        patient: Whose it is.
        kept: The sheet as far as it has got, with who began it and when.
        before: The last saved sheet beside it; None for a first one.
        said: What there is to say of how it began.
    """

    def __init__(
        self,
        session: "Session",
        file: "PatientFile",
        kept: KeptSheet,
        draft: "DraftWriter",
        said: str,
    ) -> None:
        super().__init__(session, draft)
        self.patient, self.kept, self.said = file.patient, kept, said
        saved = latest(file.sheets)
        self.amends = any(s.id == kept.id for s in saved)
        self.number = next((n for n, s in enumerate(saved, 1) if s.id == kept.id), len(saved) + 1)
        self.before = saved[self.number - 2] if self.number > 1 else None
        self._computed: tuple[InjurySheet, Computed] | None = None
        self._since: tuple[InjurySheet, list[str]] | None = None
        self._undo: list[SheetStep] = []
        self._redo: list[SheetStep] = []

    @classmethod
    def open(cls, session: "Session", patient_id: str, shown: "Bed | None" = None) -> Self:
        """The draft of a sheet that was left of a patient, else a new sheet.

        A draft that another session is writing is left to it; that one is damaged is said.

        Raises:
            WardexamError: The record has other details than the line that was chosen.
        """
        opened = session.ward.opened(patient_id, session.examiner)
        file = opened.file
        same(file.patient, shown)
        drafts = session.ward.sheet_drafts
        left = [d for d in opened.sheet_drafts if not d.held]
        whole = [d for d in left if not d.trouble]
        if whole:
            draft, kept = drafts.resume(whole[-1].draft_id)
            told_of = draft_line(whole[-1], file.patient.bed, session.now())
            return cls(session, file, kept, draft, f"Draft of a sheet resumed: {told_of}.")
        kept = KeptSheet(
            id=session.new_id(), patient=patient_id, examiner=session.examiner, at=session.now()
        )
        said = NEW
        if left:
            said = f"A draft of a sheet is damaged and was not resumed: {left[-1].trouble}"
        return cls(session, file, kept, drafts.start(kept, session.examiner), said)

    @classmethod
    def amend(cls, session: "Session", kept: KeptSheet) -> Self:
        """A saved sheet opened again; saving makes a further revision of it."""
        drafts = session.ward.sheet_drafts
        if not any(d.draft_id == kept.id for d in drafts.infos()):
            drafts.start(kept, session.examiner).close()
        draft, held_ = drafts.resume(kept.id)
        said = "What was saved stays. Saving makes a further revision and asks why."
        file = session.ward.opened(kept.patient, session.examiner).file
        return cls(session, file, held_, draft, said)

    # --- what it is

    @property
    def sheet(self) -> InjurySheet:
        """The scores as far as they have got."""
        return self.kept.sheet

    @property
    def computed(self) -> Computed:
        """Every result of the scores as they are now."""
        if self._computed is None or self._computed[0] is not self.sheet:
            self._computed = self.sheet, compute(self.sheet)
        return self._computed[1]

    @property
    def since(self) -> list[str]:
        """What changed since the sheet before; empty where there is none, or nothing is entered."""
        if self.sheet == InjurySheet():
            return []
        if self._since is None or self._since[0] is not self.sheet:
            self._since = self.sheet, since(self.before, self.computed)
        return self._since[1]

    @property
    def which(self) -> str:
        """Which of the patient's sheets it is."""
        return f"AMENDING sheet {self.number}" if self.amends else f"sheet {self.number}"

    @property
    def paper(self) -> str:
        """The worksheet as far as the sheet has got."""
        note = "AS ENTERED SO FAR, NOT SAVED"
        return paper(self.patient, self.kept, self.computed, self.before, note)

    # --- changing

    def change(self, change: SheetChange, said: str = "") -> None:
        """Make a change and keep it in the draft.

        Raises:
            InputError: The change is not acceptable; nothing has changed.
        """
        step = SheetStep(change, inverse(self.sheet, change), said)
        self._take(change)
        self._undo.append(step)
        self._redo.clear()

    def undo(self) -> SheetStep | None:
        """Take back what was changed last; None where nothing is left."""
        if not self._undo:
            return None
        step = self._undo.pop()
        self._take(step.back)
        self._redo.append(step)
        return step

    def redo(self) -> SheetStep | None:
        """Make again what was undone last; None where nothing is left."""
        if not self._redo:
            return None
        step = self._redo.pop()
        self._take(step.change)
        self._undo.append(step)
        return step

    def _take(self, change: SheetChange) -> None:
        self.kept = self.kept.model_copy(update={"sheet": apply(self.sheet, change)})
        self.draft.append(change)

    # --- ending

    @property
    def untouched(self) -> bool:
        """Whether nothing was entered."""
        return not self.draft.sent

    def saving(self, why: str = "") -> Callable[[], KeptSheet]:
        """What saves the sheet as it stands now: to be tried, and tried again where it must wait.

        Args:
            why: The reason, for an amendment.

        Raises, when called:
            BusyError: Another session is in the way; nothing has changed.
            InputError: Someone else amended the sheet first.
        """
        session, kept = self.session, self.kept
        if self.amends:
            kept = _amended(kept, session.examiner, why, session.now())
        return lambda: session.ward.save_sheet(kept, session.examiner)

    def unsent(self, why: str = "") -> "Callable[[], Unsent]":
        """What makes the same save, as it stands now, to be kept until the store can be reached again."""
        from wardexam.records.outbox import Unsent

        by, at, kept = self.session.examiner, self.session.now(), self.kept
        if self.amends:
            kept = _amended(kept, by, why, at)
        return lambda: Unsent(kept, by, at)

    def _drop(self) -> None:
        self.session.ward.sheet_drafts.drop(self.draft)

    def go_on(self, saved: KeptSheet) -> None:
        """Go on from what was saved of this meanwhile: saving then makes a further revision of it."""
        self.amends = True
        self.kept = self.kept.model_copy(
            update={"revision": saved.revision, "amendment": saved.amendment}
        )

    def put_aside(self) -> None:
        """Let go and set the draft aside: it is kept, and not offered again."""
        self.draft.close()
        if self.untouched:
            self.done()
        else:
            self.session.ward.sheet_drafts.put_aside(self.draft.draft_id, self.session.examiner)


def _amended(kept: KeptSheet, by: str, why: str, at: datetime) -> KeptSheet:
    """A sheet as its next revision.

    Raises:
        InputError: The reason is missing.
    """
    if not why.strip():
        raise InputError("an amendment needs a reason", kept.id)
    amendment = Amendment(by=by[:120], at=at, why=why.strip()[:120])
    return kept.model_copy(update={"revision": kept.revision + 1, "amendment": amendment})
