"""The course of a stay as text: examinations, revisions, changes, and small charts of grade and power."""

from collections.abc import Mapping, Sequence

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.examination import Examination
from wardexam.exam.findings import Side
from wardexam.exam.text import clean
from wardexam.reasoning.rules.change import Comparison as Change
from wardexam.reasoning.rules.change import compare, sum_score, value

WIDTH = 70
CHARTS = 3  # of the signs that moved most
TOPS = {"tendon": 4, "mrc": 5}  # the top grade of a chart; a line of text for each grade
FRAME = str.maketrans("┌┐└┘─│┤┬", "++++-|+|")


def chart(
    title: str,
    points: Sequence[tuple[float, float]],
    hours: Sequence[float],
    top: int,
    step: int = 1,
) -> list[str]:
    """A small chart in ASCII: marks at their hour, the examinations' numbers below.

    Args:
        title: What is drawn.
        points: Hour and value.
        hours: When each examination was, in hours from the first.
        top: The highest value; the lowest is 0.
        step: How much a line of text stands for.
    """
    import plotext

    plotext.clear_figure()
    plotext.plot_size(WIDTH, top // step + 5)
    plotext.theme("clear")
    plotext.ylim(0, top)
    plotext.xlim(hours[0], max(hours[-1], hours[0] + 0.01))
    plotext.scatter([h for h, _ in points], [v for _, v in points], marker="o")
    plotext.yticks(list(range(0, top + 1, step)))
    plotext.xticks(list(hours), [str(n) for n in range(1, len(hours) + 1)])
    plotext.title(title)
    drawn = str(plotext.uncolorize(plotext.build()))
    return [line.translate(FRAME).rstrip() for line in drawn.splitlines()]


def _charts(examinations: Sequence[Examination], moved: dict[tuple[str, Side], float]) -> list[str]:
    lines: list[str] = []
    hours = [(e.at - examinations[0].at).total_seconds() / 3600 for e in examinations]
    timed = list(zip(hours, examinations, strict=True))
    scores = [(h, float(s)) for h, e in timed if (s := sum_score(e)) is not None]
    if len(scores) > 1:
        lines += ["", *chart("MRC sum score", scores, hours, 60, 10)]
    signs = [k for k in sorted(moved, key=lambda k: -moved[k]) if catalogue()[k[0]].answers in TOPS]
    for key in signs[:CHARTS]:
        found = [(h, e.finding(*key)) for h, e in timed]
        points = [(h, v) for h, f in found if f and (v := value(f)) is not None]
        row = catalogue()[key[0]]
        side = "" if key[1] == "midline" else f"{key[1]} "
        lines += ["", *chart(f"{side}{row.name}", points, hours, TOPS[row.answers])]
    if lines:
        lines += [
            "",
            "Below: the examinations by number, spaced by time.",
            "Reflexes: 0 absent, 1 reduced, 2 normal, 3 brisk, 4 with clonus.",
        ]
    return lines


def course_text(
    examinations: Sequence[Examination], revisions: Mapping[str, Sequence[Examination]]
) -> str:
    """Every examination and revision, what changed since the one before and over the stay, and charts.

    Args:
        examinations: The last revision of each, oldest first.
        revisions: Every revision by the examination's id.
    """
    if not examinations:
        return "No examination is saved yet.\n"
    lines = []
    moved: dict[tuple[str, Side], float] = {}
    for number, examination in enumerate(examinations, 1):
        e = examination
        lines.append(
            f"{number}. {e.at:%Y-%m-%d %H:%M} {clean(e.examiner)}, {len(e.findings)} findings"
        )
        lines += [
            f"   revision {r.revision}, {a.at:%Y-%m-%d %H:%M} {clean(a.by)}: {clean(a.why)}"
            for r in revisions[e.id]
            if (a := r.amendment)
        ]
        if number > 1:
            change = compare(examinations[number - 2], e)
            lines += [f"   {change.headline}", *_signs(change, "   ")]
            for sign in change.signs:
                if sign.size is not None:
                    moved[sign.key] = max(moved.get(sign.key, 0), abs(sign.size))
    if len(examinations) > 2:
        change = compare(examinations[0], examinations[-1])
        lines += [
            "",
            f"Over the stay, {len(examinations)} against 1: {change.headline}",
            *_signs(change, "   "),
        ]
    lines += ["", "- for the worse, + other change. Only signs found both times are compared."]
    return "\n".join([*lines, *_charts(examinations, moved)]) + "\n"


def _signs(change: Change, indent: str) -> list[str]:
    lines = []
    for sign in change.gravest:
        beyond = "" if sign.beyond else " (within observer disagreement)"
        lines.append(f"{indent}{'- ' if sign.worse else '+ '}{sign.text}{beyond}")
    return lines
