"""Many patients at once, all or none: written aside, flushed and read back first, then moved into place.

A crash before the mark ``complete`` leaves nothing of them; after it, the next start moves the rest.
"""

import os
import shutil
from collections.abc import Callable, Iterable
from pathlib import Path

from wardexam.errors import InputError, RecordsError
from wardexam.records import patient_tables
from wardexam.records.audit import Audit
from wardexam.records.durable_files import read_bounded, reason, sync_folder, write_new
from wardexam.records.layout import COMPLETE, Layout
from wardexam.records.repository import Arrival
from wardexam.records.schemas import LONGEST, mark_in, pack, read_tables
from wardexam.records.stored_record import DamagedFileError
from wardexam.records.ward_lists import WardLists

BY = "by"  # who brings them in


def _packed(arrival: Arrival) -> list[bytes]:
    """A patient's first file, in pieces."""
    from tinydb import TinyDB
    from tinydb.storages import MemoryStorage

    with TinyDB(storage=MemoryStorage) as database:
        patient_tables.put_arrival(database, arrival)
        return pack(patient_tables.tables_of(database))[0]


def packed_size(arrival: Arrival) -> int:
    """How many bytes a patient's first file takes."""
    return sum(map(len, _packed(arrival)))


def _written_aside(path: Path, arrival: Arrival, mode: int) -> None:
    """Write one patient aside, and read the file back as any later reader will.

    Raises:
        InputError: It could be written and not be read again, or not be written as it is.
        RecordsError: It could not be read back.
    """
    who = arrival.patient.id
    try:
        pieces = _packed(arrival)
    except (ValueError, TypeError):
        raise InputError("holds what cannot be kept; nothing was added", who) from None
    size = sum(map(len, pieces))
    if size > LONGEST:
        raise InputError(
            f"would take {size} bytes, and a patient's file may have {LONGEST}; nothing was added",
            who,
        )
    write_new(path, pieces, mode)
    try:
        tables = read_tables(path) or {}
        patient_tables.row_of(tables)
        same = (
            patient_tables.patient_of(tables) == arrival.patient
            and patient_tables.all_revisions(tables)
            == patient_tables.in_order(arrival.examinations)
            and patient_tables.sheets_of(tables) == [*arrival.sheets]
            and patient_tables.outcomes_of(tables) == arrival.outcomes
        )
    except DamagedFileError as error:
        raise InputError(f"cannot be read again ({error.what}); nothing was added", who) from None
    except RecordsError as error:
        raise RecordsError(f"nothing was added: {error.what}", who, "import again") from None
    if not same:
        raise InputError("is read back as something else; nothing was added", who)


def stage(
    layout: Layout,
    arrivals: Iterable[Arrival],
    by: str,
    progress: Callable[[int], None] | None,
) -> Path:
    """Write every patient aside; gives the folder, which `take_in` moves.

    Raises:
        InputError: An identifier is taken, or a patient could not be read again; nothing was added.
        RecordsError: It could not be written; nothing was added.
    """
    folder = layout.staging / f"{os.getpid()}.{os.urandom(6).hex()}.arrivals"
    try:
        folder.mkdir(0o700)
        for number, arrival in enumerate(arrivals, 1):
            name = f"{arrival.patient.id}.json"
            if (layout.patients / name).exists() or (folder / name).exists():
                raise InputError("is on the ward already; nothing was added", arrival.patient.id)
            _written_aside(folder / name, arrival, layout.file_mode)
            if progress:
                progress(number)
        write_new(folder / BY, [by.encode()], layout.file_mode)
        sync_folder(folder)
    except BaseException as error:
        discard(folder)
        if isinstance(error, OSError):
            raise _nothing_added(layout, error) from None
        raise
    return folder


def discard(folder: Path) -> None:
    """Take a staged folder away that was not marked complete."""
    shutil.rmtree(folder, ignore_errors=True)


def _nothing_added(layout: Layout, error: OSError) -> RecordsError:
    return RecordsError(f"nothing was added: {reason(error)}", str(layout.folder), "import again")


def take_in(layout: Layout, lists: WardLists, audit: Audit, folder: Path) -> list[str]:
    """Mark a staged folder complete and move what is in it; gives the identifiers.

    To be called with the locks ``arrivals`` and ``lists`` held.

    Raises:
        InputError: An identifier was taken meanwhile; nothing was added.
        RecordsError: It could not be written; says whether anything was added.
    """
    try:
        names = sorted(path.stem for path in folder.glob("*.json"))
        for name in names:
            if layout.file(name).exists():
                raise InputError("is on the ward already; nothing was added", name)
        lists.announce(names)
        write_new(folder / COMPLETE, [], layout.file_mode)
    except BaseException as error:
        discard(folder)
        if isinstance(error, OSError):
            raise _nothing_added(layout, error) from None
        raise
    return settle(layout, lists, audit, folder)


def left_over(layout: Layout) -> list[Path]:
    """Complete folders that are not moved yet: by a session at work, or by one that has ended."""
    return [path for path in layout.staging.glob("*.arrivals") if (path / COMPLETE).exists()]


def settle(layout: Layout, lists: WardLists, audit: Audit, folder: Path) -> list[str]:
    """Move every patient of a complete folder into place; gives their identifiers.

    A file that meanwhile stands under the same name is never written over: the arrival stays aside.

    Raises:
        RecordsError: It could not be finished; the next start does it.
    """
    try:
        sync_folder(folder)
        by = read_bounded(folder / BY, 1000).decode("utf-8", "replace") if (folder / BY).exists() else ""  # fmt: skip
        moved = []
        for path in sorted(folder.glob("*.json")):
            digest, target = mark_in(path).partition(" ")[0], layout.patients / path.name
            if target.exists():
                if mark_in(target).partition(" ")[0] == digest:
                    path.unlink()  # moved by a session that died before it could say so
                continue
            audit.note("imported", path.stem, by, record=digest, sync=False)
            os.replace(path, target)
            moved.append(path.stem)
        audit.settle()
        sync_folder(layout.patients)
        if not any(folder.glob("*.json")):
            for name in (BY, COMPLETE):
                (folder / name).unlink(missing_ok=True)
            os.rmdir(folder)
    except OSError as error:
        raise RecordsError(
            f"the import is not finished: {reason(error)}",
            where=str(layout.folder),
            remedy="opening the ward again completes it",
        ) from None
    lists.look_at(moved)
    return moved
