"""Commands that print what goes in a chart or to a colleague.

Imports stay inside the commands, so that a note prints without the screen.
"""

import argparse
from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING

from wardexam.commands import edge
from wardexam.commands.whose import identifier
from wardexam.errors import InputError, RecordsError, WardexamError

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from wardexam.case import Case
    from wardexam.records.repository import Bed, Repository
    from wardexam.session import Session


def _admitted(ward: "Repository", listed: "Iterable[Bed]") -> "dict[str, datetime]":
    """When those came whose first examination is due, which the list does not hold; one who cannot be read is left out."""
    found = {}
    for bed in listed:
        if bed.last_at is None and bed.recheck_hours is not None:
            with suppress(WardexamError):
                found[bed.patient_id] = ward.patient(bed.patient_id).admitted
    return found


def beds(options: argparse.Namespace) -> int:
    """List the beds with the patients' identifiers."""
    from wardexam.note.headline import listed_parts
    from wardexam.note.limits import running
    from wardexam.unsaved import at_admission

    ward, code, now = edge.ward(options), 0, edge.now()
    wording = edge.spoken(options)
    listed = [
        replace(b, told=None if b.last_at else at_admission(ward, b, wording))
        for b in ward.beds(discharged=options.discharged)
    ]
    if options.json:
        from wardexam.commands import answers

        edge.put(answers.line(answers.beds(listed, _admitted(ward, listed), ward.problem, now)))
    for bed in listed:
        if bed.summary:
            said = listed_parts(bed.summary, now, clock=not options.discharged)
        elif bed.told:
            runs = "" if options.discharged else running(bed.told, now)
            said = (
                f"not examined, {bed.told.urgency_word}: {bed.told.headline}",
                *filter(None, [runs]),
            )
        else:
            said = ("not examined",)
        line = f"{edge.on_one_line(bed.bed):<12} {bed.patient_id}  {said[0]}"
        if not options.json:
            edge.put("; ".join((line, *map(edge.on_one_line, said[1:]))) + "\n")
        if bed.trouble:
            edge.complain(bed.trouble)
            code = RecordsError.exit_code
    if ward.problem and not code:
        edge.complain(ward.problem)
        code = RecordsError.exit_code
    return code


def _case(
    options: argparse.Namespace, *, which: str | None = None, worded: bool = True
) -> "tuple[Session, Case]":
    """The examination that is meant, the last when none is named, in the hospital's words."""
    from wardexam.saved import Saved

    session = edge.session(options, edge.spoken(options) if worded else None)
    options.patient = identifier(session.ward, options.patient)
    return session, Saved(session, options.patient).named(which)


def _hand_out(session: "Session", whose: str, text: str) -> int:
    """Print a text; what leaves the ward is in the trail first."""
    session.ward.record("exported", whose, session.examiner)
    edge.put(text)
    return 0


def note(options: argparse.Namespace) -> int:
    """Print a stored examination's note."""
    session, case = _case(options, which=options.examination)
    text = case.note(
        options.form,
        options.scale,
        line_end={"lf": "\n", "crlf": "\r\n"}[options.ends],
        ascii_only=not options.utf8,
    )
    return _hand_out(session, options.patient, text)


def referral(options: argparse.Namespace) -> int:
    """Print a referral for a patient's last examination."""
    session, case = _case(options)
    return _hand_out(session, options.patient, case.referral())


def handover(options: argparse.Namespace) -> int:
    """Print the handover sheet of the ward."""
    from wardexam.note import handover as sheet
    from wardexam.note.gone import gone
    from wardexam.unsaved import begun

    session = edge.session(options, edge.spoken(options))
    papers = session.ward.papers()
    left = gone(session.ward, session.now(), session.wording)
    drafts = begun(session.ward, papers.drafts, session.wording)
    if options.json:
        from wardexam.commands import answers

        told = answers.handed_over(
            papers, papers.head, now=session.now(), wording=session.wording, begun=drafts, left=left
        )
        text = answers.line(told)
    else:
        text = sheet.sheet(
            papers, papers.head, now=session.now(), wording=session.wording, begun=drafts, left=left
        )
    code = _hand_out(session, "ward", text)
    for bed in papers.left_out:
        edge.complain(f"left out: {bed.trouble}")
        code = RecordsError.exit_code
    return code


def act(options: argparse.Namespace) -> int:
    """Print the reasons of a patient's urgency, or write what was done about one of them."""
    from wardexam.note.limits import level_word
    from wardexam.note.reasons import by_deadline, whole
    from wardexam.note.switched_off import off_lines
    from wardexam.saved import write_act

    session, case = _case(options)
    if options.rule:
        if not options.kind:
            raise InputError(
                "say what was done", options.rule, f"one of {', '.join(options.kinds)}"
            )
        rules = options.rule.split(",")
        write_act(
            session, options.patient, rules, options.kind, edge.kept_words(" ".join(options.what))
        )
        _, case = _case(options)
    urgency, now = case.urgency(own=True), session.now()
    lines = [
        f"{r.rule}: {whole(r, now, now)}"
        for r in by_deadline(urgency)
        if not options.rule or r.rule in options.rule.split(",")
    ]
    head = f"{case.patient.bed} {case.patient.identity}: {level_word(urgency, now)}"
    said = (head, *off_lines(urgency), *lines)
    text = "".join(f"{edge.on_one_line(line)}\n" for line in said)
    return _hand_out(session, options.patient, text)


def figure(options: argparse.Namespace) -> int:
    """Draw a patient's last examination as an SVG picture."""
    session, case = _case(options, worded=False)
    return _hand_out(session, options.patient, case.picture())
