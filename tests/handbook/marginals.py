"""How often each sign is found in each kind of lesion, published beside the model's: `python -m tests.handbook.marginals`.

With `--tidy` it takes the reasons out of the table that the model, mended, no longer needs.

The model's figure is computed, not drawn: the rows of the lesion's forms by their prior in the story given, over
all three of briskness. Signs asked for together count as independent given the row, as `tests/bench/simulate.py`
draws them.
"""

import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np

from wardexam import ready
from wardexam.anatomy.catalogue import SEGMENTS, Sign, catalogue
from wardexam.anatomy.lesion_tables import (
    cauda,
    conus,
    cord_levels,
    cord_patterns,
    junctions,
    motor_neurone_kinds,
    motor_neurone_onsets,
    muscles,
    polyneuropathies,
    polyradiculoneuropathies,
    roots,
)
from wardexam.anatomy.structures import brain_lesions, branches, other_lesions, plexus_parts
from wardexam.exam.examination import Context
from wardexam.reasoning.inference.prior import Priors
from wardexam.reasoning.model import observation
from wardexam.reasoning.model.codes import BRISK_WEIGHTS
from wardexam.reasoning.model.cord_forms import commonness
from wardexam.reasoning.model.forms import Form
from wardexam.reasoning.model.limb_forms import nerve_kinds

SIDES = ("right", "left")
TO_MEND = "model to be mended: "
TABLE = Path(__file__).parent / "marginals.toml"
KINDS = ("looked up", "from memory", "judgement")


@dataclass(frozen=True)
class Lesion:
    """A kind of lesion: its site, of it the forms, levels and side, and the story."""

    id: str
    name: str
    site: str
    forms: tuple[str, ...] = ()
    levels: str = ""
    lesion_side: str = ""
    age: int | None = None
    onset: str = "unknown"

    def context(self) -> Context:
        return Context.model_validate({"age": self.age, "onset": self.onset})

    def holds(self, form: Form, form_id: str) -> bool:
        """Whether a form of the model is one of these."""
        if form.site != self.site or (self.forms and form_id not in self.forms):
            return False
        if self.lesion_side and form.side != self.lesion_side:
            return False
        if not self.levels:
            return True
        first, _, last = self.levels.partition("-")
        low, high = SEGMENTS.index(first), SEGMENTS.index(last or first)
        return form.level is not None and low <= form.level <= high


@dataclass(frozen=True)
class Row:
    """One published figure, and the model's."""

    lesion: Lesion
    signs: tuple[str, ...]
    counts: tuple[str, ...]
    source: str
    per_cent: float
    side: str = ""
    bound: str = ""
    n: int | None = None
    readings: tuple[float, ...] = ()
    because: str = ""

    @property
    def kind(self) -> str:
        """Where the figure comes from, one of `KINDS`."""
        if self.source == "judgement":
            return "judgement"
        return "from memory" if "from memory" in self.source else "looked up"

    @property
    def within(self) -> bool:
        """Whether the share with the sign and the share without it are both within a factor of two.

        Where the sign is rare the first decides, where it is common the second, and nothing jumps between.
        """
        return all(low <= self.model() <= high for low, high in [self.limits()])

    def limits(self) -> tuple[float, float]:
        """From where to where the model may lie."""
        share = self.per_cent / 100
        low, high = max(share / 2, 1 - 2 * (1 - share)), min(2 * share, 1 - (1 - share) / 2)
        return (0.0 if self.bound == "most" else low), (1.0 if self.bound == "least" else high)

    def model(self) -> float:
        """The share of the lesion's rows that show the sign."""
        return _model(self.lesion, self.signs, self.counts, self.side)

    @property
    def title(self) -> str:
        return f"{self.lesion.id}-{'|'.join(self.signs)}-{'|'.join(self.counts)}-{self.side}"


def _ids() -> Iterator[str]:
    """The ids of the tables' rows in the order in which the plan makes forms of them."""
    both_ways = len(SIDES)
    for name in brain_lesions():
        yield from [name] * both_ways
    for segment in cord_levels():
        for name, pattern in cord_patterns().items():
            if commonness(pattern, segment):
                yield from [name] * (both_ways if pattern.sided else 1)
    for name, span in (*conus().items(), *cauda().items()):
        yield from [name] * (1 + both_ways if span.last == SEGMENTS[-1] or name in conus() else 1)
    neighbours = [
        f"{one}+{other}"
        for (one, first), (other, second) in pairwise(roots().items())
        if set(first.stretch) & set(second.stretch)  # of one limb
    ]
    yield from [*roots(), *neighbours] * both_ways
    for name in plexus_parts():
        yield from [name] * both_ways
    for name, branch in branches().items():
        if branch.weight:
            yield from [name] * both_ways * len(nerve_kinds(name))
    yield from polyneuropathies()
    yield from polyradiculoneuropathies()
    for kind in motor_neurone_kinds():
        for onset in motor_neurone_onsets().values():
            yield from [kind] * (both_ways if onset.limb else 1)
    yield from junctions()
    yield from muscles()
    for name in other_lesions():
        yield from [name] * both_ways
    yield "none"


@cache
def form_ids() -> tuple[str, ...]:
    """The id in its table of every form, in the order of `Hypotheses.forms`."""
    found = tuple(_ids())
    assert len(found) == len(ready.engine().hypotheses.forms)
    return found


def _chance(sign: Sign, counts: tuple[str, ...], context: Context) -> np.ndarray:
    """The chance of the answers that count, by code and briskness."""
    if sign.answers == "level":
        return 1 - observation.observed_level().chance[:, 0, :]
    seen = observation.observed(sign, context)
    wanted = [seen.answers.index(a) for a in counts if a in seen.answers]
    if not wanted:
        raise ValueError(f"{sign.id} has none of the answers {counts}")
    return seen.chance[:, wanted, :].sum(axis=1)


def _places(sign: Sign, side: str, own: str) -> list[str]:
    if sign.sides == "midline":
        return ["midline"]
    other = SIDES[1 - SIDES.index(own)]
    return {"own": [own], "other": [other], "either": [own, other], "both": [own, other]}[side]


@cache
def _prior(context: Context) -> np.ndarray:
    return np.exp(Priors(ready.engine().hypotheses).of_rows(context))


@cache
def _model(lesion: Lesion, signs: tuple[str, ...], counts: tuple[str, ...], side: str) -> float:
    made, context = ready.engine().hypotheses, lesion.context()
    prior = _prior(context)
    asked = [(s, _chance(s, counts, context)) for s in (catalogue()[name] for name in signs)]
    shown = total = 0.0
    for form, form_id in zip(made.forms, form_ids(), strict=True):
        if not lesion.holds(form, form_id):
            continue
        own = form.side if form.side in SIDES else SIDES[0]
        missed = np.ones((form.rows.stop - form.rows.start, len(BRISK_WEIGHTS)))
        for sign, chance in asked:
            for place in _places(sign, side, own):
                found = chance[made.code(sign.id, place)[form.rows]]
                missed *= found if side == "both" else 1 - found
        weight = prior[form.rows]
        share = missed if side == "both" else 1 - missed
        shown += float(weight @ (share @ BRISK_WEIGHTS))
        total += float(weight.sum())
    if not total:
        raise ValueError(f"{lesion.id} names no form of the model")
    return shown / total


def _table() -> dict[str, list[dict[str, object]]]:
    return tomllib.loads(TABLE.read_text(encoding="utf-8"))


def rows() -> list[Row]:
    """Every row of the table."""
    table = _table()
    return [row for lesion in table["lesion"] for row in _rows(dict(lesion), table["counts"])]


def _rows(entry: dict, named: dict) -> Iterator[Row]:
    given = entry.pop("rows")
    lesion = Lesion(**{k: tuple(v) if k == "forms" else v for k, v in entry.items()})
    for row in given:
        sign, counts = row.pop("sign"), row.pop("counts")
        readings = tuple(row.pop("readings", ()))
        if readings:
            row["per_cent"] = sum(readings) / len(readings)
        yield Row(
            lesion=lesion,
            signs=(sign,) if isinstance(sign, str) else tuple(sign),
            counts=tuple(named[counts] if isinstance(counts, str) else counts),
            readings=readings,
            **row,
        )


def tidied(text: str, every: list[Row]) -> str:
    """The table without the reasons of rows that are within; its rows stand one a line, in the order of `rows`."""
    left, lines = iter(every), []
    for line in text.splitlines(keepends=True):
        if line.startswith("  { sign = ") and next(left).within:
            line = re.sub(r', because = ".*" \},$', " },", line.rstrip("\n")) + "\n"
        lines.append(line)
    return "".join(lines)


def main(tidy: bool = False) -> None:
    if tidy:
        TABLE.write_text(tidied(TABLE.read_text(encoding="utf-8"), rows()), encoding="utf-8")
    lesion = None
    for row in rows():
        if row.lesion != lesion:
            lesion = row.lesion
            print(f"\n{lesion.name}")
        words = {"most": "at most ", "least": "at least "}.get(row.bound, "")
        place = f", {row.side}" if row.side else ""
        held = "" if row.within else "  beyond"
        held += "  (no reason is needed any more)" if row.within and row.because else ""
        print(
            f"  {' or '.join(row.signs)}: {' '.join(row.counts)}{place}: "
            f"published {words}{row.per_cent:g} %, model {100 * row.model():.1f} %{held}"
        )
        print(f"      {row.source}" + (f"; {row.because}" if row.because else ""))
    every = rows()
    held = sum(r.within for r in every)
    told = ", ".join(f"{sum(r.kind == kind for r in every)} {kind}" for kind in KINDS)
    print(
        f"\n{len(every)} figures ({told}): {held} within a factor of two, {len(every) - held} beyond"
    )


if __name__ == "__main__":
    main(tidy="--tidy" in sys.argv[1:])
