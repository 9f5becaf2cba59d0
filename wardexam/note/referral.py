"""A referral in the order situation, background, assessment, recommendation (NHS Institute guide)."""

from wardexam.anatomy.catalogue import PARTS, catalogue, signs_of
from wardexam.exam import identity
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.findings import Finding
from wardexam.exam.text import clean, to_ascii
from wardexam.exam.wording import named, phrase
from wardexam.note.note import (
    PART_TITLES,
    flag_lines,
    not_examined,
    reflex_line,
    statement_lines,
    wrapped,
)
from wardexam.note.reasons import level_word, paragraphs
from wardexam.reasoning.rules.change import compare
from wardexam.reasoning.rules.urgency import Urgency

MOST_CHANGES = 10


def _as_usual(findings: list[Finding]) -> str:
    """Signs found as in health, each once; with its side where only one side was."""
    sides: dict[str, list[str]] = {}
    for f in findings:
        sides.setdefault(f.row.name, []).append(f.side)
    return ", ".join(
        name if len(found) == 2 or found == ["midline"] else f"{found[0]} {name}"
        for name, found in sides.items()
    )


def _situation(
    patient: Patient, examination: Examination, previous: Examination | None, urgency: Urgency
) -> list[str]:
    age = f", {patient.age} y" if patient.age is not None else ""
    sex = f", {patient.sex}" if patient.sex != "unknown" else ""
    reason = f": {urgency.reasons[0].said}" if urgency.reasons else ""
    lines = wrapped(
        f"{identity.full(patient, unbroken=True)}, bed {clean(patient.bed)}{age}{sex}. Urgency: {level_word(urgency, examination.at)}{reason}.",
        "  ",
    )
    if previous and (change := compare(previous, examination)).worse:
        when = f"{previous.at:%Y-%m-%d %H:%M}"
        lines += wrapped(f"Worse since {when}: {change.headline.removeprefix('worse: ')}.", "  ")
    return lines


def _background(patient: Patient, examination: Examination) -> list[str]:
    context = examination.context
    known = [
        context.complaint.replace("_", " ") if context.complaint else "complaint not recorded",
        f"side {context.complaint_side}" if context.complaint_side not in (None, "none") else "",
        f"onset {context.onset}" if context.onset != "unknown" else "onset not recorded",
        f"bears weight: {context.bears_weight}" if context.bears_weight else "",
    ]
    lines = wrapped(", ".join(k for k in known if k).capitalize() + ".", "  ")
    lines += wrapped(clean(patient.remark), "  ")
    return lines + flag_lines(examination, "  ")


def _assessment(examination: Examination, previous: Examination | None) -> list[str]:
    who = f"Examined {examination.at:%Y-%m-%d %H:%M UTC%z} by {clean(examination.by_whom)}."
    lines = wrapped(who, "  ") + [f"  {line}" for line in reflex_line(examination)]
    for part in PARTS:
        # Of the sphincters every sign is said in words; of the other parts what is not as usual.
        found = [f for f in examination.findings if f.row.part == part != "reflexes"]
        usual = [f for f in found if part != "sphincters" and f.choice and f.choice.usual]
        said = [f"{named(f)} {phrase(f)}" for f in found if f not in usual]
        said += [f"found normal: {_as_usual(usual)}"] if usual else []
        if said:
            lines += wrapped(f"{PART_TITLES[part]}: {'; '.join(said)}.", "  ")
        lines += statement_lines(examination, part, "  ")
    recorded = {f.sign for f in examination.findings}
    asked_for = (catalogue()["saddle"], *signs_of("sphincters"))
    if left := [s.name for s in asked_for if s.id not in recorded]:
        lines += wrapped(f"Not examined: {', '.join(left)}.", "  ")
    lines += [f"  {line}" for line in not_examined(examination)]
    if previous:
        change = compare(previous, examination)
        changes = change.gravest
        more = len(changes) - MOST_CHANGES
        said = [s.text for s in changes[:MOST_CHANGES]] + ([f"{more} more"] if more > 0 else [])
        text = "; ".join(said) or change.headline
        lines += wrapped(f"Since the last examination: {text}.", "  ")
    if examination.impression:
        lines += wrapped(f"Impression: {clean(examination.impression)}", "  ")
    if examination.suggestion:
        suggestion = clean(examination.suggestion)
        lines += wrapped(f"Tool's suggestion for clinical correlation: {suggestion}", "  ")
    return lines


def _recommendation(examination: Examination, urgency: Urgency) -> list[str]:
    lines = [p for text in paragraphs(urgency, examination.at) for p in wrapped(text, "  ")]
    when = f", {level_word(urgency, examination.at)}" if urgency.level else ""
    question = f"Question: please review and advise on imaging and treatment{when}."
    return lines + wrapped(f"{question} {urgency.caution}", "  ")


def render(
    patient: Patient,
    examination: Examination,
    *,
    previous: Examination | None = None,
    urgency: Urgency,
) -> str:
    """The referral as plain ASCII text, at most 72 columns."""
    sections = {
        "Situation": _situation(patient, examination, previous, urgency),
        "Background": _background(patient, examination),
        "Assessment": _assessment(examination, previous),
        "Recommendation": _recommendation(examination, urgency),
    }
    lines = ["REFERRAL"]
    for title, body in sections.items():
        lines += ["", title, *body]
    return "\n".join(to_ascii(line.rstrip()) for line in lines) + "\n"
