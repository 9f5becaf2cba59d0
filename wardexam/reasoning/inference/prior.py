"""What is likely before any sign: sites, stages by onset, and what pain, trauma and age shift."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.exam.examination import Context
from wardexam.reasoning.model.forms import PAIRS, STAGES, Form
from wardexam.reasoning.model.hypotheses import Hypotheses
from wardexam.reasoning.tables import read, story_row


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


def _shift(form: Form, rows: list[dict[str, Any]]) -> float:
    """What the rows that count make of a form."""
    factor = 1.0
    for row in rows:
        level = "" if form.level is None else SEGMENTS[form.level][0]
        if form.site in row["sites"] and level in row.get("levels", [level]):
            factor *= row["factor"]
    return factor


def log_prior(hypotheses: Hypotheses, context: Context) -> NDArray[np.float64]:
    """Log prior of every row, shape (rows,); a site's mass is shared among its forms."""
    stage = story_row("stage")[context.onset]
    stages = np.repeat([stage[s] for s in STAGES], 2 * PAIRS) / (2 * PAIRS)
    total = dict.fromkeys((f.site for f in hypotheses.forms), 0.0)
    for form in hypotheses.forms:
        total[form.site] += form.weight
    rows = [row for row in read("inference/story.toml")["shift"] if _counts(row, context)]
    mass = np.zeros(hypotheses.rows)
    for form in hypotheses.forms:
        site = sites()[form.site]
        onset = form.onset.get(context.onset, site["onset"].get(context.onset, 1.0))
        share = site["prior"] * onset * _shift(form, rows)
        share *= form.weight / total[form.site]
        mass[form.rows] = share * (stages if form.upper else 1 / (2 * PAIRS))
    return np.asarray(np.log(mass / mass.sum()))
