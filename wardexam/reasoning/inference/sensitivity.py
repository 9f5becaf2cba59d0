"""How far the answer hangs on one grade: what would lead had a finding been graded one step off."""

from functools import lru_cache

import numpy as np

from wardexam.exam.answers import answers_for
from wardexam.exam.examination import Context, Findings, Onset
from wardexam.exam.findings import Finding
from wardexam.exam.wording import finding_text
from wardexam.reasoning.inference.evidence import log_likelihood
from wardexam.reasoning.inference.greatest import most_likely
from wardexam.reasoning.inference.pieces import Log
from wardexam.reasoning.inference.posterior import Posterior
from wardexam.reasoning.inference.ranking import either
from wardexam.reasoning.model import observation
from wardexam.reasoning.reading import Fragile, Site
from wardexam.reasoning.tables import weighing_row
from wardexam.reasoning.ties import ordered

_KEPT = 1000  # findings with their neighbours
_LEAST = 1e-12  # no probability is less, so that it divides
_DRAWS = 300  # the most probable; one step of one grade brings no other to the top


@lru_cache(maxsize=_KEPT)
def neighbours(finding: Finding) -> tuple[Finding, ...]:
    """The finding with its grade one step lower, then one step higher; none where it has no grade."""
    n = weighing_row("sensitivity")
    codes = [
        c
        for c in answers_for(finding.row.answers, finding.scale or "conventional").codes
        if c not in n["ungraded"]
    ]
    if finding.row.answers not in n["graded"] or finding.answer not in codes:
        return ()
    at = codes.index(finding.answer)
    steps = [other for other in (at - 1, at + 1) if 0 <= other < len(codes)]
    return tuple(finding.model_copy(update={"answer": codes[other]}) for other in steps)


@lru_cache(maxsize=_KEPT)
def _step(finding: Finding, other: Finding, age: int | None, onset: Onset) -> tuple[Log, float]:
    """By how much the log-likelihood by code moves with a finding's neighbour in its place, and how far apart that is at most."""
    context = Context(age=age, onset=onset)
    moved = log_likelihood(other, context) - log_likelihood(finding, context)
    return moved, float(moved.max() - moved.min())


def one_grade_off(
    posterior: Posterior, ranked: tuple[Site, ...], examination: Findings
) -> tuple[Fragile, ...]:
    """Grades that would bring another site to the top if they were one step off, the nearest first."""
    made = posterior.hypotheses
    if len(ranked) < 2 or ranked[0].id not in made.groups:
        return ()
    leaders = set(most_likely(posterior.groups))
    if leaders.isdisjoint(most_likely(posterior.plain)):
        return ()  # cases like it bring it to the top, whatever a grade
    top = posterior.foremost(_DRAWS)
    own = np.isin(posterior.group_of[top], list(leaders))
    top, count = np.concatenate([top[own], top[~own]]), int(own.sum())  # those of the leader first
    if count in (0, len(top)):
        return ()
    at = posterior.kept[top]
    joint = posterior.joint[top]
    groups = made.group_of[at]
    lead = float(np.log(ranked[0].probability / max(ranked[1].probability, _LEAST)))
    context = examination.context
    graded = weighing_row("sensitivity")["graded"]
    weighed = {t.key: t for t in posterior.terms if t.kind == "finding"}
    found = []
    for finding in examination.findings:
        term = weighed.get(finding.key)
        if term is None or finding.row.answers not in graded:
            continue
        factor, bearing = term.factor, observation.bearing(finding.row, context)
        codes = made.code(*finding.key)[at]
        for other in neighbours(finding):
            step, reach = _step(finding, other, *bearing)
            if factor * reach < lead:
                continue  # cannot make good the lead
            change = factor * step.take(codes, axis=0)
            if change[count:].max() - change[:count].min() < lead:
                continue
            most = change.max()
            mass = (joint * np.exp(change - most)).sum(axis=1)
            after = np.asarray(np.bincount(groups, mass, len(made.groups)), float)
            likely = most_likely(after)
            first = int(likely[0])
            if leaders.isdisjoint(likely):
                chance = float(after[first] / after.sum())
                name = next((s.name for s in ranked if s.id == made.groups[first]), "")
                if name:
                    name = either(name, [made.groups[g] for g in likely])
                    one = Fragile(finding.key, finding_text(finding), finding_text(other), name)
                    found.append((chance, one))
    nearest = ordered(found, lambda f: f[0], lambda f: (f[1].key, f[1].instead))
    return tuple(f for _, f in nearest[: weighing_row("sensitivity")["shown"]])
