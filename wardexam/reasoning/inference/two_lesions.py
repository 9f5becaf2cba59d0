"""Two lesions at once: the union of their damage beside any one, and how often published cases like it had two.

The best single lesions are joined with the likeliest row of every form, or two that mirror each other, under the same
forward model. What one lesion leaves unexplained counts against it as against no lesion, so the best half is among the
best singles; the other may explain little, and is sought in every form. `two_lesions.toml` says which sites come together.
The model sees what one lesion leaves unexplained, where enough was recorded to leave any; cases see what comes with what.
Two are said where one leaves something unexplained and they fit far better, or where how well they fit, how badly one does
and what cases were make it likely enough together, by numbers fitted on published cases (`[two_lesions]` of `weighing.toml`).
"""

import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from functools import cache, reduce
from math import fsum

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
from wardexam.reasoning.model.hypotheses import Codes, Hypotheses
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


@cache
def _united() -> Codes:
    """The same, the other loss first, so that what is taken of it lies together."""
    return np.ascontiguousarray(union().T)


def _ends(made: Hypotheses, alone: Array) -> NDArray[np.intp]:
    """Of each form the first and the last of its likeliest rows, which are mirror images where two equal, shape (forms, 2)."""
    most = np.maximum.reduceat(alone, made.start_of_form)
    least = most - EQUAL * np.maximum(1.0, np.abs(most))
    rows = np.flatnonzero(alone >= np.repeat(least, made.rows_of_form))
    first = np.searchsorted(rows, made.start_of_form)
    last = np.append(first[1:], len(rows)) - 1
    return np.stack([rows[first], rows[last]], axis=1)


def _apart(rows: NDArray[np.intp]) -> NDArray[np.intp]:
    """Ascending numbers without those that are there already."""
    return np.asarray(rows[np.append(True, rows[1:] != rows[:-1])])


def _candidates(made: Hypotheses, most: Array) -> list[int]:
    """The best form of each of the best places, by what is most likely of each form; -inf where it is no lesion."""
    by_place = np.full(made.place_of_form.max() + 1, -np.inf)
    np.maximum.at(by_place, made.place_of_form, most)
    best = np.flatnonzero((most >= by_place[made.place_of_form] - EQUAL) & np.isfinite(most))
    _, first = np.unique(made.place_of_form[best], return_index=True)
    best = np.sort(best[first])
    return [int(best[n]) for n in largest(most[best], _FIRST)]


@cache
def comes_with() -> dict[frozenset[str], float]:
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
def _beside(first: str, others: tuple[str, ...]) -> Floats:
    """Log of how much likelier each of other sites is beside a lesion of a first one."""
    return np.array([math.log(comes_with().get(frozenset((first, site)), 1.0)) for site in others])


def _mass(made: Hypotheses, log_prior: Array) -> Floats:
    """Log of the prior of each form, from that of one draw of every row, shape (forms,)."""
    prior = log_prior + made.log_draws
    top = prior.max()
    prior -= top
    np.exp(prior, out=prior)
    return np.asarray(np.log(np.add.reduceat(prior, made.start_of_form)) + top)


def _adds_up(piece: Piece) -> bool:
    """Whether two losses of what is looked up make a greater one: not of a level, nor of gait, whose codes are kinds."""
    sign = catalogue().get(piece.key[0])
    return piece.log.shape[0] == CODES and not (sign and sign.answers == _GAIT)


_LookUp = tuple[Piece, float]  # with what tempering leaves of its term


def _joined(
    made: Hypotheses,
    those: list[_LookUp],
    rows: NDArray[np.intp],
    others: NDArray[np.intp],
    width: int,
) -> Floats:
    """Log-likelihood of look-ups of one width under each of some rows together with each of the others, shape (others, rows, 1 or 3)."""
    lines = np.array([made.at[piece.key] for piece, _ in those], np.intp)
    both = _united().take(made.taken(lines, rows), axis=1)  # by look-up
    total = np.zeros((len(others), len(rows), width))
    for (piece, factor), codes in zip(those, both.transpose(1, 0, 2), strict=True):
        theirs = made.code(*piece.key, others)
        of_row = (piece.log * factor).take(codes, axis=0, mode="clip")
        total += of_row.take(theirs, axis=0, mode="clip")
    return total


def _levels(
    made: Hypotheses, those: list[_LookUp], rows: NDArray[np.intp], others: NDArray[np.intp]
) -> Floats:
    """Log-likelihood of the levels and the gait that were found: of two lesions, the one that fits better; shape (others, rows)."""
    total = np.zeros((len(others), len(rows)))
    for piece, factor in those:
        own, other = (piece.log[made.code(*piece.key, at), 0] for at in (rows, others))
        total += factor * np.maximum(other[:, None], own)
    return total


def _together(
    made: Hypotheses,
    terms: list[Term],
    rows: NDArray[np.intp],
    others: NDArray[np.intp],
) -> Floats:
    """Log-likelihood of the findings under each of some rows together with each of the others, shape (others, rows, 3)."""
    alone, brisk, kinds, beside = list[_LookUp](), list[_LookUp](), list[_LookUp](), list[_LookUp]()
    for term in terms:
        for piece in term.pieces:
            if piece.beside:
                those = beside
            elif not _adds_up(piece):
                those = kinds
            else:
                those = alone if piece.log.shape[1] == 1 else brisk
            those.append((piece, term.factor))
    flat = _levels(made, kinds, rows, others) + _contrasts(made, beside, rows, others)
    flat += _joined(made, alone, rows, others, 1)[..., 0]
    return flat[..., None] + _joined(made, brisk, rows, others, len(BRISK_WEIGHTS))


def _contrasts(
    made: Hypotheses, those: list[_LookUp], rows: NDArray[np.intp], others: NDArray[np.intp]
) -> Floats:
    """Log-likelihood that sides are unlike as they were found under each of some rows together with each of the others, shape (others, rows)."""
    total = np.zeros((len(others), len(rows)))
    for piece, factor in those:
        own, other = (
            _united().take(made.code(*key, rows), axis=1).take(made.code(*key, others), axis=0)
            for key in (piece.key, piece.beside) if key
        )  # fmt: skip
        total += piece.at(own.astype(np.int32) * CODES + other, factor)[..., 0]
    return total


def _single(made: Hypotheses, lines: Sequence[Array]) -> float:
    """The evidence for any one lesion, from its log by row: one line, or one by briskness."""
    most = reduce(np.maximum, lines)
    at = np.flatnonzero(most > most.max() - _FAR)
    held = np.stack([line.take(at, mode="clip") for line in lines]) + made.log_draws[at]
    if len(lines) > 1:
        held = held + np.log(BRISK_WEIGHTS)[:, None]
    return float(logsumexp(held.ravel(), 0))


@dataclass(frozen=True, slots=True)
class Joined:
    """How well two lesions fit.

    Attributes:
        ratio: Log of the evidence for any two of those that were joined, their prior included, to that for any one.
        half: The number of the form of the one half of the best.
        forms: How likely each form is as its other half, shape (forms,), adding up to 1.
    """

    ratio: float
    half: int
    forms: Floats


def joined(posterior: Posterior, log_prior: Array, likelihood: Likelihood) -> Joined | None:
    """The best two lesions together; None where too little was found, or nothing may be a lesion."""
    made, n = posterior.hypotheses, weighing_row("two_lesions")
    terms = [t for t in posterior.terms if t.kind != "silence"]
    if sum(t.kind in ("finding", "before") for t in terms) < n["findings"]:
        return None
    flat, brisk = likelihood(terms)
    lines = [log_prior + flat] if brisk is None else [log_prior + flat + line for line in brisk]
    alone = lines[len(lines) // 2]
    ends = _ends(made, alone)
    lesion = np.array([site in _lesions() for site in made.sites])[made.site_of_form]
    others = _apart(ends[lesion].ravel())
    of_form = made.form_of[others]
    alike = np.log(np.bincount(of_form)[of_form])
    mass = _mass(made, log_prior) - np.log(n["rows_alike"])
    group_of = made.group_of[others]
    site_of, sites_of = made.site_of_form[of_form], tuple(made.sites)
    halves = _candidates(made, np.where(lesion, alone[ends[:, 0]].astype(float), -np.inf))
    if not halves:
        return None
    rows = [_apart(ends[own]) for own in halves]
    # Those that are added up stand in columns: numpy is many times as fast along many as along three.
    together = (
        _together(made, terms, np.concatenate(rows), others).reshape(len(others), -1).T.copy()
    )
    found = -math.inf, halves[0], mass
    total, done = [], 0
    for own, each in zip(halves, rows, strict=True):
        beside = _beside(made.forms[own].site, sites_of)[site_of]
        same = np.where(group_of == made.group_of_form[own], _NEVER, 0.0)  # one of some extent
        likely = mass[of_form] - alike + beside + same + mass[own]
        brisk_too = _BRISK[len(each)][:, None]
        of_own = together[done : done + len(brisk_too)] + likely
        done += len(brisk_too)
        by_row = logsumexp(of_own + brisk_too, 0)
        total.append(float(logsumexp(by_row, 0)))
        if total[-1] > found[0] + EQUAL:
            found = total[-1], own, by_row
    _, own, by_row = found
    chance = np.exp(by_row - by_row.max())
    forms = np.asarray(np.bincount(of_form, chance / chance.sum(), len(made.forms)), float)
    ratio = float(logsumexp(np.array(total), 0)) - _single(made, lines)
    return Joined(ratio, own, forms)


def log_odds(ratio: float, cases: float, z: float | None, told: int) -> float:
    """Log odds of two lesions.

    Args:
        ratio: Log of how much better two fit than any one.
        cases: Log odds that a case like it was of two (`neighbours`).
        z: How well the first site alone fits; None where too little is known, which counts as well as any.
        told: How many things were found, stated or told of a limb: of many some speak for a second lesion by chance.
    """
    n = weighing_row("two_lesions")
    return fsum(n[name] * each for name, each in weighed(ratio, cases, z, told).items())


def weighed(ratio: float, cases: float, z: float | None, told: int) -> dict[str, float]:
    """What is weighed of two lesions, by the name of its number in `[two_lesions]`; the arguments are those of `log_odds`."""
    n = weighing_row("two_lesions")
    return {
        "alone": 1.0, "fit": min(max(ratio, n["worst"]), n["best"]), "cases": cases,
        "misfit": max(z or 0.0, n["least_z"]), "told": math.log1p(told),
    }  # fmt: skip


def said_of(posterior: Posterior) -> int:
    """How many things were found, stated or told of a limb."""
    return sum(term.kind != "silence" for term in posterior.terms)


def doubtful(surprising: Collection[str], z: float | None) -> bool:
    """Whether the first site alone leaves something unexplained, by what is rare under it and how well it fits."""
    least: float = weighing_row("fit")["doubtful"]
    return bool(surprising) or (z or 0.0) < least


def two_lesions(
    posterior: Posterior, log_prior: Array, likelihood: Likelihood, surprising: Collection[str], z: float | None,
    onset: Onset = "unknown",
) -> Pair | None:  # fmt: skip
    """Two lesions where they are likely enough to be thought of; named where two fit well enough.

    They are not sought where none would be said however well two fit.

    Args:
        posterior: What is likely.
        log_prior: Log prior of one draw of every row, shape (rows,).
        likelihood: The weights of some terms by row.
        surprising: What was found that is rare under the first site.
        z: How well that fits; None where too little is known.
        onset: When it began, for what the names may claim.
    """
    made, n, alike = posterior.hypotheses, weighing_row("two_lesions"), posterior.alike
    if alike is None:
        return None

    def odds(ratio: float) -> float:
        return log_odds(ratio, alike.two, z, said_of(posterior))

    unexplained, offered = doubtful(surprising, z), math.log(n["offered"])
    if not unexplained and odds(n["best"]) < offered:
        return None
    best = joined(posterior, log_prior, likelihood)
    if best is None:
        return None
    if odds(best.ratio) < offered and not (unexplained and best.ratio >= n["enough"]):
        return None
    times = even_chance(math.exp(odds(best.ratio)))
    unnamed = Pair("", "", times)
    if best.ratio < n["named"]:
        return unnamed
    groups = np.asarray(np.bincount(made.group_of_form, best.forms, len(made.groups)), float)
    only = np.zeros(len(made.forms))
    only[best.half] = 1.0
    known = Known.of(posterior.terms, onset)
    first = place(made, int(made.group_of_form[best.half]), only, known)
    second = place(made, leading_chance(groups), best.forms, known)
    return unnamed if first.name == second.name else Pair(first.name, second.name, times)
