"""Two lesions at once: the union of their damage, offered where it fits as well as any one.

The best single lesions are joined with the likeliest row of every form, under the same forward model. What one
lesion leaves unexplained counts against it as against no lesion, so the best half is among the best singles; the
other may explain little, and is sought in every form. `two_lesions.toml` says which sites come together.
"""

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

from wardexam.errors import TableError
from wardexam.exam.examination import Onset
from wardexam.reasoning.inference.claims import Known
from wardexam.reasoning.inference.evidence import Term
from wardexam.reasoning.inference.greatest import largest, leading_chance
from wardexam.reasoning.inference.posterior import Floats, Posterior, logsumexp
from wardexam.reasoning.inference.prior import sites
from wardexam.reasoning.inference.ranking import place
from wardexam.reasoning.model.codes import BRISK_WEIGHTS, CODES, decoded, encode
from wardexam.reasoning.model.hypotheses import Codes, Hypotheses, Key
from wardexam.reasoning.model.severities import Array
from wardexam.reasoning.reading import Pair
from wardexam.reasoning.tables import read, weighing_row
from wardexam.reasoning.ties import EQUAL, even_chance, ordered

_FIRST = 8  # candidates for the one half
_TWO = 2
_FAR = 12.0  # a row so many nats below the best counts for nothing
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


def _level(term: Term) -> bool:
    """Whether its codes are levels, whose union is not that of two losses."""
    return bool(term.pieces[0].log.shape[0] != CODES)


def _alone(made: Hypotheses, terms: list[Term], prior: Floats) -> Floats:
    """Log of prior times likelihood of a draw of each row alone, at middling briskness, shape (rows,)."""
    total = prior.copy()
    for term in terms:
        for piece in term.pieces:
            log = piece.log[:, piece.log.shape[1] // 2]
            total += term.factor * log.take(made.code(*piece.key))
    return total


def _candidates(made: Hypotheses, alone: Floats, leading: list[int]) -> list[int]:
    """The best row of each of the best places, a place being a group at a level and side."""
    best: dict[tuple[str, int | None, str], int] = {}
    for form, row in zip(made.forms, leading, strict=True):
        key = (form.group, form.level, form.side)
        if form.site in _lesions() and (key not in best or alone[row] > alone[best[key]] + EQUAL):
            best[key] = row
    every = ordered(best.values(), lambda r: float(alone[r]), int)
    return [every[n] for n in largest(alone[every], _FIRST)]


def _leading_rows(made: Hypotheses, alone: Floats) -> list[int]:
    """The first of the likeliest rows of each form: `leading` of its rows, for all forms at once."""
    most = np.maximum.reduceat(alone, [form.rows.start for form in made.forms])
    least = most - EQUAL * np.maximum(1.0, np.abs(most))
    rows = np.flatnonzero(alone >= least[made.form_of])
    _, first = np.unique(made.form_of[rows], return_index=True)
    return [int(row) for row in rows[first]]


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


@cache
def _beside(first: str) -> tuple[float, ...]:
    """Log of how much likelier each site is beside a lesion of a first one, in the order of the table."""
    return tuple(math.log(together().get(frozenset((first, site)), 1.0)) for site in sites())


def _mass(made: Hypotheses, prior: Floats) -> Floats:
    """Log of the prior of each form, shape (forms,)."""
    top = prior.max()
    return np.asarray(np.log(np.bincount(made.form_of, np.exp(prior - top))) + top)


def _joined(
    made: Hypotheses, terms: list[Term], row: int, others: NDArray[np.intp], codes_of: dict[Key, Codes]
) -> NDArray[np.float64]:  # fmt: skip
    """Log-likelihood of the findings under one row together with each of the others, shape (others, 3)."""
    flat, brisk = np.zeros(len(others)), np.zeros((len(others), len(BRISK_WEIGHTS)))
    for term in terms:
        for piece in term.pieces:
            own, theirs = made.code(*piece.key)[row], codes_of[piece.key]
            if _level(term):
                log = np.maximum(piece.log[theirs], piece.log[own])
            else:
                log = piece.log.take(union()[own], axis=0).take(theirs, axis=0)
            if log.shape[1] == 1:
                flat += term.factor * log[:, 0]
            else:
                brisk += term.factor * log
    return brisk + flat[:, None]


def two_lesions(posterior: Posterior, log_prior: Array, onset: Onset = "unknown") -> Pair | None:
    """The best two lesions together, or None where they do not fit as well as one.

    `times` is the ratio of the evidence for the two, their prior included, to that for any one.
    """
    made, n = posterior.hypotheses, weighing_row("two_lesions")
    terms = [t for t in posterior.terms if t.kind in ("finding", "before", "stated")]
    if sum(t.kind != "stated" for t in terms) < n["findings"]:
        return None
    weight = weighing_row("weight")
    prior = log_prior.astype(float)
    alone = _alone(made, terms, prior)
    prior += made.log_draws()
    leading = _leading_rows(made, alone)
    others = np.array([r for f, r in zip(made.forms, leading, strict=True) if f.site in _lesions()])
    of_form = made.form_of[others]
    mass = _mass(made, prior) - np.log(n["rows_alike"])
    group_of = made.group_of[others]
    order = list(sites())
    site_of = np.array([order.index(g.partition(".")[0]) for g in made.groups])[group_of]
    found: tuple[float, int, Floats] | None = None
    total = []
    codes_of = {p.key: made.code(*p.key)[others] for t in terms for p in t.pieces}
    for row in _candidates(made, alone, leading):
        own = made.form_of[row]
        beside = np.array(_beside(made.forms[own].site))[site_of]
        same = np.where(group_of == made.group_of[row], _NEVER, 0.0)  # one lesion of some extent
        log = _joined(made, terms, row, others, codes_of) + (mass[of_form] + beside + same)[:, None]
        by_row = logsumexp(log + np.log(BRISK_WEIGHTS), 1) + mass[own]
        total.append(float(logsumexp(by_row, 0)))
        if found is None or total[-1] > found[0] + EQUAL:
            found = (total[-1], row, by_row)
    if found is None:
        return None
    single = _single(posterior, terms, prior, alone)
    ratio = float(logsumexp(np.array(total), 0)) + np.log(weight["second"]) - single
    if ratio < np.log(weight["offered"]):
        return None
    _, row, by_row = found
    chance = np.exp(by_row - by_row.max())
    forms = np.bincount(of_form, chance, len(made.forms))
    groups = np.asarray(np.bincount(made.group_of_form, forms, len(made.groups)), float)
    only = np.zeros(len(made.forms))
    only[made.form_of[row]] = 1.0
    known = Known.of(posterior.terms, onset)
    first = place(made, int(made.group_of[row]), only, known)
    second = place(made, leading_chance(groups), forms / forms.sum(), known)
    if first.name == second.name:
        return None
    return Pair(first.name, second.name, even_chance(float(np.exp(min(ratio, n["most"])))))


def _single(posterior: Posterior, terms: list[Term], prior: Floats, alone: Floats) -> float:
    """The evidence for any one lesion from the same terms."""
    if len(terms) == len(posterior.terms):
        return posterior.evidence
    at = np.flatnonzero(alone > alone.max() - _FAR)
    log = prior[at][:, None] + np.log(BRISK_WEIGHTS)[None, :]
    for term in terms:
        log += posterior.value(term, at)
    return float(logsumexp(log.ravel(), 0))
