"""Commands on the store: check it, take it out, bring it in."""

import argparse
import os
import stat
import sys
from typing import TYPE_CHECKING

from wardexam.commands import edge
from wardexam.commands.edge import STANDARD_INPUT
from wardexam.commands.whose import identifier
from wardexam.errors import InputError, RecordsError, WardexamError

if TYPE_CHECKING:
    from typing import BinaryIO


def check(options: argparse.Namespace) -> int:
    """Verify the store; repair only when told."""
    from wardexam.records.audit import read_head

    try:
        heads = [read_head(options.trail)] if options.trail else []
    except ValueError:
        raise InputError(
            "no head of a trail", options.trail[:40], "give it as a handover prints it, such as 120:4f0c2d11ab98e7d3"
        ) from None  # fmt: skip
    report = edge.ward(options, mend=options.repair).check(
        repair=options.repair, by=edge.examiner(options), at=edge.now(), heads=heads
    )
    for line in report.lines:
        edge.put(edge.on_one_line(line) + "\n")
    return 0 if report.sound else 1


def export(options: argparse.Namespace) -> int:
    """Write a ward or one patient as an archive, or the findings as CSV."""
    from wardexam.records import archive

    ward, code = edge.ward(options), 0

    def missed(patient_id: str, error: WardexamError) -> None:
        nonlocal code
        code = RecordsError.exit_code
        edge.complain(f"left out: {patient_id}: {error}")

    write = archive.write_csv if options.csv else archive.write_archive
    if options.patient:
        options.patient = identifier(ward, options.patient)
    ward.record("exported", options.patient or "ward", edge.examiner(options))
    for line in write(ward, [options.patient] if options.patient else None, missed=missed):
        edge.put(line)
    return code


def _progress(doing: str, patients: int) -> None:
    """How far an import is, on a terminal's error output."""
    from wardexam.exam.text import counted

    edge.progress(f"{doing}: {counted(patients, 'patient')}")


def _archive(name: str) -> "BinaryIO":
    """An archive, open, that can be read twice.

    Raises:
        InputError: It cannot be read, or is a folder, a device or a pipe other than standard input.
    """
    if name in STANDARD_INPUT:
        return _standard_input()
    try:
        if stat.S_ISREG(os.stat(name).st_mode):
            return open(name, "rb")
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", where=name) from None
    raise InputError(
        "cannot be read: it is no regular file, which is read twice",
        where=name,
        remedy="give a pipe as standard input, with -",
    )


def _standard_input() -> "BinaryIO":
    """All of standard input in a private temporary file that has no name and goes when it is closed."""
    import shutil
    import tempfile

    if sys.stdin is None:
        raise InputError("is closed", where="standard input")
    if sys.stdin.isatty():
        edge.remark("Paste the archive; end with Ctrl-D.")
    spool = tempfile.TemporaryFile(prefix="wardexam-")  # noqa: SIM115  # the caller closes it
    try:
        shutil.copyfileobj(sys.stdin.buffer, spool)
        spool.seek(0)
    except BaseException:
        spool.close()
        raise
    return spool


def import_(options: argparse.Namespace) -> int:
    """Read an archive into the ward: all of it or nothing."""
    from wardexam.exam.text import counted
    from wardexam.note.handover import headline_of
    from wardexam.records import archive

    with _archive(options.file) as source:
        result = archive.read_archive(
            edge.ward(options, begin=not options.dry_run),
            source,
            by=edge.examiner(options),
            dry_run=options.dry_run,
            summarise=headline_of,
            progress=_progress,
        )
    edge.progress("")
    verb = "would be added" if options.dry_run else "added"
    patients, found = (
        counted(result.patients, "patient"),
        counted(result.examinations, "examination"),
    )
    edge.put(f"{patients} and {found} {verb}\n")
    if not result.sealed:
        edge.complain(
            "the archive is of version 1, which has no end mark: whether it was cut cannot be told"
        )
    for patient_id, why in result.left_out:
        edge.complain(f"the archive was made without {patient_id}: {why}")
    return 0
