"""A patient taken out of a ward's folder for good: every file, draft, list row and copy; the trail stays whole.

The trail says so before anything is touched, with who, why and when. What follows may be cut short by a
crash: then `check` says that something is there still, and erasing again goes on. Of the trail nothing is
taken out: it names a patient by the opaque identifier alone.
"""

import json
import os
from collections.abc import Iterator
from pathlib import Path

from wardexam.errors import RecordsError
from wardexam.records.audit import ABSENT, Audit, Following, bounded_lines, is_in_flight
from wardexam.records.durable_files import (
    open_regular,
    read_bounded,
    reason,
    sync_folder,
    write_whole,
)
from wardexam.records.layout import NAME, Layout
from wardexam.records.ward_lists import WardLists

ERASED = "erased"  # the event
LISTS = ".jsonl"  # in the name of a file that has a line for each patient
LONGEST = 64_000_000  # bytes of a file that is looked through


def _holds(path: Path, patient_id: str) -> bool:
    """Whether a file is of a patient, by its name or by what stands in it."""
    if patient_id in path.name:
        return True
    try:
        handle = open_regular(path, os.O_RDONLY)
    except OSError:
        return False  # no regular file: nothing of ours
    os.close(handle)
    return b'"%s"' % patient_id.encode() in read_bounded(path, LONGEST)


def _is_anothers(path: Path, layout: Layout, patient_id: str) -> bool:
    """Whether a file lies in the place of another patient's record, or of the version before of one."""
    name = path.name.removesuffix(".before")
    whose = name.removesuffix(".json")
    return path.parent == layout.patients and bool(
        name.endswith(".json") and NAME.fullmatch(whose) and whose != patient_id
    )


def traces(layout: Layout, elsewhere: Path, patient_id: str) -> Iterator[Path]:
    """Every file that holds something of a patient, the patient's own file last; the trail is none of them.

    Args:
        layout: The ward's folder.
        elsewhere: Where this login's drafts lie while the ward's folder cannot be written.
        patient_id: Of whom.

    Raises:
        OSError: A folder or a file cannot be read.
    """
    own = layout.file(patient_id)
    for place in (layout.folder, elsewhere):
        for folder, inner, names in os.walk(place):
            inner.sort()
            for name in sorted(names):
                path = Path(folder) / name
                if path in (own, layout.trail, layout.mark_file):
                    continue
                if not _is_anothers(path, layout, patient_id) and _holds(path, patient_id):
                    yield path
    if os.path.lexists(own):
        yield own


def is_lost(layout: Layout, elsewhere: Path, patient_id: str) -> bool:
    """Whether nothing is left of a patient but rows of lists and a lock: no record, no copy of one and no draft.

    Raises:
        OSError: A folder or a file cannot be read.
    """
    return all(
        path.parent == layout.index or path == layout.origin_file or not path.stat().st_size
        for path in traces(layout, elsewhere, patient_id)
    )


def _take_out(path: Path, patient_id: str, layout: Layout) -> None:
    """Take a file away; of one that has a line for each patient, the patient's lines."""
    of_lines = LISTS in path.name or path == layout.origin_file
    if not of_lines or patient_id in path.name:
        path.unlink()
    else:
        quoted = b'"%s"' % patient_id.encode()
        lines = read_bounded(path, LONGEST).splitlines(keepends=True)
        kept = [line for line in lines if quoted not in line]
        write_whole(path, kept, path.stat().st_mode & 0o777, layout.staging)
    sync_folder(path.parent)


def erase(
    layout: Layout, lists: WardLists, audit: Audit, elsewhere: Path, patient_id: str, by: str, why: str
) -> None:  # fmt: skip
    """Take out all that is stored of a patient, once the trail says so.

    To be called with the patient's lock and the lock ``lists`` held.

    Raises:
        RecordsError: The trail could not be written, and nothing was changed; or not all could be taken
            out, and erasing again goes on.
    """
    audit.add(ERASED, patient_id, by, why, record=ABSENT)
    try:
        for path in list(traces(layout, elsewhere, patient_id)):
            if path.parent != layout.index or path.name.count(".") > 1:  # the lists are made anew
                _take_out(path, patient_id, layout)
        lists.forget(patient_id)
        left = list(traces(layout, elsewhere, patient_id))
    except OSError as error:
        where = error.filename if isinstance(error.filename, str) else str(layout.folder)
        raise RecordsError(
            f"not all is erased: {reason(error)}", where, "erase again; the trail says it was begun"
        ) from None
    if left:
        raise RecordsError("not all is erased", str(left[0]), "erase again")


def erased(path: Path) -> dict[str, str]:
    """Who was erased by a trail and not brought in again, with when.

    Raises:
        RecordsError: The trail cannot be read, or a line that may say so of somebody is not as it was written, and
            no repair has accepted that since.
    """
    following = Following()
    when: dict[str, str] = {}
    damaged = 0
    try:
        with os.fdopen(open_regular(path, os.O_RDONLY), "rb") as file:
            for line in bounded_lines(file):
                if is_in_flight(line):
                    break
                faults = len(following.trail.faults)
                try:
                    following.line(line)
                    row = json.loads(line)
                    if row["event"] == "repaired":
                        damaged = 0
                    elif row["event"] == ERASED:
                        when[row["patient"]] = str(row["at"])
                    fine = len(following.trail.faults) == faults
                except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
                    fine = False
                if not fine:
                    damaged = damaged or following.trail.lines
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise RecordsError(f"the trail cannot be read: {reason(error)}", str(path)) from None
    if damaged:
        raise RecordsError(
            f"audit line {damaged} is damaged, and may say that a patient was erased; nothing was added",
            str(path),
            "'wardexam check --repair' accepts it by your name, then import again",
        )
    return {patient: when[patient] for patient in following.trail.erased}
