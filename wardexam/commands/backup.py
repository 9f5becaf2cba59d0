"""`wardexam backup` and `wardexam restore`: everything of a ward into a file, and from it into an empty place."""

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING

from wardexam.commands import edge
from wardexam.errors import InputError, RecordsError

if TYPE_CHECKING:
    from typing import BinaryIO

    from wardexam.records.backup import Contents
    from wardexam.records.moving import Home


def progress(doing: str, patients: int) -> None:
    """How far it is, on a terminal's error output."""
    from wardexam.exam.text import counted

    if patients % 20 == 0:
        edge.progress(f"{doing}: {counted(patients, 'patient')}")


def home_of(place: str, *, on_command_line: bool, shared: bool = False) -> "Home":
    """The place that a path or a URL names.

    Raises:
        InputError: The URL cannot be read, or holds a password where others can read it.
    """
    from wardexam.records.postgres.url import is_server, read_url

    if is_server(place):
        if shared:
            raise InputError("--shared goes with a folder", "--shared", "leave the option out")
        parameters = read_url(place, on_command_line=on_command_line)
        from wardexam.records.postgres.server_backup import ServerHome

        return ServerHome(parameters)
    from wardexam.records.folder_backup import FolderHome
    from wardexam.records.paths import ward_folder

    return FolderHome(ward_folder(place or None), shared=shared)


def home(options: argparse.Namespace) -> "Home":
    """The place that is meant, of whichever store."""
    place, on_command_line = edge.place(options)
    return home_of(place, on_command_line=on_command_line, shared=options.shared)


def say(contents: "Contents", verb: str) -> int:
    """How much there was, its checksum, and what was not as it should be; gives the code to end with."""
    edge.progress("")
    patients, *more = contents.lines
    edge.put(f"{verb}: {patients}\n" + "".join(f"  {line}\n" for line in more))
    edge.put(f"sha256 {contents.sha256}\n")
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
    with home(options).snapshot(target.parent, progress=progress) as source:
        written = Written(source)
        write_new_file(target, written)
        for left in source.left_out:
            edge.complain(f"no draft, and not in the backup: {left}")
        if source.spooled:
            edge.complain(f"drafts or saves in your own folder, and not in the backup: {source.spooled} (open the ward to bring them back)")  # fmt: skip
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
    from wardexam.records.backup import OUT, verified
    from wardexam.records.moving import stands_already

    with opened(options.file) as source:
        contents = verified(source, progress)
        if options.dry_run:
            return say(contents, "it holds")
        place = home(options)
        if stands_already(place, contents):
            return say(contents, "is restored already")
        if not place.is_empty():
            raise RecordsError(f"is not empty; {OUT}", place.where, "name an empty place with --db")
        place.lay_down(
            source, contents, by=edge.examiner(options), at=edge.now().isoformat(timespec="seconds"), progress=progress
        )  # fmt: skip
    return say(contents, "restored, and read back the same")
