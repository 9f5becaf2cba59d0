"""Measure many unrelated sheets: `python -m tests.bench.bench_many [COUNT]`. Prints seconds and ms a sheet.

Each sheet is a patient of its own, drawn from the model with a fixed seed: 25 findings among the signs of
the bedside, an age, a sex, an onset and mostly a complaint of its own. Nothing of one is known to the next.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cProfile
import json
import pstats
import random
import sys
import time

from tests.bench.simulate import Ward
from wardexam import ready
from wardexam.exam.sheet import Sheet, read_sheet

FINDINGS = 25
ONSETS = ("sudden", "hours", "days", "weeks", "longer", "unknown")
COMPLAINTS = ("weak_leg", "weak_arm", "weak_one_side", "back_pain", "leg_pain", "numb_feet", "unsteady", None)  # fmt: skip


def sheets(count: int, seed: int = 7) -> list[str]:
    """So many unrelated sheets, as lines of JSON."""
    ward, chance = Ward(seed), random.Random(seed)
    made = []
    for number in range(count):
        picked = ward.random.choice(len(ward.signs), FINDINGS, replace=False)
        patient = ward.draw()
        sheet = {
            "id": str(number),
            "context": {
                "age": chance.randrange(16, 99),
                "sex": chance.choice(("female", "male")),
                "onset": chance.choice(ONSETS),
                "complaint": chance.choice(COMPLAINTS),
                "complaint_side": chance.choice(("right", "left", "both", None)),
            },
            "findings": [ward.shows(patient, *ward.signs[n]) for n in picked],
        }
        Sheet.model_validate(sheet)
        made.append(json.dumps(sheet))
    return made


def main(count: int, profile: bool) -> None:
    lines = sheets(count)
    engine = ready.engine()
    engine.read(read_sheet("{}").examination())
    alone = lines[: min(count, 200)]
    running = cProfile.Profile()
    begin, spent = time.perf_counter(), time.process_time()
    if profile:
        running.enable()
    for line in alone:
        engine.read(read_sheet(line).examination())
    running.disable()
    took, used = time.perf_counter() - begin, time.process_time() - spent
    print(f"one by one, {len(alone)} sheets: {took:.1f} s, {took / len(alone) * 1e3:.1f} ms each, CPU {used / len(alone) * 1e3:.1f} ms")
    if profile:
        pstats.Stats(running).sort_stats("tottime").print_stats(45)


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else 1000, "profile" in sys.argv[2:])
