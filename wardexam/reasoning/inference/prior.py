"""What is likely before any sign: sites, stages by onset, and what pain, trauma and age shift."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.exam.examination import Context
from wardexam.reasoning.model.forms import PAIRS, STAGES, Form
from wardexam.reasoning.model.hypotheses import Hypotheses
from wardexam.reasoning.tables import read, story_row

Floats = NDArray[np.float64]


def sites() -> dict[str, dict[str, Any]]:
    """The sites with their priors, by id."""
    return read("inference/sites.toml")


def _counts(row: dict[str, Any], context: Context) -> bool:
    """Whether all that a row of the table names is so."""
    age = context.age
    return (
        all(
            getattr(context, field) in row[field]
            for field in ("pain", "trauma", "complaint")
            if field in row
        )
        and ("older_than" not in row or (age is not None and age > row["older_than"]))
        and ("younger_than" not in row or (age is not None and age < row["younger_than"]))
    )


def _shift(form: Form, row: dict[str, Any]) -> float:
    """What a row that counts makes of a form."""
    level = "" if form.level is None else SEGMENTS[form.level][0]
    fits = form.site in row["sites"] and level in row.get("levels", [level])
    return float(row["factor"]) if fits else 1.0


class Priors:
    """The prior of every row, put together from what each onset and each row of the table gives.

    A form's rows of one stage are equally likely, so that each is worked out once, in a cell.
    """

    def __init__(self, hypotheses: Hypotheses) -> None:
        self._forms = hypotheses.forms
        total = dict.fromkeys((f.site for f in self._forms), 0.0)
        for form in self._forms:
            total[form.site] += form.weight
        self._own = np.array([sites()[f.site]["prior"] for f in self._forms], float)
        self._part = np.array([f.weight / total[f.site] for f in self._forms])
        self._upper = np.array([f.upper for f in self._forms])
        cells = np.arange(len(self._forms) * len(STAGES)).reshape(-1, len(STAGES))
        held = np.where(self._upper[:, None] | (np.arange(len(STAGES)) == 0), 2 * PAIRS, 0)
        self._cell_of = np.repeat(cells.ravel(), held.ravel())
        self._onsets: dict[str, Floats] = {}
        self._shifts: dict[int, Floats] = {}

    def log(self, context: Context) -> Floats:
        """Log prior of every row, shape (rows,); a site's mass is shared among its forms."""
        stage = story_row("stage")[context.onset]
        stages = np.array([stage[s] for s in STAGES]) / (2 * PAIRS)
        share = self._own * self._onset(context.onset)
        factor = np.ones(len(self._forms))
        for number, row in enumerate(read("inference/story.toml")["shift"]):
            if _counts(row, context):
                factor *= self._shifted(number, row)
        share = share * factor * self._part
        cells = share[:, None] * np.where(self._upper[:, None], stages, 1 / (2 * PAIRS))
        cells = cells.ravel()
        return np.asarray(np.log(cells / cells[self._cell_of].sum())[self._cell_of])

    def _onset(self, onset: str) -> Floats:
        if onset not in self._onsets:
            each = [
                f.onset.get(onset, sites()[f.site]["onset"].get(onset, 1.0)) for f in self._forms
            ]
            self._onsets[onset] = np.array(each, float)
        return self._onsets[onset]

    def _shifted(self, number: int, row: dict[str, Any]) -> Floats:
        if number not in self._shifts:
            self._shifts[number] = np.array([_shift(form, row) for form in self._forms])
        return self._shifts[number]


def log_prior(hypotheses: Hypotheses, context: Context) -> Floats:
    """Log prior of every row, shape (rows,)."""
    return Priors(hypotheses).log(context)
