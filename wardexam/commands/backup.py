"""`wardexam backup` and `wardexam restore`: everything of a ward into a file, and from it into an empty place."""

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING

from wardexam.commands import edge
from wardexam.errors import InputError, RecordsError

if TYPE_CHECKING:
    from contextlib import AbstractContextManager
    from typing import BinaryIO

    from wardexam.records.backup import Contents, Source
    from wardexam.records.repository import Repository


def progress(doing: str, patients: int) -> None:
    """How far it is, on a terminal's error output."""
    from wardexam.exam.text import counted

    if patients % 20 == 0:
        edge.progress(f"{doing}: {counted(patients, 'patient')}")


def snapshot(ward: "Repository", near: Path | None = None) -> "AbstractContextManager[Source]":
    """A ward, of whichever store, as it stands at one moment."""
    from wardexam.records import folder_backup
    from wardexam.records.ward import Ward

    if isinstance(ward, Ward):
        return folder_backup.snapshot(ward, near, progress=progress)
    raise InputError("cannot be backed up")


def say(contents: "Contents", verb: str) -> int:
    """How much there was, its checksum, and what was not as it should be; gives the code to end with."""
    edge.progress("")
    edge.put(f"{verb}: {contents.line}\nsha256 {contents.sha256}\n")
    for line in contents.warnings:
        edge.complain(f"{line} (run 'wardexam check')")
    return 1 if contents.warnings else 0


def backup(options: argparse.Namespace) -> int:
    """Write everything of the ward into a new file of its own, readable by its owner alone."""
    from wardexam.records.backup import Written
    from wardexam.records.backup_file import write_new_file

    target = Path(options.file)
    if os.path.lexists(target):
        raise InputError(
            "is there already, and nothing was written", str(target), "name a new file"
        )
    ward = edge.ward(options)
    with snapshot(ward, target.parent) as source:
        written = Written(source)
        write_new_file(target, written)
        for left in getattr(source, "left_out", ()):
            edge.complain(f"no draft, and not in the backup: {left}")
        if spooled := getattr(source, "spooled", 0):
            edge.complain(f"drafts in your own folder, and not in the backup: {spooled} (resume them to bring them back)")  # fmt: skip
    return say(written.contents, "written")


def opened(name: str) -> "BinaryIO":
    """A backup, open, that can be read twice.

    Raises:
        InputError: It cannot be read, or is no regular file.
    """
    from wardexam.records.durable_files import reason

    path = Path(name)
    try:
        if path.is_file():
            return path.open("rb")
        why = "it is no regular file" if path.exists() else "there is no such file"
    except OSError as error:
        why = reason(error)
    raise InputError(f"cannot be read: {why}", where=name)


def restore(options: argparse.Namespace) -> int:
    """Lay a ward down from a backup in an empty place: all of it or nothing."""
    from wardexam.records.backup import verified
    from wardexam.records.folder_backup import lay_down, stands_there
    from wardexam.records.paths import ward_folder
    from wardexam.records.ward import open_ward

    with opened(options.file) as source:
        contents = verified(source, progress)
        if options.dry_run:
            return say(contents, "it holds")
        folder = ward_folder(options.db)
        if stands_there(folder):
            raise RecordsError(
                "is not empty; nothing was restored", str(folder), "name a new folder with --db"
            )
        lay_down(
            folder, source, contents, shared=options.shared, by=edge.examiner(options),
            at=edge.now().isoformat(timespec="seconds"), progress=progress,
        )  # fmt: skip
    ward = open_ward(folder, shared=options.shared, begin=False)
    ward.beds()
    return say(contents, "restored, and read back the same")
