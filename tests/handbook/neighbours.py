"""The table of published cases that a patient is compared with: what `python -m tests.handbook.fit --write` puts into it.

A case stands for the places that it was: half for the true one, half for those that its coder accepts, among these as the
chances are by numbers that the case did not teach.
"""

import csv
import io
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from tests.handbook.published.cases import Published
from wardexam.reasoning.inference.neighbours import COLUMNS, SIDES
from wardexam.reasoning.inference.taught import ODD
from wardexam.reasoning.model.hypotheses import Hypotheses

Floats = NDArray[np.float64]
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
    shown: list[tuple[tuple[tuple[str, str], str], ...]],
    words: list[tuple[tuple[str, str], ...]],
    shares: Floats,
) -> str:
    """The text of the table, a line for each case that shows something and has a place."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for case, signs, told, share in zip(every, shown, words, shares, strict=True):
        where = [
            f"{name}:{part:.2f}"
            for name, part in zip(made.groups, share, strict=True)
            if part >= WORTH
        ]
        if signs and where:
            by_side = (_cell(what for what, own in signs if own == side) for side in SIDES)
            writer.writerow([case.source, *by_side, _cell(told), " ".join(where)])
    return out.getvalue()


def _cell(some: Iterable[tuple[str, str]]) -> str:
    return " ".join(name if value == ODD else f"{name}:{value}" for name, value in sorted(some))
