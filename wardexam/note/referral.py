"""A referral in the order situation, background, assessment, recommendation (NHS Institute guide)."""

from wardexam.exam.examination import Examination, Patient
from wardexam.exam.text import clean, to_ascii
from wardexam.note.note import flag_lines, reflex_line, wrapped
from wardexam.reasoning.change import compare
from wardexam.reasoning.urgency import Urgency


def render(
    patient: Patient,
    examination: Examination,
    *,
    previous: Examination | None = None,
    urgency: Urgency,
) -> str:
    """The referral as plain ASCII text, at most 72 columns."""
    context = examination.context
    age = f", {patient.age} y" if patient.age is not None else ""
    reason = (
        urgency.reasons[0].text if urgency.reasons else "no red flag raised by what was entered"
    )
    lines = ["REFERRAL", "", "Situation"]
    lines += wrapped(
        f"{clean(patient.name)}, bed {clean(patient.bed)}{age}. Urgency: {urgency.word}: {reason}.",
        "  ",
    )
    lines += ["", "Background"]
    complaint = (
        context.complaint.replace("_", " ") if context.complaint else "complaint not recorded"
    )
    lines += wrapped(f"{complaint}, onset {context.onset}. {clean(patient.remark)}", "  ")
    lines += flag_lines(examination, "  ")
    lines += ["", "Assessment"]
    lines += wrapped(
        f"Examined {examination.at:%Y-%m-%d %H:%M UTC%z} by {clean(examination.examiner)}.", "  "
    )
    lines += [f"  {line}" for line in reflex_line(examination)]
    others = [
        f"{'' if f.side == 'midline' else f.side + ' '}{f.row.name} {f.choice.words if f.choice else f.answer}{f' {f.amount}' if f.amount is not None else ''}"
        for f in examination.findings
        if f.row.part != "reflexes" and f.answer is not None and not (f.choice and f.choice.usual)
    ]
    lines += wrapped("Other abnormal signs: " + ("; ".join(others) or "none recorded") + ".", "  ")
    if previous:
        change = compare(previous, examination)
        lines += wrapped(
            "Since the last examination: "
            + ("; ".join(s.text for s in change.signs[:8]) or "no change in signs found both times")
            + ".",
            "  ",
        )
    if examination.impression:
        lines += wrapped(f"Impression: {clean(examination.impression)}", "  ")
    if examination.suggestion:
        lines += wrapped(
            f"Tool's suggestion for clinical correlation: {clean(examination.suggestion)}", "  "
        )
    lines += ["", "Recommendation"]
    for r in urgency.reasons[:2]:
        lines += wrapped(f"{r.text}: usual imaging {r.image}; usual call {r.call}.", "  ")
    lines += wrapped("Question: please advise on imaging and review. " + urgency.caution, "  ")
    return "\n".join(to_ascii(line.rstrip()) for line in lines) + "\n"
