"""The posterior over every row: prior and weights added up, then the few rows that matter."""

from collections import Counter, OrderedDict, defaultdict
from collections.abc import Callable, Collection, Hashable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, partial, reduce
from operator import is_
from typing import Any, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import signs_of
from wardexam.exam.examination import Context, Findings
from wardexam.exam.findings import Finding
from wardexam.reasoning.inference.evidence import fading, terms, together
from wardexam.reasoning.inference.greatest import largest
from wardexam.reasoning.inference.neighbours import Alike, Neighbours
from wardexam.reasoning.inference.pieces import LEAST, Piece, Term
from wardexam.reasoning.inference.prior import Priors, told
from wardexam.reasoning.inference.taught import Taught, area_of, seen, shown, usual, whole
from wardexam.reasoning.inference.tempering import tempered
from wardexam.reasoning.model.codes import BRISK_WEIGHTS, CODES
from wardexam.reasoning.model.hypotheses import Codes, Hypotheses, Key
from wardexam.reasoning.model.severities import Array
from wardexam.reasoning.tables import read, weighing_row

Floats = NDArray[np.float64]
Value = TypeVar("Value")
Mask = NDArray[np.bool_]
_FAR = 17.0  # a row so many nats below the best counts for nothing (4e-8)
_SIDES = ("midline", "right", "left")
_FURTHER = 68.0  # so many where no second site is nearer
_KEPT_PRIORS = 4  # 0.1 MB each
KEPT = 48  # sums, 0.1 MB each
KEPT_OF_MANY = 150  # where many sheets are read: what was normal is alike in them
KEPT_IN_SESSION = 6  # where many sessions share a host: a longer examination adds some up again
_KEPT_AMONG = 2000  # numbers
_KEPT_SMALL = 200  # over folds, some kB each
_KEPT_LINES = 4  # of what is kept by briskness, one for so many sums: 0.3 MB each
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


@dataclass(frozen=True, slots=True)
class Before:
    """What was likely before anything was known.

    Attributes:
        forms: Gives the probability of every form then, shape (forms,).
        known: How many signs were found, and words of the story and flags told; what was found before by what is left of it.
    """

    forms: Callable[[], Floats]
    known: float


@dataclass(frozen=True)
class Posterior:
    """Probability of the rows that matter.

    Attributes:
        hypotheses: All rows.
        terms: What was added to the prior.
        kept: Numbers of the rows within reach of the best one, ascending. Shape (kept,).
        log: Log of prior times likelihood by kept row and briskness, shape (kept, 3).
        before: What was likely before anything was known; None where the chances are not to be tempered.
        beside: Gives what published cases like this one were, all or those that are asked; None where the chances are the
            model's alone.
        taught: What published cases add for a finding to the log of every form, by sign and side, shape (forms,).
    """

    hypotheses: Hypotheses
    terms: list[Term]
    kept: NDArray[np.intp]
    log: Floats
    before: Before | None = None
    beside: Callable[[Mask | None], Alike] | None = None
    taught: Mapping[Key, Floats] = field(default_factory=dict)

    @cached_property
    def joint(self) -> Floats:
        """Probability by kept row and briskness, shape (kept, 3), adding up to 1."""
        made: Floats = self.log - self.log.max()
        np.exp(made, out=made)  # in place: so much memory is slow to come by
        made /= made.sum()
        return made

    @cached_property
    def rows(self) -> Floats:
        """Probability by kept row, shape (kept,)."""
        dull, middling, brisk = self.joint.T
        return np.asarray(dull + middling + brisk)

    @cached_property
    def draws(self) -> NDArray[np.uint8]:
        """How many draws each kept row holds, shape (kept,)."""
        return self.hypotheses.draws.take(self.kept, mode="clip")

    @cached_property
    def _each(self) -> Floats:
        """Probability of one draw by kept row, shape (kept,)."""
        return np.asarray(self.rows / self.draws)

    @cached_property
    def group_of(self) -> NDArray[np.int16]:
        """The number of each kept row's group, shape (kept,)."""
        return self.hypotheses.group_of.take(self.kept, mode="clip")

    def foremost(self, count: int, among: NDArray[np.intp] | None = None) -> NDArray[np.intp]:
        """The kept rows, all or those given by their places, that hold so many of the likeliest draws."""
        if among is None:
            return largest(self._each, count, self.draws)
        return among[largest(self._each[among], count, self.draws[among])]

    @cached_property
    def _plain(self) -> Floats:
        """Probability by form as the model has it, shape (forms,)."""
        made = self.hypotheses
        form_of = made.form_of.take(self.kept, mode="clip")
        return np.asarray(np.bincount(form_of, self.rows, len(made.forms)), float)

    @cached_property
    def alike(self) -> Alike | None:
        """What published cases like this one were; None where the chances are the model's alone."""
        return self.beside(None) if self.beside else None

    def _grouped(self, forms: Floats) -> Floats:
        made = self.hypotheses
        return np.asarray(np.bincount(made.group_of_form, forms, len(made.groups)), float)

    @cached_property
    def forms(self) -> Floats:
        """Probability by form, tempered and with cases like it, shape (forms,); within a group in the model's proportions."""
        if self.before is None:
            return self._plain
        before, group_of = self.before.forms(), self.hypotheses.group_of_form
        groups = self.plain
        held = np.where(groups > 0, groups, 1)
        chance = tempered(groups, self._grouped(before), self.before.known)
        if self.alike:
            chance = self.alike.beside(chance)
        whole = self._grouped(before)
        own = before / np.where(whole > 0, whole, 1)[group_of]
        shape = np.where(groups[group_of] > 0, self._plain / held[group_of], own)
        return np.asarray(chance[group_of] * shape)

    @cached_property
    def groups(self) -> Floats:
        """Probability by group, tempered and with cases like it, shape (groups,)."""
        return self._grouped(self.forms)

    @cached_property
    def plain(self) -> Floats:
        """Probability by group as the model has it, shape (groups,)."""
        return self._grouped(self._plain)

    def value(self, term: Term, rows: NDArray[np.intp] | None = None) -> Floats:
        """A term's weight on the kept rows, or on those given, shape (rows, 1 or 3)."""
        at = self.kept if rows is None else rows
        total = np.zeros((len(at), 1))
        for piece in term.pieces:
            total = total + piece.at(coded(self.hypotheses, piece, at), term.factor)
        return total


def coded(
    made: Hypotheses, piece: Piece, rows: NDArray[np.intp] | None = None
) -> NDArray[np.integer[Any]]:
    """What a look-up looks up of every row, or of each of those given."""
    return made.both(piece.key, piece.beside, rows) if piece.beside else made.code(*piece.key, rows)


def answered_yes(examination: Findings, before: Collection[Finding] = ()) -> tuple[str, ...]:
    """The red flags answered yes, what a quality found adds, and a word for each site that what was found does not support."""
    said = [f for f, answer in examination.flags.items() if answer == "yes"]
    found, story = (*examination.findings, *before), read("inference/story.toml")
    qualities = {quality for f in found for quality in f.qualities}
    said += [word for word, row in story["found"].items() if row["quality"] in qualities]
    told, meant = examination.context, _Meant.of(found)
    answers = defaultdict[str, set[str | None]](set)
    for finding in found:
        answers[finding.sign].add(finding.answer)
    for row in story["support"].values():
        shown = any(not answers[s].isdisjoint(row["answers"]) for s in row.get("signs", ()))
        spoken = not set(said).isdisjoint((*row.get("flags", ()), *row.get("words", ())))
        columns = (("complaints", told.complaint), ("pain", told.pain), ("settings", told.setting))
        supported = shown or spoken or any(word in row.get(c, ()) for c, word in columns)
        if "else" in row and not supported:
            said.append(row["else"])
        if meant.refutes(row) and not (supported and row.get("stands", False)):
            said.append(row["refuted"])
    return tuple(sorted(set(said)))  # a word said twice would count twice


@dataclass(frozen=True, slots=True)
class _Meant:
    """What findings mean: by their sign, by the kind of its answers, and of each sign what was meant on any side."""

    signs: frozenset[tuple[str, str]]
    kinds: frozenset[tuple[str, str]]
    sides: Mapping[str, set[str]]

    @classmethod
    def of(cls, found: Collection[Finding]) -> Self:
        each = [(f, f.meaning) for f in found if f.answer is not None]
        sides: dict[str, set[str]] = {}
        for finding, meaning in each:
            sides.setdefault(finding.sign, set()).add(meaning)
        return cls(
            frozenset((f.sign, meaning) for f, meaning in each),
            frozenset((f.row.answers, meaning) for f, meaning in each),
            sides,
        )

    def refutes(self, row: Mapping[str, Any]) -> bool:
        """Whether a sign was found that a site cannot give: by its meaning, alone or beside a better other side."""
        return (
            _any_of(row.get("unless", {}), self.signs)
            or _any_of(row.get("unless_kinds", {}), self.kinds)
            or any(
                len(own := self.sides.get(sign, set())) > 1 and not own.isdisjoint(meanings)
                for sign, meanings in row.get("unless_one_sided", {}).items()
            )
        )


def _any_of(named: Mapping[str, Collection[str]], found: frozenset[tuple[str, str]]) -> bool:
    return any((name, m) in found for name, meanings in named.items() for m in meanings)


@dataclass(frozen=True, slots=True)
class Fold:
    """The rows of some signs, those with the same codes for all of them put together.

    Attributes:
        codes: Codes of each sign by fold, each of shape (folds,).
        of: The fold of each row, shape (rows,).
    """

    codes: dict[Key, Codes]
    of: NDArray[np.integer[Any]]


def _kept(
    store: OrderedDict[Hashable, Value], most: int, key: Hashable, make: Callable[[], Value]
) -> Value:
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
    few = len(columns[0]) <= np.iinfo(np.uint16).max
    kind = np.uint16 if few else np.int32
    return Fold(dict(zip(keys, columns, strict=True)), of.ravel().astype(kind))


class Sums:
    """Adds weights up over all rows, keeping the sums of bundles that did not change.

    Args:
        hypotheses: All rows.
        dtype: Of the sums over all rows; single precision moves a probability by 1e-5 at most.

    Attributes:
        kept: How many sums are kept at most.
    """

    def __init__(self, hypotheses: Hypotheses, dtype: type[np.floating[Any]] = np.float32) -> None:
        self._made = hypotheses
        self._dtype = dtype
        self.kept = KEPT
        self._folds: dict[Place, Fold] = {}
        self._brisk: dict[tuple[str, str], Fold] = {}
        self._summed: Counter[Place] = Counter()
        self._bundles: OrderedDict[Hashable, Array] = OrderedDict()
        self._lines: OrderedDict[Hashable, list[Array]] = OrderedDict()
        self._small: OrderedDict[Hashable, Array] = OrderedDict()
        self._priors: OrderedDict[Hashable, Array] = OrderedDict()
        self._expected: dict[Key, Floats] = {}
        self._told: OrderedDict[Hashable, dict[tuple[str, str], Floats]] = OrderedDict()
        self._among: OrderedDict[Hashable, float] = OrderedDict()
        self._last: tuple[list[Term], Array, list[Array] | None] | None = None

    @cached_property
    def _prior(self) -> Priors:
        return Priors(self._made)

    @cached_property
    def _taught(self) -> Taught:
        return Taught(self._made)

    @cached_property
    def neighbours(self) -> Neighbours:
        """The published cases that an examination is compared with."""
        return Neighbours(self._made)

    @cached_property
    def _plainest(self) -> Floats:
        return self._prior.forms(Context())

    def prior(self, context: Context, flags: Collection[str] = (), *, alarm: bool = False) -> Array:
        """Log prior of one draw of every row, shape (rows,); `flags` are those answered yes."""
        return _kept(
            self._priors,
            _KEPT_PRIORS,
            (context, frozenset(flags), alarm),
            lambda: self._prior.log(context, flags, alarm=alarm).astype(self._dtype),
        )

    @cached_property
    def _all(self) -> Floats:
        """The probability of each row among all who are examined, shape (rows,)."""
        return np.exp(self._prior.of_rows(Context()))

    def _counted(self, piece: Piece) -> Floats:
        """The probability of each code of a look-up among all who are examined, shape (codes,)."""
        codes = coded(self._made, piece)
        return np.asarray(np.bincount(codes, self._all, max(CODES, len(piece.log))), float)

    def expected(self, piece: Piece) -> Floats:
        """The same, kept where it is of one sign: of two it is large, and what it comes to is kept (`among_all`)."""
        if piece.beside:
            return self._counted(piece)
        if piece.key not in self._expected:
            self._expected[piece.key] = self._counted(piece)
        return self._expected[piece.key]

    def story(self, examination: Findings, flags: tuple[str, ...]) -> dict[tuple[str, str], Floats]:
        """How the log of every group's probability moved with each word of the story, shape (groups,)."""
        context = examination.context
        spoken = tuple(f for f in flags if examination.flags.get(f) == "yes")

        def by_group(forms: Floats) -> Floats:
            group_of, count = self._made.group_of_form, len(self._made.groups)
            return np.log(np.maximum(LEAST, np.bincount(group_of, forms, count)))

        def moved() -> dict[tuple[str, str], Floats]:
            whole = by_group(self._prior.forms(context, flags))
            without = self._prior.without_each(context, flags, spoken)
            return {word: whole - by_group(forms) for word, forms in without.items()}

        return _kept(self._told, _KEPT_PRIORS, (context, flags, spoken), moved)

    def among_all(self, term: Term) -> float:
        """Log of how likely a term is among all who are examined."""

        def of(piece: Piece) -> float:
            mass = self.expected(piece)[: len(piece.log)]
            log = piece.log * (piece.share * term.factor)
            brisk = BRISK_WEIGHTS if log.shape[1] > 1 else np.ones(1)
            return float(np.log(np.maximum(LEAST, mass @ np.exp(log) @ brisk)))

        total = 0.0
        for piece in term.pieces:
            total += _kept(self._among, _KEPT_AMONG, (piece, term.factor), partial(of, piece))
        return total

    def posterior(
        self,
        examination: Findings,
        *,
        silence: bool,
        before: Collection[tuple[Finding, float]] = (),
        yes: tuple[str, ...] | None = None,
    ) -> Posterior:
        """The posterior of an examination; nothing entered gives the prior.

        Args:
            examination: What was found.
            silence: Whether a sign left out of a part that was partly examined weighs a little.
            before: What was found earlier and is not examined now, each with how many hours ago.
            yes: The flags answered yes with what is told beside them (`answered_yes`), where that is known.
        """
        context = examination.context
        flags = answered_yes(examination, [f for f, _ in before]) if yes is None else yes
        found = terms(examination, silence=silence, before=before)
        known: float = sum(t.kind == "finding" for t in found) + len(
            told(context, examination.flags)
        )
        if before:
            known += sum(fading(hours) for _, hours in before)
        left = [(f, 1.0) for f in examination.findings] + [(f, fading(h)) for f, h in before]
        taught = self._taught.each(seen(left))
        of_forms = whole(taught, len(self._made.forms)).astype(self._dtype)
        prior = self.prior(context, flags) + np.repeat(of_forms, self._made.rows_of_form)
        posterior = self.of(found, prior, Before(lambda: self._plainest, known))
        words = told(context, flags)

        def beside(among: Mask | None) -> Alike:
            those = seen(left, area_of)
            return self.neighbours.alike(shown(those), usual(those), words, among)

        return replace(posterior, taught=taught, beside=beside)

    def of(self, found: list[Term], prior: Array, before: Before | None = None) -> Posterior:
        """The posterior of some terms from a prior of a draw of every row; tempered where `before` is given."""
        likelihood, brisk = self.likelihood(found)
        return self._narrowed(prior + likelihood, brisk, found, before)

    def likelihood(self, found: list[Term]) -> tuple[Array, list[Array] | None]:
        """The weights of some terms, shape (rows,), and by briskness what hangs on it.

        What was found now is added up first and kept: the tool's own alarm asks for it alone.
        """
        core = [t for t in found if t.kind in ("finding", "story")]
        if self._last and len(core) == len(self._last[0]) and all(map(is_, core, self._last[0])):
            whole, brisk = self._last[1:]
        else:
            whole, brisk = self._added_up(core)
            self._last = (core, whole, brisk)
        further = []
        if told := [t for t in found if t.kind in ("stated", "before")]:
            further.append(self._added_up(told))
        if silent := [t for t in found if t.kind == "silence"]:
            further.append(_bounded(*self._added_up(silent)))
        for more, wide in further:
            whole = whole + more
            brisk = _both(brisk, wide) if brisk and wide else brisk or wide
        return whole, brisk

    def _added_up(self, found: list[Term]) -> tuple[Array, list[Array] | None]:
        bundles: dict[tuple[str, tuple[str, ...]], list[Term]] = {}
        for term in found:
            bundles.setdefault((term.side, term.bundle), []).append(term)
        flat = {side: np.zeros(self._made.rows, self._dtype) for side in _SIDES}
        brisk: dict[tuple[str, str], list[list[Term]]] = {}
        # A canonical order within each side, and the sides added last, make the mirror exact.
        for (side, bundle), members in sorted(bundles.items(), key=lambda b: _without_side(*b[0])):
            if any(p.log.shape[1] > 1 for t in members for p in t.pieces):
                brisk.setdefault((bundle[0], side), []).append(members)
            else:
                flat[side] += self._sum(members)
        return flat["midline"] + (flat["right"] + flat["left"]), self._wide(brisk)

    def _wide(self, brisk: dict[tuple[str, str], list[list[Term]]]) -> list[Array] | None:
        """By briskness, a line of rows for each, since lines are added and compared faster than columns."""
        wide: dict[str, list[Array]] = {}
        for (part, side), bundles in brisk.items():
            lines = _kept(
                self._lines,
                max(1, self.kept // _KEPT_LINES),
                tuple(map(_key, bundles)),
                partial(self._lines_of, part, side, bundles),
            )
            wide[side] = _both(wide[side], lines) if side in wide else lines
        sides = [wide[s] for s in ("right", "left") if s in wide]
        if len(sides) == 2:
            sides = [_both(*sides)]
        if "midline" in wide:
            sides.append(wide["midline"])
        return _both(*sides) if len(sides) == 2 else sides[0] if sides else None

    def _lines_of(self, part: str, side: str, bundles: list[list[Term]]) -> list[Array]:
        """The weights of some bundles of one part and side on which briskness bears, a line of rows for each briskness."""
        folded = self._brisk_fold(part, side)
        each = [
            _kept(
                self._bundles,
                self.kept,
                _key(b),
                partial(self._added, b, folded, len(BRISK_WEIGHTS)),
            )
            for b in bundles
        ]
        total = reduce(np.add, each)
        return [line.take(folded.of, mode="clip") for line in np.ascontiguousarray(total.T)]

    def _sum(self, members: list[Term]) -> Array:
        """The weights of a bundle that briskness leaves alone added up, shape (rows,)."""
        return _kept(self._bundles, self.kept, _key(members), partial(self._flat, members))

    def _flat(self, members: list[Term]) -> Array:
        folded = self._folded(members)
        if folded is None:
            return self._added(members, None, 1)[:, 0]
        small = _kept(
            self._small, _KEPT_SMALL, _key(members), partial(self._added, members, folded, 1)
        )
        return small[:, 0].take(folded.of, mode="clip")

    def _added(self, members: list[Term], folded: Fold | None, width: int) -> Array:
        """The weights of some terms added up, row for row or fold for fold, shape (rows or folds, width)."""
        count = self._made.rows if folded is None else len(next(iter(folded.codes.values())))
        held = np.zeros((count, width), self._dtype)
        for term in members:
            for piece in term.pieces:
                codes = folded.codes[piece.key] if folded else coded(self._made, piece)
                table = (piece.log * (piece.share * term.factor)).astype(self._dtype)
                held += table.take(codes, axis=0, mode="clip")
        return held

    def _brisk_fold(self, part: str, side: str) -> Fold:
        """The rows folded over a part's signs of one side: a fifth of the rows, three numbers each."""
        if (part, side) not in self._brisk:
            of_part = {sign.id for sign in signs_of(part)}
            keys = tuple(key for key in self._made.at if key[0] in of_part and key[1] == side)
            self._brisk[part, side] = fold(self._made, keys)
        return self._brisk[part, side]

    def _folded(self, members: list[Term]) -> Fold | None:
        """The rows folded over the signs of a statement or a silence, where they are added up again and again."""
        term = members[0]
        if len(term.pieces) < _MANY or term.kind == "finding":
            return None
        place = (*term.key, term.side)
        self._summed[place] += 1
        if place not in self._folds and self._summed[place] > _AGAIN:
            self._folds[place] = fold(self._made, together(*place))
        return self._folds.get(place)

    def _narrowed(
        self,
        log: Array,
        total: list[Array] | None,
        found: list[Term],
        before: Before | None,
    ) -> Posterior:
        most = log if total is None else log + reduce(np.maximum, total)
        kept = np.flatnonzero(most > most.max() - _FAR)
        # A runner-up is needed to weigh against.
        groups = self._made.group_of.take(kept, mode="clip")
        if (groups == groups[0]).all():
            kept = np.flatnonzero(most > most.max() - _FURTHER)
        # Last and in double precision: places that are as likely stay so, whatever their rows hold.
        own = log.take(kept, mode="clip") + self._made.log_draws.take(kept, mode="clip")
        joint = np.empty((len(BRISK_WEIGHTS), len(kept)))
        for number, weight in enumerate(np.log(BRISK_WEIGHTS)):
            joint[number] = own + weight
            if total is not None:
                joint[number] += total[number].take(kept, mode="clip")
        return Posterior(self._made, found, kept, joint.T, before)


def _bounded(flat: Array, wide: list[Array] | None) -> tuple[Array, list[Array] | None]:
    """What silence weighs together: less than so much, whatever was left unsaid; by division alone, the same everywhere."""
    most = flat.dtype.type(weighing_row("weight")["silence_together"])
    lines = [flat] if wide is None else [flat + line for line in wide]
    top = max(line.max() for line in lines)
    held = [(line - top) * most / (most - (line - top)) for line in lines]
    return (held[0], None) if wide is None else (np.zeros_like(flat), held)


def _both(first: list[Array], second: list[Array]) -> list[Array]:
    return [a + b for a, b in zip(first, second, strict=True)]


def _key(members: list[Term]) -> Hashable:
    """What the weights of some terms hang on; a look-up that says the same is the same object as long as it is kept."""
    return tuple((t.pieces, t.factor) for t in members)


def _without_side(side: str, bundle: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(b.removeprefix(f"{side} ") for b in bundle)
