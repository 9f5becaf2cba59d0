"""Measure a ward on a server: `python -m tests.bench.bench_postgres`. Prints milliseconds.

A PostgreSQL server of its own, every flush on, holds 100,000 examinations of 12,500 patients, forty of whom are
on the ward. Then forty doctors, each a session with connections of its own, in two groups of processes as on two
hosts, save all at the same moment, round after round; and then each at a time of its own, as on a ward. What is
left at the end is counted: nothing lost, nothing twice.
"""

import argparse
import multiprocessing
import random
import statistics
import sys
import time
from collections.abc import Iterator
from datetime import timedelta

from tests.bench.bench_records import AT, SUMMARY, examination
from tests.records.postgres.server import Server
from wardexam.exam.examination import Patient
from wardexam.records.postgres.schema import create
from wardexam.records.postgres.url import read_url
from wardexam.records.postgres.ward import open_server
from wardexam.records.repository import Arrival

DOCTORS, PROCESSES, EACH, CURRENT = 40, 10, 8, 40
BATCH = 500  # patients taken in at a time


def arrivals(first: int, count: int, patients: int) -> Iterator[Arrival]:
    """Patients of eight examinations; the last forty of all are on the ward."""
    for number in range(first, first + count):
        name = f"patient{number:07}"
        gone = None if number >= patients - CURRENT else AT + timedelta(days=9)
        patient = Patient(id=name, bed=f"A{number % 1000}", name=f"Invented {number}", age=60, admitted=AT, discharged=gone)  # fmt: skip
        yield Arrival(patient, tuple(examination(name, n) for n in range(EACH)), SUMMARY)


def doctors(url, host, who, rounds, seconds, barrier, answers):
    """Some of the doctors of one host: they save together at each round, then for some seconds each in their own time."""
    import threading

    wards = [open_server(url) for _ in who]
    together, apart, faults = [], [], []
    for ward, doctor in zip(wards, who, strict=True):
        ward.save(examination(doctor, 900_000), "warm", SUMMARY)

    def one(ward, doctor):
        try:
            dice = random.Random(doctor)
            for number in range(rounds):
                made = examination(doctor, 1000 + number)
                barrier.wait(120)
                start = time.perf_counter()
                ward.save(made, f"Dr {host}", SUMMARY)
                together.append((time.perf_counter() - start) * 1e3)
            end, number = time.monotonic() + seconds, 0
            while time.monotonic() < end:
                time.sleep(dice.uniform(0, 4))
                made = examination(doctor, 5000 + number)
                start = time.perf_counter()
                ward.save(made, f"Dr {host}", SUMMARY)
                apart.append((time.perf_counter() - start) * 1e3)
                number += 1
        except Exception as error:
            faults.append(repr(error))
            barrier.abort()

    threads = [threading.Thread(target=one, args=pair) for pair in zip(wards, who, strict=True)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for ward in wards:
        ward.close()
    answers.put((together, apart, faults))


def said(values):
    """Median, 95th percentile and most."""
    ordered = sorted(values)
    p95 = ordered[min(len(ordered) - 1, int(len(ordered) * 0.95))]
    return f"p50 {statistics.median(ordered):.1f}, p95 {p95:.1f}, most {ordered[-1]:.1f} ms", p95


def timed(call, times):
    """Milliseconds of a call, each time."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        found.append((time.perf_counter() - start) * 1e3)
    return found


def saving(url, rounds, seconds, processes):
    """Forty doctors save; the times of those who did together and of those who did not."""
    context = multiprocessing.get_context("spawn")
    barrier, answers = context.Barrier(DOCTORS), context.Queue()
    patients = [bed.patient_id for bed in _beds(url)]
    share = DOCTORS // processes
    workers = [
        context.Process(
            target=doctors,
            args=(url, f"host {n % 2}", patients[n * share : (n + 1) * share], rounds, seconds, barrier, answers),
        )
        for n in range(processes)
    ]  # fmt: skip
    for worker in workers:
        worker.start()
    found = [answers.get(timeout=600) for _ in workers]
    for worker in workers:
        worker.join()
    faults = [fault for _, _, more in found for fault in more]
    assert not faults, faults[:3]
    together = [t for each, _, _ in found for t in each]
    apart = [t for _, each, _ in found for t in each]
    stored = DOCTORS * (EACH + 1) + len(together) + len(apart)
    _count(url, stored)
    return together, apart


def _beds(url):
    ward = open_server(url)
    try:
        return ward.beds()
    finally:
        ward.close()


def _count(url, stored):
    """That so many examinations stand at the patients of the ward, each once, and that all is sound."""
    ward = open_server(url)
    try:
        files = ward.papers()
        assert not files.left_out
        ids = [e.id for _, file in files.rows for e in file.examinations]
        assert len(ids) == len(set(ids)) == stored, (len(ids), len(set(ids)), stored)
    finally:
        ward.close()


def run(examinations, rounds, seconds, times, processes=PROCESSES):
    """The figures, printed; the 95th percentiles of the saves together and of the list."""
    server = Server(durable=True)
    try:
        url = server.url("ward")
        create(read_url(url))
        ward = open_server(url)
        patients = max(CURRENT, examinations // EACH)
        start = time.perf_counter()
        for first in range(0, patients, BATCH):
            ward.take_in(arrivals(first, min(BATCH, patients - first), patients), "bench")
        print(f"{patients * EACH} examinations of {patients} patients taken in in {time.perf_counter() - start:.0f} s")  # fmt: skip
        listed, list_p95 = said(timed(ward.beds, times))
        print(f"list of {len(ward.beds())} beds: {listed} (aim 20)")
        print(f"a patient's file opened: {said(timed(lambda: ward.opened(f'patient{patients - 1:07}', 'x'), times))[0]}")  # fmt: skip
        print(f"papers of the whole ward: {said(timed(ward.papers, max(3, times // 20)))[0]}")
        ward.close()
        together, apart = saving(url, rounds, seconds, processes)
        words, p95 = said(together)
        print(f"{DOCTORS} doctors save at the same moment, {rounds} times: {words} (aim p95 50)")
        if apart:
            print(f"each at their own time, {len(apart)} saves in {seconds} s: {said(apart)[0]}")
        print("counted: none lost, none twice, all sound")
        return p95, list_p95
    finally:
        server.close()


def main() -> None:
    """Make the ward, and measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--examinations", type=int, default=100_000)
    parser.add_argument("--rounds", type=int, default=40)
    parser.add_argument("--seconds", type=int, default=30)
    options = parser.parse_args()
    run(options.examinations, options.rounds, options.seconds, 200)
    sys.stdout.flush()


if __name__ == "__main__":
    main()
