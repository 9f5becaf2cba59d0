"""Many doctors on one host: `python -m tests.bench.bench_sessions`.

So many real screens, each on a terminal of its own and in an examination of its own patient, get a key
each second, out of step with one another. Prints milliseconds from a key to the last byte that it
brought, the processor time of a key, and the memory of a session: proportional (what is shared is
divided among those who share it) and its own. One session alone is the baseline of the same run.
"""

import argparse
import os
import select
import statistics
import tempfile
import time
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

from tests.bench.bench_records import AT
from tests.bench.bench_screen import cpu_seconds, percentile, row, script
from tests.terminal.pty.harness import Session, environ, running, wardexam
from wardexam.exam.examination import Patient
from wardexam.records.ward import open_ward

P95, MEMORY = 60.0, 55.0  # aims: milliseconds, megabytes
LATEST = 0.9  # of the time between two keys: what comes after is no answer to the first


def patient(number: int) -> Patient:
    """An invented patient."""
    return Patient(id=f"patient{number:02}", bed=f"A{number:02}", name=f"Invented {number}", number=f"9-{number}", admitted=AT)  # fmt: skip


def memory(sessions: Sequence[Session]) -> tuple[list[float], list[float]]:
    """Proportional and own memory of each session in MB."""
    shares, own = [], []
    for session in sessions:
        fields: dict[str, int] = {}
        for line in Path(f"/proc/{session.process.pid}/smaps_rollup").read_text().splitlines()[1:]:
            name, value, *_ = line.split()
            fields[name.rstrip(":")] = int(value)
        shares.append(fields["Pss"] / 1e3)
        own.append((fields["Private_Clean"] + fields["Private_Dirty"]) / 1e3)
    return shares, own


def typed(sessions: Sequence[Session], keys: int, period: float) -> tuple[list[float], float]:
    """Key to last byte in milliseconds, for every key of every session, and CPU seconds a key."""
    texts = ["".join(first + key for first, key in script(keys))[:keys] for _ in sessions]
    begun = time.perf_counter() + 0.1
    turns = sorted(
        (begun + (n + at / len(sessions)) * period, at, texts[at][n])
        for at in range(len(sessions))
        for n in range(keys)
    )
    by_handle = {session._master: at for at, session in enumerate(sessions)}
    sent: dict[int, float] = {}
    last: dict[int, float] = {}
    taken: list[float] = []

    def close(at: int) -> None:
        if at in last:
            taken.append((last.pop(at) - sent[at]) * 1e3)

    def read(until: float) -> None:
        while (left := until - time.perf_counter()) > 0:
            for handle in select.select(list(by_handle), [], [], left)[0]:
                os.read(handle, 65536)
                now, at = time.perf_counter(), by_handle[handle]
                if at in sent and now - sent[at] < LATEST * period:
                    last[at] = now

    before = sum(map(cpu_seconds, sessions))
    for due, at, key in turns:
        read(due)
        close(at)
        os.write(sessions[at]._master, key.encode())
        sent[at] = time.perf_counter()
    read(time.perf_counter() + period)
    for at in range(len(sessions)):
        close(at)
    spent = sum(map(cpu_seconds, sessions)) - before
    assert len(taken) >= 0.98 * len(turns), "keys without an answer"
    return taken, spent / len(turns)


def measure(number: int, keys: int, period: float, env: dict[str, str], store: Path) -> None:
    """One row: so many sessions at once."""
    with ExitStack() as stack:
        sessions: list[Session] = []
        for at in range(number):
            session = stack.enter_context(running(wardexam("--db", str(store)), env))
            session.wait("patients")
            session.send("j" * at + "\r")
            session.wait("Reflexes and more", 60)
            session.quiet(0.5, 60)
            sessions.append(session)
        typed(sessions, 3, period)
        taken, spent = typed(sessions, keys, period)
        shares, own = memory(sessions)
        for session in sessions:
            session.wait("Where (suggestion)", 5)
            assert "Reasoning unavailable" not in session.text, "keys without a reading"
    row(
        f"{number} sessions",
        f"{percentile(taken, 0.5):.1f}",
        f"{percentile(taken, 0.95):.1f}",
        f"{max(taken):.1f}",
        f"{spent * 1e3:.1f}",
        f"{statistics.mean(shares):.1f}",
        f"{statistics.mean(own):.1f}",
    )


def main() -> None:
    """Print a row for one session and one for many."""
    options = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    options.add_argument("--sessions", type=int, default=20)
    options.add_argument("--keys", type=int, default=30, help="keys of each session")
    options.add_argument("--period", type=float, default=1.0, help="seconds between two keys")
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        env, store = environ(Path(folder)), Path(folder) / "ward"
        ward = open_ward(store)
        for number in range(chosen.sessions):
            ward.admit(patient(number), "Dr Ash")
        load = os.getloadavg()[0]
        print(
            f"80x24, a key each {chosen.period} s; {os.cpu_count()} processors, load {load:.1f} before"
        )
        row("", "last p50", "last p95", "most", "CPU ms", "MB shared", "MB own")
        for sessions in dict.fromkeys((1, chosen.sessions)):
            measure(sessions, chosen.keys, chosen.period, env, store)
        print(f"  wanted with 20: p95 {P95:.0f} ms, {MEMORY:.0f} MB proportional")


if __name__ == "__main__":
    main()
