"""Verify a store: every file, every draft, the index and the audit trail. Repairs only when told."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from wardexam.errors import InputError, RecordsError
from wardexam.records import audit, documents
from wardexam.records.draft_files import replay, rows_of
from wardexam.records.files import read_bounded, reason, write_whole
from wardexam.records.schemas import LONGEST, read_tables, unpack
from wardexam.records.ward import Ward, open_ward


@dataclass(frozen=True, slots=True)
class Report:
    """What was found, line by line; `sound` when nothing is wrong."""

    lines: tuple[str, ...]
    sound: bool


@dataclass
class _Findings:
    lines: list[str] = field(default_factory=list)
    sound: bool = True

    def wrong(self, line: str) -> None:
        self.lines.append(line)
        self.sound = False


def fault_of(path: Path) -> str:
    """What is wrong with one patient's file, or nothing."""
    try:
        tables = read_tables(path)
        if tables is None:
            return f"{path}: is gone"
        patient = documents.patient_of(tables)
        stored = documents.all_revisions(tables)
    except RecordsError as error:
        return str(error)
    except (KeyError, TypeError, ValueError, AttributeError):
        return f"{path}: the file is not a patient's"
    if patient.id != path.stem or any(e.patient != patient.id for e in stored):
        return f"{path}: it speaks of another patient"
    return ""


def check_store(
    folder: Path,
    *,
    repair: bool,
    by: str,
    at: datetime,
    shared: bool = False,
    progress: Callable[[int], None] = lambda _: None,
) -> Report:
    """Check every file; with `repair`, damaged files are set aside and the previous version returns.

    A damaged file is renamed, never overwritten. Nothing is changed without `repair`.
    """
    ward = open_ward(folder, shared=shared)
    found = _Findings()
    files = ward.layout.files()
    for number, path in enumerate(files, 1):
        if fault := fault_of(path):
            found.wrong(f"damaged: {fault}")
            if repair:
                _repair(ward, path, at, found)
        progress(number)
    _check_drafts(ward, found)
    _check_lists(ward, found)
    trail = audit.verify(folder / "audit.jsonl")
    for fault in trail.faults:
        found.wrong(fault)
    if repair:
        ward.rebuild_index()
        ward.audit.note("repaired", "", by)
        found.lines.append("index made anew")
    if trail.torn:
        found.lines.append("audit trail: a crash cut its last line off; the next event mends it")
    if trail.lines:
        found.lines.append(f"audit trail: {trail.lines} lines, the last is {trail.last[:16]}")
    found.lines.append(
        f"{len(files)} patients checked: " + ("all sound" if found.sound else "see above")
    )
    return Report(tuple(found.lines), found.sound)


def _repair(ward: Ward, path: Path, at: datetime, found: _Findings) -> None:
    aside = path.with_name(f"{path.name}.damaged-{at:%Y%m%dT%H%M%S}")
    before = path.with_name(path.name + ".before")
    try:
        with ward.hold(path.stem):
            path.rename(aside)
            found.lines.append(f"  set aside as {aside}")
            data = read_bounded(before, LONGEST)
            tables = unpack(data, str(before))
            write_whole(path, [data], ward.layout.file_mode, ward.layout.staging)
    except (OSError, RecordsError) as error:
        why = reason(error) if isinstance(error, OSError) else str(error)
        found.lines.append(f"  no previous good version ({why}); restore from a backup")
        return
    count = len({e["id"] for e in tables.get("examinations", {}).values()})
    found.lines.append(f"  the version before was put back, with {count} examinations")


def _check_drafts(ward: Ward, found: _Findings) -> None:
    for path in sorted(ward.layout.drafts.glob("*.draft")):
        try:
            replay(*rows_of(path, path))
        except (RecordsError, InputError) as error:
            found.wrong(f"damaged: {error}")


def _check_lists(ward: Ward, found: _Findings) -> None:
    listed = {b.patient_id for d in (False, True) for b in ward.beds(discharged=d)}
    for path in ward.layout.files():
        if path.stem not in listed:
            found.wrong(f"not on the ward list: {path} (--repair makes the list anew)")
