"""How sure a reading may be, learned from published examinations: `python -m tests.handbook.calibrate [--write]`.

Tries every set of the three numbers of `[tempering]` and of the share of cases that are like it (`[neighbours]`) on the
development and the validation cases, and takes that with the least log loss and twice the least calibration error
against the very site. A development case is read by numbers that were fitted without its fifth of the sources (`fit`),
and beside cases of the others, else a reading would be called surer than it is of a patient who taught it nothing;
validation taught nothing. The same is done without each fifth of
the sources; the error of those fifths together, each tempered by numbers that it did not teach, is what is reported,
with 95 % intervals, and beside it what cases would show by chance if every number said were exact.
"""

import argparse
import itertools
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import wardexam.reasoning
from tests.handbook.fit import FOLDS, fold, prepared, unseen
from tests.handbook.published.__main__ import BINS, LEAST
from tests.handbook.published.cases import PARTS, cases
from tests.handbook.urgency import interval
from wardexam import ready
from wardexam.reasoning.engine import Engine
from wardexam.reasoning.inference.neighbours import Alike
from wardexam.reasoning.inference.ranking import place
from wardexam.reasoning.inference.tempering import tempered
from wardexam.reasoning.tables import weighing_row

Floats = NDArray[np.float64]
Numbers = tuple[float, float, float, float]  # those of `JUDGED`
TABLE = "inference/weighing.toml"
JUDGED = {"kept": 0.05, "soft": 0.0, "apart": 0.0, "share": 0.0}  # what they were
# With less a border on the trunk is said at 0.985 by itself; with more of both no place at 0.9 before very much is known.
KEPT = (0.03, 0.04, 0.05)
SOFT = (0.0, 0.02, 0.05)
APART = (0.0, 0.1, 0.2, 0.3, 0.4)
SHARE = (0.0, 0.25, 0.35, 0.45)
PULL = 2.0  # what the calibration error weighs beside the log loss
DRAWS = 2000


@dataclass(frozen=True)
class Case:
    """A case as the model reads it before it is tempered; the arrays have the shape (places,)."""

    fold: int
    chance: Floats
    before: Floats
    known: float
    alike: Alike
    true: NDArray[np.bool_]
    fair: NDArray[np.bool_]


@dataclass(frozen=True)
class Told:
    """What is said of some cases: log loss, chance of the leading place, whether it is the true one, or fair; (cases,)."""

    loss: Floats
    said: Floats
    true: Floats
    fair: Floats


def gathered(engine: Engine) -> list[Case]:
    """Every case of one lesion, or none, of development and validation; eight minutes."""
    made, found = engine.hypotheses, []
    folds = np.array([fold(like.source) for like in engine.sums.neighbours.cases])
    taught = {case.id for case in cases(PARTS[0])}
    for case in (c for part in PARTS[:2] for c in cases(part) if c.site != "two_lesions"):
        posterior = engine.posterior(case.findings)
        assert posterior.before is not None
        assert posterior.beside is not None
        forms = posterior.before.forms()
        before = np.bincount(made.group_of_form, forms, len(made.groups))
        sites = [place(made, n, posterior.forms) for n in range(len(made.groups))]
        met, fair = (np.array([test(s) for s in sites]) for test in (case.met_by, case.accepted))
        own = fold(case.source)
        alike = posterior.beside(folds != own if case.id in taught else None)
        found.append(Case(own, posterior.plain, before, posterior.before.known, alike, met, fair))
    _, chances = unseen(engine, *prepared(engine))  # last, since it puts away what was learned
    ours, others = found[: len(chances)], found[len(chances) :]
    return [replace(c, chance=chance) for c, chance in zip(ours, chances, strict=True)] + others


def told(some: Sequence[Case], numbers: Numbers) -> Told:
    """What is said of some cases with these numbers."""
    *tempering, share = zip(JUDGED, numbers, strict=True)
    weighing_row("tempering").update(tempering)
    weighing_row("neighbours").update([share])
    rows = []
    for case in some:
        chance = case.alike.beside(tempered(case.chance, case.before, case.known))
        first = int(chance.argmax())
        loss = -math.log(max(LEAST, float(chance[case.true].sum())))
        rows.append((loss, chance[first], case.true[first], case.fair[first]))
    return Told(*np.array(rows, float).T)


def write(numbers: Mapping[str, float], count: int, digits: int = 2) -> None:
    """Put numbers into the table, where each stands already as fitted."""
    path = Path(wardexam.reasoning.__file__).parent / TABLE
    text = path.read_text(encoding="utf-8")
    for name, value in numbers.items():
        pattern = rf"^{name} = [-\d.e]+ +# fitted on \d+ cases"
        text, found = re.subn(
            pattern, f"{name} = {value:.{digits}g}  # fitted on {count} cases", text, flags=re.M
        )
        if found != 1:
            raise ValueError(f"no {name} in {TABLE}")
    path.write_text(text, encoding="utf-8")


def bins(said: Floats, so: Floats) -> list[tuple[float, int, int]]:
    """Five equally filled bins: what was said in the mean, of how many it was so, how many there are."""
    order = np.argsort(said, kind="stable")
    parts = np.array_split(order, BINS)
    return [(float(said[p].mean()), int(so[p].sum()), len(p)) for p in parts]


def error(said: Floats, so: Floats) -> float:
    """The expected calibration error over those bins."""
    return sum(abs(n * mean - right) for mean, right, n in bins(said, so)) / len(said)


def best(some: Sequence[Case]) -> Numbers:
    """The numbers with the least loss and error."""

    def cost(numbers: Numbers) -> float:
        t = told(some, numbers)
        return float(t.loss.mean()) + PULL * error(t.said, t.true)

    return min(itertools.product(KEPT, SOFT, APART, SHARE), key=cost)


def words(numbers: Numbers) -> str:
    """The numbers with their names."""
    return ", ".join(f"{name} {value}" for name, value in zip(JUDGED, numbers, strict=True))


def report(name: str, t: Told) -> None:
    """Print loss, errors and bins."""
    print(f"{name}: log loss {t.loss.mean():.3f}, calibration error {error(t.said, t.true):.3f}, against any acceptable site {error(t.said, t.fair):.3f}")  # fmt: skip
    for mean, right, count in bins(t.said, t.true):
        print(f"  said {mean:.2f}: {interval(right, count)}")


def main() -> None:
    """Fit, say what it gained, and write the table where it is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="write the table")
    chosen = parser.parse_args()
    every = gathered(ready.engine())
    report("the model alone, not tempered", told(every, (0.0, 0.0, 0.0, 0.0)))
    apart = []
    for number in range(FOLDS):
        numbers = best([c for c in every if c.fold != number])
        print(f"  without fifth {number}: {words(numbers)}")
        apart.append(told([c for c in every if c.fold == number], numbers))
    held = Told(*(np.concatenate([getattr(t, f) for t in apart]) for f in ("loss", "said", "true", "fair")))  # fmt: skip
    report(f"{len(every)} cases, each tempered without its fifth", held)
    random = np.random.default_rng(1)
    chance = [error(held.said, random.random(len(every)) < held.said) for _ in range(DRAWS)]
    print(f"  were every number exact, an error of {np.mean(chance):.3f}, up to {np.quantile(chance, 0.95):.3f} in 95 %")  # fmt: skip
    numbers = best(every)
    report(f"{words(numbers)}, fitted to all", told(every, numbers))
    if chosen.write:
        write(dict(zip(JUDGED, numbers, strict=True)), len(every))


if __name__ == "__main__":
    main()
