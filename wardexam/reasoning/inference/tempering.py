"""How sure a reading may be: the chances of the places, tempered by what real cases taught.

A model's numbers are never exact, and where it is wrong it is as sure as where it is right. So a small share of what was
likely before anything was known stays with every place, however much speaks against it; the share grows with the number
of signs found and words told, so that nothing known leaves the prior as it is. Tried too and left, since they helped no case that they were not
fitted to: a power of the chances, and gaps between places that count less the greater they are.
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
    kept = n["kept"] * known / (known + n["half"])
    return np.asarray((1 - kept) * chance + kept * before)
