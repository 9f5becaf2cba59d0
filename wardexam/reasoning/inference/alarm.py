"""The urgent places that what was found suggests, with all of it or all but one abnormal sign: so that one more does not calm."""

from collections.abc import Collection
from dataclasses import replace

import numpy as np

from wardexam.exam.examination import Onset
from wardexam.reasoning.inference.posterior import Floats, Posterior
from wardexam.reasoning.inference.prior import sites
from wardexam.reasoning.inference.ranking import dangerous
from wardexam.reasoning.model.hypotheses import Hypotheses, Key
from wardexam.reasoning.reading import Site
from wardexam.reasoning.tables import conditions_row

_RULE = "inferred_site"  # what the alarm is called among the rules


def _urgent(made: Hypotheses) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Whether each group is a place that is urgent in general."""
    return np.array([bool(sites()[made.forms[f[0]].site]["urgent"]) for f in made.forms_of])


def alarming(
    posterior: Posterior, odd: Collection[Key], onset: Onset = "unknown"
) -> tuple[Site, ...]:
    """The urgent sites by all that was found, or by all but one abnormal sign where that is graver.

    Args:
        posterior: By what was found, not tempered.
        odd: Sign and side of what is out of the usual.
        onset: When it began.
    """
    found = dangerous(posterior, onset)
    if sum(s.probability for s in found) >= conditions_row(_RULE)["probability"]:
        return found
    if posterior.groups[~_urgent(posterior.hypotheses)].max() > conditions_row(_RULE)["one_place"]:
        return found  # all of it is of one place that is not urgent
    by_sign: dict[str, Floats] = {}
    for term in posterior.terms:
        if term.kind == "finding" and term.key in odd:
            by_sign[term.key[0]] = by_sign.get(term.key[0], 0.0) + posterior.value(term)
    if not by_sign:
        return found
    urgent = _urgent(posterior.hypotheses)[posterior.hypotheses.group_of[posterior.kept]]
    each = [posterior.log - value for value in by_sign.values()]
    chances = [_chance(log, urgent) for log in each]
    most = int(np.argmax(chances))
    if chances[most] <= _chance(posterior.log, urgent):
        return found
    return dangerous(replace(posterior, log=each[most]), onset)


def _chance(log: Floats, urgent: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> float:
    """The chance of the urgent rows."""
    held = np.exp(log - log.max()).sum(axis=1)
    return float(held[urgent].sum() / held.sum())
