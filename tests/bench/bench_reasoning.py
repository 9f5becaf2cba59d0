"""Measure the engine: `python -m tests.bench.bench_reasoning`. Prints milliseconds and ratios.

The baseline in the same run is a plain recomputation: every finding's table and look-up made anew.
Memory is that of a fresh process which loads the kept rows and reads each examination in turn.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from wardexam import ready
from wardexam.exam.entry import Change, apply
from wardexam.exam.examination import Examination
from wardexam.exam.typed import read_line
from wardexam.reasoning.engine import Engine
from wardexam.reasoning.inference import evidence
from wardexam.reasoning.inference.ranking import ranked
from wardexam.reasoning.inference.two_lesions import two_lesions
from wardexam.reasoning.model import observation
from wardexam.reasoning.model.hypotheses import make, packed, unpacked

LINE = (
    "biceps 2/2 brachioradialis 2/2 triceps 2/2 knee 2/0 ankle 2/2 plantar down/down clonus_ankle none/none "
    "power_leg 5/4 power_arm 5/5 pin_L3 2/2 pin_L4 2/1 pin_L5 2/2 pin_S1 2/2 vibration_leg 2/2 level_pin none/none bladder normal"
)
TWO = (
    "wrist_extension 1/5 finger_extension 1/5 elbow_flexion 5/5 finger_abduction 5/5 territory_radial 0/2 "
    "ankle_dorsiflexion 5/1 ankle_eversion 5/1 ankle_inversion 5/5 ankle_plantarflexion 5/5 "
    "territory_superficial_fibular 2/0 knee 2/2 ankle 2/2 plantar down/down"
)
GRADES = ("1+", "3+", "0", "2+")


def timed(work, rounds: int = 80) -> tuple[float, float]:
    """Median and 95th percentile in ms."""
    times = []
    for number in range(rounds):
        start = time.perf_counter()
        work(number)
        times.append((time.perf_counter() - start) * 1000)
    return float(np.median(times)), float(np.percentile(times, 95))


def variants() -> list[Examination]:
    """The examination with one reflex at each of four grades."""
    examination = read_line(LINE).spelled_out()
    right_knee = {"sign": "knee", "side": "right", "scale": "conventional"}
    return [
        apply(examination, Change("finding", "knee right", {**right_knee, "answer": g}))
        for g in GRADES
    ]


def memory() -> None:
    """Make the engine ready as a command does, read every variant, print the most memory in MB."""
    engine = ready.engine()
    for examination in variants() * 3:
        engine.read(examination, silence=False)
    print(f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f}")


def main() -> None:
    start = time.perf_counter()
    hypotheses = make()
    build = (time.perf_counter() - start) * 1000
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rows"
        path.write_bytes(packed(hypotheses))
        loading = timed(lambda _: unpacked(path.read_bytes()), 20)
        for _ in ("rows made", "rows kept"):
            used = subprocess.run(
                [sys.executable, "-m", "tests.bench.bench_reasoning", "memory"],
                capture_output=True,
                text=True,
                check=True,
                env={**os.environ, "XDG_CACHE_HOME": folder},
            ).stdout.strip()
        size = path.stat().st_size / 1e6
    engine = Engine(hypotheses)
    examinations = variants()
    two = read_line(TWO).spelled_out()
    for examination in (*examinations, two):
        engine.read(examination, silence=False)

    def ranking(number: int) -> None:
        ranked(engine.posterior(examinations[number % 4], silence=False))

    def anew(number: int) -> None:
        for held in (evidence._logged, observation._made):
            held.cache_clear()
        Engine(hypotheses).posterior(examinations[number % 4], silence=False)

    def pairs(_: int) -> None:
        posterior = engine.posterior(two, silence=False)
        prior = engine.sums.prior(two.context)
        assert two_lesions(posterior, prior, engine.sums.likelihood, ("any",), None)

    rank = timed(ranking)
    whole = timed(lambda n: engine.read(examinations[n % 4], silence=False))
    silent = timed(lambda n: engine.read(examinations[n % 4]))
    pair = timed(pairs)
    whole_pair = timed(lambda _: engine.read(two, silence=False))
    plain = timed(anew, 20)
    print(
        f"{hypotheses.rows} rows, {len(hypotheses.forms)} forms, {len(examinations[0].findings)} findings"
    )
    print(f"tables built in {build:.0f} ms (wanted: under 2000)")
    print(f"kept rows ({size:.0f} MB) loaded in {loading[1]:.0f} ms at p95 (wanted: under 60)")
    print("                                    p50      p95   wanted p95")
    for name, (half, most), wanted in (
        ("ranking after a changed finding", rank, "3 ms"),
        ("whole answer", whole, "8 ms"),
        ("whole answer, silence weighed", silent, "8 ms"),
        ("two lesions searched", pair, "25 ms"),
        ("whole answer with two lesions", whole_pair, "25 ms"),
        ("ranking, everything made anew", plain, ""),
    ):
        print(f"{name:<32} {half:6.1f} {most:8.1f}   {wanted:>8}")
    print(f"ratio of anew to ranking         {plain[0] / rank[0]:6.1f}")
    print(f"memory of a process that reads   {used:>6} MB (wanted: 80)")


if __name__ == "__main__":
    memory() if sys.argv[1:2] == ["memory"] else main()
