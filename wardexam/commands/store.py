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

    from wardexam.commands.answers import Arriving
    from wardexam.fhir.bundle import Bundling
    from wardexam.records.archive import Counts
    from wardexam.records.repository import Arrival


def check(options: argparse.Namespace) -> int:
    """Verify the store; repair only when told."""
    from wardexam.governance.reviews import due_line
    from wardexam.records.audit import read_head

    try:
        heads = [read_head(options.trail)] if options.trail else []
    except ValueError:
        raise InputError(
            "no head of a trail", options.trail[:40], "give it as a handover prints it, such as 120:4f0c2d11ab98e7d3"
        ) from None  # fmt: skip
    report = edge.ward(options, mend=options.repair).check(
        repair=options.repair, by=edge.examiner(options), heads=heads
    )
    review = edge.on_one_line(due_line(edge.spoken(options), edge.now().date()))
    if options.json:
        from wardexam.commands import answers

        told = answers.checked(report, repair=options.repair, review=review, now=edge.now())
        edge.put(answers.line(told))
    else:
        for line in filter(None, (*map(edge.on_one_line, report.lines), review)):
            edge.put(line + "\n")
    return 0 if report.sound else 1


def export(options: argparse.Namespace) -> int:
    """Write a ward or one patient as an archive or a FHIR bundle, or the findings as CSV."""
    from wardexam.records import archive

    if options.wording and not options.fhir:
        raise InputError("--wording does nothing here", "export", "leave it out, or give --fhir")
    ward, code = edge.ward(options), 0

    def missed(patient_id: str, error: WardexamError) -> None:
        nonlocal code
        code = RecordsError.exit_code
        edge.complain(f"left out: {patient_id}: {error}")

    bundling = _bundling(options) if options.fhir else None
    if options.patient:
        options.patient = identifier(ward, options.patient)
    whose = [options.patient] if options.patient else None
    if bundling:
        from wardexam.fhir.bundle import write_bundle

        lines = write_bundle(ward, bundling, whose, missed=missed)
    else:
        write = archive.write_csv if options.csv else archive.write_archive
        lines = write(ward, whose, missed=missed)
    ward.record("exported", options.patient or "ward", edge.examiner(options))
    if options.output:
        from wardexam.records.private_file import write_private

        write_private(options.output, lines)
    else:
        for line in lines:
            edge.put(line)
    if bundling and bundling.said:
        edge.complain(f"not in the bundle: {bundling.said}")
    if bundling and bundling.too_long:
        edge.complain(
            "the bundle is longer than 'wardexam import' reads: export each patient with --patient"
        )
    return code


def _bundling(options: argparse.Namespace) -> "Bundling":
    """How a bundle is written: with the hospital's own codes and words."""
    from wardexam.fhir.bundle import Bundling
    from wardexam.fhir.standard_codes import Hospital, read_hospital
    from wardexam.records.paths import settings_text

    found = settings_text("fhir")
    hospital = read_hospital(found[1], found[0]) if found else Hospital()
    return Bundling(hospital, edge.spoken(options))


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
    """Read an archive or a bundle into the ward: all of it or nothing."""
    from wardexam.commands import answers
    from wardexam.note.handover import headline_of
    from wardexam.records import archive

    each: list[answers.Arriving] = []  # said once all of it is known to be acceptable

    def told(arrival: "Arrival") -> None:
        if options.dry_run:
            each.append(answers.arriving(arrival))

    with _archive(options.file) as source:
        ward = edge.ward(options, begin=not options.dry_run)
        if _is_table(source):
            raise InputError(
                "a table in CSV holds no patients and cannot be brought in", options.file,
                "give an archive; 'wardexam outcome --file' reads outcomes",
            )  # fmt: skip
        from wardexam.fhir.incoming import is_bundle, read_bundle

        if is_bundle(source):
            arrivals = list(read_bundle(source))
            if not options.dry_run:
                from wardexam.fhir.anew import raised_anew
                from wardexam.ready import engine

                arrivals = [raised_anew(a, engine().read) for a in arrivals]
            result = archive.bring_in(
                ward, lambda: iter(arrivals), by=edge.examiner(options), dry_run=options.dry_run,
                summarise=headline_of, progress=_progress, told=told,
            )  # fmt: skip
        else:
            result = archive.read_archive(
                ward, source, by=edge.examiner(options), dry_run=options.dry_run,
                summarise=headline_of, progress=_progress, told=told,
            )  # fmt: skip
    edge.progress("")
    if options.json:
        edge.put(answers.line(answers.imported(result, each, dry_run=options.dry_run)))
    else:
        edge.put("".join(map(_line, each)))
        edge.put(f"{_brought(result)} {'would be added' if options.dry_run else 'added'}\n")
    if not result.sealed:
        edge.complain(
            "the archive is of version 1, which has no end mark: whether it was cut cannot be told"
        )
    for patient_id, why in result.left_out:
        edge.complain(f"the archive was made without {patient_id}: {why}")
    for patient_id, when in result.erased:
        edge.complain(
            f"left out: {patient_id} was erased here on {when[:10]}; the archive still holds it"
        )
    return RecordsError.exit_code if result.erased else 0


def _is_table(source: "BinaryIO") -> bool:
    """Whether a file is a table of findings or outcomes in CSV; it is left at its beginning."""
    head = source.read(256).removeprefix(b"\xef\xbb\xbf")
    source.seek(0)
    return head.startswith((b"patient,", b"# left out: "))


def _line(arriving: "Arriving") -> str:
    """A patient who would be added, as the list of beds names one."""
    kept = _kept(arriving.examinations, arriving.sheets, arriving.outcomes)
    where = f"{edge.on_one_line(arriving.bed):<12} {arriving.patient}  "
    return f"{where}{', '.join(kept)}{', discharged' if arriving.discharged else ''}\n"


def _kept(examinations: int, sheets: int, outcomes: int) -> list[str]:
    """How many revisions there are of each thing that is kept."""
    from wardexam.exam.text import counted

    said = [counted(examinations, "examination")]
    said += [counted(sheets, "cord injury sheet")] if sheets else []
    return said + ([counted(outcomes, "outcome")] if outcomes else [])


def _brought(counts: "Counts") -> str:
    """What an archive or a bundle holds, in words."""
    from wardexam.exam.text import counted

    *said, last = [
        counted(counts.patients, "patient"),
        *_kept(counts.examinations, counts.sheets, counts.outcomes),
    ]
    return f"{', '.join(said)} and {last}"
