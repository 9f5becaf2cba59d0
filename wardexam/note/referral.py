"""A referral in the order situation, background, assessment, recommendation (NHS Institute guide).

What was found, changed, raised and done is said by the same sentences as in the note.
"""

from wardexam.exam.late_entry import late_words
from wardexam.exam.text import clean, counted, to_ascii
from wardexam.note import sentences
from wardexam.note.charted import Charted
from wardexam.note.limits import deadline, level_word, until
from wardexam.note.note import (
    change_line,
    error_lines,
    flags_said,
    found_lines,
    impression_lines,
    suggestion_lines,
    who_text,
)
from wardexam.note.page import wrapped
from wardexam.note.reasons import first_due, paragraphs, steps
from wardexam.note.switched_off import off_lines
from wardexam.note.top import charted_word, led_by_graver, urgency_at
from wardexam.reasoning.rules.reason import Urgency
from wardexam.reasoning.rules.urgency import assess

INDENT = "  "


def _situation(of: Charted, urgency: Urgency) -> list[str]:
    at = of.examination.at
    reason = f": {urgency.reasons[0].said}" if urgency.reasons else ""
    gravest = urgency.reasons[0] if urgency.reasons else None
    first = f" First: {steps(gravest)}." if gravest and not gravest.answered else ""
    run = first_due(urgency)
    by = f", {deadline(gravest.due, at, of.now, until)}" if gravest and gravest.due else ""
    if run and run is not gravest:
        by += f", another {deadline(run.due, at, of.now, until)}"
    word = charted_word(urgency, at, sentences.count_open(of.examination, of.previous))
    said = f"{urgency_at(urgency, at, of.now)}{word}{by}{reason}.{first}"
    said = led_by_graver(said, urgency, of.graver, at, of.now)
    lines = wrapped(f"{who_text(of.patient, of.examination)}. {to_ascii(said)}", INDENT)
    for text in off_lines(urgency):
        lines += wrapped(to_ascii(text), INDENT)
    if compared := of.compared:
        lines += wrapped(to_ascii(change_line(compared, INDENT)), INDENT)
        lines += wrapped(to_ascii(compared.over_stay), INDENT)
    return lines + wrapped(to_ascii(of.beside), INDENT)


def _background(of: Charted) -> list[str]:
    asked, left = flags_said(of.examination, of.previous)
    count = counted(len(sentences.flags_open(of.examination, of.previous)), "flag")
    named = f" {count} not asked, named after what was found." if left else ""
    return (
        wrapped(sentences.story(of.examination, of.previous), INDENT)
        + wrapped(clean(of.patient.remark), INDENT)
        + wrapped(asked + named, INDENT)
    )


def _assessment(of: Charted) -> list[str]:
    examination = of.examination
    late = late_words(examination)
    who = f"Examined {examination.at:%Y-%m-%d %H:%M UTC%z}{late and f' ({late})'} by {clean(examination.by_whom)}."
    lines = impression_lines(examination, INDENT) + suggestion_lines(examination, INDENT)
    lines += wrapped(who, INDENT)
    lines += found_lines(examination, of.previous, None, INDENT, of.compared)
    lines += wrapped(flags_said(examination, of.previous)[1], INDENT)
    return lines + (wrapped(f"Comment: {clean(examination.comment)}", INDENT) if examination.comment.strip() else [])  # fmt: skip


def _recommendation(of: Charted, urgency: Urgency) -> list[str]:
    at = of.examination.at
    said = map(to_ascii, paragraphs(urgency, at, of.now))
    lines = [line for text in said for line in wrapped(text, INDENT)]
    asked = of.graver or urgency
    when = f", {level_word(asked, at)}" if asked.level else ""
    question = f"Question: please review and advise on imaging and treatment{when}."
    return lines + wrapped(f"{question} {urgency.caution}", INDENT)


def render(of: Charted) -> str:
    """The referral as plain ASCII text, at most 72 columns; how urgent it is by the rules alone where that is not given."""
    urgency = of.urgency or assess(of.examination, of.previous, None)
    of = of.in_ascii()
    sections = {
        "Situation": _situation(of, urgency),
        "Background": _background(of),
        "Assessment": _assessment(of),
        "Recommendation": _recommendation(of, urgency),
    }
    lines = [*error_lines(of.examination, of.in_error), "REFERRAL"]
    for title, body in sections.items():
        lines += ["", title, *body]
    return "\n".join(to_ascii(line.rstrip()) for line in lines) + "\n"
