"""The ward as a folder of files: patients, examinations, revisions, drafts, audit.

One TinyDB document file for each patient under an opaque name. A transaction takes the patient's
lock, reads afresh, checks the revision, changes and writes; nothing stays open between keys. The
ward list reads a small derived index (`wardexam.records.ward_list_file`): a row that was not made from the
file as it now lies is made anew from it.
"""

import stat
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, cast

from wardexam.errors import InputError, RecordsError, WardexamError
from wardexam.exam.text import natural
from wardexam.records import patient_tables
from wardexam.records.audit import ABSENT, Audit, Head
from wardexam.records.draft_store import DraftStore, SheetDraftStore, known
from wardexam.records.durable_files import last_bytes, read_bounded, unused, version_before
from wardexam.records.layout import NAME, Layout, mark_again
from wardexam.records.locks import BusyError, Locks
from wardexam.records.origin import Origin
from wardexam.records.paths import elsewhere, kept_trail
from wardexam.records.patient_file import StoredFile
from wardexam.records.repository import (
    Arrival,
    Bed,
    DraftInfo,
    DraftWriter,
    Opened,
    Papers,
    Report,
    Summary,
    TrailLine,
)
from wardexam.records.schemas import LONGEST, mark_in, read_tables
from wardexam.records.stored_record import REMEDY, Tables
from wardexam.records.ward_lists import WardLists
from wardexam.records.watching import Looking

if TYPE_CHECKING:
    from tinydb import TinyDB

    from wardexam.exam.examination import Examination, Patient
    from wardexam.exam.outcome import Outcome
    from wardexam.injury.kept import KeptSheet
    from wardexam.records.light_file import Event
    from wardexam.records.light_reading import FileStay


@dataclass
class _Document:
    """A patient's document while it is changed, and what the audit trail shall say of it."""

    database: "TinyDB"
    what: str = ""
    stood: bool = False  # all of it was there before: no event

    @property
    def tables(self) -> Tables:
        """The tables as they stand now."""
        return patient_tables.tables_of(self.database)


class Ward:
    """A ward in a folder.

    Args:
        folder: Where it is kept; made if it is not there.
        shared: Whether the folder belongs to a ward account and its group.
        begin: Whether a ward is begun where none stands.
        mend: Whether the mark of a ward that has lost it is written anew.

    Attributes:
        mended: Whether it was.

    Raises:
        RecordsError: The folder cannot be used, others can write to it, or none stands there to read.
    """

    def __init__(
        self, folder: Path, *, shared: bool = False, begin: bool = True, mend: bool = False
    ) -> None:
        self.folder = folder
        self.mended = mend and mark_again(folder, shared=shared)
        self.layout = Layout(folder, shared=shared, begin=begin)
        mode = self.layout.file_mode
        self.origin = Origin(self.layout.origin_file)
        self.audit = Audit(self.layout.trail, mode, kept_trail(folder), stands=self.origin.stands)
        self.locks = Locks(self.layout.locks, mode)
        self._lists = WardLists(self.layout, self.locks, self.audit.patients)
        self._draft_store = DraftStore(self.layout, self.spool)
        self._sheet_drafts = SheetDraftStore(self.layout, self.spool, self.audit.note)
        if self.layout.migrated:
            self.take_over("wardexam", "from an earlier layout")
        self._finish_what_was_begun()

    @property
    def problem(self) -> str:
        """What is not as it should be, in one line; empty when all is well."""
        left = self.layout.left
        return (
            self.audit.problem
            or self._lists.trouble
            or (
                f"of an earlier layout, in no list: {left[0]} (run 'wardexam check')"
                if left
                else ""
            )
        )

    @property
    def patience(self) -> float:
        """Seconds that an operation waits for another session."""
        return self.locks.patience

    @patience.setter
    def patience(self, seconds: float) -> None:
        self.locks.patience = self.audit.patience = self._lists.patience = seconds

    @property
    def spool(self) -> Path:
        """Where this login keeps drafts while the ward's own folder cannot be written."""
        return elsewhere(self.folder)

    def take_over(self, by: str, what: str) -> None:
        """Put the files that the trail does not know into it, as where a ward came without a trail."""
        for name in sorted(self.layout.names()[0]):
            if self.audit.last_record(name, 1 << 24):
                continue
            record = _checksum(self.layout.file(name))
            self.audit.note("taken over", name, by, what, record=record, sync=False)
        self.audit.settle()

    def settle(self) -> None:
        """Write the events that have been waiting for another session."""
        self.audit.settle()

    def _file(self, patient_id: str) -> Path:
        return self.layout.file(known(patient_id))

    def _finish_what_was_begun(self) -> None:
        """Complete an arrival cut short; take away what died under way and drafts saved already.

        Of a save that the trail speaks of and that never took its place, the trail says so.
        """
        from wardexam.records import bulk_import, outcome_import

        fine = suppress(WardexamError, OSError)  # `check` names what stays unfinished
        with fine:
            if outcome_import.left_over(self.layout):
                with self.locks.held("arrivals", 0.05):
                    for folder in outcome_import.left_over(self.layout):
                        with fine:
                            outcome_import.settle(folder, self.conclude)
        with fine:
            if bulk_import.left_over(self.layout):
                with self.locks.held("arrivals", 0.05), self.locks.held("lists", 0.05):
                    for folder in bulk_import.left_over(self.layout):
                        with fine:
                            bulk_import.settle(self.layout, self._lists, self.audit, folder)
        self.note_what_died()
        self.layout.sweep()
        self._draft_store.sweep(self._is_saved)
        self._sheet_drafts.sweep(self._is_sheet_saved)

    def note_what_died(self) -> None:
        """Put down which saves the trail speaks of and never took their place, since the session died."""
        for stray in self.layout.strays():
            self._not_carried_out(stray)

    def _not_carried_out(self, stray: Path) -> None:
        """Put down that a save which the trail speaks of never took its place."""
        patient_id = stray.name.split(".")[2] if stray.name.count(".") == 3 else ""
        digest = mark_in(stray).partition(" ")[0]
        if not NAME.fullmatch(patient_id) or not digest:
            return
        stored = _checksum(self.layout.file(patient_id))
        if digest != stored and digest == self.audit.last_record(patient_id):
            self.audit.note(
                "not carried out", patient_id, "wardexam", "the session died", record=stored
            )

    def _is_saved(self, info: DraftInfo, drafted: "Callable[[], Examination]") -> bool:
        """Whether what a draft says is stored already, as after a crash just after a save."""
        quoted = b'"%s"' % known(info.draft_id).encode()
        if quoted not in read_bounded(self._file(info.patient_id), LONGEST):
            return False
        stored = self.revisions(info.patient_id, info.draft_id)
        return patient_tables.is_last_said(stored, drafted())

    def _is_sheet_saved(self, info: DraftInfo, drafted: "Callable[[], KeptSheet]") -> bool:
        """Whether the sheet that a draft holds is stored already, as after a crash just after a save."""
        quoted = b'"%s"' % known(info.draft_id).encode()
        if quoted not in read_bounded(self._file(info.patient_id), LONGEST):
            return False
        stored = [s for s in self.file(info.patient_id).sheets if s.id == info.draft_id]
        return bool(stored) and stored[-1].sheet == drafted().sheet

    # --- transactions -----------------------------------------------------------------------

    def _tables(self, patient_id: str) -> Tables:
        tables = read_tables(self._file(patient_id))
        if tables is None:
            raise InputError(
                "no such patient", where=patient_id, remedy="'wardexam beds' lists them"
            )
        return patient_tables.of_patient(tables, patient_id, str(self._file(patient_id)))

    @contextmanager
    def _change(self, patient_id: str, event: str, by: str) -> "Iterator[_Document]":
        """A patient's document, locked and fresh; one write when the block ends well.

        A change of several tables is one write, so that no half of it can ever be on disk. A block
        that changes nothing writes nothing. The document and its place in the folder are flushed
        before this ends; the event in the audit trail is with the next one.
        """
        from tinydb import TinyDB

        from wardexam.records.tinydb_storage import DurableStorage

        new = event == "admitted"
        with (
            self.locks.held(patient_id) as still_ours,
            TinyDB(
                self._file(patient_id),
                self.layout.file_mode,
                self.layout.staging,
                storage=DurableStorage,
            ) as database,
        ):
            storage = cast("DurableStorage", database.storage)
            document = _Document(database)
            patient_tables.of_patient(document.tables, patient_id, str(storage.path))
            before = dict(document.tables)
            if bool(document.tables) == new:
                raise InputError(
                    "is on the ward already" if new else "no such patient", where=patient_id
                )
            stood = _checksum(storage.path)
            left = patient_tables.first(document.tables, "patient").get("discharged")
            yield document

            told = []

            def note(digest: str) -> None:
                told.append(digest)
                self.audit.note(
                    event, patient_id, by, document.what, record=digest, stood=stood, sync=False
                )

            if not storage.changed:
                if not document.stood:
                    note(stood)
                return
            self._notice_a_change(patient_id, stood)
            self._spare_what_was_before(storage.path, patient_id, before)
            row = patient_tables.row_of(document.tables, where=patient_id)
            moves = new or bool(left) != bool(row["discharged"])
            self.layout.raise_mark()
            self.layout.still_here()
            still_ours()
            storage.announce = note
            with self.locks.held("lists") if moves else nullcontext():
                if moves:
                    self._lists.announce([patient_id])
                try:
                    storage.flush()
                except RecordsError:
                    if told and _checksum(storage.path) != told[-1]:
                        self.audit.note(
                            "not carried out", patient_id, by, event, record=stood, stood=told[-1]
                        )
                    raise
                self._lists.put(row | {"mark": storage.mark}, moves=moves)

    def _notice_a_change(self, patient_id: str, stood: str) -> None:
        """Put down, before it is written over, that a file is not as the trail's last line left it."""
        self.audit.settle()
        if self.audit.problem or self.audit.last_record(patient_id) in ("", stood):
            return
        self.note_what_died()
        if self.audit.last_record(patient_id) != stood:
            self.audit.note(
                "found changed", patient_id, "wardexam", "outside this program", record=stood
            )

    @staticmethod
    def _spare_what_was_before(path: Path, patient_id: str, tables: Tables) -> None:
        """Set a version before aside that is not one, unless all it holds stands in the file.

        It is read only where it is no regular file, is newer or longer than the file, as where the two
        were exchanged, or does not end as this patient's.
        """
        kept = version_before(path)
        with suppress(FileNotFoundError):
            found, file = kept.lstat(), path.stat()
            if (
                stat.S_ISREG(found.st_mode)
                and found.st_mtime_ns <= file.st_mtime_ns
                and found.st_size <= file.st_size
                and b'"id": "%s"' % patient_id.encode() in last_bytes(kept, 8192)
            ):
                return
            try:
                stands = patient_tables.raw_records(read_tables(kept) or {}) <= (
                    patient_tables.raw_records(tables)
                )
            except RecordsError:
                stands = False
            if not stands:
                kept.rename(unused(kept))

    @contextmanager
    def hold(self, patient_id: str) -> Iterator[None]:
        """Keep other sessions from saving to a patient's file while the block runs."""
        with self.locks.held(patient_id):
            yield

    # --- the ward list

    def rebuild_index(self) -> list[str]:
        """Make the index anew from the patients' files; gives those that could not be read."""
        return self._lists.rebuild()

    def listed(self) -> set[str]:
        """Every patient whom a list has seen, or of whom a version before is left."""
        return self._lists.seen()

    def beds(self, *, discharged: bool = False) -> tuple[Bed, ...]:
        """The ward list, by bed; discharged patients instead when asked for."""
        drafted = {d.patient_id for d in self.drafts() if not d.held}
        found = [
            replace(bed, has_draft=bed.patient_id in drafted)
            for bed in self._lists.beds(discharged=discharged)
        ]
        return tuple(sorted(found, key=lambda b: (natural(b.bed), b.name, b.patient_id)))

    def verify(self) -> bool:
        """Look at the files behind the list that have changed since; whether the list says something new."""
        told = self._lists.verify()
        self._lists.compare()
        return told

    def watch(self, changed: Callable[[], object]) -> Looking:
        """Call `changed`, from a thread of its own, whenever any session has changed the ward."""
        return Looking(self._marks, changed)

    def _marks(self) -> Hashable:
        marks = []
        for path in (*self._lists.paths, self.layout.patients, self.layout.drafts):
            with suppress(OSError):
                found = path.stat()
                marks.append((found.st_mtime_ns, found.st_size, found.st_ino))
        return tuple(marks)

    # --- patients ---------------------------------------------------------------------------

    def patient(self, patient_id: str) -> "Patient":
        """A patient's details."""
        return patient_tables.patient_of(self._tables(patient_id))

    def admit(self, patient: "Patient", by: str) -> "Patient":
        """Add a patient; the same again is no fault."""
        try:
            with self._change(patient.id, "admitted", by) as document:
                patient_tables.put_patient(document.database, patient)
        except InputError:
            if self.patient(patient.id) != patient:
                raise
        return patient

    def take_in(
        self,
        arrivals: Iterable[Arrival],
        by: str,
        progress: Callable[[int], None] | None = None,
    ) -> int:
        """Add patients with every revision of their examinations, all or none; gives how many."""
        from wardexam.records import bulk_import

        with self.locks.held("arrivals"):
            self.layout.still_here()
            self.layout.raise_mark()
            staged = bulk_import.stage(self.layout, arrivals, by, progress)
            try:
                with self.locks.held("lists"):
                    return len(bulk_import.take_in(self.layout, self._lists, self.audit, staged))
            except BusyError:
                bulk_import.discard(staged)
                raise

    def update(self, patient: "Patient", by: str, event: str = "edited") -> "Patient":
        """Save changed details; `patient.revision` is the one that was read.

        Raises:
            ConflictError: Someone else saved first.
        """
        with self._change(patient.id, event, by) as document:
            saved, document.stood = patient_tables.update_patient(document.database, patient)
        return saved

    def discharge(self, patient: "Patient", at: datetime, by: str) -> "Patient":
        """Take a patient off the list, as the details were read; everything is kept.

        Raises:
            ConflictError: Someone else saved first.
        """
        return self.update(patient.model_copy(update={"discharged": at}), by, "discharged")

    def restore(self, patient: "Patient", by: str) -> "Patient":
        """Bring a discharged patient back, as the details were read.

        Raises:
            ConflictError: Someone else saved first.
        """
        return self.update(patient.model_copy(update={"discharged": None}), by, "restored")

    def erase(self, patient_id: str, by: str, why: str) -> None:
        """Take a patient out for good who is discharged, or of whom no more than a row of the list is left; the trail says who did, why and when."""
        from wardexam.records import erasure

        self.layout.still_here()
        path, there = self._file(patient_id), self.spool
        with self.locks.held("arrivals"), self.locks.held(patient_id), self.locks.held("lists"):
            patient_tables.may_be_erased(
                why,
                known=path.exists()
                or patient_id in self.listed()
                or any(erasure.traces(self.layout, there, patient_id)),
                here=any(b.patient_id == patient_id for b in self._lists.beds(discharged=False))
                and not erasure.is_lost(self.layout, there, patient_id),
                held=any(
                    d.held
                    for d in (*self.drafts(), *self._sheet_drafts.infos())
                    if d.patient_id == patient_id
                ),
                whose=patient_id,
            )
            erasure.erase(self.layout, self._lists, self.audit, there, patient_id, by, why.strip())

    def erased(self) -> dict[str, str]:
        """Who was erased and not brought in again, with when."""
        from wardexam.records import erasure

        return erasure.erased(self.layout.trail)

    # --- examinations -------------------------------------------------------------------------

    def file(self, patient_id: str) -> StoredFile:
        """A patient's details and examinations, read and verified once."""
        return StoredFile(self._tables(patient_id))

    def opened(self, patient_id: str, by: str) -> Opened:
        """What opening an examination needs; that it was viewed is in the trail."""
        self.layout.still_here()
        file = self.file(patient_id)
        drafts, sheets = (
            tuple(d for d in store.infos() if d.patient_id == patient_id)
            for store in (self._draft_store, self._sheet_drafts)
        )
        self.record("viewed", patient_id, by)
        return Opened(file, drafts, sheets)

    def papers(self) -> Papers:
        """The current patients with their files; who cannot be read is left out by name."""
        rows, out = [], []
        for bed in self.beds():
            try:
                if bed.trouble:
                    raise RecordsError(bed.trouble)
                rows.append((bed, self.file(bed.patient_id)))
            except WardexamError as error:
                out.append(replace(bed, trouble=str(error)))
        return Papers(tuple(rows), tuple(out), self.trail_head(), self.drafts())

    def check(
        self,
        *,
        repair: bool,
        by: str,
        heads: Sequence[Head] = (),
        progress: Callable[[int], None] = lambda _: None,
    ) -> Report:
        """Verify every file, each against the others; with `repair`, put good versions in the place of damaged ones."""
        from wardexam.records.check import checked

        return checked(self, repair=repair, by=by, heads=heads, progress=progress)

    def stays(self) -> list["FileStay"]:
        """Every patient, also discharged ones, to be read for counting; one who is listed and has no file too."""
        from wardexam.records.light_reading import FileStay

        names = {path.stem for path in self.layout.files()}
        for discharged in (False, True):
            names.update(bed.patient_id for bed in self._lists.beds(discharged=discharged))
        return [FileStay(self.layout.file(name)) for name in sorted(names)]

    def events(self) -> "Iterator[Event]":
        """The events of the trail in order, as far as it can be read."""
        from wardexam.records.light_reading import trail_events

        return trail_events(self.layout.trail)

    def examinations(self, patient_id: str) -> tuple["Examination", ...]:
        """The latest revision of every examination that counts, in the order in which they were saved."""
        return tuple(self.file(patient_id).examinations)

    def revisions(self, patient_id: str, examination_id: str) -> tuple["Examination", ...]:
        """Every revision of one examination, first to last."""
        return tuple(patient_tables.revisions_of(self._tables(patient_id), examination_id))

    def save(
        self, examination: "Examination", by: str, summary: Summary | None = None
    ) -> "Examination":
        """Save a new examination; one that is stored is never overwritten."""
        signed = examination.model_copy(update={"saved_by": by[:120]})
        with self._change(examination.patient, "saved", by) as document:
            stored = patient_tables.insert(document.database, signed, summary)
            document.what = patient_tables.what_of(signed)
        return stored

    def amend(
        self,
        examination: "Examination",
        by: str,
        why: str,
        at: datetime,
        summary: Summary | None = None,
    ) -> "Examination":
        """Save a further revision of a stored examination, with who, when and why."""
        with self._change(examination.patient, "amended", by) as document:
            stored = patient_tables.revisions_of(document.tables, examination.id)
            amended = patient_tables.amended(stored, examination, by[:120], why, at)
            patient_tables.insert(document.database, amended, summary)
            document.what = patient_tables.what_of(amended)
        return amended

    def mark(
        self,
        examination: "Examination",
        by: str,
        why: str,
        at: datetime,
        summarise: "Callable[[StoredFile], Summary | None]",
        *,
        in_error: bool,
    ) -> "Examination":
        """Save a further revision which says that an examination was entered in error, or which takes that back."""
        event = patient_tables.mark_event(in_error=in_error)
        with self._change(examination.patient, event, by) as document:
            stored = patient_tables.revisions_of(document.tables, examination.id)
            made = patient_tables.marked(stored, examination, by[:120], why, at, in_error=in_error)
            document.what = patient_tables.what_of(made)
            if made is stored[-1]:
                document.stood = True
                return made
            patient_tables.put_marked(document.database, made)
            shown = summarise(StoredFile(document.tables))
            patient_tables.list_marked(document.database, shown)
        return made

    def save_sheet(self, kept: "KeptSheet", by: str) -> "KeptSheet":
        """Save a cord injury sheet, or a further revision of one; nothing stored is overwritten."""
        signed = kept.model_copy(update={"saved_by": by[:120]})
        event = "saved" if kept.revision == 1 else "amended"
        with self._change(kept.patient, event, by) as document:
            stored = patient_tables.insert_sheet(document.database, signed)
            document.what = patient_tables.what_of_sheet(kept)
        return stored

    def outcomes(self, patient_id: str) -> tuple["Outcome", ...]:
        """Every revision of what it was in the end, first to last."""
        return patient_tables.outcomes_of(self._tables(patient_id))

    def conclude(self, outcome: "Outcome", by: str) -> "Outcome":
        """Record what it was in the end, or a further revision of it."""
        with self._change(outcome.patient, "concluded", by) as document:
            stored = patient_tables.outcomes_of(document.tables)
            document.what = f"outcome {outcome.revision}, by {outcome.by}"
            if same := patient_tables.concluded(stored, outcome):
                document.stood = True
                return same
            document.database.table("outcomes").insert(outcome.model_dump(mode="json"))
        return outcome

    def conclude_all(
        self,
        outcomes: "Sequence[Outcome]",
        by: str,
        progress: Callable[[int], None] | None = None,
    ) -> int:
        """Record the outcomes of several patients, all or none; gives how many."""
        from wardexam.records import outcome_import

        with self.locks.held("arrivals"):
            for outcome in outcomes:
                patient_tables.concluded(self.outcomes(outcome.patient), outcome)
            self.layout.raise_mark()
            folder = outcome_import.stage(self.layout, outcomes, by)
            return outcome_import.settle(folder, self.conclude, progress)

    # --- drafts and audit -----------------------------------------------------------------------

    def drafts(self) -> tuple[DraftInfo, ...]:
        """Drafts, oldest first; `held` are those that a session is writing."""
        return self._draft_store.infos()

    @property
    def sheet_drafts(self) -> SheetDraftStore:
        """The drafts of cord injury sheets."""
        return self._sheet_drafts

    def start_draft(self, examination: "Examination", by: str) -> DraftWriter:
        """A new draft; every change is appended to it."""
        return self._draft_store.start(examination, by)

    def resume_draft(self, draft_id: str, by: str = "") -> tuple[DraftWriter, "Examination"]:
        """A draft that was left, with the examination as far as it got; who resumes it is put down."""
        return self._draft_store.resume(draft_id, by)

    def drafted(self, draft_id: str) -> "Examination":
        """The examination of a draft as far as it got."""
        return self._draft_store.drafted(draft_id)

    def set_aside(self, draft_id: str, by: str) -> None:
        """Stop offering a draft; its file stays under drafts/aside."""
        self._draft_store.set_aside(draft_id)
        self.audit.note("draft set aside", "", by, draft_id)

    def drop_draft(self, draft: DraftWriter) -> None:
        """Close a draft that is no longer needed and take it away."""
        self._draft_store.drop(draft)

    def trail_head(self) -> str:
        """The number and hash of the audit trail's last line, short; empty where there is none."""
        head = self.audit.head()
        return str(head) if head else ""

    def trail(self, patient_id: str = "") -> Iterator[TrailLine]:
        """The lines of the audit trail of one patient, or all of them, first to last.

        Raises:
            RecordsError: The trail cannot be read.
        """
        for row in self.audit.lines(patient_id):
            try:
                line = TrailLine(
                    row["at"], row["event"], row["patient"], row["by"], row.get("login", ""), row.get("what", ""), row["hash"]
                )  # fmt: skip
            except (KeyError, TypeError, AttributeError):
                raise RecordsError(
                    "a line of the audit trail is not as this program writes it", remedy=REMEDY
                ) from None
            if patient_id in ("", line.patient):
                yield line

    def record(self, event: str, patient_id: str, by: str, what: str = "") -> None:
        """Write to the audit trail what was viewed, copied or exported.

        A view is never refused for want of the trail: it waits for it. What leaves the ward is.

        Raises:
            RecordsError: The trail could not be written.
        """
        if event == "viewed":
            self.audit.note(event, patient_id, by, what)
        else:
            self.audit.add(event, patient_id, by, what)


def _checksum(path: Path) -> str:
    """The checksum that a patient's file says it has; `ABSENT` where it says none."""
    return mark_in(path).partition(" ")[0] or ABSENT


def open_ward(
    folder: Path, *, shared: bool = False, begin: bool = True, mend: bool = False
) -> Ward:
    """The ward in a folder; begun if none stands there, unless it is only to be read.

    With `mend`, the mark of a ward that has lost it is written anew.

    Raises:
        RecordsError: The folder cannot be used, others can write to it, or none stands there to read.
    """
    return Ward(folder, shared=shared, begin=begin, mend=mend)
