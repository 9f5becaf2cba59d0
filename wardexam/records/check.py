"""Verify a store: every file, the index and the audit trail. Repairs only when told."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from wardexam.errors import InputError, RecordsError
from wardexam.records import audit
from wardexam.records.storage import unpack, write_whole
from wardexam.records.ward import Ward, open_ward


@dataclass(frozen=True, slots=True)
class Report:
    """What was found, line by line; `sound` when nothing is wrong."""

    lines: tuple[str, ...]
    sound: bool


def _fault(ward: Ward, path: Path) -> str:
    """What is wrong with one patient's file, or nothing."""
    from pydantic import ValidationError

    try:
        unpack(path.read_bytes(), path.name)
        ward.patient(path.stem)
        ward.examinations(path.stem)
    except (RecordsError, InputError, OSError, StopIteration, KeyError) as error:
        return str(error)
    except ValidationError as error:
        return f"{path.name}: {error.error_count()} fields are not valid"
    return ""


def check_store(folder: Path, *, repair: bool, by: str, at: datetime) -> Report:
    """Check every file; with `repair`, damaged files are set aside and the previous version returns.

    A damaged file is renamed, never overwritten. Nothing is changed without `repair`.
    """
    ward = open_ward(folder)
    lines, sound, checked = [], True, 0
    for path in sorted(folder.glob("*.json")):
        checked += 1
        fault = _fault(ward, path)
        if not fault:
            continue
        sound = False
        lines.append(f"damaged: {fault}")
        if repair:
            aside = path.with_name(f"{path.name}.damaged-{at:%Y%m%dT%H%M%S}")
            path.rename(aside)
            lines.append(f"  set aside as {aside.name}")
            before = path.with_name(path.name + ".before")
            try:
                data = before.read_bytes()
                unpack(data, before.name)
                write_whole(path, data, ward.file_mode)
                lines.append("  the previous good version was put back")
            except (OSError, RecordsError):
                lines.append("  no previous good version; restore from a backup")
    for fault in audit.verify(folder / "audit.jsonl"):
        sound = False
        lines.append(fault)
    if repair:
        ward.rebuild_index()
        ward.record("repaired", "", by)
        lines.append("index made anew")
    lines.append(f"{checked} patients checked: " + ("all sound" if sound else "see above"))
    return Report(tuple(lines), sound)
