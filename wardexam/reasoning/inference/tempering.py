"""How sure a reading may be: the chances of the places, tempered by what real cases taught.

A model's numbers are never exact. Where it is wrong it is as sure as where it is right, so a share of what was likely
before anything was known stays with every place, however much speaks against it, and a further share lies between that
and what the model says: places that the findings speak against a little keep more than those that they speak against
much. And where little is known it spreads its belief over more places than real cases do, because silence and repeated
findings weigh cautiously; so the chances are drawn apart by a power before those shares are kept. All grow with the
number of signs found and words told, so that nothing known leaves the prior as it is. They seldom change which place
leads, and none reaches urgency, which has chances of its own. Tried too and left, since they helped no case that they were not fitted to: a share that grows where
no one lesion fits, and gaps between places that count less the greater they are.
"""

import numpy as np
from numpy.typing import NDArray

from wardexam.reasoning.tables import weighing_row

_LEAST = 1e-12  # no chance is less
Floats = NDArray[np.float64]


def tempered(chance: Floats, before: Floats, known: float) -> Floats:
    """The chances to be told, adding up to 1.

    Args:
        chance: Of each place by the model, shape (places,).
        before: The same before anything was known, shape (places,).
        known: How many signs were found and words told.
    """
    n = weighing_row("tempering")
    share = known / (known + n["half"])
    apart = np.maximum(chance, 0) ** (1 + n["apart"] * share)
    between = np.maximum(chance, _LEAST) ** n["power"] * before ** (1 - n["power"])
    kept, soft = n["kept"] * share, n["soft"] * share
    told = (1 - kept - soft) * apart / apart.sum() + kept * before
    return np.asarray(told + soft * between / between.sum())
