"""The reflexes once more in a form that was asked for: a table, one line, or the body facing the reader."""

from typing import Literal

from wardexam.anatomy.catalogue import signs_of
from wardexam.exam.answers import ScaleName, scales
from wardexam.exam.examination import Examination
from wardexam.exam.findings import Finding
from wardexam.exam.wording import cell, in_short, remarks
from wardexam.note import sentences
from wardexam.note.body import figure, table
from wardexam.note.page import WIDTH, wrapped

Form = Literal["sentences", "table", "line", "figure"]
NAME, CELL, EARLIER = 26, 13, 18  # columns of the table


def _table(
    examination: Examination, previous: Examination | None, scale: ScaleName | None
) -> list[str]:
    """The reflexes as a table, in words; those in the midline apart."""
    before = f"{'(before)':>{EARLIER}}" if previous else ""
    lines = [f"  {'Reflexes':<{NAME}}{'Right':>{CELL}}{'Left':>{CELL}}{before}"]
    midline = []
    for sign in signs_of("reflexes"):
        found = sentences.pair(examination, sign)
        if not any(found):
            continue
        cells = [_cell(f, scale) for f in found]
        old = sentences.pair(previous, sign) if previous else ()
        earlier = f"({'/'.join(_cell(f, scale) for f in old)})" if any(old) else ""
        name = f"{sign.name} {sign.segment_range}".strip()
        if len(cells) == 1:
            midline.append(f"  {name}, midline: {cells[0]} {earlier}".rstrip())
            continue
        beside = earlier if len(earlier) <= EARLIER else ""
        lines.append(f"  {name:<{NAME}}{cells[0]:>{CELL}}{cells[1]:>{CELL}}{beside:>{EARLIER}}")
        lines += wrapped(f"before: {earlier.strip('()')}", "      ") if earlier != beside else []
        for f in found:
            if f and (said := _beside(f, scale)):
                lines += wrapped(f"{f.side}: {'; '.join(said)}", "      ")
    return lines + midline


def _cell(finding: Finding | None, scale: ScaleName | None) -> str:
    """What a cell of the table says: the grade, else the answer in its words."""
    if finding is None or finding.scale or finding.choice is None:
        return cell(finding, scale) if finding is None or finding.scale else "not testable"
    return finding.choice.words


def _beside(finding: Finding, scale: ScaleName | None) -> list[str]:
    """What a cell cannot hold."""
    number = [] if finding.amount is None else [in_short(finding).partition("(")[2].rstrip(")")]
    return number + remarks(finding, scale)


def reflex_line(examination: Examination, scale: ScaleName | None = None) -> list[str]:
    """The reflexes in one compact paragraph, right/left."""
    parts = []
    for sign in signs_of("reflexes"):
        found = sentences.pair(examination, sign)
        if any(found):
            said = sorted({r for f in found if f and not f.not_testable for r in remarks(f, scale)})
            parts.append(
                f"{sign.name} {'/'.join(in_short(f, scale) if f else '-' for f in found)}"
                + (f" ({'; '.join(said)})" if said else "")
            )
    return wrapped("Reflexes right/left: " + (", ".join(parts) or "not examined") + ".")


def _marks(examination: Examination) -> list[str]:
    """What the figure's marks stand for, where they are no grades."""
    meant = {
        f.choice.mark: f.choice.words for f in examination.findings
        if f.sign in table()["grades"] and f.choice and not f.scale and not f.row.mrc and f.choice.mark != f.choice.words
    }  # fmt: skip
    if any(f.not_testable and f.sign in table()["grades"] for f in examination.findings):
        meant["NT"] = "not testable"
    return wrapped("; ".join(f"{mark} = {words}" for mark, words in meant.items()), "  ")


def in_form(
    form: Form, examination: Examination, previous: Examination | None, scale: ScaleName | None
) -> list[str]:
    """The reflexes once more, in the form that was asked for."""
    if form == "table":
        lines = _table(examination, previous, scale)
    elif form == "line":
        lines = reflex_line(examination, scale)
    elif form == "figure":
        lines = [f"  {line}" for line in figure(examination, scale, width=WIDTH - 2)]
        lines += _marks(examination)
    else:
        return []
    shown = scales()[scale or examination.scale]
    return lines + wrapped(f"{shown.name}: {shown.key_line}.", "  ")
