"""How long a backup and a restore take, and how long others wait: `python -m tests.bench.bench_backup [PATIENTS]`.

Ten examinations a patient, each with the findings of the demo ward's fullest one.
"""

import argparse
import io
import shutil
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.bench.faults_records import AT, SUMMARY, Figures, patient
from tests.records.postgres.server import Server, binaries
from wardexam.records.backup import Written, verified
from wardexam.records.folder_backup import FolderHome
from wardexam.records.locks import Locks
from wardexam.records.moving import Home
from wardexam.records.paths import copy_demo
from wardexam.records.repository import Arrival
from wardexam.records.ward import open_ward

EACH = 10


def filled(folder: Path, patients: int) -> FolderHome:
    """A ward in a folder with so many patients."""
    demo = open_ward(copy_demo(folder / "demo"))
    full = max(
        (e for bed in demo.beds() for e in demo.examinations(bed.patient_id)),
        key=lambda e: len(e.findings),
    )
    ward = open_ward(folder / "ward")
    ward.take_in(
        (
            Arrival(
                patient(name := f"patient{n:06}"),
                tuple(full.model_copy(update={"id": f"{name}e{k}", "patient": name}) for k in range(EACH)),
                SUMMARY,
            )
            for n in range(patients)
        ),
        "x",
    )  # fmt: skip
    return FolderHome(folder / "ward")


def measured(home: Home, there: Home) -> Figures:
    """A backup of one place and a restore of it in another, in seconds."""
    start = time.perf_counter()
    with home.snapshot() as source:
        text = b"".join(Written(source))
    backed_up = time.perf_counter()
    contents = verified(io.BytesIO(text))
    read = time.perf_counter()
    there.lay_down(io.BytesIO(text), contents, by="x", at=AT.isoformat())
    return {
        "MB": round(len(text) / 1e6, 1), "backup": round(backed_up - start, 1), "verified": round(read - backed_up, 1),
        "restore with reading back": round(time.perf_counter() - read, 1),
    }  # fmt: skip


def run(folder: Path, patients: int) -> dict[str, Any]:
    """The figures of a folder, and of a server where one is installed."""
    home, held = filled(folder, patients), []
    real = Locks.all_held

    @contextmanager
    def timed(self):
        start = time.perf_counter()
        with real(self):
            yield
        held.append(time.perf_counter() - start)

    Locks.all_held = timed
    try:
        figures = {"folder": measured(home, FolderHome(folder / "there"))}
    finally:
        Locks.all_held = real
    figures["folder"]["others waited, ms"] = round(max(held) * 1000)
    if binaries():
        from wardexam.records.postgres import schema
        from wardexam.records.postgres.server_backup import ServerHome
        from wardexam.records.postgres.url import read_url

        server = Server(durable=True)
        try:
            url = server.url("ward_backed_up")
            schema.create(read_url(url))
            on_server = ServerHome(read_url(url))
            figures["to a server"] = measured(home, on_server)
            figures["from a server"] = measured(on_server, FolderHome(folder / "back"))
        finally:
            server.close()
    return figures


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("patients", type=int, nargs="?", default=1000)
    patients = parser.parse_args().patients
    folder = Path(tempfile.mkdtemp(prefix="wardexam-backup-"))
    try:
        print(f"{patients * EACH} examinations")
        for name, figures in run(folder, patients).items():
            print(name, figures)
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
