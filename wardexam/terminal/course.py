"""The course of a stay as text: examinations, revisions, changes, and small charts of grade and power."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.examination import Examination
from wardexam.exam.findings import Side
from wardexam.exam.identity import full
from wardexam.exam.text import clean
from wardexam.exam.wording import sided
from wardexam.note.note import wrapped
from wardexam.reasoning.rules.change import Comparison, compare, sum_score, value

if TYPE_CHECKING:
    from wardexam.records.repository import PatientFile

WIDTH = 70
SHOWN = 100  # examinations of a long stay
CHARTS = 3  # of the signs that moved most
TOPS = {"tendon": 4, "mrc": 5}  # the top grade of a chart; a line of text for each grade
FRAME = str.maketrans("┌┐└┘─│┤┬", "++++-|+|")


def chart(
    title: str,
    points: Sequence[tuple[float, float]],
    hours: Sequence[float],
    top: int,
    step: int = 1,
    begin: int = 0,
) -> list[str]:
    """A small chart in ASCII: marks at their hour, the examinations' numbers below.

    Args:
        title: What is drawn.
        points: Hour and value.
        hours: When each examination was, in hours from the first.
        top: The highest value; the lowest is 0.
        step: How much a line of text stands for.
        begin: How many examinations there were before the first of these.
    """
    import plotext

    plotext.clear_figure()
    plotext.plot_size(WIDTH, top // step + 5)
    plotext.theme("clear")
    plotext.ylim(0, top)
    plotext.xlim(min(hours), max(*hours, min(hours) + 0.01))
    plotext.scatter([h for h, _ in points], [v for _, v in points], marker="o")
    plotext.yticks(list(range(0, top + 1, step)))
    plotext.xticks(list(hours), [str(n) for n in range(begin + 1, begin + len(hours) + 1)])
    plotext.title(title)
    drawn = str(plotext.uncolorize(plotext.build()))
    return [line.translate(FRAME).rstrip() for line in drawn.splitlines()]


def _charts(
    examinations: Sequence[Examination], moved: dict[tuple[str, Side], float], begin: int
) -> list[str]:
    lines: list[str] = []
    first = min(e.at for e in examinations)
    hours = [(e.at - first).total_seconds() / 3600 for e in examinations]
    timed = list(zip(hours, examinations, strict=True))
    scores = [(h, float(s)) for h, e in timed if (s := sum_score(e)) is not None]
    if len(scores) > 1:
        lines += ["", *chart("MRC sum score", scores, hours, 60, 10, begin)]
    signs = [k for k in sorted(moved, key=lambda k: -moved[k]) if catalogue()[k[0]].answers in TOPS]
    for key in signs[:CHARTS]:
        found = [(h, e.finding(*key)) for h, e in timed]
        points = [(h, v) for h, f in found if f and (v := value(f)) is not None]
        row = catalogue()[key[0]]
        lines += [
            "",
            *chart(sided(key[1], row.name), points, hours, TOPS[row.answers], begin=begin),
        ]
    if lines:
        lines += [
            "",
            "Below: the examinations by number, spaced by time.",
            "Reflexes: 0 absent, 1 reduced, 2 normal, 3 brisk, 4 with clonus.",
        ]
    return lines


def course_text(file: "PatientFile") -> str:
    """Whose it is, examinations and revisions, what changed since the one before and over the stay, charts.

    Of a long stay the last `SHOWN` are drawn and the first is compared with the last; the text says so.
    """
    patient, whole = file.patient, len(file.examinations)
    lines = wrapped(f"COURSE OF {full(patient, unbroken=True)}, bed {clean(patient.bed)}")
    if not whole:
        return "\n".join([*lines, "No examination is saved yet."]) + "\n"
    begin = max(0, whole - SHOWN)
    examinations = file.examinations[begin:]
    if begin:
        lines += [
            f"The last {SHOWN} of {whole} examinations; the {begin} before them stand in the notes.",
            "",
        ]
    moved: dict[tuple[str, Side], float] = {}
    before = file.examinations[begin - 1] if begin else None
    for number, e in enumerate(examinations, begin + 1):
        lines.append(
            f"{number}. {e.at:%Y-%m-%d %H:%M} {clean(e.by_whom)}, {len(e.findings)} findings"
        )
        if e.revision > 1:
            lines += [
                f"   revision {r.revision}, {a.at:%Y-%m-%d %H:%M} {clean(a.by)}: {clean(a.why)}"
                for r in file.revisions(e.id)
                if (a := r.amendment)
            ]
        if before:
            if e.at < before.at:
                lines.append(
                    "   saved after the one above, though its time is earlier: a clock was wrong, or it was entered late"
                )
            change = compare(before, e)
            lines += [f"   {change.headline}", *_signs(change, "   ")]
            for sign in change.signs:
                if sign.size is not None:
                    moved[sign.key] = max(moved.get(sign.key, 0), abs(sign.size))
        before = e
    if whole > 2:
        change = compare(file.examinations[0], examinations[-1])
        lines += [
            "",
            f"Over the stay, {whole} against 1: {change.headline}",
            *_signs(change, "   "),
        ]
    lines += ["", "- for the worse, + other change. Only signs found both times are compared."]
    return "\n".join([*lines, *_charts(examinations, moved, begin)]) + "\n"


def _signs(change: Comparison, indent: str) -> list[str]:
    lines = []
    for sign in change.gravest:
        beyond = "" if sign.beyond else " (within observer disagreement)"
        lines.append(f"{indent}{'- ' if sign.worse else '+ '}{sign.text}{beyond}")
    return lines
