"""Drawing by a seed: the same on every machine, whatever was drawn before.

Each thing is drawn from a stream of its own, named by the seed and by what is drawn, so that the order in which a
learner tests changes nothing. Python's own generator keeps its streams from version to version, numpy's need not.
"""

from collections.abc import Mapping, Sequence
from random import Random
from typing import TypeVar

FORM = "practice 1"  # of the streams; another where cases shall be drawn anew
DECIMALS = 9  # of a chance, beyond which a difference is only arithmetic

T = TypeVar("T")


def stream(seed: str, *what: str) -> Random:
    """The stream for one thing."""
    return Random("/".join((FORM, seed, *what)))


def pick(weights: Mapping[T, float] | Sequence[tuple[T, float]], random: Random) -> T:
    """One of some things, by their weights, in the order given.

    Raises:
        ValueError: None weighs anything.
    """
    pairs = list(weights.items() if isinstance(weights, Mapping) else weights)
    total = sum(weight for _, weight in pairs)
    if not total > 0:
        raise ValueError("nothing can be drawn")
    wanted, passed, last = random.random(), 0.0, pairs[0][0]
    for thing, weight in pairs:
        share = round(weight / total, DECIMALS)
        if share > 0:
            passed += share
            last = thing
            if wanted < passed:
                return thing
    return last
