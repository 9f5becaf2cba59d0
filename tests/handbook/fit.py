"""Learn the numbers that weigh every finding from the development cases: `python -m tests.handbook.fit [--write]`.

Starts at judgement and maximises the penalised likelihood of the true site: `scipy.optimize` (COBYLA) moves the
logarithms of the numbers, and a third of a number is one standard deviation of the penalty. The same is done without
each fifth of the sources, which says whether it generalises: only then are the numbers written, with "fitted on n
cases, was x". Spreads are not moved: published accuracies of single signs hold them (`accuracy.toml`). How sure a
reading may be is fitted apart (`calibrate`). Some ten minutes on one core.
"""

import argparse
import hashlib
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

import wardexam.reasoning
from tests.handbook.published.cases import Published, cases
from wardexam import ready
from wardexam.reasoning import tables
from wardexam.reasoning.engine import Engine
from wardexam.reasoning.inference import evidence
from wardexam.reasoning.inference.posterior import Sums
from wardexam.reasoning.inference.ranking import place
from wardexam.reasoning.model import observation

Floats = NDArray[np.float64]
FOLDS, LEAST, TRIES = 5, 1e-6, 12
STEP = 0.35  # of a number's logarithm: how far it is first moved, and the spread of the penalty


@dataclass(frozen=True)
class Number:
    """A number of a table and what it was by judgement."""

    table: str
    section: str
    key: str
    was: float

    @property
    def row(self) -> dict[str, float]:
        """The section that holds it."""
        found: dict[str, float] = tables.read(self.table)[self.section]
        return found


WEIGHING, SHOWN = "inference/weighing.toml", "model/observation.toml"
NUMBERS = (
    Number(WEIGHING, "weight", "repeats", 0.6),
    Number(WEIGHING, "weight", "silence", 0.4),
    Number(SHOWN, "floor", "tendon", 0.004),
)


def fold(case: Published) -> int:
    """The fifth that a case's source falls in."""
    return int(hashlib.sha256(case.source.encode()).hexdigest(), 16) % FOLDS


def put(numbers: tuple[Number, ...], values: Floats) -> None:
    """Set numbers of the tables as read, and forget what was worked out from others."""
    for number, value in zip(numbers, values, strict=True):
        number.row[number.key] = float(value)
    for module in (evidence, observation):
        for name in ("_logged", "_usual", "_silent", "_made", "observed_level"):
            if hasattr(module, name):
                getattr(module, name).cache_clear()


def losses(engine: Engine, every: list[Published]) -> tuple[Floats, Floats]:
    """Minus the log of the chance of each true site, and whether it leads, shape (cases,)."""
    engine.sums = Sums(engine.hypotheses)
    found = []
    for case in every:
        posterior = engine.posterior(case.findings)
        at = np.flatnonzero(posterior.groups > LEAST)
        every_site = [place(engine.hypotheses, int(n), posterior.forms) for n in at]
        chance = sum(s.probability for s in every_site if case.met_by(s))
        first = max(every_site, key=lambda s: (s.probability, s.id))
        found.append((-np.log(max(LEAST, chance)), case.met_by(first)))
    loss, first = np.array(found, float).T
    return loss, first


def fitted(engine: Engine, some: list[Published]) -> Floats:
    """The numbers' logarithms at which the penalised loss of some cases is least."""
    judged = np.log([n.was for n in NUMBERS])

    def loss(moved: Floats) -> float:
        put(NUMBERS, np.exp(judged + moved))
        return float(losses(engine, some)[0].sum() + 0.5 * ((moved / STEP) ** 2).sum())

    found = minimize(
        loss, np.zeros(len(NUMBERS)), method="COBYLA", options={"rhobeg": STEP, "maxiter": TRIES}
    )
    return np.asarray(judged + found.x)


def fit_numbers(engine: Engine, every: list[Published]) -> tuple[Floats, bool]:
    """The numbers fitted to all cases, and whether what is fitted to four fifths helps the fifth."""
    folds = np.array([fold(c) for c in every])
    put(NUMBERS, np.array([n.was for n in NUMBERS]))
    before, first_before = losses(engine, every)
    apart, first_apart = np.empty((2, len(every)))
    for number in range(FOLDS):
        own = folds == number
        put(NUMBERS, np.exp(fitted(engine, [c for c, o in zip(every, own, strict=True) if not o])))
        fifth = [c for c, o in zip(every, own, strict=True) if o]
        apart[own], first_apart[own] = losses(engine, fifth)
    whole = np.exp(fitted(engine, every))
    put(NUMBERS, whole)
    after, first_after = losses(engine, every)
    for said, loss, first in (
        ("by judgement", before, first_before),
        ("fitted without the fifth that is scored", apart, first_apart),
        ("fitted to all", after, first_after),
    ):
        print(f"  {said}: log loss {loss.mean():.3f}, true site first {int(first.sum())} of {len(every)}", flush=True)  # fmt: skip
    return whole, bool(apart.mean() < before.mean())


def write(numbers: tuple[Number, ...], values: Floats, count: int) -> None:
    """Put the numbers into their tables, each with what it was."""
    for number, value in zip(numbers, values, strict=True):
        path = Path(wardexam.reasoning.__file__).parent / number.table
        before, head, section = path.read_text(encoding="utf-8").partition(f"[{number.section}]\n")
        pattern = rf"^{number.key} = [-\d.e]+( *)(?:# )?(?:fitted on \d+ cases, was [\d.e-]+(?:: )?)?(.*)$"
        made = f"fitted on {count} cases, was {number.was:g}"
        found = re.search(pattern, section, re.MULTILINE)
        if found is None:
            raise ValueError(f"no {number.key} in {number.table}, {number.section}")
        told = f"{made}: {found[2]}" if found[2] else made
        new = f"{section[: found.start()]}{number.key} = {value:.2g}  # {told}{section[found.end() :]}"
        path.write_text(before + head + new, encoding="utf-8")


def main() -> None:
    """Fit, say what it gained, and write the tables where it is asked for and generalises."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="write the tables")
    chosen = parser.parse_args()
    every = [c for c in cases("development") if c.site != "two_lesions"]
    engine = ready.engine()
    print(f"{len(every)} development cases, five fifths by source")
    values, generalises = fit_numbers(engine, every)
    for number, value in zip(NUMBERS, values, strict=True):
        print(f"    {number.section}.{number.key}: {value:.2g}, was {number.was:g}")
    if not generalises:
        print("  does not generalise: left at judgement")
        put(NUMBERS, np.array([n.was for n in NUMBERS]))
    if chosen.write and generalises:
        write(NUMBERS, values, len(every))


if __name__ == "__main__":
    main()
