"""Many patients at once, all or none: written aside and flushed first, then moved into place.

A crash before the mark ``complete`` leaves nothing of them; after it, the next start moves the rest.
"""

import os
import shutil
from collections.abc import Callable, Iterable
from dataclasses import asdict
from pathlib import Path

from wardexam.errors import InputError, RecordsError
from wardexam.records import documents
from wardexam.records.files import reason, sync_folder, write_new
from wardexam.records.kept import Tables
from wardexam.records.layout import Layout
from wardexam.records.lists import Lists
from wardexam.records.repository import Arrival
from wardexam.records.schemas import pack

COMPLETE = "complete"


def document_of(arrival: Arrival) -> Tables:
    """The tables of a patient's first document."""
    tables: Tables = {}
    documents.put_patient(tables, arrival.patient)
    tables["examinations"] = {
        str(n): e.model_dump(mode="json") for n, e in enumerate(arrival.examinations, 1)
    }
    summary = asdict(arrival.summary) if arrival.summary else None
    tables["meta"] = {"1": documents.fresh_meta(arrival.examinations, summary)}
    return tables


def take_in(
    layout: Layout,
    lists: Lists,
    arrivals: Iterable[Arrival],
    progress: Callable[[int], None] | None,
) -> list[str]:
    """Write every patient aside, mark the folder complete, move them; gives the identifiers.

    Raises:
        InputError: An identifier is taken; nothing was added.
        RecordsError: It could not be written; says whether anything was added.
    """
    folder = layout.staging / f"{os.getpid()}.{os.urandom(6).hex()}.arrivals"
    try:
        folder.mkdir(0o700)
        for number, arrival in enumerate(arrivals, 1):
            name = f"{arrival.patient.id}.json"
            if (layout.patients / name).exists() or (folder / name).exists():
                raise InputError("is on the ward already; nothing was added", arrival.patient.id)
            write_new(folder / name, pack(document_of(arrival))[0], layout.file_mode)
            if progress:
                progress(number)
        lists.announce(path.stem for path in folder.glob("*.json"))
        sync_folder(folder)
        write_new(folder / COMPLETE, [], layout.file_mode)
    except BaseException as error:
        shutil.rmtree(folder, ignore_errors=True)
        if isinstance(error, OSError):
            raise RecordsError(
                f"nothing was added: {reason(error)}", str(layout.folder), "import again"
            ) from None
        raise
    return settle(layout, lists, folder)


def left_over(layout: Layout) -> list[Path]:
    """Complete folders that are not moved yet: by a session at work, or by one that has ended."""
    return [path for path in layout.staging.glob("*.arrivals") if (path / COMPLETE).exists()]


def settle(layout: Layout, lists: Lists, folder: Path) -> list[str]:
    """Move every patient of a complete folder into place; gives their identifiers.

    Raises:
        RecordsError: It could not be finished; the next start does it.
    """
    try:
        sync_folder(folder)
        moved = []
        for path in sorted(folder.glob("*.json")):
            os.replace(path, layout.patients / path.name)
            moved.append(path.stem)
        sync_folder(layout.patients)
        os.unlink(folder / COMPLETE)
        os.rmdir(folder)
    except OSError as error:
        raise RecordsError(
            f"the import is not finished: {reason(error)}",
            where=str(layout.folder),
            remedy="opening the ward again completes it",
        ) from None
    lists.look_at(moved)
    return moved
