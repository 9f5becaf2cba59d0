"""A finding in words, wherever it is written: a mark, a cell, a narrow cell, a phrase, a sentence to hear."""

from wardexam.exam.answers import ScaleName, answers_for, convert, meanings
from wardexam.exam.findings import REASON_WORDS, Finding, Side, qualities
from wardexam.exam.text import clean

DOCUMENTED = "documented before"  # what is taken as known where nothing else was ever typed


def sided(side: Side, name: str) -> str:
    """A sign with its side: ``"left ankle"``; the name alone for a sign in the midline."""
    return name if side == "midline" else f"{side} {name}"


def named(finding: Finding) -> str:
    """The sign of a finding with its side."""
    return sided(finding.side, finding.row.name)


def mark(finding: Finding, scale: ScaleName | None = None) -> str:
    """The shortest that says the answer: the grade, a tendon reflex's on a scale where one is given."""
    if scale and finding.scale and finding.answer:
        return convert(finding.answer, finding.scale, scale).mark
    return finding.choice.mark if finding.choice else str(finding.answer)


def measured(finding: Finding, scale: ScaleName | None = None) -> str:
    """The mark with the amount before it where the amount is the answer: ``"310 mL"``."""
    text = mark(finding, scale)
    return f"{finding.amount} {text}" if finding.row.measured else text


def unit_of(finding: Finding) -> str:
    """What a sign's number counts: beats, degrees or mL; empty where it takes none."""
    number = answers_for(finding.row.answers).amount
    return number.unit if number else ""


def phrase(finding: Finding) -> str:
    """The answer in the words of a letter: ``"absent"``, ``"present, 4 beats"``, ``"reduced below T8"``."""
    if finding.not_testable:
        return f"not testable ({REASON_WORDS[finding.not_testable]})"
    if finding.amount is not None:
        words = f"{finding.amount} {unit_of(finding)}"
        if finding.row.measured or not finding.choice:
            return words
        return f"{finding.choice.words}, {words}"
    return finding.choice.words if finding.choice else f"reduced below {finding.answer}"


def in_words(finding: Finding, scale: ScaleName | None = None) -> str:
    """The answer as a sentence says it: ``"absent (0)"``, ``"3"``, ``"positive (50 degrees)"``, ``"reduced below T8"``.

    A tendon reflex with what its grade means and the grade, on a scale where one is given.
    """
    if finding.not_testable:
        return f"not testable ({REASON_WORDS[finding.not_testable]})"
    if finding.scale:
        return f"{meanings()[finding.meaning].partition(',')[0]} ({cell(finding, scale)})"
    if finding.row.mrc or (finding.row.level and finding.choice):
        return mark(finding)
    if finding.amount is not None and finding.choice and not finding.row.measured:
        return f"{finding.choice.words} ({finding.amount} {unit_of(finding)})"
    return phrase(finding)


def in_short(finding: Finding, scale: ScaleName | None = None) -> str:
    """The answer in the fewest words that need no explaining, to say what it was and what it is: ``"2+"``, ``"altered"``."""
    if finding.scale:
        return cell(finding, scale)
    if finding.row.level and finding.answer != "none":
        return str(finding.answer)
    return in_words(finding).partition(":")[0]


def finding_text(finding: Finding) -> str:
    """The whole finding as a reading names it, e.g. ``"left knee 0"``."""
    shown = finding.choice.words if finding.choice else str(finding.answer)
    if finding.scale:
        shown = str(finding.answer)
    elif finding.row.level and finding.answer != "none":
        shown = f"reduced below {finding.answer}"
    elif finding.amount is not None:
        shown += f" {finding.amount}"
    return f"{named(finding)} {shown}"


def spoken(finding: Finding) -> str:
    """The answer to be listened to: ``"2+, normal"``, ``"not testable, pain"``."""
    if finding.not_testable:
        return f"not testable, {REASON_WORDS[finding.not_testable]}"
    choice = finding.choice
    if choice is None:
        return f"normal down to {finding.answer}"
    words = choice.words
    if finding.scale:
        # As the note says it: what a grade means beside the examination is not done by its key.
        words = f"{choice.code}, {meanings()[finding.meaning].partition(',')[0]}"
    return words if finding.amount is None else f"{words}, {finding.amount} {unit_of(finding)}"


def cell(finding: Finding | None, scale: ScaleName | None) -> str:
    """What a table cell says of a finding: ``-`` where the sign was not examined."""
    if finding is None:
        return "-"
    if finding.not_testable:
        return "NT"
    assert finding.answer is not None
    if finding.scale:
        shown = convert(
            finding.answer,
            finding.scale,
            scale or finding.scale,
            reinforced="reinforced" in finding.qualities,
        )
        text = shown.mark
    else:
        text = measured(finding)
    if finding.amount is not None and not finding.row.measured:
        text += f" {finding.amount}"
    return text


def narrow(finding: Finding | None, scale: ScaleName | None) -> str:
    """What a cell of five columns says: an angle or a number of beats instead of the word where it is known."""
    text = cell(finding, scale)
    if finding is None or finding.amount is None:
        return text.split(" ")[0]
    number = answers_for(finding.row.answers).amount
    if number and number.short:
        return f"{finding.amount}{number.short}"
    return text.replace(" ", "") if len(text) > 5 else text


def known_words(known: str, beside: str = ", ") -> str:
    """That something is known from before, and when and where it was documented, said once: ``known before: letter 2021``."""
    where = clean(known).strip()
    if not where.removeprefix(DOCUMENTED)[:1].isalpha():  # not of another word that begins so
        where = where.removeprefix(DOCUMENTED).strip(" ,;:.")
    return f"known before{beside}{where}" if where else "known before"


def remarks(finding: Finding, scale: ScaleName | None) -> list[str]:
    """What a cell cannot hold: qualities, reasons, detail lost on another scale, the comment."""
    said = [qualities()[q].words for q in finding.qualities]
    if finding.not_testable:
        said.append(f"not testable: {REASON_WORDS[finding.not_testable]}")
    if finding.scale and finding.answer is not None:
        lost = convert(finding.answer, finding.scale, scale or finding.scale).lost
        said += [f"graded as {lost}"] if lost else []
    if finding.known:
        said.append(known_words(finding.known, ": "))
    if finding.comment:
        said.append(clean(finding.comment))
    return said
