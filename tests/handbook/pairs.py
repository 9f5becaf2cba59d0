"""When two lesions are thought of, learned from published examinations: `python -m tests.handbook.pairs [--write]`.

Fits the log odds of two lesions (`[two_lesions]` of `weighing.toml`): what the model makes of two beside one, and how
often cases like it were of two, each case beside those of the other fifths of the sources. The same is done without each
fifth; from which odds two are said is where so many of the single ones of those fifths are called two (`FALSE`), those
that are said to fit no one lesion counted with them. `--write` puts the numbers into the table, and the rows of cases of
two lesions into that of the cases. Two minutes on one core.
"""

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

import wardexam.reasoning
from tests.handbook.calibrate import write
from tests.handbook.fit import FOLDS, fold
from tests.handbook.neighbours import with_two
from tests.handbook.published.cases import OF_TWO, PARTS, cases
from tests.handbook.urgency import interval
from wardexam import ready
from wardexam.reasoning.engine import Engine
from wardexam.reasoning.inference.explanation import fit
from wardexam.reasoning.inference.neighbours import TABLE as NEIGHBOURS
from wardexam.reasoning.inference.posterior import answered_yes
from wardexam.reasoning.inference.two_lesions import doubtful, joined
from wardexam.reasoning.tables import weighing_row
from wardexam.reasoning.ties import EQUAL

Floats = NDArray[np.float64]
FITTED = ("alone", "fit", "cases", "offered")
FALSE = 0.03
# Log odds where too little was found, and where two are said whatever cases were.
NEVER, SURE = -99.0, 99.0


@dataclass(frozen=True)
class Case:
    """A case as it is weighed.

    Attributes:
        fold: The fifth that its source falls in.
        two: Whether it was of two lesions.
        told: 1, how much better two fit than one, and the log odds of cases like it, shape (3,); None where too
            little was found.
        misfit: Whether no one lesion is said to fit.
        alike: Whether it was sought as one that looks like two.
    """

    fold: int
    two: bool
    told: Floats | None
    misfit: bool
    alike: bool


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
        reading = engine.read(findings)
        surprising, z = fit(posterior, reading.sites[0], findings)
        flags = answered_yes(findings)
        best = joined(posterior, engine.sums.prior(findings.context, flags), engine.sums.likelihood)
        told = None
        if best:
            # Where one lesion explains all, two are said for what cases were, never for their fit alone.
            most = n["best"] if doubtful(surprising, z) else n["enough"] - EQUAL
            told = np.array([1.0, min(max(best.ratio, n["worst"]), most), alike])
        two = case.site == "two_lesions"
        found.append(Case(own, two, told, not reading.fits_one, part == OF_TWO and not two))
    return found


def fitted(some: list[Case]) -> Floats:
    """The numbers of the log odds with the least log loss, shape (3,)."""
    told = np.array([c.told for c in some if c.told is not None])
    two = np.array([c.two for c in some if c.told is not None], float)

    def loss(numbers: Floats) -> float:
        odds = told @ numbers
        return float(np.sum(np.logaddexp(0, odds) - two * odds))

    return np.asarray(minimize(loss, np.zeros(3), method="L-BFGS-B").x)


def said(some: list[Case], numbers: Floats) -> Floats:
    """The log odds of some cases, shape (cases,)."""
    odds = np.array([NEVER if c.told is None else float(c.told @ numbers) for c in some])
    enough = weighing_row("two_lesions")["enough"]
    odds[[c.told is not None and c.told[1] >= enough for c in some]] = SURE
    return odds


def report(every: list[Case], odds: Floats, least: float) -> None:
    """Print how many of two are found and how many of one are said to be two."""
    told = [o >= least or c.misfit for c, o in zip(every, odds, strict=True)]
    for name, kind in (
        ("two lesions said", (True, False)),
        ("the same of one lesion, or none", (False, False)),
        ("the same of what was sought since it looks like two", (False, True)),
    ):
        own = [t for c, t in zip(every, told, strict=True) if (c.two, c.alike) == kind]
        print(f"  {name}: {interval(sum(own), len(own))}")


def bound(every: list[Case], odds: Floats) -> float:
    """The log odds from which two are said."""
    ones = [(c, o) for c, o in zip(every, odds, strict=True) if not (c.two or c.alike)]
    open_ones = sorted(o for c, o in ones if not c.misfit and o < SURE)
    return open_ones[len(open_ones) - 1 - (round(FALSE * len(ones)) - (len(ones) - len(open_ones)))]


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
        odds[at] = said([every[n] for n in at], numbers)
    least = bound(every, odds)
    print(f"{len(every)} cases")
    print("each by numbers and cases without its fifth")
    report(every, odds, least)
    for name, column in (("by fit alone", [0, 1]), ("by cases alone", [0, 2])):
        print(name)
        own = np.array([NEVER if c.told is None else c.told[column[1]] for c in every])
        report(every, own, bound(every, own))
    numbers = dict(zip(FITTED, [*fitted(every), np.exp(least)], strict=True))
    print(", ".join(f"{name} {value:.3g}" for name, value in numbers.items()))
    if chosen.write:
        write(numbers, len(every), digits=3)
        path = Path(wardexam.reasoning.__file__).parent / NEIGHBOURS
        path.write_text(with_two(path.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
