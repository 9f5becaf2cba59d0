"""The course of a stay as text: examinations, changes, and small charts of grade and power."""

from collections.abc import Sequence

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.examination import Examination
from wardexam.exam.findings import Side
from wardexam.exam.text import clean
from wardexam.reasoning.change import compare, value

CHART = (70, 9)


def chart(title: str, values: list[float], top: float) -> list[str]:
    """A small chart over the examinations, in ASCII, from 0 to `top`."""
    import plotext

    plotext.clear_figure()
    plotext.plot_size(*CHART)
    plotext.theme("clear")
    plotext.ylim(0, top)
    plotext.plot(list(range(1, len(values) + 1)), values, marker="o")
    plotext.xticks(list(range(1, len(values) + 1)))
    plotext.title(title)
    return [line.rstrip() for line in plotext.uncolorize(plotext.build()).splitlines()]


def course_text(examinations: Sequence[Examination], revisions: dict[str, int]) -> str:
    """Every examination, what changed since the one before, and charts of what changed most."""
    if not examinations:
        return "No examination is saved yet.\n"
    lines = []
    moved: dict[tuple[str, Side], float] = {}
    for number, examination in enumerate(examinations, 1):
        more = f", revision {revisions[examination.id]}" if revisions[examination.id] > 1 else ""
        lines.append(
            f"{number}. {examination.at:%Y-%m-%d %H:%M} {clean(examination.examiner)}, {len(examination.findings)} findings{more}"
        )
        if number > 1:
            change = compare(examinations[number - 2], examination)
            lines.append(f"   {change.headline}")
            for sign in change.signs:
                beyond = "" if sign.beyond else " (within what observers disagree by)"
                lines.append(f"   {'- ' if sign.worse else '+ '}{sign.text}{beyond}")
                if sign.size is not None:
                    moved[sign.key] = max(moved.get(sign.key, 0), abs(sign.size))
    for key in sorted(moved, key=lambda k: -moved[k])[:3]:
        found = [e.finding(*key) for e in examinations]
        values = [v for f in found if f and (v := value(f)) is not None]
        row = catalogue()[key[0]]
        if len(values) > 1 and row.answers in ("tendon", "mrc"):
            lines += ["", *chart(f"{key[1]} {row.name}", values, 5 if row.answers == "mrc" else 4)]
    lines.append("- for the worse, + other change. Only signs found both times are compared.")
    return "\n".join(lines) + "\n"
