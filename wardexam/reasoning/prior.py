"""What is likely before any sign: sites, stages by onset, and what pain, trauma and age shift."""

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wardexam.exam.examination import Context
from wardexam.reasoning.forms import PAIRS, STAGES, Form
from wardexam.reasoning.hypotheses import Hypotheses


def _read(name: str) -> dict[str, Any]:
    return tomllib.loads((files("wardexam.reasoning") / name).read_text(encoding="utf-8"))


@cache
def sites() -> dict[str, dict[str, Any]]:
    """The sites with their priors, by id."""
    return _read("sites.toml")


@cache
def _context() -> dict[str, Any]:
    return _read("context.toml")


def _shift(form: Form, context: Context) -> float:
    factor = 1.0
    for row in _context()["shift"]:
        if (
            form.site in row["sites"]
            and context.pain in row.get("pain", [context.pain])
            and context.trauma == row.get("trauma", context.trauma)
            and ("older_than" not in row or (context.age or 0) > row["older_than"])
        ):
            factor *= row["factor"]
    return factor


def log_prior(hypotheses: Hypotheses, context: Context) -> NDArray[np.float64]:
    """Log prior of every row, shape (rows,); a site's mass is shared among its forms."""
    stage = _context()["stage"][context.onset]
    stages = np.repeat([stage[s] for s in STAGES], 2 * PAIRS) / (2 * PAIRS)
    total = dict.fromkeys((f.site for f in hypotheses.forms), 0.0)
    for form in hypotheses.forms:
        total[form.site] += form.weight
    mass = np.zeros(hypotheses.rows)
    for form in hypotheses.forms:
        site = sites()[form.site]
        share = site["prior"] * site["onset"].get(context.onset, 1.0) * _shift(form, context)
        share *= form.weight / total[form.site]
        mass[form.rows] = share * (stages if form.upper else 1 / (2 * PAIRS))
    return np.asarray(np.log(mass / mass.sum()))
