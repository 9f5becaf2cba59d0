"""Whether drawn practice cases can be solved: the tool's own way through each, by level (`python -m tests.bench.bench_practice`).

For every level so many cases from a seed: how often the right place, on its side, stands first and among the first three at
the end of the tool's own way, how often it became known, in how many seconds; and how urgent the cases are by the rules.
"""

import statistics
import sys
from collections import Counter
from dataclasses import dataclass

from wardexam.practice.drawing import Drawing
from wardexam.practice.feedback import urgency_of
from wardexam.practice.path import Path, best
from wardexam.practice.tables import levels
from wardexam.ready import engine

THREE = 3


@dataclass(frozen=True)
class Solved:
    """The tool's own ways through some cases."""

    paths: tuple[Path, ...]

    def within(self, places: int) -> float:
        """The share in which the right place stood so far up at the end."""
        return statistics.mean(bool(p.steps) and p.steps[-1].rank <= places for p in self.paths)

    @property
    def known(self) -> list[int]:
        """The seconds until it was known, of those in which it was."""
        return [p.known_seconds for p in self.paths if p.known_seconds is not None]


def solve(level: int, count: int, first: int = 1) -> Solved:
    """The tool's own way through so many cases of a level, by their seeds from the first on."""
    made = engine()
    drawing = Drawing(made.hypotheses)
    return Solved(tuple(best(made, drawing.draw(level, s)) for s in range(first, first + count)))


def main(count: int) -> None:
    made = engine()
    drawing = Drawing(made.hypotheses)
    for level, row in levels().items():
        solved = solve(level, count)
        urgent = Counter(
            urgency_of(made, drawing.draw(level, s)).level for s in range(1, count + 1)
        )
        print(
            f"{level} {row.name}: {count} cases, first {solved.within(1):.0%}, within three "
            f"{solved.within(THREE):.0%}, known in {len(solved.known)} after {statistics.median(solved.known):.0f} s "
            f"(median), urgency {', '.join(f'{n}: {urgent[n]}' for n in sorted(urgent))}"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
