"""How the engine does on published examinations: `python -m tests.handbook.published [PART ...]`.

Prints the right site first and within three: the *true* one, named as finely as the case states it (the kind
of "no lesion", the nerve, the root within a segment, the stretch of the cord) and on its side; and an *acceptable*
one, that or any that the first coder called not to be told from it on that sheet, on either side. Earlier figures
of "right site first" (78 % of 370) counted what is acceptable here. Two lesions are right only where two are said,
one is said not to fit, or the place that leads is named on both sides and is both of them; a site that the model cannot name is always wrong. Then the
side, level held and width of the range, probability on the truth, log loss, reliability in five equally
filled bins, false alarms where nothing focal was wrong, two lesions that were missed; by group and in all,
with silence weighed and not. Intervals are Wilson's at 95 %.
"""

import argparse
import itertools
import math
import statistics
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from tests.handbook.published.cases import CALM, PARTS, Published, cases, two_said
from tests.handbook.urgency import interval
from wardexam import ready
from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.reasoning.reading import Reading

BINS = 5
LEAST = 1e-6  # no chance is less, so that it has a logarithm
SURE, ALARM, RARE = 0.97, 0.5, 0.01
SHOWN = 3


@dataclass(frozen=True)
class Scored:
    """A case with its reading."""

    case: Published
    reading: Reading

    @property
    def first(self) -> bool:
        """Whether the true site leads; of two lesions whether two are said, that one does not fit, or a site that is both leads."""
        if self.case.site == "two_lesions":
            return self.case.two_found(self.reading)
        return self.case.met_by(self.reading.sites[0])

    @property
    def calm(self) -> bool:
        """Whether a kind of no lesion leads."""
        return self.reading.sites[0].region in CALM

    @property
    def acceptable(self) -> bool:
        """Whether the leading site is the true one or one that the findings cannot tell from it."""
        return self.first or self.case.accepted(self.reading.sites[0])

    @property
    def within(self) -> bool:
        """Whether an acceptable site is among the first three."""
        return self.first or any(map(self.case.accepted, self.reading.sites[:SHOWN]))

    @property
    def said(self) -> float:
        """The probability of the leading site."""
        return self.reading.sites[0].probability

    @property
    def chance(self) -> float:
        """The probability on the truth."""
        return self.case.chance(self.reading)

    @property
    def fair(self) -> float:
        """The probability on all acceptable sites together."""
        return sum(s.probability for s in self.reading.sites if self.case.accepted(s))


def read(part: str, *, silence: bool) -> list[Scored]:
    """Every case of a part with its reading."""
    engine = ready.engine()
    return [Scored(c, engine.read(c.findings, silence=silence)) for c in cases(part)]


def calibration(scored: Sequence[Scored]) -> tuple[float, list[tuple[float, float, int]]]:
    """The expected calibration error, and for each bin what was said, what was so, and of how many."""
    ordered = sorted(scored, key=lambda s: s.said)
    cuts = [round(n * len(ordered) / BINS) for n in range(BINS + 1)]
    bins = [ordered[a:b] for a, b in itertools.pairwise(cuts) if b > a]
    rows = [
        (statistics.mean(s.said for s in each), statistics.mean(s.first for s in each), len(each))
        for each in bins
    ]
    return sum(abs(a - b) * n for a, b, n in rows) / len(ordered), rows


def _same(side: str) -> tuple[str, ...]:
    return (side,)


def _other(side: str) -> tuple[str, ...]:
    return ("left",) if side == "right" else ("right",)


def report(scored: Sequence[Scored]) -> None:
    """Print the figures of some cases."""
    whole, single = len(scored), [s for s in scored if s.case.site != "two_lesions"]
    print(f"  true site first: {interval(sum(s.first for s in scored), whole)}")
    told = [s for s in scored if not s.case.others]
    print(f"  true site first, where the coder named no other: {interval(sum(s.first for s in told), len(told))}")  # fmt: skip
    print(f"  acceptable site first: {interval(sum(s.acceptable for s in scored), whole)}")
    print(f"  acceptable site within three: {interval(sum(s.within for s in scored), whole)}")
    lead = [(s, s.reading.sites[0]) for s in single]
    sided = [(s, p) for s, p in lead if s.case.named_by(p) and s.case.side in ("right", "left")]
    right, other = (sum(p.side in told(s.case.side) for s, p in sided) for told in (_same, _other))
    print(f"  side, where the site is the true one: {interval(right, len(sided))}, the other side {other}")  # fmt: skip
    levels = [(s, s.case.level_held(s.reading.sites[0])) for s in single if s.first]
    held = [(s, h) for s, h in levels if h is not None]
    widths = [
        SEGMENTS.index(s.reading.sites[0].levels[1]) - SEGMENTS.index(s.reading.sites[0].levels[0]) + 1
        for s, _ in held if s.reading.sites[0].levels
    ]  # fmt: skip
    width = f", range {statistics.mean(widths):.1f} segments" if widths else ""
    print(f"  level held: {interval(sum(h for _, h in held), len(held))}{width}")
    loss = statistics.mean(-math.log(max(LEAST, s.chance)) for s in single)
    chance = statistics.mean(s.chance for s in single)
    print(f"  probability on the truth: {chance:.2f} in the mean, log loss {loss:.2f}")
    low = sum(s.chance < RARE for s in single)
    expected = sum(p.probability for s in single for p in s.reading.sites if p.probability < RARE or p.id == "other")  # fmt: skip
    print(
        f"  truth given under 1 %: {interval(low, len(single))}; by the chances said {expected:.1f}"
    )
    never = sum(s.fair < RARE for s in single)
    print(f"  every acceptable site together given under 1 %: {interval(never, len(single))}")
    error, rows = calibration(single)
    words = "; ".join(f"said {a:.2f}, so {b:.2f} of {n}" for a, b, n in rows)
    print(f"  calibration error {error:.3f}: {words}")
    sure = [s for s in single if s.said >= SURE]
    wrong, wholly = sum(not s.first for s in sure), sum(not s.acceptable for s in sure)
    print(f"  said {SURE} or more: {len(sure)}; not the true site {wrong}, not an acceptable one {wholly}")  # fmt: skip
    calm = [s for s in scored if s.case.no_lesion]
    kind, any_kind = sum(s.first for s in calm), sum(s.calm for s in calm)
    print(f"  no lesion, its very kind first: {interval(kind, len(calm))}")
    print(f"  no lesion, any kind of it first: {interval(any_kind, len(calm))}")
    ill = [s for s in scored if not s.case.no_lesion]
    print(
        f"  a lesion, yet a kind of no lesion first: {interval(sum(s.calm for s in ill), len(ill))}"
    )
    alarms = sum(sum(d.probability for d in s.reading.dangerous) >= ALARM for s in calm)
    print(f"  no lesion, yet an urgent site likelier than not: {interval(alarms, len(calm))}")
    pairs = [s for s in scored if s.case.site == "two_lesions"]
    print(f"  two lesions said: {interval(sum(s.first for s in pairs), len(pairs))}")
    ones, both = ([s for s in single if s.case.of_both == of] for of in (False, True))
    print(
        f"  the same of one lesion, or none: {interval(sum(two_said(s.reading) for s in ones), len(ones))}"
    )
    print(f"  the same of a nerve or plexus of both sides: {sum(two_said(s.reading) for s in both)} of {len(both)}")  # fmt: skip


def main() -> None:
    """Print the figures of the parts that are named."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("part", nargs="*", help=f"{', '.join(PARTS)}; the first two if none")
    parser.add_argument(
        "--misses", action="store_true", help="name each case whose site does not lead"
    )
    chosen = parser.parse_args()
    for part in chosen.part or PARTS[:2]:
        for silence in (False, True):
            scored = read(part, silence=silence)
            print(f"{part}, {len(scored)} cases, silence {'weighed' if silence else 'not weighed'}")
            report(scored)
            groups = defaultdict(list)
            for s in scored:
                for group in s.case.groups:
                    groups[group].append(s)
            print("  first (acceptable, within three) of each:")
            for group, those in sorted(groups.items()):
                first, fair, three = (sum(getattr(s, n) for s in those) for n in ("first", "acceptable", "within"))  # fmt: skip
                print(f"    {group:<40}{first:>4} ({fair}, {three}) of {len(those)}")
            if chosen.misses and silence:
                for s in scored:
                    if not s.first:
                        top = "; ".join(
                            f"{p.probability:.0%} {p.name}" for p in s.reading.sites[:3]
                        )
                        fair = "accepted" if s.acceptable else "miss"
                        print(f"  {fair} {s.case.id} {s.case.site} {s.case.side} {s.case.level}: {top}: {s.case.summary}")  # fmt: skip


if __name__ == "__main__":
    main()
