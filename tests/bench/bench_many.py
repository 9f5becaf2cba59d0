"""Measure many unrelated sheets: `python -m tests.bench.bench_many [COUNT]`. Prints seconds and ms a sheet.

Each sheet is a patient of its own, drawn from the model with a fixed seed: 25 findings among the signs of
the bedside, an age, a sex, an onset and mostly a complaint of its own. Nothing of one is known to the next.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import json
import random
import resource
import sys
import time

import wardexam
from tests.bench.simulate import Ward
from wardexam import many
from wardexam.exam.sheet import Sheet

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


def used() -> float:
    """Seconds of CPU of this process and of those it has ended."""
    both = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(r.ru_utime + r.ru_stime for r in both)


def memory() -> float:
    """The most memory that this process has taken, in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main(count: int) -> None:
    lines = sheets(count)
    wardexam.localise("{}")
    alone = lines[:200]
    begin, spent = time.perf_counter(), used()
    one = [wardexam.localise(line) for line in alone]
    took, cpu = time.perf_counter() - begin, used() - spent
    print(f"load of the machine at the start: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    print(f"one by one, {len(alone)} sheets of {FINDINGS} findings: {took / len(alone) * 1e3:.1f} ms each, CPU {cpu / len(alone) * 1e3:.1f} ms")  # fmt: skip
    before, begin, spent, number, wrong = memory(), time.perf_counter(), used(), 0, 0
    for number, answer in enumerate(wardexam.localise_many(iter(lines)), 1):
        wrong += number <= len(one) and answer != one[number - 1]
    took, cpu = time.perf_counter() - begin, used() - spent
    print(f"together, {number} sheets: {took:.1f} s (wanted: under 8 for 1,000 on two free cores)")
    print(
        f"    CPU of all processes {cpu:.1f} s: {cpu / many.cores():.1f} s on each of {many.cores()} cores"
    )
    print(f"    unlike one by one {wrong}; memory grew by {memory() - before:.0f} MB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else 1000)
