"""The table of published cases that a patient is compared with: what `python -m tests.handbook.fit --write` puts into it.

A case stands for the places that it was: half for the true one, half for those that its coder accepts, among these as the
chances are by numbers that the case did not teach. A case of two lesions stands for that, and for no place.
"""

import csv
import io
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from tests.handbook.published.cases import OF_TWO, PARTS, Published, cases
from wardexam.exam.examination import Findings
from wardexam.reasoning.inference.neighbours import COLUMNS, SIDES, TWO, Word
from wardexam.reasoning.inference.posterior import answered_yes
from wardexam.reasoning.inference.prior import told
from wardexam.reasoning.inference.taught import ODD, Odd, area_of, odd
from wardexam.reasoning.model.hypotheses import Hypotheses
from wardexam.reasoning.tables import story_row

Floats = NDArray[np.float64]
Signs = tuple[tuple[Odd, str], ...]  # what was out of the usual, and on which side
LEFT_OUT = ("age", "sex")
# A summary often leaves out what showed that it was functional; what refutes a site is of no other.
UNHEARD = {("flag", "unsupported")} | {
    ("flag", row["refuted"]) for row in story_row("support").values() if "refuted" in row
}
WORTH = 0.02  # a smaller share of a place is left out
_LEAST = 1e-6  # of a chance, so that a place that was thought impossible has a share


def places(true: NDArray[np.bool_], fair: NDArray[np.bool_], chance: Floats) -> Floats:
    """The share of every place in a case, shape (places,); all 0 where the model has no place for it."""
    total = np.zeros(len(chance))
    for those in (true, fair):
        held = np.where(those, np.maximum(chance, _LEAST), 0)
        total += held / (held.sum() or 1)
    return np.asarray(total / (total.sum() or 1))


def table(
    made: Hypotheses,
    every: list[Published],
    shown: list[Signs],
    stories: list[tuple[Word, ...]],
    shares: Floats,
) -> str:
    """The text of the table, a line for each case that shows something and has a place, then those of two lesions."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for case, signs, story, share in zip(every, shown, stories, shares, strict=True):
        where = [
            f"{name}:{part:.2f}"
            for name, part in zip(made.groups, share, strict=True)
            if part >= WORTH
        ]
        if signs and where:
            writer.writerow(_row(case, signs, story, " ".join(where)))
    return with_two(out.getvalue())


def with_two(text: str) -> str:
    """The text of the table with the lines of the cases of two lesions, of development and of their own part, made anew."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(
        _row(case, signs, words(case.findings), TWO)
        for case in (*cases(PARTS[0]), *cases(OF_TWO))
        if case.site == "two_lesions" and (signs := out_of_usual(case.findings))
    )
    ones = (line for line in text.splitlines(keepends=True) if not line.endswith(f",{TWO}\n"))
    return "".join(ones) + out.getvalue()


def out_of_usual(findings: Findings) -> Signs:
    """What of a case was out of the usual, by areas of skin, with its side."""
    return tuple(sorted({(what, f.side) for f in findings.findings for what in odd(f, area_of)}))


def words(findings: Findings) -> tuple[Word, ...]:
    """The words of its story that are compared."""
    every = told(findings.context, answered_yes(findings))
    return tuple(w for w in every if w[0] not in LEFT_OUT and w not in UNHEARD)


def _row(case: Published, signs: Signs, story: Iterable[Word], where: str) -> list[str]:
    by_side = (_cell(what for what, own in signs if own == side) for side in SIDES)
    return [case.source, *by_side, _cell(story), where]


def _cell(some: Iterable[tuple[str, str]]) -> str:
    return " ".join(name if value == ODD else f"{name}:{value}" for name, value in sorted(some))
