"""How likely one finding is, for every code: its answer, its grade, its qualities."""

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import Sign
from wardexam.exam.examination import Context
from wardexam.exam.findings import Finding
from wardexam.reasoning.model.codes import BRISK, CODES, decoded
from wardexam.reasoning.model.forms import STAGES
from wardexam.reasoning.model.observation import (
    hidden_power,
    observed,
    observed_level,
    probit,
    tendon_mean,
)
from wardexam.reasoning.tables import meaning_interval, mrc_interval, observation_row


def likelihood(sign: Sign, finding: Finding, context: Context) -> NDArray[np.float64]:
    """Probability of one finding for every code, shape (codes, 3)."""
    made = observed_level() if sign.level else observed(sign, context)
    answer = finding.answer
    assert answer is not None
    if sign.tendon:
        meaning = "above" if finding.scale == "ninds" and answer == "4" else finding.meaning
        row = observation_row("tendon")
        mean = tendon_mean(sign, context)
        each = observation_row("floor")["tendon"]
        chance = (1 - len(row["meanings"]) * each) * probit(
            mean, *meaning_interval(meaning), row["spread"]
        ) + each
        return np.asarray(chance * _quality(finding)[:, None])
    if sign.mrc and answer in ("4-", "4+"):
        row = observation_row("mrc")
        mean, spread = hidden_power(sign)
        each = observation_row("floor")["mrc"] / 2
        return np.repeat(
            ((1 - len(row["grades"]) * each) * probit(mean, *mrc_interval(answer), spread) + each)[
                :, None
            ],
            len(BRISK),
            axis=1,
        )
    if sign.measured:
        answer = made.answers[
            int(
                np.searchsorted(
                    observation_row("residual")["cuts"], finding.amount or 0, side="right"
                )
            )
        ]
    return np.asarray(made.chance[:, made.answers.index(answer), :])


def _quality(finding: Finding) -> NDArray[np.float64]:
    """What a quality adds: each speaks of its own losses."""
    row = observation_row("quality")
    lower, upper, stage = decoded()
    factor = np.ones(CODES)
    governed = upper * np.array([row["governed"][s] for s in STAGES])[stage]
    free = stage == len(STAGES) - 1
    for quality in finding.qualities:
        n = row.get(quality)
        if n is None:
            continue
        shown = n["base"]
        if "lower" in n:
            base = n["lower_free"]
            shown = shown + n["lower"] * lower * (base + (1 - base) * free)
        if "upper" in n:
            shown = shown + n["upper"] * governed
        factor *= shown
    return np.asarray(factor)
