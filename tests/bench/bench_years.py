"""Print what forty beds cost beside five years of discharged patients, against the same ward without them.

Run as `python -m tests.bench.bench_years [DISCHARGED]`.
"""

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.bench.years import fill
from tests.examinations import examined
from wardexam.note import handover
from wardexam.records.ward import Ward, open_ward

NOW = datetime(2026, 3, 4, 14, tzinfo=UTC)
BEDS, DISCHARGED, TIMES = 40, 2000, 15


def median(do: Callable[[int], object]) -> float:
    """Milliseconds."""
    took = []
    for n in range(TIMES):
        begun = time.perf_counter()
        do(n)
        took.append((time.perf_counter() - begun) * 1000)
    return statistics.median(took)


def measures(ward: Ward) -> dict[str, Callable[[int], object]]:
    """What a doctor waits for, by name."""
    first, last = ward.beds()[0].patient_id, ward.beds()[-1].patient_id
    line = "knee 2/2 ankle 2/0 plantar down/down"

    def save(n: int) -> None:
        at = NOW + timedelta(minutes=n)
        made = examined(line, at, id=f"again{n:05}", patient=first)
        ward.save(made, "bench", handover.headline_of([made]))

    def sheet(_: int) -> str:
        rows = [
            (ward.patient(b.patient_id), ward.examinations(b.patient_id), b.summary)
            for b in ward.beds()
        ]
        return handover.render(rows, now=NOW)

    def leave_and_return(_: int) -> None:
        ward.discharge(ward.patient(last), NOW, "bench")
        ward.restore(ward.patient(last), "bench")

    return {
        "open the ward": lambda _: open_ward(ward.folder),
        "list the beds": lambda _: ward.beds(),
        "open a patient": lambda _: ward.opened(first, "bench"),
        "read a patient's examinations": lambda _: ward.examinations(first),
        "save an examination": save,
        "handover sheet": sheet,
        "discharge and restore": leave_and_return,
        "list the discharged": lambda _: ward.beds(discharged=True),
    }


def main() -> None:
    gone = int(sys.argv[1]) if len(sys.argv) > 1 else DISCHARGED
    with tempfile.TemporaryDirectory() as folder:
        wards = {}
        for name, number in (("without", 0), ("with", gone)):
            ward = wards[name] = open_ward(Path(folder) / name)
            begun = time.perf_counter()
            fill(ward, BEDS, number, NOW)
            print(
                f"{BEDS} beds {name} {number} discharged: made in {time.perf_counter() - begun:.1f} s"
            )
        size = sum(f.stat().st_size for f in wards["with"].folder.rglob("*") if f.is_file()) / 1e6
        print(f"{size:.1f} MB on disk")
        plain, full = measures(wards["without"]), measures(wards["with"])
        print(f"{'median of ' + str(TIMES) + ', ms':<32}{'without':>9}{'with':>9}{'ratio':>8}")
        for name in plain:
            a, b = median(plain[name]), median(full[name])
            print(f"{name:<32}{a:9.2f}{b:9.2f}{b / a:8.1f}")


if __name__ == "__main__":
    main()
