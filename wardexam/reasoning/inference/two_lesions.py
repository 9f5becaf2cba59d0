"""Two lesions at once: the union of their damage, offered where it fits as well as any one.

The best single lesions are joined with the likeliest row of every form, or two that mirror each other, under the same
forward model. What one lesion leaves unexplained counts against it as against no lesion, so the best half is among the
best singles; the other may explain little, and is sought in every form. `two_lesions.toml` says which sites come together.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, reduce

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import catalogue
from wardexam.errors import TableError
from wardexam.exam.examination import Onset
from wardexam.reasoning.inference.claims import Known
from wardexam.reasoning.inference.greatest import largest, leading_chance
from wardexam.reasoning.inference.pieces import Piece, Term
from wardexam.reasoning.inference.posterior import Floats, Posterior, logsumexp
from wardexam.reasoning.inference.prior import sites
from wardexam.reasoning.inference.ranking import place
from wardexam.reasoning.model.codes import BRISK_WEIGHTS, CODES, decoded, encode
from wardexam.reasoning.model.hypotheses import Codes, Hypotheses, Key
from wardexam.reasoning.model.severities import Array
from wardexam.reasoning.reading import Pair
from wardexam.reasoning.tables import read, weighing_row
from wardexam.reasoning.ties import EQUAL, even_chance

# The weights of some terms by row, and by briskness what hangs on it.
Likelihood = Callable[[list[Term]], tuple[Array, list[Array] | None]]

_FIRST = 5  # candidates for the one half
_TWO = 2
_FAR = 12.0  # a row so many nats below the best counts for nothing
# Log of each briskness, of one row and of two that are as likely.
_BRISK = {n: np.log(np.tile(BRISK_WEIGHTS, n) / n) for n in (1, 2)}
_GAIT = "gait"  # the kind of answer that is a kind
_NEVER = -99.0  # so unlikely (nats) that it is none


@cache
def _lesions() -> frozenset[str]:
    """The sites that are lesions, and no kind of none."""
    return frozenset(site for site, row in sites().items() if row.get("lesion", True))


@cache
def union() -> Codes:
    """The code of two losses together, shape (codes, codes); the greater upper loss lends its stage."""
    lower, upper, stage = decoded()
    both_lower = 1 - (1 - lower[:, None]) * (1 - lower[None, :])
    both_upper = 1 - (1 - upper[:, None]) * (1 - upper[None, :])
    both_stage = np.where(upper[:, None] > upper[None, :], stage[:, None], stage[None, :])
    return np.asarray(
        encode(both_lower.ravel(), both_upper.ravel(), both_stage.ravel()).reshape(
            len(lower), len(lower)
        )
    )


def _ends(made: Hypotheses, alone: Array) -> NDArray[np.intp]:
    """Of each form the first and the last of its likeliest rows, which are mirror images where two equal, shape (forms, 2)."""
    most = np.maximum.reduceat(alone, made.start_of_form)
    least = most - EQUAL * np.maximum(1.0, np.abs(most))
    rows = np.flatnonzero(alone >= least[made.form_of])
    _, first = np.unique(made.form_of[rows], return_index=True)
    last = np.append(first[1:], len(rows)) - 1
    return np.stack([rows[first], rows[last]], axis=1)


def _candidates(made: Hypotheses, most: Array) -> list[int]:
    """The best form of each of the best places, by what is most likely of each form; -inf where it is no lesion."""
    by_place = np.full(made.place_of_form.max() + 1, -np.inf)
    np.maximum.at(by_place, made.place_of_form, most)
    best = np.flatnonzero((most >= by_place[made.place_of_form] - EQUAL) & np.isfinite(most))
    _, first = np.unique(made.place_of_form[best], return_index=True)
    best = np.sort(best[first])
    return [int(best[n]) for n in largest(most[best], _FIRST)]


@cache
def together() -> dict[frozenset[str], float]:
    """How much likelier lesions of two sites are together than apart, by the pair.

    Raises:
        TableError: A row names a site that there is not, not two, or two that stand in another row, or its factor is none.
    """
    found: dict[frozenset[str], float] = {}
    for row in read("inference/two_lesions.toml")["pair"]:
        pair = frozenset(row["sites"])
        if len(row["sites"]) != _TWO or not pair <= set(sites()) or pair in found:
            raise TableError(f"no pair of its own: {row['sites']}", where="two_lesions.toml")
        if row["factor"] <= 0:
            raise TableError(f"{row['factor']} is no factor", where="two_lesions.toml")
        found[pair] = row["factor"]
    return found


def _beside(first: str, others: list[str]) -> Floats:
    """Log of how much likelier each of other sites is beside a lesion of a first one."""
    return np.array([math.log(together().get(frozenset((first, site)), 1.0)) for site in others])


def _mass(made: Hypotheses, prior: Floats) -> Floats:
    """Log of the prior of each form, shape (forms,)."""
    top = prior.max()
    return np.asarray(np.log(np.bincount(made.form_of, np.exp(prior - top))) + top)


def _adds_up(piece: Piece) -> bool:
    """Whether two losses of what is looked up make a greater one: not of a level, nor of gait, whose codes are kinds."""
    sign = catalogue().get(piece.key[0])
    return piece.log.shape[0] == CODES and not (sign and sign.answers == _GAIT)


@dataclass(frozen=True, slots=True)
class _LookUps:
    """The look-ups of one width, with the codes of the rows that may be the other lesion.

    Attributes:
        keys: Sign and side of each.
        theirs: Codes of the others, shape (look-ups, others).
        starts: Where the table of each begins in `log`, shape (look-ups, 1).
        log: The tables one after the other, shape (codes, 1 or 3).
        factors: What tempering leaves of each, shape (look-ups, 1, 1).
    """

    keys: list[Key]
    theirs: NDArray[np.intp]
    starts: NDArray[np.intp]
    log: Floats
    factors: Floats

    def joined(self, made: Hypotheses, row: int) -> Floats:
        """Log-likelihood under one row together with each of the others, shape (others, 1 or 3)."""
        own = np.array([made.code(*key)[row] for key in self.keys])
        codes = np.take_along_axis(union().take(own, axis=0), self.theirs, axis=1)
        return np.asarray((self.log.take(codes + self.starts, axis=0) * self.factors).sum(axis=0))


def _look_ups(made: Hypotheses, terms: list[Term], others: NDArray[np.intp]) -> list[_LookUps]:
    """The look-ups of all that is no level, by width."""
    found = []
    for width in (1, len(BRISK_WEIGHTS)):
        those = [
            (p, t.factor)
            for t in terms
            for p in t.pieces
            if _adds_up(p) and p.log.shape[1] == width and not p.beside
        ]
        if those:
            found.append(_LookUps(
                [p.key for p, _ in those],
                np.stack([made.code(*p.key).take(others) for p, _ in those]).astype(np.intp),
                CODES * np.arange(len(those))[:, None],
                np.concatenate([p.log for p, _ in those]),
                np.array([factor for _, factor in those])[:, None, None],
            ))  # fmt: skip
    return found


def _levels(made: Hypotheses, terms: list[Term], row: int, others: NDArray[np.intp]) -> Floats:
    """Log-likelihood of the levels and the gait that were found: of two lesions, the one that fits better; shape (others, 1)."""
    total = np.zeros((len(others), 1))
    for term in terms:
        for piece in term.pieces:
            if not _adds_up(piece) and not piece.beside:
                codes = made.code(*piece.key)
                total += term.factor * np.maximum(piece.log[codes[others]], piece.log[codes[row]])
    return total


def _joined(
    made: Hypotheses,
    terms: list[Term],
    row: int,
    others: NDArray[np.intp],
    look_ups: list[_LookUps],
) -> Floats:
    """Log-likelihood of the findings under one row together with each of the others, shape (others, 3)."""
    log = np.repeat(_levels(made, terms, row, others), len(BRISK_WEIGHTS), axis=1)
    for each in look_ups:
        log = log + each.joined(made, row)
    return log + _contrasts(made, terms, row, others)


def _contrasts(made: Hypotheses, terms: list[Term], row: int, others: NDArray[np.intp]) -> Floats:
    """Log-likelihood that sides are unlike as they were found under one row together with each of the others, shape (others, 1)."""
    total = np.zeros((len(others), 1))
    for term in terms:
        for piece in term.pieces:
            if piece.beside:
                own, other = (
                    union()[made.code(*key)[row]][made.code(*key).take(others)].astype(np.int32)
                    for key in (piece.key, piece.beside)
                )
                total += term.factor * piece.log.take(own * CODES + other, axis=0)
    return total


def _single(made: Hypotheses, lines: Sequence[Array]) -> float:
    """The evidence for any one lesion, from its log by row: one line, or one by briskness."""
    most = reduce(np.maximum, lines)
    at = np.flatnonzero(most > most.max() - _FAR)
    held = np.stack([line[at].astype(float) for line in lines], axis=1)
    if len(lines) > 1:
        held = held + np.log(BRISK_WEIGHTS)
    return float(logsumexp((held + made.log_draws(at)[:, None]).ravel(), 0))


def two_lesions(
    posterior: Posterior, log_prior: Array, likelihood: Likelihood, onset: Onset = "unknown"
) -> Pair | None:
    """The best two lesions together, or None where they do not fit as well as one.

    `times` is the ratio of the evidence for the two, their prior included, to that for any one.
    """
    made, n = posterior.hypotheses, weighing_row("two_lesions")
    terms = [t for t in posterior.terms if t.kind != "silence"]
    if sum(t.kind in ("finding", "before") for t in terms) < n["findings"]:
        return None
    weight = weighing_row("weight")
    flat, brisk = likelihood(terms)
    lines = [log_prior + flat] if brisk is None else [log_prior + flat + line for line in brisk]
    alone = lines[len(lines) // 2]
    prior = log_prior.astype(float) + made.log_draws()
    ends = _ends(made, alone)
    lesion = np.array([site in _lesions() for site in made.sites])[made.site_of_form]
    others = np.unique(ends[lesion])
    of_form = made.form_of[others]
    alike = np.log(np.bincount(of_form)[of_form])
    mass = _mass(made, prior) - np.log(n["rows_alike"])
    group_of = made.group_of[others]
    site_of = made.site_of_form[of_form]
    found: tuple[float, int, Floats] | None = None
    total = []
    look_ups = _look_ups(made, terms, others)
    for own in _candidates(made, np.where(lesion, alone[ends[:, 0]].astype(float), -np.inf)):
        beside = _beside(made.forms[own].site, made.sites)[site_of]
        same = np.where(group_of == made.group_of_form[own], _NEVER, 0.0)  # one of some extent
        likely = (mass[of_form] - alike + beside + same + mass[own])[:, None]
        rows = np.unique(ends[own]).tolist()
        each = [_joined(made, terms, row, others, look_ups) + likely for row in rows]
        by_row = logsumexp(np.concatenate(each, 1) + _BRISK[len(each)], 1)
        total.append(float(logsumexp(by_row, 0)))
        if found is None or total[-1] > found[0] + EQUAL:
            found = (total[-1], own, by_row)
    if found is None:
        return None
    single = _single(made, lines)
    ratio = float(logsumexp(np.array(total), 0)) + np.log(weight["second"]) - single
    if ratio < np.log(weight["offered"]):
        return None
    _, own, by_row = found
    chance = np.exp(by_row - by_row.max())
    forms = np.bincount(of_form, chance, len(made.forms))
    groups = np.asarray(np.bincount(made.group_of_form, forms, len(made.groups)), float)
    only = np.zeros(len(made.forms))
    only[own] = 1.0
    known = Known.of(posterior.terms, onset)
    first = place(made, int(made.group_of_form[own]), only, known)
    second = place(made, leading_chance(groups), forms / forms.sum(), known)
    if first.name == second.name:
        return None
    return Pair(first.name, second.name, even_chance(float(np.exp(min(ratio, n["most"])))))
