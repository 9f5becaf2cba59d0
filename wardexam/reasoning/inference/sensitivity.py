"""How far the answer hangs on one grade: what would lead had a finding been graded one step off."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

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
from wardexam.reasoning.model.codes import BRISK_WEIGHTS
from wardexam.reasoning.reading import Fragile, Site
from wardexam.reasoning.tables import weighing_row
from wardexam.reasoning.ties import EQUAL, ordered

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


@dataclass(frozen=True, slots=True)
class _Step:
    """One step of a finding's grade.

    Attributes:
        other: The finding as it might have been graded.
        moved: By how much the log-likelihood by code moves, shape (codes, 1 or 3).
        reach: How far apart that is at most.
    """

    other: Finding
    moved: Log
    reach: float


@lru_cache(maxsize=_KEPT)
def _steps(finding: Finding, age: int | None, onset: Onset) -> tuple[_Step, ...]:
    context = Context(age=age, onset=onset)
    found = []
    for other in neighbours(finding):
        moved = log_likelihood(other, context) - log_likelihood(finding, context)
        found.append(_Step(other, moved, float(moved.max() - moved.min())))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _OneOff:
    """A finding that was weighed, what tempering leaves of it, and a step of its grade."""

    finding: Finding
    factor: float
    step: _Step

    def fragile(self, leads: str) -> Fragile:
        """It in words, with what would lead."""
        said, instead = finding_text(self.finding), finding_text(self.step.other)
        return Fragile(self.finding.key, said, instead, leads)


def _one_off(posterior: Posterior, examination: Findings) -> Iterator[_OneOff]:
    """Every step of a grade that was weighed."""
    graded, context = weighing_row("sensitivity")["graded"], examination.context
    weighed = {t.key: t for t in posterior.terms if t.kind == "finding"}
    for finding in examination.findings:
        term = weighed.get(finding.key)
        if term is not None and finding.row.answers in graded:
            for step in _steps(finding, *observation.bearing(finding.row, context)):
                yield _OneOff(finding, term.factor, step)


def _change(posterior: Posterior, off: Sequence[_OneOff], rows: NDArray[np.intp]) -> Log:
    """By how much the log-likelihood of some rows moves with each step, shape (steps, rows, 1 or 3)."""
    made = posterior.hypotheses
    each = [
        o.step.moved.take(made.code(*o.finding.key, rows), axis=0, mode="clip") * o.factor
        for o in off
    ]
    return np.stack(each) if each else np.zeros((0, len(rows), 1))


def one_grade_off(
    posterior: Posterior, ranked: tuple[Site, ...], examination: Findings
) -> tuple[Fragile, ...]:
    """Grades that would bring another site to the top if they were one step off, the nearest first."""
    made = posterior.hypotheses
    if len(ranked) < 2 or ranked[0].id not in made.groups:
        return ()
    leads = np.zeros(len(made.groups), bool)
    leads[most_likely(posterior.groups)] = True
    if not leads[most_likely(posterior.plain)].any():
        return ()  # cases like it bring it to the top, whatever a grade
    top = posterior.foremost(_DRAWS)
    own = leads[posterior.group_of[top]]
    top, count = np.concatenate([top[own], top[~own]]), int(own.sum())  # those of the leader first
    if count in (0, len(top)):
        return ()
    lead = float(np.log(ranked[0].probability / max(ranked[1].probability, _LEAST)))
    groups, member = np.unique(posterior.group_of[top], return_inverse=True)
    by_group = np.zeros((len(top), len(groups)))
    by_group[np.arange(len(top)), member] = 1
    led, names, found = leads[groups], {s.id: s.name for s in ranked}, []
    off = [o for o in _one_off(posterior, examination) if o.factor * o.step.reach >= lead]
    for width in (1, len(BRISK_WEIGHTS)):
        those = [o for o in off if o.step.moved.shape[1] == width]
        change = _change(posterior, those, posterior.kept[top])
        good = change[:, count:].max(axis=(1, 2)) - change[:, :count].min(axis=(1, 2)) >= lead
        change = change[good]
        mass = np.exp(change - change.max(axis=(1, 2), keepdims=True)) * posterior.joint[top]
        dull, middling, brisk = np.moveaxis(mass, 2, 0)  # many times as fast as `sum` along three
        after = (dull + middling + brisk) @ by_group
        likely = after >= after.max(axis=1, keepdims=True) * (1 - EQUAL)
        others = [o for o, makes_good in zip(those, good, strict=True) if makes_good]
        for at in np.flatnonzero(~likely[:, led].any(axis=1)):
            equals = [made.groups[g] for g in groups[likely[at]]]
            if equals[0] in names:
                one = others[at].fragile(either(names[equals[0]], equals))
                found.append((float(after[at].max() / after[at].sum()), one))
    nearest = ordered(found, lambda f: f[0], lambda f: (f[1].key, f[1].instead))
    return tuple(f for _, f in nearest[: weighing_row("sensitivity")["shown"]])
