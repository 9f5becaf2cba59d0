"""The plain-text note: an examination in, text out that pastes cleanly into any record.

ASCII unless asked otherwise, at most 72 columns, no tabs, no trailing spaces. What was not examined is
said as such; the tool's suggestion is there only once the doctor accepted it.
"""

import textwrap
from typing import Literal

from wardexam.anatomy.catalogue import PARTS, Sign, signs_of
from wardexam.exam import identity
from wardexam.exam.answers import ScaleName, scales
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.findings import Side
from wardexam.exam.flags import every_flag, flags
from wardexam.exam.row_sets import row_sets
from wardexam.exam.text import clean, released, to_ascii
from wardexam.exam.wording import cell, remarks
from wardexam.note.body import figure
from wardexam.note.reasons import action, level_word, named, paragraphs
from wardexam.reasoning.rules.asymmetry import asymmetries
from wardexam.reasoning.rules.change import sum_score
from wardexam.reasoning.rules.urgency import NOT_EXCLUDED, POLICY, Urgency

WIDTH = 72
Form = Literal["table", "line", "figure"]
PART_TITLES = {
    "reflexes": "Reflexes", "power": "Power (MRC)", "sensation": "Sensation", "movement": "Tone, coordination, gait",
    "sphincters": "Sphincters", "cranial": "Cortex, brainstem, cranial nerves", "provocation": "Stretch and provocation tests",
    "muscle": "Wasting, fasciculation, fatigability",
}  # fmt: skip


def wrapped(text: str, indent: str = "") -> list[str]:
    """A paragraph broken at 72 columns; empty text gives no line."""
    lines = textwrap.wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ", break_long_words=True
    )
    return [released(line) for line in lines]


def _sides(sign: Sign) -> tuple[Side, ...]:
    return ("right", "left") if sign.sides == "each" else ("midline",)


def _table(
    signs: list[Sign],
    examination: Examination,
    previous: Examination | None,
    scale: ScaleName | None,
) -> list[str]:
    before = f"{'(before)':>18}" if previous else ""
    lines = [f"  {'':<30}{'Right':>9}{'Left':>9}{before}".rstrip()]
    for sign in signs:
        found = [examination.finding(sign.id, s) for s in _sides(sign)]
        cells = [cell(f, scale) for f in found]
        pair = f"{cells[0]:>9}{cells[1]:>9}" if len(cells) == 2 else f"{cells[0]:>18}"
        earlier = ""
        if previous:
            old = [previous.finding(sign.id, s) for s in _sides(sign)]
            if any(old):
                earlier = f"{'(' + '/'.join(cell(f, scale) for f in old) + ')':>18}"
        name = f"{sign.name} {sign.segment_range}".strip()
        lines.append(f"  {name[:30]:<30}{pair}{earlier}".rstrip())
        for f in found:
            if f and (said := remarks(f, scale)):
                side = "" if f.side == "midline" else f"{f.side}: "
                lines += wrapped(f"{side}{'; '.join(said)}", "      ")
    return lines


def reflex_line(examination: Examination, scale: ScaleName | None = None) -> list[str]:
    """The reflexes in one compact paragraph, right/left."""
    parts = []
    for sign in signs_of("reflexes"):
        found = [examination.finding(sign.id, s) for s in _sides(sign)]
        if any(found):
            said = sorted({r for f in found if f for r in remarks(f, scale)})
            parts.append(
                f"{sign.name} {'/'.join(cell(f, scale) for f in found)}"
                + (f" ({'; '.join(said)})" if said else "")
            )
    return wrapped("Reflexes R/L: " + (", ".join(parts) or "not examined") + ".")


def urgency_lines(urgency: Urgency) -> list[str]:
    """The urgency with its reasons, usual imaging and whom to call, and the caution."""
    lines = [f"Urgency: {urgency.word}."]
    for reason in urgency.reasons:
        lines += wrapped(
            f"{named(reason, None)}. Usual: {action(reason, None)}. [{reason.source}]", "  "
        )
    if urgency.not_asked:
        names = ", ".join(flags()[f].short for f in urgency.not_asked)
        lines += wrapped(f"Red flags not asked: {names}.", "  ")
    return lines + wrapped(urgency.caution, "  ")


def flag_lines(examination: Examination, indent: str = "") -> list[str]:
    """The red flags with their answers, and which were not asked."""
    asked = examination.flags
    answered = [f"{row.short} {asked[f]}" for f, row in every_flag().items() if f in asked]
    left = [row.short for f, row in flags().items() if f not in examination.flags]
    lines = wrapped("Red flags: " + ("; ".join(answered) or "none asked") + ".", indent)
    return lines + (
        wrapped("Red flags not asked: " + ", ".join(left) + ".", indent) if left else []
    )


def _heading(patient: Patient, examination: Examination) -> list[str]:
    who = f"{identity.full(patient, unbroken=True)}, bed {clean(patient.bed)}"
    age = examination.context.age if examination.context.age is not None else patient.age
    if age is not None:
        who += f", {age} y"
    lines = ["NEUROLOGICAL EXAMINATION", *wrapped(who)]
    lines += wrapped(
        f"{examination.at:%Y-%m-%d %H:%M UTC%z}, examined by {clean(examination.by_whom)}"
    )
    if examination.amendment:
        a = examination.amendment
        lines += wrapped(
            f"Revision {examination.revision}, amended {a.at:%Y-%m-%d %H:%M} by {clean(a.by)}: {clean(a.why)}"
        )
    context = examination.context
    known = [
        f"complaint {context.complaint.replace('_', ' ')}" if context.complaint else "",
        f"side {context.complaint_side}" if context.complaint_side not in (None, "none") else "",
        f"onset {context.onset}" if context.onset != "unknown" else "",
        f"bears weight: {context.bears_weight}" if context.bears_weight else "",
    ]
    said = "; ".join(k for k in known if k)
    return lines + (wrapped(said[0].upper() + said[1:]) if said else [])


def statement_lines(examination: Examination, part: str, indent: str = "") -> list[str]:
    """The statements that the rest of a part was normal: as stated, with who and when."""
    lines = []
    for s in examination.rest_normal:
        if s.part == part:
            by = f" (stated by {clean(s.by)}{f', {s.at:%H:%M}' if s.at else ''})" if s.by else ""
            title = f"{PART_TITLES[part]}, {s.limb}"
            lines += wrapped(f"{title}: rest examined, normal{by}.", indent)
    return lines


def not_examined(examination: Examination) -> list[str]:
    """Which core signs and which parts were not examined."""
    missing = []
    for sign in row_sets()["core"].signs:
        open_sides = [
            s
            for s in _sides(sign)
            if examination.finding(sign.id, s) is None and not examination.stated_normal(sign.id, s)
        ]
        if open_sides:
            where = (
                "" if len(open_sides) == 2 or open_sides == ["midline"] else f" ({open_sides[0]})"
            )
            missing.append(sign.name + where)
    parts = [
        PART_TITLES[p] for p in PARTS
        if not any(f.row.part == p for f in examination.findings) and not any(s.part == p for s in examination.rest_normal)
    ]  # fmt: skip
    lines = wrapped("Core signs not examined: " + ", ".join(missing) + ".") if missing else []
    return lines + (wrapped("Parts not examined: " + "; ".join(parts) + ".") if parts else [])


def render(
    patient: Patient, examination: Examination, *, previous: Examination | None = None, urgency: Urgency | None = None,
    form: Form = "table", scale: ScaleName | None = None, line_end: str = "\n", ascii_only: bool = True,
) -> str:  # fmt: skip
    """The note.

    Args:
        patient: Whose it is.
        examination: What was found.
        previous: An earlier examination whose grades stand beside, if any.
        urgency: Printed when given.
        form: Reflexes as a table, one line, or the body facing the reader.
        scale: Show tendon reflexes on this scale; as graded when None.
        line_end: What ends each line.
        ascii_only: Whether characters outside ASCII are replaced.
    """
    if ascii_only:
        patient, examination = _in_ascii(patient, examination)
    lines = _heading(patient, examination)
    if urgency:
        lines += wrapped(f"Urgency: {level_word(urgency, examination.at)}. {POLICY}")
        lines += [p for text in paragraphs(urgency, examination.at) for p in wrapped(text, "  ")]
    shown = scales()[scale or examination.scale]
    lines += wrapped(f"Reflex scale: {shown.name}: {shown.key_line}.")
    lines.append("")
    for part in PARTS:
        found = [
            s for s in signs_of(part) if any(examination.finding(s.id, side) for side in _sides(s))
        ]
        statements = statement_lines(examination, part, "  ")
        if not found and not statements:
            continue
        if part == "reflexes" and form == "line":
            lines += reflex_line(examination, scale)
        elif part == "reflexes" and form == "figure":
            lines += [
                "Reflexes and skin:",
                *(f"  {line}" for line in figure(examination, scale, width=WIDTH - 2)),
            ]
        elif found:
            lines += [f"{PART_TITLES[part]}:", *_table(found, examination, previous, scale)]
        lines += statements
        if part == "power" and (score := sum_score(examination)) is not None:
            lines.append(f"  MRC sum score {score}/60")
    if sides := asymmetries(examination):
        lines += wrapped("Sides differ: " + "; ".join(a.text for a in sides) + ".")
    lines += not_examined(examination)
    lines += flag_lines(examination)
    for title, text in (("Comment", examination.comment), ("Impression", examination.impression)):
        lines += wrapped(f"{title}: {clean(text)}") if text.strip() else []
    if examination.suggestion:
        lines += wrapped(
            f"Tool's suggestion, accepted by {clean(examination.hands[-1])} for clinical correlation: {clean(examination.suggestion)} "
            "Follow local policy; ask a senior."
        )
    lines += wrapped(NOT_EXCLUDED)
    return line_end.join(line.rstrip() for line in lines) + line_end


def _in_ascii(patient: Patient, examination: Examination) -> tuple[Patient, Examination]:
    """The same with every free text in ASCII, before lines are broken at their width."""
    texts = ("examiner", "saved_by", "comment", "impression", "suggestion")
    findings = tuple(
        f.model_copy(update={"comment": to_ascii(f.comment)}) for f in examination.findings
    )
    plain: dict[str, object] = {t: to_ascii(getattr(examination, t)).strip() for t in texts}
    plain["entered_by"] = tuple(map(to_ascii, examination.entered_by))
    if examination.amendment:
        plain["amendment"] = examination.amendment.model_copy(
            update={t: to_ascii(getattr(examination.amendment, t)) for t in ("by", "why")}
        )
    names = {t: to_ascii(getattr(patient, t)) for t in ("name", "bed", "number")}
    return patient.model_copy(update=names), examination.model_copy(
        update={**plain, "findings": findings}
    )
