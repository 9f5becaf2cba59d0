"""How likely one finding is, for every code: its answer, its grade, its qualities."""

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import Sign
from wardexam.exam.examination import Context
from wardexam.exam.findings import Finding
from wardexam.reasoning.model.codes import CODES, decoded
from wardexam.reasoning.model.observation import (
    observed,
    observed_level,
    probit,
    tendon_mean,
    weakness,
)
from wardexam.reasoning.tables import meaning_interval, mrc_interval, numbers

RESIDUAL_CUTS = (100, 200, 500)


def likelihood(sign: Sign, finding: Finding, context: Context) -> NDArray[np.float64]:
    """Probability of one finding for every code, shape (codes, 3)."""
    made = observed_level() if sign.answers == "level" else observed(sign, context)
    answer = finding.answer
    assert answer is not None
    if sign.answers == "tendon":
        meaning = "above" if finding.scale == "ninds" and answer == "4" else finding.meaning
        row = numbers()["tendon"]
        mean = tendon_mean(sign, context)
        each = numbers()["floor"]["tendon"]
        chance = (1 - 5 * each) * probit(mean, *meaning_interval(meaning), row["spread"]) + each
        return np.asarray(chance * _quality(sign, finding)[:, None])
    if sign.answers == "mrc" and answer in ("4-", "4+"):
        row = numbers()["mrc"]
        mean = row["start"] + row["loss"] * weakness(sign)
        each = numbers()["floor"]["mrc"] / 2
        return np.repeat(
            ((1 - 6 * each) * probit(mean, *mrc_interval(answer), row["spread"]) + each)[:, None],
            3,
            axis=1,
        )
    if sign.answers == "residual":
        answer = made.answers[
            int(np.searchsorted(RESIDUAL_CUTS, finding.amount or 0, side="right"))
        ]
    return np.asarray(made.chance[:, made.answers.index(answer), :])


def _quality(sign: Sign, finding: Finding) -> NDArray[np.float64]:
    """What a quality adds: each speaks of its own losses."""
    lower, upper, stage = decoded()
    factor = np.ones(CODES)
    governed = upper * np.array([0.1, 0.5, 1.0])[stage]
    if "inverted" in finding.qualities:
        # Its own arc lost with the segments below set free (published; also in brisk healthy people).
        factor *= 0.03 + 0.5 * lower * (0.25 + 0.75 * (stage == 2)) + 0.05 * governed
    if "crossed" in finding.qualities:
        factor *= 0.04 + 0.4 * governed
    if "pendular" in finding.qualities:
        factor *= 0.1
    return np.asarray(factor)
