"""From layout 1, where everything lay in one folder and files had schema 1, to the present layout.

A copy is made and read back before anything that was there is touched. The mark is written last;
until then a crash leaves the old ward as it was, and the next start goes on. The old files stay
under ``layout-1``. Nothing is removed but lock files, and nothing is put away that does not stand in
the present layout, record by record or byte for byte.
"""

import os
from contextlib import suppress
from pathlib import Path
from typing import Any, Protocol

from wardexam.errors import RecordsError
from wardexam.records.durable_files import read_bounded, sync_folder, write_whole
from wardexam.records.paths import MARK, TRAIL
from wardexam.records.schemas import LONGEST, pack, read_tables, unpack
from wardexam.records.stored_record import DamagedFileError

OLD = "layout-1"


class Folder(Protocol):
    """The folder that is migrated: where its parts lie, with what permissions they are made, and its mark."""

    folder: Path
    patients: Path
    drafts: Path
    drafts_aside: Path
    staging: Path
    file_mode: int
    folder_mode: int

    def make_folders(self) -> None:
        """Make the folders that are missing."""

    def mark(self) -> None:
        """Write what says that it is a ward of this layout."""


Plain = dict[str, list[dict[str, Any]]]


def _plain(data: bytes, where: str) -> Plain | None:
    """The records of a file by table; None where they cannot be read."""
    try:
        tables = unpack(data, where)
        return {name: [dict(r) for r in rows.values()] for name, rows in tables.items()}
    except RecordsError:
        return None


def _stands(old: Path, new: Path) -> bool:
    """Whether all that an old patient's file holds stands in the present one."""
    try:
        before, now = read_bounded(old, LONGEST), read_bounded(new, LONGEST)
    except OSError:
        return False
    if before == now:
        return True
    was, found = _plain(before, str(old)), _plain(now, str(new))
    if was is None or found is None:
        return False
    same_patient = [r.get("id") for r in was.get("patient", [])] == [
        r.get("id") for r in found.get("patient", [])
    ]
    return same_patient and all(r in found.get("examinations", []) for r in was.get("examinations", []))  # fmt: skip


def _copy_patient(layout: Folder, source: Path) -> None:
    target = layout.patients / source.name
    data = read_bounded(source, LONGEST)
    was = _plain(data, str(source))
    # What was damaged before is kept as it is, for `check` to report.
    pieces = pack(unpack(data, str(source)))[0] if was is not None else [data]
    if target.exists():
        if _stands(source, target):
            return
        try:
            read_tables(target)
        except DamagedFileError:  # an attempt that was cut short
            os.rename(target, target.with_name(f"{target.name}.damaged-{os.urandom(4).hex()}"))
        else:
            raise RecordsError(
                "differs from the file of the earlier layout; nothing was changed",
                where=str(target),
                remedy=f"compare it with {source} and keep one of them here",
            )
    write_whole(target, pieces, layout.file_mode, layout.staging)
    if was is not None and _plain(read_bounded(target, LONGEST), str(target)) != was:
        raise RecordsError("the copy differs from the original", where=str(source))


def _copy_draft(layout: Folder, source: Path) -> None:
    target = layout.drafts / source.name
    data = read_bounded(source, LONGEST)
    if target.exists():
        if read_bounded(target, LONGEST).startswith(data):
            return
        os.rename(target, layout.drafts_aside / f"{target.name}.{os.urandom(4).hex()}")
    write_whole(target, [data], layout.file_mode, layout.staging)


def _state(folder: Path) -> dict[str, tuple[int, int]]:
    found = {}
    for pattern in ("*.json", "*.draft", TRAIL):
        for path in folder.glob(pattern):
            if path.name != MARK:
                there = path.stat()
                found[path.name] = (there.st_mtime_ns, there.st_size)
    return found


def migrate(layout: Folder) -> list[str]:
    """Bring a folder of layout 1 to the present one; gives what was left where it is.

    Raises:
        RecordsError: An older session is at work, or a copy is not faithful; nothing was changed.
    """
    from wardexam.records.draft_file import is_held

    folder = layout.folder
    before = _state(folder)
    held = [n for n in before if n.endswith(".draft") and is_held(folder / n)]
    if held:
        raise RecordsError(
            "a session of an older version is at work here",
            where=str(folder),
            remedy="close it and start again",
        )
    layout.make_folders()
    for name in before:
        if name.endswith(".json"):
            _copy_patient(layout, folder / name)
        elif name.endswith(".draft"):
            _copy_draft(layout, folder / name)
    for place in (layout.patients, layout.drafts):
        sync_folder(place)
    if _state(folder) != before:
        raise RecordsError(
            "was changed by another session meanwhile", where=str(folder), remedy="start again"
        )
    layout.mark()
    return put_away(layout)


def _away(path: Path, folder: Path) -> None:
    """Move a file into a folder under its name, or one beside it where that is taken."""
    target = folder / path.name
    while os.path.lexists(target):
        target = folder / f"{path.name}.{os.urandom(4).hex()}"
    with suppress(FileNotFoundError):  # another session was faster
        path.rename(target)


def put_away(layout: Folder) -> list[str]:
    """Move what layout 1 left to its own folder, once it stands in this one.

    Gives the names of files that hold what the ward does not: they stay where they are.
    """
    folder, old, left = layout.folder, layout.folder / OLD, []
    with suppress(FileExistsError):
        old.mkdir(0o700)
        old.chmod(layout.folder_mode)
    for path in sorted(folder.glob("*.json")):
        if path.name == MARK:
            continue
        if _stands(path, layout.patients / path.name):
            _away(path, old)
        else:
            left.append(path.name)
    for path in sorted(folder.glob("*.draft")):
        target = layout.drafts / path.name
        if target.exists() and read_bounded(target, LONGEST).startswith(read_bounded(path, LONGEST)):  # fmt: skip
            _away(path, old)
        else:
            left.append(path.name)
    for path in folder.glob("*.aside"):
        _away(path, layout.drafts_aside)
    for pattern in ("index*.jsonl", ".*.new", "*.json.before", "*.damaged-*"):
        for path in folder.glob(pattern):
            _away(path, old)
    for pattern in ("*.lock", "*.holder"):
        for path in folder.glob(pattern):
            path.unlink(missing_ok=True)
    return left
