"""The urgent places that what was found suggests, with all of it or all but one abnormal sign: so that one more does not calm."""

from collections.abc import Collection
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wardexam.exam.examination import Onset
from wardexam.reasoning.inference.posterior import Floats, Posterior
from wardexam.reasoning.inference.prior import is_urgent
from wardexam.reasoning.inference.ranking import dangerous
from wardexam.reasoning.model.hypotheses import Key
from wardexam.reasoning.reading import Site
from wardexam.reasoning.tables import conditions_row


def alarming(
    posterior: Posterior, odd: Collection[Key], onset: Onset = "unknown"
) -> tuple[Site, ...]:
    """The urgent sites by all that was found, or by all but one abnormal sign where that is graver.

    Where one place that is not urgent explains all of it, no sign is left out.

    Args:
        posterior: By what was found, not tempered.
        odd: Sign and side of what is out of the usual.
        onset: When it began.
    """
    found, limits = dangerous(posterior, onset), conditions_row("inferred_site")
    if sum(s.probability for s in found) >= limits["probability"]:
        return found
    made = posterior.hypotheses
    same_day = np.array([is_urgent(group) for group in made.groups])
    if posterior.groups[~same_day].max() > limits["one_place"]:
        return found
    by_sign: dict[str, Floats] = {}
    for term in posterior.terms:
        if term.kind == "finding" and term.key in odd:
            by_sign[term.key[0]] = by_sign.get(term.key[0], 0.0) + posterior.value(term)
    rows = same_day[posterior.group_of]
    without = [np.zeros((1, 1)), *by_sign.values()]
    most = int(np.argmax([_chance(posterior.log, value, rows) for value in without]))
    if not most:
        return found
    return dangerous(replace(posterior, log=posterior.log - without[most]), onset)


def _chance(log: Floats, value: Floats, rows: NDArray[np.bool_]) -> float:
    """The chance of some rows together, without what a sign adds to their log."""
    less = np.subtract(log, value, order="F")  # many times as fast added up as three by three
    less -= less.max()
    held = np.exp(less, out=less).sum(axis=1)
    return float(held[rows].sum() / held.sum())
