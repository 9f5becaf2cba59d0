"""The posterior over every row: prior and weights added up, then the few rows that matter."""

from collections import Counter, OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from functools import cached_property, reduce
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import signs_of
from wardexam.exam.examination import Context, Findings
from wardexam.reasoning.inference.evidence import Term, terms, together
from wardexam.reasoning.inference.prior import Priors
from wardexam.reasoning.model.codes import BRISK_WEIGHTS
from wardexam.reasoning.model.hypotheses import Codes, Hypotheses, Key
from wardexam.reasoning.model.severities import Array

Floats = NDArray[np.float64]
_FAR = 17.0  # a row so many nats below the best counts for nothing (4e-8)
_SIDES = ("midline", "right", "left")
_FURTHER = 68.0  # so many where no second site is nearer
_KEPT_PRIORS = 4  # 0.1 MB each
_KEPT_SUMS = 48  # 0.1 MB each
_KEPT_SMALL = 200  # over folds, some kB each
_MANY = 3  # signs that rows are folded over, at least
_MIX = np.uint64(0x9E3779B97F4A7C15)  # odd, so that no number is lost when it multiplies
_AGAIN = (
    8  # times that they are added up before; folding costs as much as adding up some twelve times
)

Place = tuple[str, str, str]  # part, limb and side


def logsumexp(values: Floats, axis: int) -> Floats:
    """Log of the sum of exponentials along an axis."""
    top = values.max(axis=axis, keepdims=True)
    return np.asarray(np.log(np.exp(values - top).sum(axis=axis)) + top.squeeze(axis))


@dataclass(frozen=True)
class Posterior:
    """Probability of the rows that matter.

    Attributes:
        hypotheses: All rows.
        terms: What was added to the prior.
        kept: Numbers of the rows within reach of the best one, ascending. Shape (kept,).
        log: Log of prior times likelihood by kept row and briskness, shape (kept, 3).
    """

    hypotheses: Hypotheses
    terms: list[Term]
    kept: NDArray[np.intp]
    log: Floats

    @cached_property
    def evidence(self) -> float:
        """Log of prior times likelihood summed over all rows."""
        return float(logsumexp(self.log.ravel(), 0))

    @cached_property
    def joint(self) -> Floats:
        """Probability by kept row and briskness, shape (kept, 3), adding up to 1."""
        made = np.exp(self.log - self.log.max())
        return np.asarray(made / made.sum())

    @cached_property
    def rows(self) -> Floats:
        """Probability by kept row, shape (kept,)."""
        dull, middling, brisk = self.joint.T
        return np.asarray(dull + middling + brisk)

    @cached_property
    def forms(self) -> Floats:
        """Probability by form, shape (forms,)."""
        made = self.hypotheses
        return np.asarray(np.bincount(made.form_of[self.kept], self.rows, len(made.forms)), float)

    @cached_property
    def groups(self) -> Floats:
        """Probability by group, shape (groups,)."""
        made = self.hypotheses
        return np.asarray(np.bincount(made.group_of_form, self.forms, len(made.groups)), float)

    def value(self, term: Term, rows: NDArray[np.intp] | None = None) -> Floats:
        """A term's weight on the kept rows, or on those given, shape (rows, 1 or 3)."""
        at = self.kept if rows is None else rows
        total = np.zeros((len(at), 1))
        for piece in term.pieces:
            codes = self.hypotheses.code(*piece.key).take(at)
            total = total + piece.log.take(codes, axis=0)
        return np.asarray(total * term.factor)


@dataclass(frozen=True, slots=True)
class Fold:
    """The rows of some signs, those with the same codes for all of them put together.

    Attributes:
        codes: Codes of each sign by fold, each of shape (folds,).
        of: The fold of each row, shape (rows,).
    """

    codes: dict[Key, Codes]
    of: NDArray[np.int32]


def _kept(
    store: OrderedDict[Hashable, Array], most: int, key: Hashable, make: Callable[[], Array]
) -> Array:
    """What is kept under a key, made where it is not; the one not asked for longest gives way."""
    if key in store:
        store.move_to_end(key)
        return store[key]
    made = store[key] = make()
    if len(store) > most:
        store.popitem(last=False)
    return made


def fold(made: Hypotheses, keys: tuple[Key, ...]) -> Fold:
    """The rows folded over some signs and sides."""
    lines = made.codes[[made.at[key] for key in keys]]
    mixed = np.zeros(made.rows, np.uint64)
    for line in lines:
        mixed = mixed * _MIX + line
    _, first, of = np.unique(mixed, return_index=True, return_inverse=True)
    columns = np.ascontiguousarray(lines[:, first])
    if not np.array_equal(columns[:, of], lines):  # two that differ were mixed to the same number
        columns, of = np.unique(lines, axis=1, return_inverse=True)
    return Fold(dict(zip(keys, columns, strict=True)), of.ravel().astype(np.int32))


class Sums:
    """Adds weights up over all rows, keeping the sums of bundles that did not change.

    Args:
        hypotheses: All rows.
        dtype: Of the sums over all rows; single precision moves a probability by 1e-5 at most.
    """

    def __init__(self, hypotheses: Hypotheses, dtype: type[np.floating[Any]] = np.float32) -> None:
        self._made = hypotheses
        self._dtype = dtype
        self._folds: dict[Place, Fold] = {}
        self._brisk: dict[tuple[str, str], Fold] = {}
        self._summed: Counter[Place] = Counter()
        self._bundles: OrderedDict[Hashable, Array] = OrderedDict()
        self._small: OrderedDict[Hashable, Array] = OrderedDict()
        self._priors: OrderedDict[Hashable, Array] = OrderedDict()

    @cached_property
    def _prior(self) -> Priors:
        return Priors(self._made)

    def prior(self, context: Context) -> Array:
        """Log prior of every row, shape (rows,)."""
        return _kept(
            self._priors,
            _KEPT_PRIORS,
            context,
            lambda: self._prior.log(context).astype(self._dtype),
        )

    def posterior(self, examination: Findings, *, silence: bool) -> Posterior:
        """The posterior of an examination; nothing entered gives the prior."""
        return self.of(terms(examination, silence=silence), examination.context)

    def of(self, found: list[Term], context: Context) -> Posterior:
        """The posterior of some terms, told in this context."""
        bundles: dict[tuple[str, tuple[str, ...]], list[Term]] = {}
        for term in found:
            bundles.setdefault((term.side, term.bundle), []).append(term)
        flat = {side: np.zeros(self._made.rows, self._dtype) for side in _SIDES}
        brisk: dict[tuple[str, str], Array] = {}
        # A canonical order within each side, and the sides added last, make the mirror exact.
        for (side, bundle), members in sorted(bundles.items(), key=lambda b: _without_side(*b[0])):
            total = self._sum(members)
            if total.shape[1] == 1:
                flat[side] += total[:, 0]
            else:
                place = bundle[0], side
                brisk[place] = brisk[place] + total if place in brisk else total
        log = self.prior(context) + (flat["midline"] + (flat["right"] + flat["left"]))
        return self._narrowed(log, brisk, found)

    def _sum(self, members: list[Term]) -> Array:
        """The weights of a bundle added up, shape (rows, 1), or (folds, 3) where briskness matters."""
        key = tuple((p.key, p.said, t.factor) for t in members for p in t.pieces)
        width = max(p.log.shape[1] for t in members for p in t.pieces)
        folded = self._folded(members) if width == 1 else self._brisk_fold(members[0])

        def add() -> Array:
            return self._added(members, folded, width)

        if width > 1 or folded is None:
            return _kept(self._bundles, _KEPT_SUMS, key, add)
        return _kept(self._small, _KEPT_SMALL, key, add).take(folded.of, axis=0)

    def _added(self, members: list[Term], folded: Fold | None, width: int) -> Array:
        """The weights of some terms added up, row for row or fold for fold, shape (rows or folds, width)."""
        count = self._made.rows if folded is None else len(next(iter(folded.codes.values())))
        held = np.zeros((count, width), self._dtype)
        for term in members:
            for piece in term.pieces:
                table = (piece.log * term.factor).astype(self._dtype)
                codes = folded.codes[piece.key] if folded else self._made.code(*piece.key)
                held += table.take(codes, axis=0)
        return held

    def _brisk_fold(self, term: Term) -> Fold:
        """The rows folded over a part's signs of one side: a fifth of the rows, three numbers each."""
        place = term.bundle[0], term.side
        if place not in self._brisk:
            of_part = {sign.id for sign in signs_of(place[0])}
            keys = tuple(key for key in self._made.at if key[0] in of_part and key[1] == place[1])
            self._brisk[place] = fold(self._made, keys)
        return self._brisk[place]

    def _folded(self, members: list[Term]) -> Fold | None:
        """The rows folded over the signs of a statement or a silence, where they are added up again and again."""
        term = members[0]
        if len(term.pieces) < _MANY:
            return None
        place = (*term.key, term.side)
        self._summed[place] += 1
        if place not in self._folds and self._summed[place] > _AGAIN:
            self._folds[place] = fold(self._made, together(*place))
        return self._folds.get(place)

    def _narrowed(
        self, log: Array, brisk: dict[tuple[str, str], Array], found: list[Term]
    ) -> Posterior:
        # By briskness, a line of rows for each, since lines are added and compared faster than columns.
        wide: dict[str, list[Array]] = {}
        for place, held in brisk.items():
            of = self._brisk[place].of.astype(np.intp)  # kept in half the room
            lines = [line.take(of) for line in np.ascontiguousarray(held.T)]
            wide[place[1]] = _both(wide[place[1]], lines) if place[1] in wide else lines
        sides = [wide[s] for s in ("right", "left") if s in wide]
        if len(sides) == 2:
            sides = [_both(*sides)]
        if "midline" in wide:
            sides.append(wide["midline"])
        total = _both(*sides) if len(sides) == 2 else sides[0] if sides else None
        most = log if total is None else log + reduce(np.maximum, total)
        kept = np.flatnonzero(most > most.max() - _FAR)
        # A runner-up is needed to weigh against.
        if np.count_nonzero(np.bincount(self._made.group_of[kept])) < 2:
            kept = np.flatnonzero(most > most.max() - _FURTHER)
        joint = log[kept, None].astype(float) + np.log(BRISK_WEIGHTS)[None, :]
        if total is not None:
            joint = joint + np.stack([line[kept] for line in total], axis=1)
        return Posterior(self._made, found, kept, joint)


def _both(first: list[Array], second: list[Array]) -> list[Array]:
    return [a + b for a, b in zip(first, second, strict=True)]


def _without_side(side: str, bundle: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(b.removeprefix(f"{side} ") for b in bundle)
