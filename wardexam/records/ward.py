"""The ward as a folder of files: patients, examinations, revisions, drafts, audit.

One TinyDB document file for each patient under an opaque name. A transaction takes the patient's
lock, reads afresh, checks the revision, changes and writes; nothing stays open between keys. The
ward list reads a small derived index (`wardexam.records.index`): a row that was not made from the
file as it now lies is made anew from it.
"""

from collections.abc import Callable, Hashable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, cast

from wardexam.errors import InputError, RecordsError
from wardexam.records import documents
from wardexam.records.audit import Audit
from wardexam.records.files import read_bounded
from wardexam.records.kept import Tables
from wardexam.records.layout import Layout
from wardexam.records.lists import Lists
from wardexam.records.locks import Locks
from wardexam.records.paths import elsewhere
from wardexam.records.repository import Arrival, Bed, DraftInfo, DraftWriter, Summary
from wardexam.records.schemas import LONGEST, read_tables
from wardexam.records.shelf import Shelf, known

if TYPE_CHECKING:
    from wardexam.exam.examination import Examination, Patient


@dataclass
class _Document:
    """A patient's document while it is changed, and what the audit trail shall say of it."""

    tables: Tables
    what: str = ""


class Ward:
    """A ward in a folder.

    Args:
        folder: Where it is kept; made if it is not there.
        shared: Whether the folder belongs to a ward account and its group.

    Raises:
        RecordsError: The folder cannot be used, or others can write to it.
    """

    def __init__(self, folder: Path, *, shared: bool = False) -> None:
        self.folder = folder
        self.layout = Layout(folder, shared=shared)
        mode = self.layout.file_mode
        self.audit = Audit(folder / "audit.jsonl", mode)
        self._locks = Locks(folder / "locks", mode)
        self._lists = Lists(self.layout)
        self._shelf = Shelf(self.layout, elsewhere(folder))
        self._finish_what_was_begun()

    @property
    def problem(self) -> str:
        """What is not as it should be, in one line; empty when all is well."""
        return self.audit.problem or self._lists.trouble

    def _file(self, patient_id: str) -> Path:
        return self.layout.patients / f"{known(patient_id)}.json"

    def _finish_what_was_begun(self) -> None:
        """Complete an arrival cut short; take away drafts whose examination is saved already."""
        from wardexam.records import arrivals

        with suppress(RecordsError, OSError):
            if arrivals.left_over(self.layout):
                with self._locks.held("arrivals", 0.05):
                    for folder in arrivals.left_over(self.layout):
                        arrivals.settle(self.layout, self._lists, folder)
        self._shelf.sweep(self._is_saved)

    def _is_saved(self, info: DraftInfo, drafted: "Callable[[], Examination]") -> bool:
        """Whether what a draft says is stored already, as after a crash just after a save."""
        quoted = b'"%s"' % known(info.draft_id).encode()
        if quoted not in read_bounded(self._file(info.patient_id), LONGEST):
            return False
        stored = self.revisions(info.patient_id, info.draft_id)
        same = {"revision": 1, "amendment": None}
        return bool(stored) and stored[-1].model_copy(update=same) == drafted().model_copy(
            update=same
        )

    # --- transactions -----------------------------------------------------------------------

    def _tables(self, patient_id: str) -> Tables:
        tables = read_tables(self._file(patient_id))
        if tables is None:
            raise InputError(
                "no such patient", where=patient_id, remedy="'wardexam beds' lists them"
            )
        return tables

    @contextmanager
    def _change(self, patient_id: str, event: str, by: str) -> "Iterator[_Document]":
        """A patient's document, locked and fresh; one write when the block ends well.

        A change of several tables is one write, so that no half of it can ever be on disk. A block
        that changes nothing writes nothing. The document and its place in the folder are flushed
        before this ends; the event in the audit trail is with the next one.
        """
        from tinydb import TinyDB

        from wardexam.records.storage import DurableStorage

        new = event == "admitted"
        with (
            self._locks.held(patient_id) as still_ours,
            TinyDB(
                self._file(patient_id),
                self.layout.file_mode,
                self.layout.staging,
                storage=DurableStorage,
            ) as database,
        ):
            storage = cast("DurableStorage", database.storage)
            document = _Document(storage.unread())
            tables = document.tables
            if bool(tables) == new:
                raise InputError(
                    "is on the ward already" if new else "no such patient", where=patient_id
                )
            before = dict(tables)
            left = documents.first(before, "patient").get("discharged")
            yield document
            changed = any(tables[name] is not before.get(name) for name in tables)
            if changed:
                row = documents.row_of(tables, where=patient_id)
                moves = new or bool(left) != bool(row["discharged"])
                still_ours()
                if moves:
                    self._lists.announce([patient_id])
                storage.write(tables)
                self._lists.put(row | {"mark": storage.mark}, moves=moves)
            self.audit.note(event, patient_id, by, document.what, sync=False)

    @contextmanager
    def hold(self, patient_id: str) -> Iterator[None]:
        """Keep other sessions from saving to a patient's file while the block runs."""
        with self._locks.held(patient_id):
            yield

    # --- the ward list

    def rebuild_index(self) -> list[str]:
        """Make the index anew from the patients' files; gives those that could not be read."""
        return self._lists.rebuild()

    def beds(self, *, discharged: bool = False) -> tuple[Bed, ...]:
        """The ward list, by bed; discharged patients instead when asked for."""
        drafted = {d.patient_id for d in self.drafts() if not d.held}
        found = [
            replace(bed, has_draft=bed.patient_id in drafted)
            for bed in self._lists.beds(discharged=discharged)
        ]
        return tuple(sorted(found, key=lambda b: (b.bed, b.name, b.patient_id)))

    def stamp(self) -> Hashable:
        """A value that differs whenever any session has changed the ward."""
        marks = []
        for path in (*self._lists.paths, self.layout.drafts):
            with suppress(OSError):
                found = path.stat()
                marks.append((found.st_mtime_ns, found.st_size, found.st_ino))
        return tuple(marks)

    # --- patients ---------------------------------------------------------------------------

    def patient(self, patient_id: str) -> "Patient":
        """A patient's details."""
        return documents.patient_of(self._tables(patient_id))

    def admit(self, patient: "Patient", by: str) -> "Patient":
        """Add a patient."""
        with self._change(patient.id, "admitted", by) as document:
            documents.put_patient(document.tables, patient)
        return patient

    def take_in(
        self,
        arrivals: Iterable[Arrival],
        by: str,
        progress: Callable[[int], None] | None = None,
    ) -> int:
        """Add patients with every revision of their examinations, all or none; gives how many."""
        from wardexam.records import arrivals as aside

        with self._locks.held("arrivals"):
            moved = aside.take_in(self.layout, self._lists, arrivals, progress)
        for name in moved:
            self.audit.note("imported", name, by)
        return len(moved)

    def update(self, patient: "Patient", by: str, event: str = "edited") -> "Patient":
        """Save changed details; `patient.revision` is the one that was read.

        Raises:
            ConflictError: Someone else saved first.
        """
        with self._change(patient.id, event, by) as document:
            return documents.update_patient(document.tables, patient)

    def discharge(self, patient_id: str, at: datetime, by: str) -> "Patient":
        """Take a patient off the list; everything is kept."""
        patient = self.patient(patient_id)
        return self.update(patient.model_copy(update={"discharged": at}), by, "discharged")

    def restore(self, patient_id: str, by: str) -> "Patient":
        """Bring a discharged patient back."""
        patient = self.patient(patient_id)
        return self.update(patient.model_copy(update={"discharged": None}), by, "restored")

    # --- examinations -------------------------------------------------------------------------

    def examinations(self, patient_id: str) -> tuple["Examination", ...]:
        """The latest revision of every examination, oldest first."""
        latest = {e.id: e for e in documents.all_revisions(self._tables(patient_id))}
        return tuple(sorted(latest.values(), key=lambda e: (e.at, e.id)))

    def revisions(self, patient_id: str, examination_id: str) -> tuple["Examination", ...]:
        """Every revision of one examination, first to last."""
        return tuple(documents.revisions_of(self._tables(patient_id), examination_id))

    def save(
        self, examination: "Examination", by: str, summary: Summary | None = None
    ) -> "Examination":
        """Save a new examination; one that is stored is never overwritten."""
        with self._change(examination.patient, "saved", by) as document:
            documents.insert(document.tables, examination, summary)
            document.what = f"{examination.id} 1"
        return examination

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
            amended = documents.amended(document.tables, examination, by, why, at)
            documents.insert(document.tables, amended, summary)
            document.what = f"{amended.id} {amended.revision}"
        return amended

    # --- drafts and audit -----------------------------------------------------------------------

    def drafts(self) -> tuple[DraftInfo, ...]:
        """Drafts, oldest first; `held` are those that a session is writing."""
        return self._shelf.infos()

    def start_draft(self, examination: "Examination", by: str) -> DraftWriter:
        """A new draft; every change is appended to it."""
        return self._shelf.start(examination, by)

    def resume_draft(self, draft_id: str) -> tuple[DraftWriter, "Examination"]:
        """A draft that was left, with the examination as far as it got."""
        return self._shelf.resume(draft_id)

    def set_aside(self, draft_id: str, by: str) -> None:
        """Stop offering a draft; its file stays under drafts/aside."""
        self._shelf.set_aside(draft_id)
        self.audit.note("draft set aside", "", by, draft_id)

    def drop_draft(self, draft: DraftWriter) -> None:
        """Close a draft that is no longer needed and take it away."""
        self._shelf.drop(draft)

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


def open_ward(folder: Path, *, shared: bool = False) -> Ward:
    """The ward in a folder, made if it is not there.

    Raises:
        RecordsError: The folder cannot be used, or others can write to it.
    """
    return Ward(folder, shared=shared)
