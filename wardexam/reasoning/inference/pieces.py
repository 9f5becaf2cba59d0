"""What is looked up in the sum: a sign's weight by code, and the terms that these make up."""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import SEGMENTS, Sign, catalogue
from wardexam.exam.examination import Context, Onset
from wardexam.exam.findings import Side
from wardexam.reasoning.model import observation
from wardexam.reasoning.model.hypotheses import Key

Kind = Literal["finding", "before", "stated", "silence", "story"]
Place = tuple[Sign, Side, str]  # a sign on a side, with its limb
Log = NDArray[np.float64]  # log-likelihood by code: shape (codes, 1), or (codes, 3) by briskness
LEAST = 1e-9  # no chance is less, so that it has a logarithm
_KEPT = 600  # look-ups of a few kB each


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """One look-up: a sign on a side and its weight by code; made once and kept for all that says the same.

    Attributes:
        key: Sign and side.
        log: The weight by code; where there is a sign `beside` it by the codes of both, shape (codes of one times those of
            the other, 1).
        beside: Another sign and side whose code counts too.
        share: What of the weight counts.
    """

    key: Key
    log: Log
    beside: Key | None = None
    share: float = 1.0

    def whole(self, factor: float) -> "Piece":
        """It as it weighs all the same in a term that has this factor."""
        return replace(self, share=self.share / factor)

    def at(self, codes: NDArray[np.integer[Any]], factor: float) -> Log:
        """What it weighs at some codes, by what tempering leaves of it, shape (codes, 1 or 3)."""
        return self.log.take(codes, axis=0, mode="clip") * (self.share * factor)


@dataclass(frozen=True, slots=True)
class Term:
    """What enters the sum as one: a finding, or the signs of one statement or silence.

    Attributes:
        key: Sign and side; part and limb for statements and silence.
        kind: What it is.
        text: In words.
        pieces: The look-ups it adds up.
        factor: What tempering leaves of it.
        bundle: Terms of one bundle are tempered together: part, limb, then what makes them equal.
        side: The side it speaks of, for summing both sides alike.
    """

    key: Key
    kind: Kind
    text: str
    pieces: tuple[Piece, ...]
    factor: float
    bundle: tuple[str, ...]
    side: str

    def further(self, piece: Piece) -> "Term":
        """It with one look-up more."""
        return replace(self, pieces=(*self.pieces, piece))


def dermatome(sign: Sign) -> int | None:
    """The number of the segment whose skin a sign feels, of trunk and limbs; None where it is no dermatome of these."""
    skin = sign.answers == "sensation" and sign.segments and not sign.territory
    return min(map(SEGMENTS.index, sign.segments)) if skin and sign.limb != "saddle" else None


def lean(chance: NDArray[np.float64]) -> Log:
    """Its logarithm, without the axis of briskness where that makes no difference."""
    log = np.log(np.maximum(chance, LEAST))
    return log[:, :1].copy() if (log == log[:, :1]).all() else log


@lru_cache(maxsize=_KEPT)
def usual_log(sign_id: str, age: int | None, onset: Onset) -> Log:
    """Log-likelihood by code that a sign is usual, whatever of its answers that is."""
    sign = catalogue()[sign_id]
    made = (
        observation.observed_level()
        if sign.level
        else observation.observed(sign, Context(age=age, onset=onset))
    )
    wanted = [made.answers.index(a) for a in observation.usual_answers(sign)]
    return lean(made.chance[:, wanted, :].sum(axis=1))
