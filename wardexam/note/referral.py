"""A referral in the order situation, background, assessment, recommendation (NHS Institute guide).

What was found, changed, raised and done is said by the same sentences as in the note.
"""

from datetime import datetime

from wardexam.exam.examination import Amendment, Examination, Patient
from wardexam.exam.text import clean, counted, to_ascii
from wardexam.note import sentences
from wardexam.note.limits import deadline, level_word, until
from wardexam.note.note import (
    change_line,
    error_lines,
    flags_said,
    found_lines,
    impression_lines,
    in_ascii,
    suggestion_lines,
    who_text,
)
from wardexam.note.page import wrapped
from wardexam.note.reasons import first_due, paragraphs, steps
from wardexam.note.since import Compared
from wardexam.note.switched_off import off_lines
from wardexam.note.top import charted_word, led_by_graver, urgency_at
from wardexam.reasoning.rules.reason import Urgency
from wardexam.reasoning.rules.stay import Stay

INDENT = "  "


def _situation(
    patient: Patient,
    examination: Examination,
    compared: Compared | None,
    urgency: Urgency,
    graver: Urgency | None,
    now: datetime | None,
    beside: str,
) -> list[str]:
    reason = f": {urgency.reasons[0].said}" if urgency.reasons else ""
    gravest = urgency.reasons[0] if urgency.reasons else None
    first = f" First: {steps(gravest)}." if gravest and not gravest.answered else ""
    run = first_due(urgency)
    by = f", {deadline(gravest.due, examination.at, now, until)}" if gravest and gravest.due else ""
    if run and run is not gravest:
        by += f", another {deadline(run.due, examination.at, now, until)}"
    said = f"{urgency_at(urgency, examination.at, now)}{charted_word(urgency, examination.at)}{by}{reason}.{first}"
    said = led_by_graver(said, urgency, graver, examination.at, now)
    lines = wrapped(f"{who_text(patient, examination)}. {to_ascii(said)}", INDENT)
    for text in off_lines(urgency):
        lines += wrapped(to_ascii(text), INDENT)
    if compared:
        lines += wrapped(to_ascii(change_line(compared, INDENT)), INDENT)
        lines += wrapped(to_ascii(compared.over_stay), INDENT)
    return lines + wrapped(to_ascii(beside), INDENT)


def _background(
    patient: Patient, examination: Examination, previous: Examination | None
) -> list[str]:
    lines = wrapped(sentences.story(examination, previous), INDENT)
    asked, left = flags_said(examination)
    named = f" {counted(len(sentences.flags_open(examination)), 'flag')} not asked, named after what was found."
    return (
        lines
        + wrapped(clean(patient.remark), INDENT)
        + wrapped(asked + (named if left else ""), INDENT)
    )


def _assessment(
    examination: Examination, previous: Examination | None, compared: Compared | None
) -> list[str]:
    who = f"Examined {examination.at:%Y-%m-%d %H:%M UTC%z} by {clean(examination.by_whom)}."
    lines = impression_lines(examination, INDENT) + suggestion_lines(examination, INDENT)
    lines += wrapped(who, INDENT)
    lines += found_lines(examination, previous, None, INDENT, compared)
    lines += wrapped(flags_said(examination)[1], INDENT)
    return lines + (wrapped(f"Comment: {clean(examination.comment)}", INDENT) if examination.comment.strip() else [])  # fmt: skip


def _recommendation(
    examination: Examination, urgency: Urgency, graver: Urgency | None, now: datetime | None
) -> list[str]:
    said = map(to_ascii, paragraphs(urgency, examination.at, now))
    lines = [line for text in said for line in wrapped(text, INDENT)]
    asked = graver or urgency
    when = f", {level_word(asked, examination.at)}" if asked.level else ""
    question = f"Question: please review and advise on imaging and treatment{when}."
    return lines + wrapped(f"{question} {urgency.caution}", INDENT)


def render(
    patient: Patient,
    examination: Examination,
    *,
    previous: Examination | None = None,
    urgency: Urgency,
    now: datetime | None = None,
    beside: str = "",
    stay: Stay | None = None,
    graver: Urgency | None = None,
    in_error: Amendment | None = None,
) -> str:
    """The referral as plain ASCII text, at most 72 columns; `now`, `beside`, `stay`, `graver` and `in_error` as in the note."""
    patient, examination = in_ascii(patient, examination)
    compared = Compared.of(examination, previous, stay)
    sections = {
        "Situation": _situation(patient, examination, compared, urgency, graver, now, beside),
        "Background": _background(patient, examination, previous),
        "Assessment": _assessment(examination, previous, compared),
        "Recommendation": _recommendation(examination, urgency, graver, now),
    }
    lines = [*error_lines(examination, in_error), "REFERRAL"]
    for title, body in sections.items():
        lines += ["", title, *body]
    return "\n".join(to_ascii(line.rstrip()) for line in lines) + "\n"
