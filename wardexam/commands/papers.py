"""Commands that print what goes in a chart or to a colleague.

Imports stay inside the commands, so that a note prints without the screen.
"""

import argparse
from typing import TYPE_CHECKING

from wardexam.commands import edge
from wardexam.errors import InputError, RecordsError

if TYPE_CHECKING:
    from wardexam.exam.examination import Examination
    from wardexam.records.repository import PatientFile
    from wardexam.records.ward import Ward


def beds(options: argparse.Namespace) -> int:
    """List the beds with the patients' identifiers."""
    ward, code = edge.ward(options), 0
    for bed in ward.beds(discharged=options.discharged):
        urgency = bed.summary.urgency_word if bed.summary else "not examined"
        edge.put(f"{edge.on_one_line(bed.bed):<12} {bed.patient_id}  {urgency}\n")
        if bed.trouble:
            edge.complain(bed.trouble)
            code = RecordsError.exit_code
    if ward.problem and not code:
        edge.complain(ward.problem)
        code = RecordsError.exit_code
    return code


def _shown(file: "PatientFile", which: str | None = None) -> "Examination":
    """The examination that is meant, the last when none is named."""
    if not file.examinations:
        raise InputError("no examination is stored", where=file.patient.id, remedy="examine first")
    if which is None:
        return file.examinations[-1]
    known = list(dict.fromkeys(name for name, _ in file.numbered()))
    if which not in known:
        last = ", ".join(known[-10:])
        raise InputError(
            f"no examination '{which}'", where=file.patient.id, remedy=f"known: {last}"
        )
    return file.examinations[known.index(which)]


def _hand_out(ward: "Ward", options: argparse.Namespace, whose: str, text: str) -> int:
    """Print a text; what leaves the ward is in the trail first."""
    ward.record("exported", whose, edge.examiner(options))
    edge.put(text)
    return 0


def note(options: argparse.Namespace) -> int:
    """Print a stored examination's note."""
    from wardexam.note.note import render
    from wardexam.reasoning.rules.standing import standing
    from wardexam.reasoning.rules.urgency import assess

    ward = edge.ward(options)
    file = ward.file(options.patient)
    shown = _shown(file, options.examination)
    previous = standing(file.telling(shown.id))
    text = render(
        file.patient,
        shown,
        previous=previous,
        urgency=assess(shown, previous, None, edge.spoken(options)),
        form=options.form,
        scale=options.scale,
        line_end={"lf": "\n", "crlf": "\r\n"}[options.ends],
        ascii_only=not options.utf8,
    )
    return _hand_out(ward, options, options.patient, text)


def referral(options: argparse.Namespace) -> int:
    """Print a referral for a patient's last examination."""
    from wardexam.note import referral as words
    from wardexam.reasoning.rules.standing import standing
    from wardexam.reasoning.rules.urgency import assess

    ward = edge.ward(options)
    file = ward.file(options.patient)
    shown = _shown(file)
    previous = standing(file.telling(shown.id))
    urgency = assess(shown, previous, None, edge.spoken(options))
    text = words.render(file.patient, shown, previous=previous, urgency=urgency)
    return _hand_out(ward, options, options.patient, text)


def handover(options: argparse.Namespace) -> int:
    """Print the handover sheet of the ward."""
    from wardexam.note import handover as sheet

    ward = edge.ward(options)
    papers = ward.papers()
    text = sheet.sheet(papers, ward.trail_head(), now=edge.now(), wording=edge.spoken(options))
    code = _hand_out(ward, options, "ward", text)
    for bed in papers.left_out:
        edge.complain(f"left out: {bed.trouble}")
        code = RecordsError.exit_code
    return code


def figure(options: argparse.Namespace) -> int:
    """Draw a patient's last examination as an SVG picture."""
    from wardexam.note.svg import render

    ward = edge.ward(options)
    file = ward.file(options.patient)
    return _hand_out(ward, options, options.patient, render(file.patient, _shown(file)))
