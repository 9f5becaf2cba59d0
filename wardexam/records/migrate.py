"""From layout 1, where everything lay in one folder and files had schema 1, to layout 2.

A copy is made and read back before anything that was there is touched. The mark is written last;
until then a crash leaves the old ward as it was, and the next start begins again. The old files
stay under ``layout-1``.
"""

import shutil
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from wardexam.errors import RecordsError
from wardexam.records.files import sync_folder, write_new
from wardexam.records.schemas import pack, read_tables, unpack

if TYPE_CHECKING:
    from wardexam.records.layout import Layout

OLD = "layout-1"
_DERIVED = ("*.lock", "*.holder", "index*.jsonl", ".*.new")


def _copy_patient(source: Path, target: Path, mode: int) -> None:
    data = source.read_bytes()
    try:
        tables = unpack(data, str(source))
    except RecordsError:
        write_new(target, [data], mode)  # damaged before: kept as it is, for `check` to report
        return
    write_new(target, pack(tables)[0], mode)
    again = read_tables(target)
    if again is None or {n: {k: dict(r) for k, r in rows.items()} for n, rows in again.items()} != {
        n: {k: dict(r) for k, r in rows.items()} for n, rows in tables.items()
    }:
        raise RecordsError("the copy differs from the original", where=str(source))


def _state(folder: Path) -> dict[str, tuple[int, int]]:
    found = {}
    for pattern in ("*.json", "*.draft", "audit.jsonl"):
        for path in folder.glob(pattern):
            if path.name != "ward.json":
                there = path.stat()
                found[path.name] = (there.st_mtime_ns, there.st_size)
    return found


def migrate(layout: "Layout") -> None:
    """Bring a folder of layout 1 to the present one.

    Raises:
        RecordsError: An older session is at work, or a copy is not faithful; nothing was changed.
    """
    from wardexam.records.draft_files import is_held

    folder, mode = layout.folder, layout.file_mode
    for name in ("patients", "index", "locks", "staging"):  # of an attempt that was cut short
        shutil.rmtree(folder / name, ignore_errors=True)
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
            _copy_patient(folder / name, layout.patients / name, mode)
        elif name.endswith(".draft"):
            with suppress(FileNotFoundError):
                (layout.drafts / name).unlink()
            write_new(layout.drafts / name, [(folder / name).read_bytes()], mode)
    for place in (layout.patients, layout.drafts):
        sync_folder(place)
    if _state(folder) != before:
        raise RecordsError(
            "was changed by another session meanwhile", where=str(folder), remedy="start again"
        )
    layout.mark()
    put_away(layout)


def put_away(layout: "Layout") -> None:
    """Move what layout 1 left to its own folder; what it derived is taken away."""
    old = layout.folder / OLD
    with suppress(FileExistsError):
        old.mkdir(0o700)
        old.chmod(layout.folder_mode)
    for pattern in _DERIVED:
        for path in layout.folder.glob(pattern):
            path.unlink()
    for path in layout.folder.glob("*.aside"):
        path.rename(layout.drafts / "aside" / path.name)
    for pattern in ("*.json", "*.json.before", "*.draft", "*.damaged-*"):
        for path in layout.folder.glob(pattern):
            if path.name != "ward.json":
                path.rename(old / path.name)
