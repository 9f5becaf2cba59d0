"""Measure the engine: `python -m tests.bench.bench_reasoning`. Prints milliseconds and ratios.

The baseline in the same run is a plain recomputation: every finding's table and look-up made anew.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import resource
import time

import numpy as np

from wardexam.exam.entry import Change, apply
from wardexam.exam.typed import read_line
from wardexam.reasoning import outcomes
from wardexam.reasoning.engine import Engine

LINE = (
    "biceps 2/2 brachioradialis 2/2 triceps 2/2 knee 2/0 ankle 2/2 plantar down/down clonus_ankle none/none "
    "power_leg 5/4 power_arm 5/5 pin_L3 2/2 pin_L4 2/1 pin_L5 2/2 pin_S1 2/2 vibration_leg 2/2 level_pin none/none bladder normal"
)
GRADES = ("1+", "3+", "0", "2+")


def timed(work, rounds: int = 60) -> tuple[float, float]:
    """Median and 95th percentile in ms."""
    times = []
    for number in range(rounds):
        start = time.perf_counter()
        work(number)
        times.append((time.perf_counter() - start) * 1000)
    return float(np.median(times)), float(np.percentile(times, 95))


def main() -> None:
    start = time.perf_counter()
    engine = Engine()
    build = (time.perf_counter() - start) * 1000
    examination = read_line(LINE).examination()
    variants = [
        apply(
            examination,
            Change(
                "finding",
                "knee right",
                {"sign": "knee", "side": "right", "answer": g, "scale": "conventional"},
            ),
        )
        for g in GRADES
    ]
    for variant in variants:
        engine.read(variant, silence=False)

    def ranking(number: int) -> None:
        chance, _ = engine.posterior(variants[number % 4], silence=False)
        engine.ranked(chance.sum(axis=1))

    def anew(number: int) -> None:
        engine._terms.clear()
        outcomes._made.cache_clear()
        engine._priors.clear()
        ranking(number)

    rank, whole, plain = (
        timed(ranking),
        timed(lambda n: engine.read(variants[n % 4], silence=False)),
        timed(anew, 20),
    )
    print(f"{engine.rows} rows, {len(engine.forms)} forms, {len(examination.findings)} findings")
    print(f"tables built in {build:.0f} ms (wanted: under 2000)")
    print("                                  p50      p95   wanted p95")
    print(f"ranking after a changed finding {rank[0]:6.1f} {rank[1]:8.1f}        3 ms")
    print(f"whole answer                    {whole[0]:6.1f} {whole[1]:8.1f}        8 ms")
    print(f"ranking, everything made anew   {plain[0]:6.1f} {plain[1]:8.1f}")
    print(f"ratio of anew to ranking        {plain[0] / rank[0]:6.1f}")
    print(
        f"memory of the process at most   {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:6.0f} MB (wanted: 80)"
    )


if __name__ == "__main__":
    main()
