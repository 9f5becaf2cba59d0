"""The plain-text note: an examination in, text out that pastes cleanly into any record.

Its first lines say whose it is, how urgent, what is done first and by when, what changed and what the doctor
thinks; then the findings in sentences. ASCII unless asked otherwise, at most 72 columns, no tabs, no trailing
spaces. What was not examined is said as such; the tool's suggestion is there only once the doctor accepted it.
"""

from wardexam.exam import identity
from wardexam.exam.admission import told_already
from wardexam.exam.answers import ScaleName, scales
from wardexam.exam.examination import Amendment, Examination, Findings, Patient
from wardexam.exam.flags import flags
from wardexam.exam.in_error import error_line, marked_by
from wardexam.exam.late_entry import late_words
from wardexam.exam.naming import joined
from wardexam.exam.text import capital, clean, to_ascii
from wardexam.note import sentences
from wardexam.note.charted import Charted
from wardexam.note.differences import revised
from wardexam.note.page import wrapped
from wardexam.note.reasons import action, named, to_do_and_answered
from wardexam.note.reflexes import Form, in_form
from wardexam.note.since import Compared, changes_since, headline_since
from wardexam.note.suggestion import contradiction_text
from wardexam.note.switched_off import off_lines
from wardexam.note.top import TOP, led_by_graver, top
from wardexam.reasoning.rules.asking import order
from wardexam.reasoning.rules.change import Comparison
from wardexam.reasoning.rules.change_words import ways
from wardexam.reasoning.rules.contradictions import contradictions
from wardexam.reasoning.rules.reason import Urgency
from wardexam.reasoning.rules.urgency import NOT_EXCLUDED, POLICY

ASKED_FIRST = 3
CHANGED = 2  # lines in which a note says whether it changed
FIRST = "First examination. "
# Said of what the tool suggests, whatever it is.
SUGGESTED = "Suggested urgency; do not wait for it: local policy and seniors decide."


def urgency_lines(urgency: Urgency) -> list[str]:
    """The urgency with its reasons, usual imaging and whom to call, and the caution."""
    lines = [f"Urgency: {urgency.word}."]
    for reason in urgency.reasons:
        lines += wrapped(
            f"{named(reason, None)}. Usual: {action(reason, None)}. [{reason.source}]", "  "
        )
    for text in off_lines(urgency):
        lines += wrapped(text, "  ")
    if urgency.not_asked:
        names = "; ".join(flags()[f].short for f in urgency.not_asked)
        lines += wrapped(f"Red flags not asked: {names}.", "  ")
    return lines + wrapped(urgency.caution, "  ")


def who_text(patient: Patient, examination: Examination) -> str:
    """Whose it is, with bed, age as told in the examination, else as on record, and sex."""
    who = f"{identity.full(patient, unbroken=True)}, bed {clean(patient.bed)}"
    age = examination.context.age if examination.context.age is not None else patient.age
    sex = patient.sex if patient.sex != "unknown" else ""
    return ", ".join(filter(None, (who, "" if age is None else f"{age} y", sex)))


def change_line(of: Compared, indent: str = "") -> str:
    """Whether it changed and since when, with what moved most, in at most two lines of a note where they hold its words."""
    since = headline_since(of).removeprefix("since ")
    said = [f"{capital(way)}." for way in ways(of.change, since)]
    return next((text for text in said if len(wrapped(text, indent)) <= CHANGED), said[-1])


def _said_whole(change: Comparison, told: str) -> bool:
    """Whether the line above says all that changed."""
    beside = any(sentences.beside_changes(change).values())
    return not beside and [s.text in told for s in change.signs] == [True]


def change_lines(of: Compared, indent: str = "") -> list[str]:
    """Every sign that changed, from what to what, the gravest first, and what is found first now; nothing where none."""
    said = {"What changed": changes_since(of), **sentences.beside_changes(of.change)}
    return [
        line
        for title, text in said.items()
        if text
        for line in wrapped(f"{title}: {text}.", indent)
    ]


def error_lines(
    examination: Examination, last: Amendment | None, *, ascii_only: bool = True
) -> list[str]:
    """That the examination was entered in error, first on every paper of it; nothing where it counts."""
    if (said := marked_by(examination, last)) is None:
        return []
    text = error_line(said)
    return wrapped(to_ascii(text) if ascii_only else text)


def impression_lines(examination: Examination, indent: str = "", lead: str = "") -> list[str]:
    """The doctor's impression; that none is written is said. `lead` stands before it."""
    text = clean(examination.impression).strip()
    return wrapped(f"{lead}Impression: {text or 'none written.'}", indent)


def suggestion_lines(examination: Examination, indent: str = "") -> list[str]:
    """The tool's suggestion as it was accepted, and that it is one; nothing until then."""
    if not examination.suggestion:
        return []
    # Who of several accepted it is not kept.
    by = " or ".join(map(clean, examination.hands)) or "somebody not named"
    return wrapped(
        f"Tool's suggestion, accepted by {by} for clinical correlation: {clean(examination.suggestion)} "
        "Follow local policy; ask a senior.", indent,
    )  # fmt: skip


def revision_lines(examination: Examination, replaced: Examination | None) -> list[str]:
    """Who amended a revision, when and why, and what it says that the one before did not."""
    a = examination.amendment
    if a is None or examination.in_error:  # of which the first line says all
        return []
    lines = wrapped(
        f"Revision {examination.revision}, amended {a.at:%Y-%m-%d %H:%M} by {clean(a.by)}: {clean(a.why)}"
    )
    if replaced is not None:
        said = "; ".join(revised(replaced, examination)) or "nothing in what was found"
        lines += wrapped(f"Changed by it: {said}.", "  ")
    return lines


def found_lines(
    examination: Examination,
    previous: Examination | None,
    scale: ScaleName | None,
    indent: str = "",
    compared: Compared | None = None,
) -> list[str]:
    """What was found, in sentences: abnormal part by part, what changed where it is given, not testable, not examined, normal, the scale."""
    lines: list[str] = []
    found = sentences.abnormal(examination, scale)
    none = "nothing that was examined" if examination.findings else "nothing was examined"
    if amount := sentences.measured(examination):
        none = f"nothing that was examined but what was measured, {amount}"
    lines += [f"{indent}Abnormal:" if found else f"{indent}Abnormal: {none}."]
    for title, text in found:
        lines += wrapped(f"{title}: {text}", f"{indent}  ")
    if compared:
        lines += change_lines(compared, indent)
    usual = ""
    if any(f.scale for f in examination.findings):
        shown = scales()[scale or examination.scale]
        marks = joined([a.mark for a in shown.grades.answers if a.usual], "or")
        usual = f" Reflexes: {shown.name}, normal {marks}."
    said = sentences.beside_abnormal(previous, examination, scale)
    said["Normal"] = sentences.normal(examination, scale)
    for title, text in said.items():
        end = usual if title == "Normal" else ""
        lines += wrapped(f"{title}: {text}.{end}" if text else end.strip(), indent)
    for text in sentences.statements(examination):
        lines += wrapped(text, indent)
    for clash in contradictions(examination):
        lines += wrapped(f"{contradiction_text(clash.text)}.", indent)
    return lines


def flags_said(examination: Examination, previous: Findings | None = None) -> tuple[str, str]:
    """The red flags with their answers, and those that were not asked, a sentence each; the second empty where all were.

    What was answered yes earlier in the stay and stands against a no, or was not asked again, is said with the answers.
    """
    left = sentences.flags_not_asked(examination, previous)
    asked = f"Red flags asked: {sentences.flags_asked(examination)}."
    if still := sentences.flags_standing(examination, previous):
        asked += f" Yes to {still} earlier in the stay, which stands; where that was wrong, amend it there."
    if not examination.flags:
        asked = "NO RED FLAG WAS ASKED, none is excluded."
    if before := sentences.flags_before(examination, previous):
        asked += f" Yes earlier in the stay, not asked again: {'; '.join(before)}."
    return asked, f"Red flags not asked: {left}." if left else ""


def flag_lines(examination: Examination, previous: Findings | None = None) -> list[str]:
    """The red flags with their answers, and which were not asked."""
    return wrapped(" ".join(filter(None, flags_said(examination, previous))))


def _ask_first(examination: Examination, urgency: Urgency) -> str:
    """Where nothing is urgent yet, the questions that are best asked first of what was found."""
    if urgency.reasons or not urgency.not_asked:
        return ""
    first = [name for name in order(examination, examination.flags) if name in urgency.not_asked]
    return f" Ask first: {'; '.join(flags()[name].short for name in first[:ASKED_FIRST])}."


def _reasons(title: str, said: list[str]) -> list[str]:
    lines = [line for text in said for line in wrapped(text, "  ")]
    return [title, *lines] if lines else []


def render(
    of: Charted,
    form: Form = "sentences",
    scale: ScaleName | None = None,
    *,
    line_end: str = "\n",
    ascii_only: bool = True,
) -> str:
    """The note.

    Args:
        of: What it is written from.
        form: Sentences alone, or with the reflexes as a table, one line, or the body facing the reader.
        scale: Show tendon reflexes on this scale; as graded when None.
        line_end: What ends each line.
        ascii_only: Whether characters outside ASCII are replaced.
    """
    if ascii_only:
        of = of.in_ascii()
    patient, examination, previous, urgency = of.patient, of.examination, of.previous, of.urgency
    lines = error_lines(examination, of.in_error, ascii_only=ascii_only)
    lines += wrapped(who_text(patient, examination))
    told, told_of = True, ""
    compared = of.compared
    if urgency:
        text, told = top(
            urgency, examination.at, TOP if compared else TOP + 1, of.now,
            not_asked=sentences.count_open(examination, previous),
        )  # fmt: skip
        text = led_by_graver(text, urgency, of.graver, examination.at, of.now)
        text += _ask_first(examination, urgency)
        lines += wrapped(to_ascii(text) if ascii_only else text)
    if compared:
        told_of = change_line(compared)
        lines += wrapped(to_ascii(told_of) if ascii_only else told_of)
        lines += wrapped(compared.over_stay)
    for said in off_lines(urgency) if urgency else []:
        lines += wrapped(to_ascii(said) if ascii_only else said)
    lines += impression_lines(examination, lead="" if previous else FIRST)
    if compared and not _said_whole(compared.change, told_of):
        lines += change_lines(compared)
    lines += suggestion_lines(examination)
    lines += wrapped(to_ascii(of.beside) if ascii_only else of.beside)
    late = late_words(examination)
    lines += wrapped(
        f"NEUROLOGICAL EXAMINATION {examination.at:%Y-%m-%d %H:%M UTC%z}{late and f', {late}'}, examined by {clean(examination.by_whom)}"
    )
    lines += revision_lines(examination, of.replaced)
    story, remark = sentences.story(examination, previous), clean(patient.remark).strip()
    if remark and not told_already(remark, examination.context.complaint):
        story += f" Remark: {remark}"
    lines += wrapped(story)
    lines += wrapped(f"Comment: {clean(examination.comment)}") if examination.comment.strip() else []  # fmt: skip
    to_do, answered = (
        to_do_and_answered(urgency, examination.at, of.now, told=told) if urgency else ([], [])
    )
    if ascii_only:  # before lines are broken: a letter may become two
        to_do, answered = ([to_ascii(text) for text in said] for said in (to_do, answered))
    due = urgency and any(r.due for r in urgency.reasons)
    title = "Why:" if not due else "Also to do:" if told else "To do, and why:"
    lines += _reasons(title, to_do)
    lines += found_lines(examination, previous, scale)
    lines += in_form(form, examination, previous, scale)
    lines += flag_lines(examination, previous)
    lines += _reasons("Other reasons, no deadline left:", answered)
    lines += wrapped(f"{SUGGESTED if urgency else POLICY} {NOT_EXCLUDED}")
    if ascii_only:  # what was done is in the words of who did it
        lines = [to_ascii(line) for line in lines]
    return line_end.join(line.rstrip() for line in lines) + line_end
