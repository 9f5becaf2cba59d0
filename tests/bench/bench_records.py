"""Measure the store: `python -m tests.bench.bench_records`. Prints milliseconds and ratios.

Wards of 100, 10,000 and 100,000 stored examinations, eight to a patient, forty patients current and
the rest discharged. A save (lock, read, check, write, flush, index, audit) is set beside a bare
write, fsync and rename of the same bytes in the same folder, interleaved in the same run.
"""

import argparse
import json
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.examinations import examined
from wardexam.exam.examination import Examination, Patient
from wardexam.records.repository import Arrival, Summary
from wardexam.records.ward import Ward, open_ward

LINE = (
    "biceps 2/2 brachioradialis 2/2 triceps 2/2 knee 2/0 ankle 2/2 plantar down/down clonus_ankle none/none "
    "power_leg 5/4 power_arm 5/5 pin_L3 2/2 pin_L4 2/1 pin_L5 2/2 pin_S1 2/2 vibration_leg 2/2 level_pin none/none bladder normal"
)
AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
EACH, CURRENT, PATIENTS = 8, 40, 12
SHEET = examined(LINE, AT)
SUMMARY = Summary(1, "within days", True, "left knee jerk lost since the last examination")

FIRST_LIST = """
import json, sys, time
start = time.perf_counter()
from pathlib import Path
from wardexam.records.ward import open_ward
imported = time.perf_counter()
ward = open_ward(Path(sys.argv[1]))
beds = ward.beds()
done = time.perf_counter()
memory = next(int(t.split()[1]) / 1024 for t in open("/proc/self/status") if t.startswith("VmHWM"))
gone = ward.beds(discharged=True)
print(json.dumps([(imported - start) * 1e3, (done - imported) * 1e3, memory, len(beds), len(gone), (time.perf_counter() - done) * 1e3]))
"""


def examination(patient: str, number: int) -> Examination:
    """One of a patient's examinations, sixteen signs on both sides."""
    return SHEET.model_copy(
        update={
            "id": f"{patient}e{number:06}",
            "patient": patient,
            "examiner": "Dr Ash",
            "at": AT + timedelta(hours=number),
        }
    )


def fill(folder: Path, examinations: int) -> Ward:
    """A ward of so many stored examinations."""
    ward = open_ward(folder)
    patients = examinations // EACH + bool(examinations % EACH)

    def arrivals():
        for number in range(patients):
            name = f"patient{number:07}"
            patient = Patient(
                id=name, bed=f"A{number % 1000}", name=f"Invented {number}", age=60, admitted=AT,
                discharged=AT + timedelta(days=9) if number >= CURRENT else None,
            )  # fmt: skip
            count = min(EACH, examinations - number * EACH)
            yield Arrival(patient, tuple(examination(name, n) for n in range(count)), SUMMARY)

    ward.take_in(arrivals(), "bench")
    return ward


def bare(folder: Path, data: bytes, *, with_folder: bool) -> float:
    """Seconds for a write, fsync and rename of these bytes, without or with a flush of the folder."""
    start = time.perf_counter()
    handle = os.open(folder / "bare.new", os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    os.write(handle, data)
    os.fsync(handle)
    os.close(handle)
    os.replace(folder / "bare.new", folder / "bare")
    if with_folder:
        handle = os.open(folder, os.O_RDONLY)
        os.fsync(handle)
        os.close(handle)
    return time.perf_counter() - start


def saves(
    wards: dict[int, Ward], rounds: int, *, before: int
) -> dict[int, tuple[float, float, float, float]]:
    """For each ward the median seconds of a save, of the bare write, of that with the folder, and bytes.

    The wards take turns, so that a busy machine is busy for all of them; twelve patients take turns,
    so that the files grow alike whatever the size of the ward.
    """
    found: dict[int, list[tuple[float, float, float, int]]] = {size: [] for size in wards}
    for number in range(rounds):
        for size, ward in wards.items():
            name = f"patient{number % PATIENTS:07}"
            new = examination(name, before + number)
            start = time.perf_counter()
            ward.save(new, "Dr Ash", SUMMARY)
            took = time.perf_counter() - start
            data = (ward.layout.patients / f"{name}.json").read_bytes()
            plain = bare(ward.layout.patients, data, with_folder=False)
            whole = bare(ward.layout.patients, data, with_folder=True)
            found[size].append((took, plain, whole, len(data)))
    return {
        size: tuple(map(statistics.median, zip(*rows, strict=True))) for size, rows in found.items()
    }


def first_list(folder: Path, rounds: int = 7) -> list[float]:
    """Medians from fresh processes: imports, open to first list, MB, current, discharged, their list."""
    runs = [
        json.loads(
            subprocess.run(
                [sys.executable, "-c", FIRST_LIST, str(folder)], capture_output=True, text=True, check=True
            ).stdout
        )
        for _ in range(rounds)
    ]  # fmt: skip
    return [statistics.median(column) for column in zip(*runs, strict=True)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=[100, 10_000, 100_000])
    parser.add_argument("--rounds", type=int, default=PATIENTS * 20)
    parser.add_argument("--folder", type=Path, help="where to work (default: a temporary folder)")
    options = parser.parse_args()
    work = Path(tempfile.mkdtemp(prefix="bench-records-", dir=options.folder))
    try:
        wards = {}
        for size in options.sizes:
            start = time.perf_counter()
            wards[size] = fill(work / f"ward{size}", size)
            print(
                f"{size} examinations taken in, {(time.perf_counter() - start):.1f} s", flush=True
            )
        saves(wards, PATIENTS * 2, before=EACH)  # warms every path
        found = saves(wards, options.rounds, before=1000)
        print("stored     save p50  bare p50  with folder  ratio to bare  to bare+folder  file")
        for size, (took, plain, whole, length) in found.items():
            print(f"{size:<9} {took * 1e3:7.2f} ms {plain * 1e3:6.2f} ms {whole * 1e3:9.2f} ms {took / plain:10.2f}   {took / whole:12.2f}   {length / 1000:9.0f} kB")  # fmt: skip
        times = [took for took, *_ in found.values()]
        print(f"flat: slowest / fastest size {max(times) / min(times):.2f} (wanted: 1.5)")
        for size in wards:
            imports, took, memory, current, gone, all_gone = first_list(work / f"ward{size}")
            print(f"{size:<9} open to first list {took:6.1f} ms (wanted: 150), imports {imports:.0f} ms, {current:.0f} current, {memory:.0f} MB; {gone:.0f} discharged listed in {all_gone:.0f} ms")  # fmt: skip
        print("one patient with many examinations: save beside the bare write of the same bytes")
        for count in (8, 100, 1000, 3650):
            name, ward = "longstay01", open_ward(work / f"long{count}")
            patient = Patient(id=name, bed="L1", name="Invented", admitted=AT)
            ward.take_in([Arrival(patient, tuple(examination(name, n) for n in range(count)))], "x")
            path = ward.layout.patients / f"{name}.json"
            took, plain = [], []
            for number in range(30):
                start = time.perf_counter()
                ward.save(examination(name, count + number), "Dr Ash", SUMMARY)
                took.append(time.perf_counter() - start)
                plain.append(bare(ward.layout.patients, path.read_bytes(), with_folder=True))
            a, b = statistics.median(took), statistics.median(plain)
            print(f"{count:<9} {a * 1e3:7.2f} ms, bare with folder {b * 1e3:7.2f} ms, ratio {a / b:.2f}")  # fmt: skip
        print(f"memory of this process at most {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")  # fmt: skip
    finally:
        shutil.rmtree(work)


if __name__ == "__main__":
    main()
