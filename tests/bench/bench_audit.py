"""Measure the audit: `python -m tests.bench.bench_audit`. Prints seconds for a ward of 100,000 examinations.

Twelve and a half thousand stays with eight examinations of sixteen signs on both sides each, a third of them
suspected cauda equina with acts and outcomes. The command is run as a process of its own, on all cores and on one.
"""

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

from tests.bench.bench_records import AT, EACH, SHEET
from wardexam.exam.acts import Act, Raised
from wardexam.exam.examination import Patient
from wardexam.exam.kept_reading import KeptReading, KeptSite
from wardexam.exam.outcome import Outcome
from wardexam.records.repository import Arrival
from wardexam.records.ward import open_ward

READING = KeptReading(
    sites=tuple(
        KeptSite(id=f"{s}.left", site=s, side="left", chance=c)
        for s, c in (("cauda", 0.5), ("root", 0.3), ("cord", 0.1), ("brain", 0.05), ("nerve", 0.05))
    ),
    program="0.1.0",
    tables="0123456789abcdef",
)


def arrivals(examinations: int) -> Iterator[Arrival]:
    """Stays of eight examinations, some twelve beginning on each day of three years."""
    for number in range(examinations // EACH):
        name, start = f"patient{number:07}", AT + timedelta(hours=number * 0.7)
        suspected = number % 3 == 0
        raised = (Raised(rule="cauda_equina" if suspected else "weakness", since=start),)
        acts = tuple(
            Act(rule="cauda_equina", kind=kind, what="words", by="Dr Ash", at=start + timedelta(minutes=m))
            for kind, m in (("called", 20), ("asked", 40), ("done", 300))
        )  # fmt: skip
        made = tuple(
            SHEET.model_copy(update={
                "id": f"{name}e{n:03}", "patient": name, "examiner": "Dr Ash", "at": start + timedelta(hours=12 * n),
                "raised": raised, "acts": acts if suspected and n == 0 else (), "reading": READING,
            })
            for n in range(EACH)
        )  # fmt: skip
        patient = Patient(
            id=name, bed=f"A{number % 1000}", name=f"Invented {number}", age=60, admitted=start, recheck_hours=12,
            discharged=start + timedelta(days=9),
        )  # fmt: skip
        outcome = Outcome(
            patient=name, by="Dr Ash", at=start + timedelta(days=8), site="cauda", positive="yes"
        )
        yield Arrival(patient, made, outcomes=(outcome,) if suspected else ())


def lengthen(trail: Path, examinations: int) -> None:
    """Lines of the trail as saves and views leave them, two for each examination; their chain is not read here."""
    with trail.open("a") as file:
        for n in range(examinations):
            who, what = (
                f"patient{n // EACH:07}",
                f"patient{n // EACH:07}e{n % EACH:03} 1, entered by Dr Ash",
            )
            at = (AT + timedelta(minutes=n)).isoformat()
            for event, said in (("saved", what), ("viewed", "")):
                line = {
                    "at": at, "by": "Dr Ash", "event": event, "hash": "0" * 64, "login": "ash", "n": n, "patient": who,
                    "record": "0" * 64, "what": said,
                }  # fmt: skip
                file.write(json.dumps(line) + "\n")


def timed(folder: Path, cores: int) -> tuple[float, float, int]:
    """Seconds of the command on so many cores, seconds of processor time, and lines of its paper."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "wardexam", "audit", "--db", str(folder), "--from", "2026-01-01", "--to", "2040-01-01"],
        check=True, capture_output=True, text=True,
        preexec_fn=lambda: os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:cores]),
    )  # fmt: skip
    wall = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return wall, used, len(done.stdout.splitlines())


def main() -> None:
    """Make the ward, and measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--examinations", type=int, default=100_000)
    parser.add_argument("--runs", type=int, default=3)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        os.environ["XDG_STATE_HOME"] = f"{place}/state"
        folder = Path(place) / "ward"
        start = time.perf_counter()
        open_ward(folder).take_in(arrivals(options.examinations), "bench")
        lengthen(folder / "audit.jsonl", options.examinations)
        size = sum(p.stat().st_size for p in (folder / "patients").iterdir())
        print(
            f"{options.examinations} examinations, {size / 1e6:.0f} MB, made in {time.perf_counter() - start:.0f} s"
        )
        for cores in (len(os.sched_getaffinity(0)), 1):
            for _ in range(options.runs):
                wall, used, lines = timed(folder, cores)
                print(f"{cores} cores: {wall:.1f} s, processor time {used:.1f} s, {lines} lines")


if __name__ == "__main__":
    main()
