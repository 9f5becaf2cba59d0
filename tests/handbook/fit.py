"""Learn from the development cases by how much judgement is multiplied: `python -m tests.handbook.fit [--write]`.

What is learned stands in `learned.toml`, apart from what is judgement: a factor of each site, of each form within its
site, of each site for each word of a story that enough cases tell and for each sign that is out of the usual in enough
of them (on its side, on the other, without a side), and a weight of each part of the examination. All
start at 1 and are held there by a penalty (`SPREAD`: one standard deviation; of factors, of their logarithm).
`scipy.optimize` (L-BFGS) maximises the penalised likelihood, half of it that of the true site, half that of any
acceptable one, together with that of the published likelihood ratios of single signs (`accuracy.toml`), each as sure as
its interval is narrow. Priors enter as they are; the weights move the chance of a form by what its own likely rows make
of each part, so the cases are read again after each of `ROUNDS`. Age and sex are left out: they say more of whom is written
about than of where the lesion is. Kinds of no lesion keep the share that judgement gives them (`CALM_SPREAD`).

The same is done without each fifth of the sources, which says whether it generalises: only then is the table written,
and with it that of the cases themselves (`neighbours`). How sure a reading may be is fitted apart (`calibrate`).
Twenty minutes on one slow core.
"""

import argparse
import hashlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

import tests.handbook.published.__main__ as published
import wardexam.reasoning
from tests.handbook.accuracy import Row
from tests.handbook.accuracy import rows as accuracy
from tests.handbook.neighbours import Word, out_of_usual, places, words
from tests.handbook.neighbours import table as neighbours
from tests.handbook.published.cases import CALM, Published, cases
from wardexam import ready
from wardexam.anatomy.catalogue import PARTS, TENDON, catalogue
from wardexam.exam.answers import ScaleName, answers_for
from wardexam.exam.findings import Finding
from wardexam.reasoning.engine import Engine
from wardexam.reasoning.inference.evidence import terms, weighed_with
from wardexam.reasoning.inference.neighbours import TABLE as NEIGHBOURS
from wardexam.reasoning.inference.pieces import Piece, Term
from wardexam.reasoning.inference.posterior import Sums, answered_yes, logsumexp
from wardexam.reasoning.inference.prior import Priors, learned
from wardexam.reasoning.inference.ranking import place
from wardexam.reasoning.inference.taught import RELATIONS, Odd, odd, relation
from wardexam.reasoning.model.codes import BRISK_WEIGHTS
from wardexam.reasoning.tables import Section

Floats = NDArray[np.float64]
Shown = tuple[Odd, str]  # what was out of the usual, and on which side
SIDES = ("right", "left", "midline")
TABLE = "inference/learned.toml"
FOLDS, ROUNDS, STEPS = 5, 3, 80
SPREAD = {"site": 0.35, "form": 0.4, "told": 0.35, "found": 0.32, "part": 0.12}
CALM_SPREAD = 0.01  # of kinds of no lesion: how many of the cases are so is how they were collected
CALM_FOUND = 0.1  # of these by a sign: reports of them are written where the signs mislead
FEWEST = 8  # cases that tell a word or show a sign, else nothing is learned of it
TRUE = 0.5  # share of the true site in what is maximised; the rest is any acceptable one
WEIGHED = (*PARTS, TENDON)  # what has a weight of its own
LEAST = 1e-4  # added to a chance, so that one case that the model cannot explain does not outweigh the others
TWO_SIDED = 2 * 1.96  # standard deviations that an interval of 95 % spans
MATTERS = 0.05  # a factor nearer to 1 is not written


@dataclass(frozen=True)
class Case:
    """A published case as judgement reads it.

    Attributes:
        fold: The fifth that its source falls in.
        words: What was told.
        shown: What was out of the usual.
        joint: Log of prior times likelihood of each form, shape (forms,).
        parts: What each part of the examination adds to it in the rows that are likely, by part, shape (forms,).
        true: Forms of the true site, shape (forms,).
        fair: Forms of any acceptable site, the true one among them, shape (forms,).
    """

    fold: int
    words: tuple[Word, ...]
    shown: tuple[Shown, ...]
    joint: Floats
    parts: dict[str, Floats]
    true: NDArray[np.bool_]
    fair: NDArray[np.bool_]


@dataclass(frozen=True)
class Ratio:
    """The published likelihood ratio of a sign, beside judgement's.

    Attributes:
        row: Where it is published, with its interval.
        what: What is learned of the sign.
        part: What it is weighed with.
        judged: Log of judgement's ratio.
        target: Log of the chance of each form with the sign under the lesions that it tells of, shape (forms,).
        others: The same under those that it tells them from.
    """

    row: Row
    what: Odd
    part: str
    judged: float
    target: Floats
    others: Floats

    @property
    def spread(self) -> float:
        """One standard deviation of the logarithm of what was published."""
        return float(np.log(self.row.high / self.row.low)) / TWO_SIDED

    def of(self, weight: float, added: Floats) -> float:
        """The log ratio with a weight of its part and what is added to the log of each form, shape (forms,)."""
        gained = [
            logsumexp(held + added, 0) - logsumexp(held, 0) for held in (self.target, self.others)
        ]
        return float(weight * self.judged + gained[0] - gained[1])


def ratios() -> list[Ratio]:
    """The published likelihood ratios, beside judgement's as it stands."""
    found = []
    for row in accuracy():
        if row.kind != "lr":
            continue
        sign = catalogue()[row.sign]
        scale: ScaleName | None = "conventional" if sign.tendon else None
        answers = answers_for(sign.answers, "conventional").codes
        said = (Finding(sign=sign.id, side="right", answer=a, scale=scale) for a in answers)
        (what,) = {way for f in said if f.meaning in row.positive for way in odd(f)}
        (hit, ill), (miss, other) = (row.by_form(of) for of in (row.target, row.others))
        judged = np.log(hit.sum() / ill.sum()) - np.log(miss.sum() / other.sum())
        part = TENDON if sign.tendon else sign.part
        with np.errstate(divide="ignore"):
            found.append(Ratio(row, what, part, float(judged), np.log(hit), np.log(miss)))
    return found


def fold(source: str) -> int:
    """The fifth that a source falls in."""
    return int(hashlib.sha256(source.encode()).hexdigest(), 16) % FOLDS


def put(parts: dict[str, float]) -> None:
    """Weigh the parts so, and let nothing else be learned."""
    for name in ("site", "form", "told", "found"):
        learned()[name] = Section({}, name)
    learned()["part"] = Section(dict(parts), "part")


def gathered(engine: Engine, every: list[Published]) -> list[Case]:
    """The cases as they are read with the parts weighed as they are now."""
    made, sums, found = engine.hypotheses, Sums(engine.hypotheses), []
    priors, weights = Priors(made), learned()["part"]
    group_of, count = made.group_of_form, len(made.forms)
    for case in every:
        findings = case.findings
        flags = answered_yes(findings)
        by_part: dict[str, list[Term]] = {}
        for term in terms(findings, silence=True):
            for part, own in _by_part(term):
                by_part.setdefault(part, []).append(own)
        added = {part: _weight(sums, some) for part, some in by_part.items()}
        log = priors.of_rows(findings.context, flags)[:, None] + np.log(BRISK_WEIGHTS)
        log = log + sum(added.values())
        top = np.full(count, -np.inf)
        np.maximum.at(top, made.form_of, log.max(axis=1))
        mass = np.exp(log - top[made.form_of][:, None])
        held = np.bincount(made.form_of, mass.sum(axis=1), count)
        parts = {
            part: np.bincount(made.form_of, (mass * each).sum(axis=1), count) / held / weights[part]
            for part, each in added.items() if part
        }  # fmt: skip
        forms = engine.posterior(findings).forms
        sites = [place(made, n, forms) for n in range(len(made.groups))]
        true, fair = (np.array([test(s) for s in sites])[group_of] for test in (case.met_by, case.accepted))  # fmt: skip
        shown = sorted({(what, f.side) for f in findings.findings for what in odd(f)})
        found.append(
            Case(
                fold(case.source),
                words(findings),
                tuple(shown),
                top + np.log(held),
                parts,
                true,
                fair,
            )
        )
    return found


def _by_part(term: Term) -> list[tuple[str, Term]]:
    """A term with what it is weighed with; of a statement the tendon reflexes and the rest apart."""
    if term.kind in ("silence", "story"):
        return [("", term)]
    if term.kind != "stated":
        return [(weighed_with(term.bundle), term)]
    pieces: dict[str, list[Piece]] = {}
    for piece in term.pieces:
        tendon = catalogue()[piece.key[0]].tendon
        pieces.setdefault(TENDON if tendon else term.bundle[0], []).append(piece)
    return [(part, replace(term, pieces=tuple(some))) for part, some in pieces.items()]


def _weight(sums: Sums, some: list[Term]) -> Floats:
    """What some terms weigh on every row, shape (rows, 3)."""
    flat, brisk = sums.likelihood(some)
    wide = np.repeat(flat.astype(float)[:, None], len(BRISK_WEIGHTS), axis=1)
    return wide if brisk is None else wide + np.stack(brisk, axis=1)


class Model:
    """The numbers in one line: sites, forms, sites for each word and sign, parts; each 0 where judgement stands."""

    def __init__(
        self, engine: Engine, words: list[Word], signs: list[Odd], held_to: Sequence[Ratio] = ()
    ) -> None:
        forms = engine.hypotheses.forms
        self.ratios = held_to
        self.sites = sorted({f.site for f in forms})
        self.forms = sorted({(f.site, f.name) for f in forms})
        self.words, self.signs, self.parts = words, signs, list(WEIGHED)
        self._site = np.array([self.sites.index(f.site) for f in forms])
        self._form = np.array([self.forms.index((f.site, f.name)) for f in forms])
        self._related = {
            side: len(self.sites) * np.array([relation(f, side) for f in forms]) + self._site
            for side in SIDES
        }
        self._number = {what: n for n, what in enumerate(signs)}
        self.shape = len(signs), len(RELATIONS) * len(self.sites)
        sizes = {
            "site": len(self.sites), "form": len(self.forms), "told": len(words) * len(self.sites),
            "found": self.shape[0] * self.shape[1], "part": len(WEIGHED),
        }  # fmt: skip
        cuts = np.cumsum([0, *sizes.values()])
        self.at = {n: slice(a, b) for n, a, b in zip(sizes, cuts[:-1], cuts[1:], strict=True)}
        self.spread = np.concatenate([np.full(n, SPREAD[name]) for name, n in sizes.items()])
        self.spread[self.at["site"]][[s in CALM for s in self.sites]] = CALM_SPREAD
        self.spread[self.at["form"]][[s in CALM for s, _ in self.forms]] = CALM_SPREAD
        calm = np.array([s in CALM for s in self.sites * len(RELATIONS)])
        self.spread[self.at["found"]].reshape(self.shape)[:, calm] = CALM_FOUND

    def log(self, numbers: Floats, case: Case, weights: dict[str, float]) -> Floats:
        """Log of the chance of each form but for a constant, shape (forms,)."""
        by_word = numbers[self.at["told"]].reshape(len(self.words), len(self.sites))
        of_site = numbers[self.at["site"]] + sum(by_word[n] for n in self._told(case))
        moved = case.joint + of_site[self._site] + numbers[self.at["form"]][self._form]
        by_sign = numbers[self.at["found"]].reshape(self.shape)
        for side, rows in self._shown(case).items():
            moved = moved + by_sign[rows].sum(axis=0)[self._related[side]]
        for number, part in enumerate(self.parts):
            if part in case.parts:
                by = 1 + numbers[self.at["part"]][number] - weights[part]
                moved = moved + by * case.parts[part]
        return np.asarray(moved)

    def _told(self, case: Case) -> list[int]:
        return [self.words.index(w) for w in case.words if w in self.words]

    def _shown(self, case: Case) -> dict[str, list[int]]:
        found: dict[str, list[int]] = {}
        for what, side in case.shown:
            if what in self._number:
                found.setdefault(side, []).append(self._number[what])
        return found

    def loss(
        self, numbers: Floats, some: list[Case], weights: dict[str, float]
    ) -> tuple[float, Floats]:
        """The penalised loss of some cases, and its slope."""
        total, slope = 0.5 * float(((numbers / self.spread) ** 2).sum()), numbers / self.spread**2
        for case in some:
            chance = normal(self.log(numbers, case, weights))
            pull = np.zeros_like(chance)
            for those, share in ((case.true, TRUE), (case.fair, 1 - TRUE)):
                held = chance[those].sum()
                total -= share * float(np.log(held + LEAST))
                pull += share * chance * (held - those) / (held + LEAST)
            of_site = np.bincount(self._site, pull, len(self.sites))
            slope[self.at["site"]] += of_site
            slope[self.at["form"]] += np.bincount(self._form, pull, len(self.forms))
            by_word = slope[self.at["told"]].reshape(len(self.words), len(self.sites))
            for number in self._told(case):
                by_word[number] += of_site
            by_sign = slope[self.at["found"]].reshape(self.shape)
            for side, rows in self._shown(case).items():
                by_sign[rows] += np.bincount(self._related[side], pull, self.shape[1])
            for number, part in enumerate(self.parts):
                if part in case.parts:
                    slope[self.at["part"]][number] += (pull * case.parts[part]).sum()
        return total + self._loss_of_ratios(numbers, slope), slope

    def _loss_of_ratios(self, numbers: Floats, slope: Floats) -> float:
        """The loss of the published likelihood ratios; what it adds to the slope is added."""
        total = 0.0
        by_sign = slope[self.at["found"]].reshape(self.shape)
        for ratio in self.ratios:
            weight, added = self.moved(numbers, ratio)
            beyond = (ratio.of(weight, added) - np.log(ratio.row.published)) / ratio.spread
            total += 0.5 * beyond**2
            pull = beyond / ratio.spread
            slope[self.at["part"]][self.parts.index(ratio.part)] += pull * ratio.judged
            if ratio.what in self._number:
                apart = normal(ratio.target + added) - normal(ratio.others + added)
                own = by_sign[self._number[ratio.what]]
                own += np.bincount(self._related["right"], pull * apart, self.shape[1])
        return float(total)

    def moved(self, numbers: Floats, ratio: Ratio) -> tuple[float, Floats]:
        """The weight of a sign's part, and what is learned of it by form, shape (forms,)."""
        weight = 1 + numbers[self.at["part"]][self.parts.index(ratio.part)]
        if ratio.what not in self._number:
            return float(weight), np.zeros(len(self._site))
        by_sign = numbers[self.at["found"]].reshape(self.shape)
        return float(weight), by_sign[self._number[ratio.what]][self._related["right"]]

    def held(self, numbers: Floats) -> int:
        """How many of the published likelihood ratios hold within their interval."""
        logs = [(r.row, r.of(*self.moved(numbers, r))) for r in self.ratios]
        return sum(np.log(row.low) <= log <= np.log(row.high) for row, log in logs)

    def weights(self, numbers: Floats) -> dict[str, float]:
        """The weight of each part."""
        return dict(zip(self.parts, (1 + numbers[self.at["part"]]).tolist(), strict=True))


def normal(log: Floats) -> Floats:
    """Chances that add up to 1."""
    made = np.exp(log - log.max())
    return np.asarray(made / made.sum())


def fitted(engine: Engine, model: Model, some: list[Published], read: list[Case]) -> Floats:
    """The numbers at which the penalised loss of some cases is least; `read` is them by judgement."""
    from scipy.optimize import minimize  # slow to load: not while tests are collected

    numbers, weights = np.zeros(len(model.spread)), dict.fromkeys(WEIGHED, 1.0)
    for number in range(ROUNDS):
        if number:
            put(weights)
            read = gathered(engine, some)
        best = minimize(model.loss, numbers, args=(read, weights), jac=True, method="L-BFGS-B", options={"maxiter": STEPS})  # fmt: skip
        numbers = np.asarray(best.x)
        weights = model.weights(numbers)
    return numbers


def scored(
    engine: Engine, model: Model, numbers: Floats, some: list[Published]
) -> tuple[Floats, Floats]:
    """Loss of the true site, whether it leads, whether an acceptable one does, shape (cases, 3); the chance of every group."""
    weights, made = model.weights(numbers), engine.hypotheses
    put(weights)
    rows, chances = [], []
    for case in gathered(engine, some):
        chance = normal(model.log(numbers, case, weights))
        groups = np.bincount(made.group_of_form, chance, len(made.groups))
        first = made.forms_of[int(groups.argmax())][0]
        loss = -np.log(max(published.LEAST, chance[case.true].sum()))
        rows.append((loss, case.true[first], case.fair[first]))
        chances.append(groups)
    return np.array(rows, float), np.array(chances)


def prepared(engine: Engine) -> tuple[list[Published], list[Case], Model]:
    """The development cases of one lesion or none, as judgement reads them, and what may be learned of them."""
    every = [c for c in cases("development") if c.site != "two_lesions"]
    put(dict.fromkeys(WEIGHED, 1.0))
    read = gathered(engine, every)
    told = Counter(word for case in read for word in case.words)
    shown = Counter(what for case in read for what in {w for w, _ in case.shown})
    enough = [sorted(w for w, n in count.items() if n >= FEWEST) for count in (told, shown)]
    return every, read, Model(engine, *enough, ratios())


def unseen(
    engine: Engine, every: list[Published], read: list[Case], model: Model
) -> tuple[Floats, Floats]:
    """What is scored of each case, and its chances, by numbers that were fitted without its fifth of the sources."""
    folds = np.array([case.fold for case in read])
    rows, chances = np.empty((len(every), 3)), np.empty((len(every), len(engine.hypotheses.groups)))
    for number in range(FOLDS):
        own, rest = np.flatnonzero(folds == number), np.flatnonzero(folds != number)
        numbers = fitted(engine, model, [every[n] for n in rest], [read[n] for n in rest])
        rows[own], chances[own] = scored(engine, model, numbers, [every[n] for n in own])
    return rows, chances


def report(name: str, rows: Floats) -> None:
    """Print what a fit gave."""
    loss, first, fair = rows.T
    print(f"  {name}: log loss {loss.mean():.3f}, true site first {int(first.sum())}, acceptable first {int(fair.sum())} of {len(rows)}", flush=True)  # fmt: skip


def table(model: Model, engine: Engine, numbers: Floats, count: int) -> str:
    """The numbers as the text of the table."""
    source = f'source = "fitted on {count} cases, was 1"'
    lines = [
        "# By how much published cases multiply what is judgement; written by `python -m tests.handbook.fit --write`, by no",
        "# hand. What stands nowhere is 1. Judgement stands in sites.toml, story.toml, and the tables of anatomy/.",
        "", "# What each part of the examination weighs.", "[part]",
        *(f"{part} = {weight:.2f}" for part, weight in model.weights(numbers).items()), source,
    ]  # fmt: skip
    factors = np.exp(numbers)
    of_form = dict(zip(model.forms, factors[model.at["form"]], strict=True))
    # A site's mass is shared among its forms: what they gain together is the site's own.
    weight, gained = Counter[str](), Counter[str]()
    for form in engine.hypotheses.forms:
        weight[form.site] += form.weight
        gained[form.site] += form.weight * of_form[form.site, form.name]
    of_site = {
        s: f * gained[s] / weight[s]
        for s, f in zip(model.sites, factors[model.at["site"]], strict=True)
    }
    lines += ["", "# Of sites.", "[site]", *_rows(of_site), source]
    lines += ["", "# Of forms within their site."]
    for site in model.sites:
        every = {name: f for (own, name), f in of_form.items() if own == site}
        if len(every) > 1 and (rows := _rows(every)):
            lines += [f"[form.{site}]", *rows, source, ""]
    lines += ["# Of sites where a word of the story is told."]
    by_word = factors[model.at["told"]].reshape(len(model.words), len(model.sites))
    for (column, word), row in zip(model.words, by_word, strict=True):
        rows = _rows(dict(zip(model.sites, row, strict=True)))
        if rows:
            lines += [f"[told.{column}.{word}]", *rows, source, ""]
    lines += [
        "# Of sites where a sign is out of the usual: on the side of the sign, on the other, without a side."
    ]
    by_sign = factors[model.at["found"]].reshape(-1, len(RELATIONS), len(model.sites))
    for (name, way), table in zip(model.signs, by_sign, strict=True):
        inline = []
        for related, row in zip(RELATIONS, table, strict=True):
            if rows := _rows(dict(zip(model.sites, row, strict=True))):
                inline.append(f"{related} = {{ {', '.join(rows)} }}")
        if inline:
            lines += [f"[found.{name}.{way}]", *inline, source, ""]
    return "\n".join(lines).rstrip() + "\n"


def like(engine: Engine, every: list[Published], read: list[Case], chances: Floats) -> str:
    """The table of the cases themselves, for who is like them; `chances` of every group are those that `unseen` gives."""
    made = engine.hypotheses
    firsts = [forms[0] for forms in made.forms_of]
    shares = [
        places(case.true[firsts], case.fair[firsts], chance)
        for case, chance in zip(read, chances, strict=True)
    ]
    shown = [out_of_usual(case.findings) for case in every]
    return neighbours(made, every, shown, [c.words for c in read], np.array(shares))


def _rows(factors: dict[str, Any]) -> list[str]:
    return [
        f"{name if name.isidentifier() else chr(34) + name + chr(34)} = {factor:.2f}"
        for name, factor in factors.items()
        if abs(np.log(factor)) >= MATTERS
    ]


def main() -> None:
    """Fit, say what it gained, and write the table where it is asked for and generalises."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="write the table")
    chosen = parser.parse_args()
    engine = ready.engine()
    every, read, model = prepared(engine)
    print(f"{len(every)} development cases, five fifths by source, {len(model.spread)} numbers")
    before, _ = scored(engine, model, np.zeros(len(model.spread)), every)
    report("by judgement", before)
    apart, chances = unseen(engine, every, read, model)
    report("fitted without the fifth that is scored", apart)
    numbers = fitted(engine, model, every, read)
    report("fitted to all", scored(engine, model, numbers, every)[0])
    by_judgement, by_fit = (model.held(n) for n in (np.zeros(len(model.spread)), numbers))
    print(f"  published likelihood ratios within their interval: {by_judgement} by judgement, {by_fit} fitted, of {len(model.ratios)}")  # fmt: skip
    print("  weights of parts: " + ", ".join(f"{p} {w:.2f}" for p, w in model.weights(numbers).items()))  # fmt: skip
    if apart[:, 0].mean() >= before[:, 0].mean():
        print("  does not generalise: judgement stands")
    elif chosen.write:
        folder = Path(wardexam.reasoning.__file__).parent
        (folder / TABLE).write_text(table(model, engine, numbers, len(every)), encoding="utf-8")
        (folder / NEIGHBOURS).write_text(like(engine, every, read, chances), encoding="utf-8")


if __name__ == "__main__":
    main()
