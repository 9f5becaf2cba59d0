"""When two lesions are thought of, learned from published examinations: `python -m tests.handbook.pairs [--write]`.

Fits the log odds of two lesions (`[two_lesions]` of `weighing.toml`): what the model makes of two beside one, how badly
one fits, how much was found, and how often cases like it were of two, each case beside those of the other fifths of the
sources. The same is done without each fifth; from which odds two are said is where so many of the single ones of those
fifths are called two (`FALSE`), those counted with them that are said to fit no one lesion or are led by a nerve or plexus
of both sides. A single one that is such a nerve itself is counted apart. `--write` puts the numbers into the table, and the
rows of cases of two lesions into that of the cases. Two minutes on one core.
"""

import argparse
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import wardexam.reasoning
from tests.handbook.calibrate import write
from tests.handbook.fit import FOLDS, fold
from tests.handbook.neighbours import with_two
from tests.handbook.published.cases import OF_TWO, PARTS, Published, cases, two_said
from tests.handbook.urgency import interval
from wardexam import ready
from wardexam.reasoning.engine import Engine
from wardexam.reasoning.inference.explanation import fit
from wardexam.reasoning.inference.neighbours import TABLE as NEIGHBOURS
from wardexam.reasoning.inference.posterior import answered_yes
from wardexam.reasoning.inference.two_lesions import doubtful, joined, said_of, weighed
from wardexam.reasoning.tables import weighing_row

Floats = NDArray[np.float64]
FITTED = ("alone", "fit", "cases", "misfit", "told", "offered")
FALSE = 0.03
NEVER = -99.0  # log odds where too little was found


@dataclass(frozen=True)
class Case:
    """A case as it is weighed.

    Attributes:
        fold: The fifth that its source falls in.
        kind: ``two``, ``one`` (or none), ``both`` (a nerve or plexus of both sides as one site), or ``alike`` for what was
            sought since it looks like two.
        told: What is weighed of it, in the order of `FITTED`, shape (5,); None where too little was found.
        said: Whether two lesions are said whatever cases were: by their fit alone, since no one lesion fits, or since both
            lead as one site.
    """

    fold: int
    kind: str
    told: Floats | None
    said: bool

    @property
    def two(self) -> bool:
        """Whether it was of two lesions."""
        return self.kind == "two"


def kind(case: Published, part: str) -> str:
    """What a case is counted as."""
    if case.site == "two_lesions":
        return "two"
    if part == OF_TWO:
        return "alike"
    return "both" if case.of_both else "one"


def gathered(engine: Engine) -> list[Case]:
    """The cases of development and those of two lesions; two minutes."""
    n = weighing_row("two_lesions")
    folds = np.array([fold(like.source) for like in engine.sums.neighbours.cases])
    found = []
    for part, case in ((p, c) for p in (PARTS[0], OF_TWO) for c in cases(p)):
        findings, own = case.findings, fold(case.source)
        posterior = engine.posterior(findings)
        assert posterior.beside is not None
        alike = posterior.beside(folds != own).two
        alone = replace(engine.read(findings), pair=None)
        surprising, z = fit(posterior, alone.sites[0], findings)
        best = joined(
            posterior, engine.sums.prior(findings.context, answered_yes(findings)), engine.sums.likelihood
        )  # fmt: skip
        told = None
        if best:
            by_name = weighed(best.ratio, alike, z, said_of(posterior))
            told = np.array([by_name[name] for name in FITTED if name in by_name])
        by_kind = kind(case, part)
        without = case.two_found(alone) if by_kind == "two" else two_said(alone)
        without |= best is not None and doubtful(surprising, z) and best.ratio >= n["enough"]
        found.append(Case(own, by_kind, told, without))
    return found


def fitted(some: list[Case]) -> Floats:
    """The numbers of the log odds with the least log loss, shape (5,)."""
    from scipy.optimize import minimize  # slow to load: not while tests are collected

    told = np.array([c.told for c in some if c.told is not None])
    two = np.array([c.two for c in some if c.told is not None], float)

    def loss(numbers: Floats) -> float:
        odds = told @ numbers
        return float(np.sum(np.logaddexp(0, odds) - two * odds))

    return np.asarray(minimize(loss, np.zeros(told.shape[1]), method="L-BFGS-B").x)


def odds_of(some: list[Case], numbers: Floats) -> Floats:
    """The log odds of some cases, shape (cases,)."""
    return np.array([NEVER if c.told is None else float(c.told @ numbers) for c in some])


def report(every: list[Case], odds: Floats, least: float) -> None:
    """Print how many of two are found and how many of the others are said to be two."""
    told = [o >= least or c.said for c, o in zip(every, odds, strict=True)]
    for name, of in (
        ("two lesions said", "two"),
        ("the same of one lesion, or none", "one"),
        ("the same of a nerve or plexus of both sides", "both"),
        ("the same of what was sought since it looks like two", "alike"),
    ):
        own = [t for c, t in zip(every, told, strict=True) if c.kind == of]
        print(f"  {name}: {interval(sum(own), len(own))}")


def bound(every: list[Case], odds: Floats) -> float:
    """The log odds from which two are said, so that it is of no more single ones than may be."""
    ones = [(c, o) for c, o in zip(every, odds, strict=True) if c.kind == "one"]
    open_ones = sorted(o for c, o in ones if not c.said)
    more = int(FALSE * len(ones)) - (len(ones) - len(open_ones))
    return open_ones[len(open_ones) - more]


def main() -> None:
    """Fit, say what is found, and write the tables where it is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="write the tables")
    chosen = parser.parse_args()
    every = gathered(ready.engine())
    odds = np.zeros(len(every))
    for number in range(FOLDS):
        numbers = fitted([c for c in every if c.fold != number])
        at = [n for n, c in enumerate(every) if c.fold == number]
        odds[at] = odds_of([every[n] for n in at], numbers)
    least = bound(every, odds)
    print(f"{len(every)} cases")
    print("each by numbers and cases without its fifth")
    report(every, odds, least)
    for name, column in (("by fit alone", 1), ("by cases alone", 2)):
        print(name)
        own = np.array([NEVER if c.told is None else c.told[column] for c in every])
        report(every, own, bound(every, own))
    numbers = dict(zip(FITTED, [*fitted(every), np.exp(least)], strict=True))
    print(", ".join(f"{name} {value:.3g}" for name, value in numbers.items()))
    if chosen.write:
        write(numbers, len(every), digits=3)
        path = Path(wardexam.reasoning.__file__).parent / NEIGHBOURS
        path.write_text(with_two(path.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
