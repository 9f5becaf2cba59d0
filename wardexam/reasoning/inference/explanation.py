"""Why the first site leads: weights of evidence, what it does not explain, and how well it fits."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.examination import Context, Findings
from wardexam.exam.flags import every_flag
from wardexam.exam.story import story
from wardexam.reasoning.inference.greatest import largest
from wardexam.reasoning.inference.pieces import LEAST, Piece, Term
from wardexam.reasoning.inference.posterior import Posterior, coded, logsumexp
from wardexam.reasoning.model import observation
from wardexam.reasoning.model.codes import BRISK_WEIGHTS
from wardexam.reasoning.model.forms import SIDE_NAMES
from wardexam.reasoning.reading import Evidence, Site
from wardexam.reasoning.tables import weighing_row
from wardexam.reasoning.ties import EQUAL, even, ordered

_NEAR = 12.0  # draws of a site further below its best (nats) change no weight in the second place
_MOST = 450  # and no more than so many of them
_BAN = np.log(10)  # nats
_MIDDLE = len(BRISK_WEIGHTS) // 2
OF_PERSON = ("age", "sex")  # columns of the story that no examination tells
_BEST = 40  # draws of the first site that speak for it


AmongAll = Callable[[Term], float]  # log of how likely a term is among all who are examined


@dataclass(frozen=True, slots=True)
class Weighed:
    """What each finding and statement weighs for the first site, strongest first; silence is no reason.

    Attributes:
        field: Against all who are examined, health included.
        second: Against the next site.
    """

    field: list[Evidence]
    second: list[Evidence]


def weighed(
    posterior: Posterior,
    ranked: tuple[Site, ...],
    among_all: AmongAll,
    story: Mapping[tuple[str, str], NDArray[np.float64]],
    context: Context,
    now: Collection[tuple[str, str]] | None = None,
) -> Weighed:
    """What each term and each word of the story weighs for the first site, in bans (log10).

    A word that is not among those told `now` is said to be from before; all are of now where that is None.

    Against the next site: leave one out, how far the log odds fall when the term is taken away. Against the
    field: how much likelier it is under the first site, whatever else was found, than among all who are examined.
    """
    made = posterior.hypotheses
    held = np.bincount(posterior.group_of, minlength=len(made.groups)) > 0
    known = [s for s in ranked if s.id in made.groups and s.probability > 0]
    known = [s for s in known if held[made.groups.index(s.id)]]
    stated = [n for n, t in enumerate(posterior.terms) if t.kind != "silence"]
    if not known or not stated:
        return Weighed([], [])
    second = _runner_up(posterior, tuple(known))
    leading = [known[:1], second] if second else [known[:1]]
    best = reduce(np.maximum, posterior.log.T)  # ten times as fast as `max` along three
    best = best - made.log_draws.take(posterior.kept, mode="clip")
    looked_up = _look_ups(posterior, stated)
    rows = []
    for sites in leading:
        among = np.zeros(len(made.groups), bool)
        among[[made.groups.index(site.id) for site in sites]] = True
        own = np.flatnonzero(among.take(posterior.group_of, mode="clip"))
        own = own[best[own] > best[own].max() - _NEAR]
        rows.append(own[largest(best[own], _MOST, posterior.draws[own])])
    moved = _without_each(posterior, rows, looked_up)
    at = [made.groups.index(sites[0].id) for sites in leading]
    words = [
        (told, _said(*told, context, now), moved[at[0]], moved[at[0]] - moved[at[-1]])
        for told, moved in story.items()
    ]
    field = np.array([among_all(posterior.terms[n]) for n in stated])
    apart = moved[0] - moved[1] if second else np.zeros(len(posterior.terms))
    return Weighed(
        _evidence(posterior, stated, moved[0][stated] - field, [(w, t, f) for w, t, f, _ in words]),
        _evidence(posterior, stated, apart[stated], [(w, t, s) for w, t, _, s in words]),
    )


def _evidence(
    posterior: Posterior,
    numbers: list[int],
    weights: NDArray[np.float64],
    story: list[tuple[tuple[str, str], str, float]],
) -> list[Evidence]:
    terms = [posterior.terms[n] for n in numbers]
    found = [
        Evidence(term.key, term.text, even(weight), term.kind)
        for term, weight in zip(terms, (weights / _BAN).tolist(), strict=True)
        if term.kind != "silence"
    ]
    found += [Evidence(word, text, even(weight / _BAN), "told") for word, text, weight in story]
    return ordered(found, lambda e: e.weight, lambda e: (e.key, e.text))


def _said(
    column: str, value: str, context: Context, now: Collection[tuple[str, str]] | None
) -> str:
    """A word of the story, said to be from before where it was not told now; age and sex are of whoever it is."""
    words = told_words(column, value, context)
    of_now = now is None or (column, value) in now or column in OF_PERSON
    return words if of_now else f"before: {words}"


def told_words(column: str, value: str, context: Context) -> str:
    """A word of the story as a doctor says it: ``pain: back``, ``age 76``, ``yes: cancer``."""
    if column == "flag":
        return f"yes: {every_flag()[value].short}"
    if column == "age":
        return f"age {context.age}"
    asked = next((q for q in story() if q.field == column), None)
    return f"{asked.name}: {asked.words(value)}" if asked else value


def _runner_up(posterior: Posterior, ranked: tuple[Site, ...]) -> list[Site]:
    """The second site; of two as likely the one likelier before tempering, or on the side of the first.

    Where it is as likely on the right as on the left, and the first has no side, it is both together.
    """
    least = ranked[1].probability * (1 - EQUAL) if len(ranked) > 1 else 0.0
    equals = [s for s in ranked[1:] if s.probability >= least]
    groups, index = posterior.plain, posterior.hypotheses.groups.index
    by_side = sorted(equals, key=lambda s: s.side != ranked[0].side)
    likeliest = ordered(
        enumerate(by_side), lambda e: float(np.log(groups[index(e[1].id)])), lambda e: e[0]
    )
    second = [site for _, site in likeliest[:1]]
    if not second or ranked[0].side in SIDE_NAMES or second[0].side not in SIDE_NAMES:
        return second
    place = second[0].id.rpartition(".")[0]
    return [site for site in equals if site.id.rpartition(".")[0] == place]


@dataclass(frozen=True, slots=True)
class _LookUps:
    """The look-ups of the terms that briskness leaves alone, one after the other; those beside another sign apart.

    Attributes:
        flat: Numbers of those terms.
        brisk: Numbers of the others.
        lines: The line of codes of each look-up, shape (look-ups,).
        starts: Where the table of each begins in `log`, shape (look-ups, 1).
        log: The tables.
        first: The first look-up of each term.
        factors: What tempering leaves of each term, shape (terms, 1).
        beside: Look-ups beside another sign, each with its term's place in `flat`.
    """

    flat: list[int]
    brisk: list[int]
    lines: NDArray[np.intp]
    starts: NDArray[np.intp]
    log: NDArray[np.float64]
    first: NDArray[np.intp]
    factors: NDArray[np.float64]
    beside: list[tuple[int, Piece]]


def _look_ups(posterior: Posterior, numbers: list[int]) -> _LookUps:
    every, at = posterior.terms, posterior.hypotheses.at
    brisk = [n for n in numbers if any(p.log.shape[1] > 1 for p in every[n].pieces)]
    flat = sorted(set(numbers).difference(brisk))
    each = [[p for p in every[n].pieces if not p.beside] for n in flat]
    pieces = [p for some in each for p in some]
    sizes = np.array([0, *(len(p.log) for p in pieces)])
    return _LookUps(
        flat,
        brisk,
        np.array([at[p.key] for p in pieces], np.intp),
        np.cumsum(sizes[:-1])[:, None],
        np.concatenate([np.zeros(0), *(p.log[:, 0] for p in pieces)]),
        np.cumsum([0, *(len(some) for some in each)])[:-1],
        np.array([every[n].factor for n in flat])[:, None],
        [(line, p) for line, n in enumerate(flat) for p in every[n].pieces if p.beside],
    )


def _without_each(
    posterior: Posterior, rows: list[NDArray[np.intp]], looked_up: _LookUps
) -> NDArray[np.float64]:
    """How far the log of the sum of some kept rows, of each of some places, falls when each of some terms is taken away.

    0 for other terms; shape (places, terms).
    """
    made, taught, every = posterior.hypotheses, posterior.taught, posterior.terms
    at = posterior.kept[np.concatenate(rows)]
    forms = made.form_of[at]
    brisk = np.zeros((len(looked_up.brisk), len(at), len(BRISK_WEIGHTS)))
    for line, n in enumerate(looked_up.brisk):
        brisk[line] = posterior.value(every[n], at)
        if every[n].key in taught:
            brisk[line] += taught[every[n].key][forms][:, None]
    codes = made.taken(looked_up.lines, at)
    weights = looked_up.log.take(codes + looked_up.starts)
    flat = np.add.reduceat(weights, looked_up.first, axis=0) * looked_up.factors
    for line, piece in looked_up.beside:
        flat[line] += piece.at(coded(made, piece, at), looked_up.factors[line, 0])[:, 0]
    for line, n in enumerate(looked_up.flat):
        if every[n].key in taught:
            flat[line] += taught[every[n].key][forms]
    fall, done = np.zeros((len(rows), len(every))), 0
    for place, own in enumerate(rows):
        log, those = posterior.log[own], slice(done, done := done + len(own))
        whole = float(logsumexp(log.ravel(), 0))
        if looked_up.brisk:
            less = (log - brisk[:, those]).reshape(len(brisk), -1)
            fall[place, looked_up.brisk] = whole - logsumexp(less, 1)
        if looked_up.flat:
            less = logsumexp(log.T.copy(), 0) - flat[:, those]
            fall[place, looked_up.flat] = whole - logsumexp(less, 1)
    return fall


def fit(
    posterior: Posterior, top: Site, examination: Findings
) -> tuple[tuple[str, ...], float | None]:
    """Findings that are rare under the first site, rarest first, and how well it fits as a z score.

    The z sets the log-likelihood of the findings beside its mean and spread under the site's best
    rows: what the same signs would give if the site were right.
    """
    made = posterior.hypotheses
    if top.id not in made.groups:
        return (), None
    members = np.flatnonzero(posterior.group_of == made.groups.index(top.id))
    best = posterior.foremost(_BEST, members)
    weights, at = posterior.rows[best] / posterior.rows[best].sum(), posterior.kept[best]
    context, n = examination.context, weighing_row("fit")
    told = [t for t in posterior.terms if t.kind == "finding"]
    told = [t for t in told if not catalogue()[t.key[0]].level]
    if not told:
        return (), _scored(0.0, 0.0, posterior)
    codes = made.taken(np.array([made.at[t.key] for t in told]), at)
    each = [
        observation.observed(catalogue()[t.key[0]], context).chance[:, :, _MIDDLE].take(c, axis=0)
        for t, c in zip(told, codes, strict=True)
    ]
    likely = [_middle(t.pieces[0].log).take(c) for t, c in zip(told, codes, strict=True)]
    # Of every finding its own log, and of its answers the mean, the spread and the greatest.
    own = np.log(np.maximum(LEAST, np.exp(likely) @ weights))
    starts = np.cumsum([0, *(chance.shape[1] for chance in each[:-1])])
    chances = weights @ np.concatenate(each, axis=1)
    log = np.log(chances)
    average = np.add.reduceat(chances * log, starts)
    spread = np.add.reduceat(chances * log**2, starts) - average**2
    most = np.maximum.reduceat(log, starts)
    factors = np.array([t.factor for t in told])
    rare = (own < np.log(n["unlikely"])) & (own < most - n["far"])
    surprise = [(own[at], told[at].text) for at in np.flatnonzero(rare)]
    least = ordered(surprise, lambda s: -s[0], lambda s: s[1])
    z = _scored(float(factors @ (own - average)), float(factors @ spread), posterior)
    return tuple(text for _, text in least), z


def _scored(beyond: float, variance: float, posterior: Posterior) -> float | None:
    """How far off the mean the log-likelihood lies, in its spread; None where too little was found."""
    if sum(t.kind != "before" for t in posterior.terms) < weighing_row("fit")["terms"]:
        return None
    return even(beyond / np.sqrt(variance)) if variance > 0 else 0.0


def _middle(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """The column of middling briskness."""
    return values[:, _MIDDLE if values.shape[1] > 1 else 0]
