"""Published accuracy of single signs beside the model's: `python -m tests.handbook.accuracy`."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wardexam import ready
from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.exam.examination import Context
from wardexam.reasoning.inference.prior import Priors
from wardexam.reasoning.model import observation
from wardexam.reasoning.model.codes import BRISK_WEIGHTS


def weighted_kappa(table: np.ndarray) -> float:
    """Cohen's kappa with quadratic weights from how often two observers say what, shape (n, n)."""
    share = table / table.sum()
    step = np.arange(len(share))
    weight = (step[:, None] - step[None, :]) ** 2.0
    by_chance = np.outer(share.sum(axis=1), share.sum(axis=0))
    return float(1 - (weight * share).sum() / (weight * by_chance).sum())


@dataclass(frozen=True)
class Row:
    """One published figure and the model's."""

    sign: str
    positive: tuple[str, ...]
    target: tuple[str, ...]
    others: tuple[str, ...]
    kind: str
    published: float
    low: float
    high: float
    source: str
    side: str = "own"
    age: int | None = None
    why: str = ""

    @property
    def within(self) -> bool:
        return self.low <= self.implied() <= self.high

    def implied(self) -> float:
        """The same figure from the model."""
        if self.kind == "kappa":
            return weighted_kappa(self._two_observers())
        hit, miss = self._shown(self.target), self._shown(self.others)
        return {"sens": hit, "false": miss, "lr": hit / max(miss, 1e-9)}[self.kind]

    def _two_observers(self) -> np.ndarray:
        """How often two observers of the same patient say what, on the ward; grades or yes and no."""
        made = ready.engine().hypotheses
        context = Context(age=self.age)
        chance = observation.observed(catalogue()[self.sign], context)
        said = chance.chance
        if self.positive:
            wanted = [chance.answers.index(a) for a in self.positive]
            yes = said[:, wanted, :].sum(axis=1)
            said = np.stack([yes, 1 - yes], axis=1)
        held = np.bincount(
            made.code(self.sign, "right"), np.exp(Priors(made).of_rows(context)), len(said)
        )
        said = said / said.sum(axis=1, keepdims=True)
        return np.einsum("c,cab,b,cdb->ad", held, said, BRISK_WEIGHTS, said)

    def _shown(self, places: tuple[str, ...]) -> float:
        """How often the sign is positive under the lesions of some places, on the right."""
        found, all_of_them = self.by_form(places)
        return float(found.sum() / all_of_them.sum())

    def by_form(self, places: tuple[str, ...]) -> tuple[np.ndarray, np.ndarray]:
        """The chance of each form with the sign positive on the right, and with or without, shape (forms,); 0 of other places."""
        made = ready.engine().hypotheses
        context = Context(age=self.age)
        sign = catalogue()[self.sign]
        chance = observation.observed(sign, context)
        wanted = [chance.answers.index(a) for a in self.positive]
        by_brisk = chance.chance[:, wanted, :].sum(axis=1)
        prior = np.exp(Priors(made).of_rows(context))
        positive, every = np.zeros((2, len(made.forms)))
        for number, form in enumerate(made.forms):
            # What is on the right of the body lies on the left of the brain.
            own = "left" if form.site in ("brain", "brainstem") else "right"
            if form.side not in (own, "both", "none") or not _named(form, places):
                continue
            at = (
                "midline"
                if sign.sides == "midline"
                else "left"
                if self.side == "other"
                else "right"
            )
            weight = prior[form.rows]
            found = by_brisk[made.code(self.sign, at)[form.rows]]
            if self.side == "less":  # positive on the right, and usual on the left
                usual = [chance.answers.index(a) for a in observation.usual_answers(sign)]
                found = (
                    found
                    * chance.chance[:, usual, :].sum(axis=1)[
                        made.code(self.sign, "left")[form.rows]
                    ]
                )
            positive[number] = weight @ (found @ BRISK_WEIGHTS)
            every[number] = weight.sum()
        return positive, every


def _named(form, places: tuple[str, ...]) -> bool:
    for place in places:
        region, _, levels = place.partition(":")
        if form.site != region:
            continue
        if not levels:
            return True
        first, _, last = levels.partition("-")
        low, high = SEGMENTS.index(first), SEGMENTS.index(last or first)
        if form.level is not None and low <= form.level <= high:
            return True
    return False


def rows() -> list[Row]:
    """Every row of the table."""
    text = (Path(__file__).parent / "accuracy.toml").read_text(encoding="utf-8")
    lists = ("positive", "target", "others")
    return [
        Row(**{k: tuple(v) if k in lists else v for k, v in row.items()})
        for row in tomllib.loads(text)["row"]
    ]


def main() -> None:
    print(f"{'sign':<20} {'kind':<6} {'published':>9} {'interval':>16} {'model':>7}")
    for row in rows():
        held = "" if row.within else "outside"
        interval = f"{row.low:g} to {row.high:g}"
        print(
            f"{row.sign:<20} {row.kind:<6} {row.published:>9g} {interval:>16} {row.implied():>7.2f} {held}"
        )
        print(f"    {row.source}" + (f"; {row.why}" if row.why else ""))
    held = sum(r.within for r in rows())
    print(
        f"{len(rows())} figures: {held} within, {len(rows()) - held} outside, each with its reason"
    )


if __name__ == "__main__":
    main()
