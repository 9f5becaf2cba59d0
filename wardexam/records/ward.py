"""The ward as it is kept: patients, examinations, revisions, drafts, audit.

One TinyDB document file for each patient under an opaque name. A transaction takes the patient's
lock, reads afresh, checks the revision, changes and writes; nothing stays open between keys. The
ward list reads a small derived index file, which is made anew whenever it is missing or damaged.
"""

import json
import os
import socket
import stat
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from wardexam.errors import InputError, RecordsError
from wardexam.records.audit import Audit
from wardexam.records.drafts import Draft, DraftInfo, draft_infos, replay

if TYPE_CHECKING:
    from wardexam.exam.examination import Examination, Patient

LOCK_SECONDS = 3.0


class ConflictError(RecordsError):
    """Someone else changed it first; `stored` is what they saved."""

    def __init__(self, stored: "Patient") -> None:
        super().__init__(
            "was changed by someone else meanwhile",
            stored.bed,
            "look at the difference and save again",
        )
        self.stored = stored


@dataclass(frozen=True, slots=True)
class Summary:
    """What the ward list shows of the last examination: urgency 0 (none) to 3 (most)."""

    urgency: int
    urgency_word: str
    worse: bool
    headline: str


@dataclass(frozen=True, slots=True)
class Bed:
    """One line of the ward list; times are ISO texts with their zone."""

    patient_id: str
    bed: str
    name: str
    age: int | None
    sex: str
    last_at: str | None
    last_by: str
    examinations: int
    summary: Summary | None
    recheck_hours: int | None
    discharged: str | None
    has_draft: bool = False

    @property
    def due_at(self) -> datetime | None:
        """When the next examination is due, or None without a schedule or a first examination."""
        if self.recheck_hours is None or self.last_at is None:
            return None
        return datetime.fromisoformat(self.last_at) + timedelta(hours=self.recheck_hours)

    @classmethod
    def from_json(cls, row: dict[str, Any]) -> Self:
        """From a row of the index."""
        summary = row["summary"]
        return cls(**{**row, "summary": Summary(**summary) if summary else None})


class Ward:
    """A ward in a folder.

    Args:
        folder: Where it is kept.
        shared: Whether the folder belongs to a ward account and its group.
    """

    def __init__(self, folder: Path, *, shared: bool = False) -> None:
        self.folder, self.shared = folder, shared
        self.file_mode = 0o660 if shared else 0o600
        self._make_folder()
        self.audit = Audit(folder / "audit.jsonl", self.file_mode)
        self._sweep()

    def _make_folder(self) -> None:
        mode = 0o2770 if self.shared else 0o700
        try:
            if not self.folder.exists():
                self.folder.mkdir(parents=True, mode=mode)
                self.folder.chmod(mode)
            found = self.folder.stat()
        except OSError as error:
            raise RecordsError(
                f"cannot be used: {error.strerror}",
                where=str(self.folder),
                remedy="choose another with --db",
            ) from None
        writable_by_others = stat.S_IWOTH if self.shared else stat.S_IWOTH | stat.S_IWGRP
        if found.st_mode & writable_by_others:
            raise RecordsError(
                "others can write here", where=str(self.folder), remedy=f"chmod {mode:o} the folder"
            )

    def _sweep(self) -> None:
        for stray in self.folder.glob(".*.new"):
            pid = stray.name.split(".")[-3]
            if pid.isdecimal() and not Path(f"/proc/{pid}").exists():
                stray.unlink(missing_ok=True)

    # --- locks and files ------------------------------------------------------------------

    def _file(self, patient_id: str) -> Path:
        if not (
            patient_id.isascii()
            and patient_id.isalnum()
            and patient_id == patient_id.lower()
            and 8 <= len(patient_id) <= 40
        ):
            raise InputError(
                "not an identifier", where=patient_id[:40], remedy="'wardexam beds' lists them"
            )
        return self.folder / f"{patient_id}.json"

    @contextmanager
    def _locked(self, name: str) -> Iterator[None]:
        from filelock import FileLock, Timeout

        lock = FileLock(
            self.folder / f"{name}.lock",
            timeout=LOCK_SECONDS,
            mode=self.file_mode,
            poll_interval=0.005,
        )
        holder = self.folder / f"{name}.holder"
        try:
            with lock:
                holder.write_text(f"{socket.gethostname()} {os.getpid()}", encoding="utf-8")
                yield
        except Timeout:
            who = holder.read_text(encoding="utf-8") if holder.exists() else "another session"
            raise RecordsError(
                f"is being saved by {who}", where=name, remedy="try again in a moment"
            ) from None
        except OSError as error:
            raise RecordsError(
                f"cannot be locked: {error.strerror}",
                where=str(self.folder),
                remedy="the draft is kept; save elsewhere or later",
            ) from None

    def _read(self, patient_id: str) -> dict[str, dict[str, Any]]:
        from wardexam.records.storage import DurableStorage

        tables = DurableStorage(self._file(patient_id)).read()
        if tables is None:
            raise InputError(
                "no such patient", where=patient_id, remedy="'wardexam beds' lists them"
            )
        return tables

    @contextmanager
    def _open(self, patient_id: str) -> Iterator[dict[str, dict[str, Any]]]:
        """The tables of a patient's document, locked and fresh; one write when the block ends well.

        A change of several tables is one write, so that no half of it can ever be on disk.
        """
        from tinydb import TinyDB

        from wardexam.records.storage import DurableStorage

        with self._locked(patient_id):
            database = TinyDB(self._file(patient_id), self.file_mode, storage=DurableStorage)
            tables: dict[str, dict[str, Any]] = database.storage.read() or {}
            yield tables
            database.storage.write(tables)
            database.close()
        self._index(patient_id)

    # --- the index --------------------------------------------------------------------------

    def _entry(self, patient_id: str) -> dict[str, Any]:
        tables = self._read(patient_id)
        patient = next(iter(tables["patient"].values()))
        stored = list(tables.get("examinations", {}).values())
        last = max(
            stored, key=lambda e: (datetime.fromisoformat(e["at"]), e["revision"]), default=None
        )
        meta: dict[str, Any] = next(iter(tables.get("meta", {}).values()), {})
        return asdict(Bed(
            patient_id=patient["id"], bed=patient["bed"], name=patient["name"], age=patient["age"], sex=patient["sex"],
            last_at=last["at"] if last else None, last_by=last["examiner"] if last else "",
            examinations=len({e["id"] for e in stored}), summary=None, recheck_hours=patient["recheck_hours"],
            discharged=patient["discharged"],
        )) | {"summary": meta.get("summary")}  # fmt: skip

    def _index_path(self, *, discharged: bool) -> Path:
        return self.folder / ("index-discharged.jsonl" if discharged else "index.jsonl")

    def _index(self, patient_id: str) -> None:
        """Bring one line of the index up to date; current and discharged patients are kept apart."""
        from wardexam.records.storage import write_whole

        entry = self._entry(patient_id)
        with self._locked("index"):
            for discharged in (False, True):
                path = self._index_path(discharged=discharged)
                lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
                kept = [line for line in lines if f'"{patient_id}"' not in line]
                if bool(entry["discharged"]) == discharged:
                    kept.append(json.dumps(entry, sort_keys=True))
                if kept != lines:
                    write_whole(
                        path, "".join(f"{line}\n" for line in kept).encode(), self.file_mode
                    )
                if not discharged and not entry["discharged"] and len(kept) == len(lines):
                    break  # was and stays on the ward: years of discharged patients cost nothing

    def rebuild_index(self) -> list[str]:
        """Make the index anew from the patients' files; gives the files that could not be read."""
        from wardexam.records.storage import write_whole

        entries, damaged = [], []
        for path in sorted(self.folder.glob("*.json")):
            try:
                entries.append(self._entry(path.stem))
            except (RecordsError, InputError, KeyError, StopIteration) as error:
                damaged.append(f"{path.name}: {error}")
        with self._locked("index"):
            for discharged in (False, True):
                rows = [
                    json.dumps(e, sort_keys=True)
                    for e in entries
                    if bool(e["discharged"]) == discharged
                ]
                write_whole(
                    self._index_path(discharged=discharged),
                    "".join(f"{r}\n" for r in rows).encode(),
                    self.file_mode,
                )
        return damaged

    def beds(self, *, discharged: bool = False) -> tuple[Bed, ...]:
        """The ward list, by bed; discharged patients instead when asked for."""
        path = self._index_path(discharged=discharged)
        if not path.exists() and any(self.folder.glob("*.json")):
            self.rebuild_index()
        drafted = {d.patient_id for d in self.drafts() if not d.held}
        try:
            rows = (
                [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
                if path.exists()
                else []
            )
            beds = [
                Bed.from_json({**row, "has_draft": row["patient_id"] in drafted}) for row in rows
            ]
        except (ValueError, KeyError, TypeError):
            path.unlink()
            return self.beds(discharged=discharged)
        return tuple(sorted(beds, key=lambda b: (b.bed, b.name)))

    def stamp(self) -> int:
        """A number that changes whenever any session changes the ward."""
        paths = (self._index_path(discharged=False), self._index_path(discharged=True))
        return sum(p.stat().st_mtime_ns for p in paths if p.exists())

    # --- patients ---------------------------------------------------------------------------

    def patient(self, patient_id: str) -> "Patient":
        """A patient's details."""
        from wardexam.exam.examination import Patient

        return Patient.model_validate(next(iter(self._read(patient_id)["patient"].values())))

    def admit(self, patient: "Patient", by: str) -> "Patient":
        """Add a patient."""
        if self._file(patient.id).exists():
            raise InputError("is on the ward already", where=patient.id)
        with self._open(patient.id) as tables:
            tables["patient"] = {"1": patient.model_dump(mode="json")}
        self.audit.add("admitted", patient.id, by)
        return patient

    def update(self, patient: "Patient", by: str, event: str = "edited") -> "Patient":
        """Save changed details; `patient.revision` is the one that was read.

        Raises:
            ConflictError: Someone else saved first.
        """
        from wardexam.exam.examination import Patient

        with self._open(patient.id) as tables:
            stored = Patient.model_validate(next(iter(tables["patient"].values())))
            if stored.revision != patient.revision:
                raise ConflictError(stored)
            saved = Patient.model_validate(
                patient.model_dump(mode="json") | {"revision": stored.revision + 1}
            )
            tables["patient"] = {"1": saved.model_dump(mode="json")}
        self.audit.add(event, patient.id, by)
        return saved

    def discharge(self, patient_id: str, at: datetime, by: str) -> "Patient":
        """Take a patient off the list; everything is kept."""
        patient = self.patient(patient_id)
        return self.update(patient.model_copy(update={"discharged": at}), by, "discharged")

    def restore(self, patient_id: str, by: str) -> "Patient":
        """Bring a discharged patient back."""
        patient = self.patient(patient_id)
        return self.update(patient.model_copy(update={"discharged": None}), by, "restored")

    # --- examinations -------------------------------------------------------------------------

    def _revisions(self, patient_id: str) -> list["Examination"]:
        from wardexam.exam.examination import Examination

        rows = self._read(patient_id).get("examinations", {}).values()
        return sorted(
            (Examination.model_validate(r) for r in rows), key=lambda e: (e.at, e.id, e.revision)
        )

    def examinations(self, patient_id: str) -> tuple["Examination", ...]:
        """The latest revision of every examination, oldest first."""
        return latest(self._revisions(patient_id))

    def revisions(self, patient_id: str, examination_id: str) -> tuple["Examination", ...]:
        """Every revision of one examination, first to last."""
        return tuple(e for e in self._revisions(patient_id) if e.id == examination_id)

    def _insert(self, examination: "Examination", summary: Summary | None) -> None:
        with self._open(examination.patient) as tables:
            rows = tables.setdefault("examinations", {})
            for row in rows.values():
                if (row["id"], row["revision"]) == (examination.id, examination.revision):
                    raise InputError("is saved already", examination.id, "amend it instead")
            rows[str(max(map(int, rows), default=0) + 1)] = examination.model_dump(mode="json")
            # An amendment of an earlier examination leaves what the list says of the last.
            last = max(datetime.fromisoformat(row["at"]) for row in rows.values())
            if summary and examination.at >= last:
                tables["meta"] = {"1": {"summary": asdict(summary)}}

    def save(
        self, examination: "Examination", by: str, summary: Summary | None = None
    ) -> "Examination":
        """Save a new examination; one that is stored is never overwritten."""
        self.patient(examination.patient)
        self._insert(examination, summary)
        self.audit.add("saved", examination.patient, by)
        return examination

    def take_in(
        self,
        patient: "Patient",
        examinations: list["Examination"],
        by: str,
        summary: Summary | None = None,
    ) -> None:
        """Add a patient with every revision of the examinations, in a single write."""
        if self._file(patient.id).exists():
            raise InputError("is on the ward already", where=patient.id)
        with self._open(patient.id) as tables:
            tables["patient"] = {"1": patient.model_dump(mode="json")}
            tables["examinations"] = {
                str(n): e.model_dump(mode="json") for n, e in enumerate(examinations, 1)
            }
            if summary:
                tables["meta"] = {"1": {"summary": asdict(summary)}}
        self.audit.add("imported", patient.id, by)

    def amend(
        self,
        examination: "Examination",
        by: str,
        why: str,
        at: datetime,
        summary: Summary | None = None,
    ) -> "Examination":
        """Save a further revision of a stored examination, with who, when and why."""
        from wardexam.exam.examination import Amendment, Examination

        stored = self.revisions(examination.patient, examination.id)
        if not stored:
            raise InputError("is not saved yet", where=examination.id)
        document = examination.model_dump(mode="json")
        document["revision"] = stored[-1].revision + 1
        document["amendment"] = Amendment(by=by, at=at, why=why).model_dump(mode="json")
        amended = Examination.model_validate(document)
        self._insert(amended, summary)
        self.audit.add("amended", examination.patient, by)
        return amended

    # --- drafts and audit -----------------------------------------------------------------------

    def drafts(self) -> tuple[DraftInfo, ...]:
        """Drafts, oldest first; `held` are those that a session is writing."""
        return draft_infos(self.folder)

    def start_draft(self, examination: "Examination", by: str) -> Draft:
        """A new draft on disk; every change is appended to it."""
        return Draft.start(self.folder, examination, by, self.file_mode)

    def resume_draft(self, draft_id: str) -> tuple[Draft, "Examination"]:
        """A draft that was left, with the examination as far as it got."""
        examination = replay(self.folder, draft_id)
        return Draft.resume(self.folder, draft_id), examination

    def set_aside(self, draft_id: str, by: str) -> None:
        """Stop offering a draft; its file stays in the folder."""
        path = self.folder / f"{draft_id}.draft"
        if any(d.held for d in self.drafts() if d.draft_id == draft_id):
            raise RecordsError("the draft is open in another session", where=draft_id)
        path.rename(path.with_suffix(".aside"))
        self.audit.add("draft set aside", "", by)

    def finish_draft(
        self, draft: Draft, examination: "Examination", by: str, summary: Summary | None = None
    ) -> "Examination":
        """Save the examination, then take its draft away."""
        saved = self.save(examination, by, summary)
        draft.close()
        draft.path.unlink(missing_ok=True)
        return saved

    def record(self, event: str, patient_id: str, by: str) -> None:
        """Write to the audit trail what was viewed, copied or exported."""
        self.audit.add(event, patient_id, by)


def latest(examinations: "Iterable[Examination]") -> "tuple[Examination, ...]":
    """The latest revision of every examination, oldest first."""
    last = {e.id: e for e in sorted(examinations, key=lambda e: e.revision)}
    return tuple(sorted(last.values(), key=lambda e: (e.at, e.id)))


def open_ward(folder: Path, *, shared: bool = False) -> Ward:
    """The ward in a folder, made if it is not there.

    Raises:
        RecordsError: The folder cannot be used, or others can write to it.
    """
    return Ward(folder, shared=shared)
