"""One finding in a cell, and what a cell cannot hold."""

from wardexam.exam.answers import ScaleName, convert
from wardexam.exam.findings import QUALITY_WORDS, REASON_WORDS, Finding
from wardexam.exam.text import clean


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
        mark = shown.mark
    else:
        mark = finding.choice.mark if finding.choice else finding.answer
    if finding.row.answers == "residual":
        return f"{finding.amount} {mark}"
    if finding.amount is not None:
        mark += f" {finding.amount}"
    return mark


def narrow(finding: Finding | None, scale: ScaleName | None) -> str:
    """What a cell of five columns says: an angle or a number of beats instead of the word where it is known."""
    text = cell(finding, scale)
    if finding is None or finding.amount is None:
        return text.split(" ")[0]
    if finding.row.answers == "angle_test":
        return f"{finding.amount}deg"
    return text.replace(" ", "") if len(text) > 5 else text


def remarks(finding: Finding, scale: ScaleName | None) -> list[str]:
    """What a cell cannot hold: qualities, reasons, detail lost on another scale, the comment."""
    said = [QUALITY_WORDS[q] for q in finding.qualities]
    if finding.not_testable:
        said.append(f"not testable: {REASON_WORDS[finding.not_testable]}")
    if finding.scale and finding.answer is not None:
        lost = convert(finding.answer, finding.scale, scale or finding.scale).lost
        said += [f"graded as {lost}"] if lost else []
    if finding.comment:
        said.append(clean(finding.comment))
    return said
