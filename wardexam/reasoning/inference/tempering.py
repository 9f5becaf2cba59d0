"""How sure a reading may be: the chances of the places, tempered by what real cases taught.

A model's numbers are never exact. Where it is wrong it is as sure as where it is right, so a share of what was likely
before anything was known stays with every place, however much speaks against it. And where little is known it spreads
its belief over more places than real cases do, because silence and repeated findings weigh cautiously; so the chances
are drawn apart by a power before that share is kept. Both grow with the number of signs found and words told, so that
nothing known leaves the prior as it is. Neither changes which place leads, and neither reaches urgency, which has
chances of its own. Tried too and left, since they helped no case that they were not fitted to: a share that grows where
no one lesion fits, and gaps between places that count less the greater they are.
"""

import numpy as np
from numpy.typing import NDArray

from wardexam.reasoning.tables import weighing_row

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
    kept = n["kept"] * share
    return np.asarray((1 - kept) * apart / apart.sum() + kept * before)
