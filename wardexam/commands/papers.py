"""Commands that print what goes in a chart or to a colleague.

Imports stay inside the commands, so that a note prints without the screen.
"""

import argparse
import sys
from typing import TYPE_CHECKING

from wardexam.commands import edge
from wardexam.errors import InputError, RecordsError

if TYPE_CHECKING:
    from wardexam.exam.examination import Examination
    from wardexam.records.ward import Ward


def beds(options: argparse.Namespace) -> int:
    """List the beds with the patients' identifiers."""
    from wardexam.exam.text import clean

    ward, code = edge.ward(options), 0
    for bed in ward.beds(discharged=options.discharged):
        urgency = bed.summary.urgency_word if bed.summary else "not examined"
        print(f"{clean(bed.bed):<12} {bed.patient_id}  {urgency}")
        if bed.trouble:
            edge.complain(bed.trouble)
            code = RecordsError.exit_code
    return code


def _stored(ward: "Ward", patient_id: str) -> "tuple[Examination, ...]":
    """A patient's examinations, oldest first; there is at least one."""
    stored = ward.examinations(patient_id)
    if not stored:
        raise InputError("no examination is stored", where=patient_id, remedy="examine first")
    return stored


def _hand_out(ward: "Ward", options: argparse.Namespace, whose: str, text: str) -> int:
    """Print a text; what leaves the ward is in the trail first."""
    ward.record("exported", whose, edge.examiner(options))
    sys.stdout.write(text)
    return 0


def note(options: argparse.Namespace) -> int:
    """Print a stored examination's note."""
    from wardexam.note.note import render
    from wardexam.reasoning.rules.standing import standing
    from wardexam.reasoning.rules.urgency import assess

    ward = edge.ward(options)
    patient = ward.patient(options.patient)
    stored = _stored(ward, options.patient)
    if options.examination:
        chosen = [e for e in stored if e.id == options.examination]
        if not chosen:
            raise InputError(
                f"no examination '{options.examination}'",
                where=options.patient,
                remedy="known: " + ", ".join(e.id for e in stored),
            )
    else:
        chosen = list(stored[-1:])
    previous = standing(stored, until=chosen[0])
    urgency = assess(chosen[0], previous, None, edge.spoken(options))
    text = render(
        patient,
        chosen[0],
        previous=previous,
        urgency=urgency,
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
    patient = ward.patient(options.patient)
    stored = _stored(ward, options.patient)
    previous = standing(stored, until=stored[-1])
    urgency = assess(stored[-1], previous, None, edge.spoken(options))
    text = words.render(patient, stored[-1], previous=previous, urgency=urgency)
    return _hand_out(ward, options, options.patient, text)


def handover(options: argparse.Namespace) -> int:
    """Print the handover sheet of the ward."""
    from wardexam.note import handover as sheet

    ward = edge.ward(options)
    beds = ward.beds()
    rows = [
        (ward.patient(bed.patient_id), ward.examinations(bed.patient_id), bed.summary)
        for bed in beds
        if not bed.trouble
    ]
    text = sheet.render(rows, now=edge.now(), wording=edge.spoken(options)) + sheet.left_out(beds)
    return _hand_out(ward, options, "ward", text)


def figure(options: argparse.Namespace) -> int:
    """Draw a patient's last examination as an SVG picture."""
    from wardexam.note.svg import render

    ward = edge.ward(options)
    stored = _stored(ward, options.patient)
    text = render(ward.patient(options.patient), stored[-1])
    return _hand_out(ward, options, options.patient, text)
