"""Commands on the store: check it, take it out, bring it in."""

import argparse

from wardexam.commands import edge
from wardexam.errors import InputError


def check(options: argparse.Namespace) -> int:
    """Verify the store; repair only when told."""
    from wardexam.records.check import check_store
    from wardexam.records.paths import ward_folder

    report = check_store(
        ward_folder(options.db),
        repair=options.repair,
        by=edge.examiner(options),
        at=edge.now(),
        shared=options.shared,
    )
    for line in report.lines:
        edge.put(edge.on_one_line(line) + "\n")
    return 0 if report.sound else 1


def export(options: argparse.Namespace) -> int:
    """Write a ward or one patient as an archive, or the findings as CSV."""
    from wardexam.records import archive

    ward = edge.ward(options)
    write = archive.write_csv if options.csv else archive.write_archive
    ward.record("exported", options.patient or "ward", edge.examiner(options))
    for line in write(ward, patients=[options.patient] if options.patient else None):
        edge.put(line)
    return 0


def _progress(doing: str, patients: int) -> None:
    """How far an import is, on a terminal's error output."""
    edge.progress(f"{doing}: {patients} patients")


def import_(options: argparse.Namespace) -> int:
    """Read an archive into the ward: all of it or nothing."""
    from wardexam.note.handover import headline_of
    from wardexam.records import archive

    try:
        with open(options.file, "rb") as source:
            result = archive.read_archive(
                edge.ward(options),
                source,
                by=edge.examiner(options),
                dry_run=options.dry_run,
                summarise=headline_of,
                progress=_progress,
            )
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", where=options.file) from None
    edge.progress("")
    verb = "would be added" if options.dry_run else "added"
    edge.put(f"{result.patients} patients and {result.examinations} examinations {verb}\n")
    return 0
