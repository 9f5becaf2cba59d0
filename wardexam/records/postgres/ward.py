"""The ward on a PostgreSQL server: the same operations as in a folder, each a transaction.

A change holds the patient's line of the ward list, looks at the revision, adds rows, lists the patient anew and
puts the event into the trail, all in one. What is read is verified row by row before anybody sees it.
"""

import math
import re
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import asdict, replace
from datetime import datetime
from typing import TYPE_CHECKING, LiteralString, TypeVar

from psycopg import Connection

from wardexam.errors import InputError, RecordsError, WardexamError
from wardexam.exam.text import natural
from wardexam.records import patient_tables
from wardexam.records.audit import Head, keep_head, kept_head
from wardexam.records.paths import elsewhere_of, kept_trail_of
from wardexam.records.patient_file import StoredFile
from wardexam.records.postgres import erasure, schema, trail
from wardexam.records.postgres.documents import Row, listed_of, tables_of
from wardexam.records.postgres.drafts import ExaminationDrafts, SheetDrafts
from wardexam.records.postgres.faults import moved_to
from wardexam.records.postgres.listening import Listening
from wardexam.records.postgres.patient_record import PatientRecord
from wardexam.records.postgres.reading import details_of, patient_tables_of
from wardexam.records.postgres.server import Change, Server
from wardexam.records.postgres.server import Row as Columns
from wardexam.records.postgres.url import read_url
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
from wardexam.records.stored_record import DamagedFileError, Tables

if TYPE_CHECKING:
    from wardexam.exam.examination import Examination, Patient
    from wardexam.exam.outcome import Outcome
    from wardexam.injury.kept import KeptSheet
    from wardexam.records.light_file import Event
    from wardexam.records.postgres.light_reading import ServerStay

Made = TypeVar("Made")
WARD_ID = re.compile("[0-9a-f]{8,64}")
KEEP_EVERY = 5.0  # seconds between two heads of the trail that a login keeps
LONG = 3600.0  # seconds that an import may take
BEDS: LiteralString = "select id, listed::text, state, mark from patients where discharged = %(discharged)s"  # fmt: skip


class PostgresWard:
    """A ward on a server.

    Args:
        server: The connections to it.

    Attributes:
        ward_id: The ward's own name, whatever URL it is reached by.
        spool: Where this login keeps what the server cannot take now.

    Raises:
        RecordsError: The server cannot be reached, or no ward of this program's form stands there.
    """

    def __init__(self, server: Server) -> None:
        self.server = server
        self.ward_id = server.read(self._recognised)
        self._own = kept_trail_of(self.ward_id)
        self._head: Head | None = None
        self._kept_at = -math.inf
        server.noted = self._keep
        self.spool = elsewhere_of(self.ward_id)
        self._drafts = ExaminationDrafts(server, self.spool)
        self._sheet_drafts = SheetDrafts(server, self.spool)
        self._waiting: deque[tuple[str, str, str, str]] = deque()  # views not in the trail yet
        self._settling = threading.Lock()  # each of them is written once, whoever asks at once
        self._problem = ""
        with suppress(RecordsError):
            self._drafts.sweep(self._is_saved)
            self._sheet_drafts.sweep(self._is_sheet_saved)

    def _recognised(self, connection: Connection[Columns]) -> str:
        """Which ward it is, where it is one of this program's form."""
        if fault := schema.fault_of(connection, self.server.where):
            raise fault
        if moved := connection.execute("select target from moved").fetchone():
            raise moved_to(moved[0], self.server.where)
        row = connection.execute("select id from ward").fetchone()
        if row is None or not WARD_ID.fullmatch(row[0]):
            raise DamagedFileError("the ward has no name of its own", self.server.where)
        return str(row[0])

    def _is_saved(self, drafted: "Examination") -> bool:
        """Whether what a draft says is stored already."""
        stored = self.revisions(drafted.patient, drafted.id)
        return patient_tables.is_last_said(stored, drafted)

    def _is_sheet_saved(self, drafted: "KeptSheet") -> bool:
        stored = [s for s in self.file(drafted.patient).sheets if s.id == drafted.id]
        return bool(stored) and stored[-1].sheet == drafted.sheet

    def _keep(self, line: tuple[int, str]) -> None:
        """Keep the head of the trail in this login's own state folder, now or with a later one."""
        self._head = Head(*line)
        if time.monotonic() >= self._kept_at + KEEP_EVERY:
            self._kept_at = time.monotonic()
            keep_head(self._own, self._head, self.server.where)

    def close(self) -> None:
        """Let go of the server."""
        if self._head:
            keep_head(self._own, self._head, self.server.where)
            self._head = None
        self.server.close()

    @property
    def problem(self) -> str:
        """What was last found not to be as it should be, in one line; empty when all is well."""
        return self._problem

    def watch(self, changed: Callable[[], object]) -> Listening:
        """Call `changed`, from a thread of its own, whenever any session has changed the ward, or may have."""
        return Listening(self.server, changed)

    @property
    def patience(self) -> float:
        """Seconds that an operation waits for another session."""
        return self.server.patience

    @patience.setter
    def patience(self, seconds: float) -> None:
        self.server.patience = seconds

    # --- the ward list

    def beds(self, *, discharged: bool = False) -> tuple[Bed, ...]:
        """The ward list, by bed; discharged patients instead when asked for."""
        return self.server.read(lambda c: self._beds(c, discharged))

    def _beds(self, connection: Connection[Columns], discharged: bool) -> tuple[Bed, ...]:
        found = connection.execute(BEDS, {"discharged": discharged}).fetchall()
        drafted = {d.patient_id for d in self._drafts.infos_by(connection) if not d.held}
        beds = [replace(_bed(*row), has_draft=row[0] in drafted) for row in found]
        return tuple(sorted(beds, key=lambda b: (natural(b.bed), b.name, b.patient_id)))

    def verify(self) -> bool:
        """Nothing is derived here that could be behind: what the list says is of the same transaction."""
        return False

    def settle(self) -> None:
        """Put views into the trail that could not be written; every other event stands with what it tells of."""
        if not self._settling.acquire(timeout=self.patience):
            return  # another thread is at it, and says what hinders it
        try:
            while self._waiting:
                event = self._waiting[0]
                self.server.change(lambda change, event=event: change.note(*event))  # type: ignore[misc]
                self._waiting.popleft()
            self._problem = ""
        except RecordsError as error:
            self._problem = f"the audit trail cannot be written: {error.what}"
        finally:
            self._settling.release()

    # --- what is read

    def _tables(self, patient_id: str) -> Tables:
        return self.server.read(lambda c: patient_tables_of(c, patient_id), snapshot=True)

    def patient(self, patient_id: str) -> "Patient":
        """A patient's details."""
        return self.server.read(lambda c: details_of(c, patient_id), snapshot=True)

    def file(self, patient_id: str) -> StoredFile:
        """A patient's details and examinations, read and verified once."""
        return StoredFile(self._tables(patient_id))

    def papers(self) -> Papers:
        """The current patients with their files, as they stood at one moment; who cannot be read is left out."""
        return self.server.read(self._papers, snapshot=True)

    def _papers(self, connection: Connection[Columns]) -> Papers:
        rows, out = [], []
        beds = self._beds(connection, discharged=False)
        stored = _all_rows(connection)
        for bed in beds:
            try:
                if bed.trouble:
                    raise DamagedFileError(bed.trouble)
                state, found = stored.get(bed.patient_id, ("", []))
                rows.append((bed, StoredFile(tables_of(found, state, bed.patient_id))))
            except WardexamError as error:
                out.append(replace(bed, trouble=str(error)))
        drafts = self._drafts.infos_by(connection)
        return Papers(tuple(rows), tuple(out), trail.head(connection), drafts)

    def opened(self, patient_id: str, by: str) -> Opened:
        """What opening an examination needs; that it was viewed is in the trail."""

        def ask(connection: Connection[Columns]) -> Opened:
            file = StoredFile(patient_tables_of(connection, patient_id))
            drafts, sheets = (
                tuple(d for d in store.infos_by(connection) if d.patient_id == patient_id)
                for store in (self._drafts, self._sheet_drafts)
            )
            return Opened(file, drafts, sheets)

        opened = self.server.read(ask, snapshot=True)
        self.record("viewed", patient_id, by)
        return opened

    def stays(self) -> "list[ServerStay]":
        """Every patient, also discharged ones, to be read for counting."""
        from wardexam.records.postgres.light_reading import ServerStay

        parameters = tuple(self.server.parameters.items())
        names = self.server.rows("select id from patients order by id")
        return [ServerStay(name, parameters) for (name,) in names]

    def trail(self, patient_id: str = "") -> Iterator[TrailLine]:
        """The lines of the audit trail of one patient, or all of them, first to last."""
        # One that cannot be read has no patient here, so that of one patient's lines each can be.
        for number, line in enumerate(trail.lines(self.server, patient_id), 1):
            yield trail.said_by(line, number)

    def events(self) -> "Iterator[Event]":
        """The events of the trail in order."""
        from wardexam.records.postgres.light_reading import events

        return events(self.server)

    def examinations(self, patient_id: str) -> "tuple[Examination, ...]":
        """The latest revision of every examination that counts, in the order in which they were saved."""
        return tuple(self.file(patient_id).examinations)

    def revisions(self, patient_id: str, examination_id: str) -> "tuple[Examination, ...]":
        """Every revision of one examination, first to last."""
        return self.file(patient_id).revisions(examination_id)

    def outcomes(self, patient_id: str) -> "tuple[Outcome, ...]":
        """Every revision of what it was in the end, first to last."""
        return patient_tables.outcomes_of(self._tables(patient_id))

    # --- changes

    def _change(self, patient_id: str, event: str, by: str, work: Callable[[PatientRecord], Made]) -> Made:  # fmt: skip
        """A change of one patient's record with its event, or neither."""

        def whole(change: Change) -> Made:
            record = PatientRecord.held(change, patient_id)
            made = work(record)
            record.write()
            record.note(event, by)
            return made

        return self.server.change(whole)

    def admit(self, patient: "Patient", by: str) -> "Patient":
        """Add a patient; the same again is no fault."""

        def whole(change: Change) -> None:
            record = _arrived(change, Arrival(patient))
            record.note("admitted", by)

        try:
            self.server.change(whole)
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

        def whole(change: Change) -> int:
            records = []
            for number, arrival in enumerate(arrivals, 1):
                records.append(_arrived(change, arrival))
                if progress:
                    progress(number)
            for record in records:
                record.note("imported", by)
            return len(records)

        return self.server.change(whole, seconds=LONG, again=False)

    def update(self, patient: "Patient", by: str, event: str = "edited") -> "Patient":
        """Save changed details; `patient.revision` is the one that was read.

        Raises:
            ConflictError: Someone else saved first.
        """

        def work(record: PatientRecord) -> "Patient":
            saved, record.stood = patient_tables.updated(record.patient(), patient)
            if not record.stood:
                record.add("patient", [saved])
                record.list_anew(patient=saved)
            return saved

        return self._change(patient.id, event, by, work)

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
        """Take a discharged patient out for good; the trail says who did, why and when."""
        erasure.erase(self.server, self.spool, patient_id, by, why)

    def erased(self) -> dict[str, str]:
        """Who was erased and not brought in again, with when."""
        return erasure.erased(self.server)

    def save(
        self, examination: "Examination", by: str, summary: Summary | None = None
    ) -> "Examination":
        """Save a new examination; one that is stored is never overwritten."""
        signed = examination.model_copy(update={"saved_by": by[:120]})

        def work(record: PatientRecord) -> "Examination":
            return _inserted(record, signed, summary, _revisions(record, signed.id))

        return self._change(examination.patient, "saved", by, work)

    def amend(
        self,
        examination: "Examination",
        by: str,
        why: str,
        at: datetime,
        summary: Summary | None = None,
    ) -> "Examination":
        """Save a further revision of a stored examination, with who, when and why."""

        def work(record: PatientRecord) -> "Examination":
            stored = _revisions(record, examination.id)
            amended = patient_tables.amended(stored, examination, by[:120], why, at)
            return _inserted(record, amended, summary, stored)

        return self._change(examination.patient, "amended", by, work)

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

        def work(record: PatientRecord) -> "Examination":
            stored = _revisions(record, examination.id)
            made = patient_tables.marked(stored, examination, by[:120], why, at, in_error=in_error)
            record.what = patient_tables.what_of(made)
            if made is stored[-1]:
                record.stood = True
                return made
            record.add("examination", [made])
            tables = record.tables()
            summary = summarise(StoredFile(tables))
            meta = patient_tables.fresh_meta(
                patient_tables.all_revisions(tables), asdict(summary) if summary else None
            )
            record.list_anew(meta=meta)
            return made

        event = patient_tables.mark_event(in_error=in_error)
        return self._change(examination.patient, event, by, work)

    def save_sheet(self, kept: "KeptSheet", by: str) -> "KeptSheet":
        """Save a cord injury sheet, or a further revision of one; nothing stored is overwritten."""
        signed = kept.model_copy(update={"saved_by": by[:120]})
        event = "saved" if kept.revision == 1 else "amended"

        def work(record: PatientRecord) -> "KeptSheet":
            before = patient_tables.sheets_of({"sheets": record.all_with("sheet", kept.id)})
            stored, fresh = patient_tables.sheet_before(before, signed)
            record.add("sheet", [signed] if fresh else [])
            record.what = patient_tables.what_of_sheet(kept)
            return stored

        return self._change(kept.patient, event, by, work)

    def conclude(self, outcome: "Outcome", by: str) -> "Outcome":
        """Record what it was in the end, or a further revision of it."""
        return self._change(outcome.patient, "concluded", by, lambda record: _concluded(record, outcome))  # fmt: skip

    def conclude_all(
        self,
        outcomes: "Sequence[Outcome]",
        by: str,
        progress: Callable[[int], None] | None = None,
    ) -> int:
        """Record the outcomes of several patients, all or none; gives how many."""

        def whole(change: Change) -> int:
            # Every record is held before the first line of the trail, for which all others wait.
            names = sorted({o.patient for o in outcomes})
            records = {name: PatientRecord.held(change, name) for name in names}
            for number, outcome in enumerate(outcomes, 1):
                record = records[outcome.patient]
                _concluded(record, outcome)
                record.write()
                record.note("concluded", by)
                if progress:
                    progress(number)
            return len(outcomes)

        return self.server.change(whole, seconds=LONG)

    # --- drafts and trail

    def drafts(self) -> tuple[DraftInfo, ...]:
        """Drafts, oldest first; `held` are those that a session is writing."""
        return self._drafts.infos()

    @property
    def sheet_drafts(self) -> SheetDrafts:
        """The drafts of cord injury sheets."""
        return self._sheet_drafts

    def start_draft(self, examination: "Examination", by: str) -> DraftWriter:
        """A new draft; every change is appended to it."""
        return self._drafts.start(examination, by)

    def resume_draft(self, draft_id: str, by: str = "") -> "tuple[DraftWriter, Examination]":
        """A draft that was left, with the examination as far as it got; who resumes it is put down."""
        return self._drafts.resume(draft_id, by)

    def drafted(self, draft_id: str) -> "Examination":
        """The examination of a draft as far as it got."""
        return self._drafts.drafted(draft_id)

    def set_aside(self, draft_id: str, by: str) -> None:
        """Stop offering a draft; its rows stay, and the trail says so."""
        self._drafts.set_aside(draft_id, by)

    def drop_draft(self, draft: DraftWriter) -> None:
        """Close a draft that is no longer needed and take it away."""
        self._drafts.drop(draft)

    def record(self, event: str, patient_id: str, by: str, what: str = "") -> None:
        """Write to the audit trail what was viewed, copied or exported.

        A view is never refused for want of the trail: it waits for it. What leaves the ward is.

        Raises:
            RecordsError: The trail could not be written.
        """
        if event == "viewed":
            self._waiting.append((event, patient_id, by, what))
            self.settle()
        else:
            self.server.change(lambda change: change.note(event, patient_id, by, what))

    def check(
        self,
        *,
        repair: bool,
        by: str,
        heads: Sequence[Head] = (),
        progress: Callable[[int], None] = lambda _: None,
    ) -> Report:
        """Verify every row, each against the others and the trail; with `repair`, mend what can be mended."""
        from wardexam.records.postgres.check import checked

        own = [head for head in (self._head, kept_head(self._own)) if head]
        return checked(
            self.server, self.spool, repair=repair, by=by, heads=[*heads, *own], progress=progress
        )


def _bed(patient_id: str, listed: str, state: str, mark: str) -> Bed:
    """A line of the ward list; one that is not as it was written says so."""
    try:
        return Bed.from_json(listed_of(listed, state, mark, patient_id))
    except DamagedFileError as error:
        return Bed(patient_id, "?", "", None, "unknown", None, "", 0, None, None, None, trouble=error.what)  # fmt: skip


def _all_rows(connection: Connection[Columns]) -> dict[str, tuple[str, list[Row]]]:
    """The rows of everybody on the ward, with the end of each chain."""
    query: LiteralString = (
        "select p.id, p.state, r.seq, r.kind, r.id, r.revision, r.document::text, r.digest"
        " from patients p join records r on r.patient = p.id where not p.discharged order by p.id, r.seq"
    )
    found: dict[str, tuple[str, list[Row]]] = {}
    for patient_id, state, *row in connection.execute(query):
        found.setdefault(patient_id, (state, []))[1].append(Row(*row))
    return found


def _arrived(change: Change, arrival: Arrival) -> PatientRecord:
    """A patient who arrives, written but not yet in the trail."""
    record = PatientRecord.begun(change, arrival.patient.id)
    record.add("patient", [arrival.patient])
    record.add("examination", arrival.examinations)
    record.add("sheet", arrival.sheets)
    record.add("outcome", arrival.outcomes)
    summary = asdict(arrival.summary) if arrival.summary else None
    meta = patient_tables.fresh_meta(arrival.examinations, summary)
    record.list_anew(patient=arrival.patient, meta=meta)
    record.write()
    return record


def _revisions(record: PatientRecord, examination_id: str) -> "list[Examination]":
    tables: Tables = {"examinations": record.all_with("examination", examination_id)}
    return patient_tables.revisions_of(tables, examination_id)


def _inserted(
    record: PatientRecord, examination: "Examination", summary: Summary | None, stored: "Sequence[Examination]"
) -> "Examination":  # fmt: skip
    """The examination added, as it is stored; the same one again changes nothing."""
    record.what = patient_tables.what_of(examination)
    if same := patient_tables.saved_already(stored, examination):
        return same
    seen = {field: record.listed[field] for field in patient_tables.META}
    meta = patient_tables.meta_with(seen, record.last_saved, examination, summary)
    record.add("examination", [examination])
    record.list_anew(meta=meta)
    return examination


def _concluded(record: PatientRecord, outcome: "Outcome") -> "Outcome":
    """The outcome added, as it is stored; the same one again changes nothing."""
    stored = patient_tables.outcomes_of({"outcomes": record.all_of("outcome")})
    record.what = f"outcome {outcome.revision}, by {outcome.by}"
    same = patient_tables.concluded(stored, outcome)
    record.stood = same is not None
    if same:
        return same
    record.add("outcome", [outcome])
    return outcome


def open_server(url: str, *, on_command_line: bool = False) -> PostgresWard:
    """The ward on a server.

    Args:
        url: ``postgresql://...`` or ``service=name``.
        on_command_line: Whether others on this host can read the URL there.

    Raises:
        InputError: The URL cannot be read, or holds a password where others can read it.
        RecordsError: The server cannot be reached, or no ward of this program's form stands there.
    """
    server = Server(read_url(url, on_command_line=on_command_line))
    try:
        return PostgresWard(server)
    except BaseException:
        server.close()
        raise
