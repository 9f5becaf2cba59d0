"""A long stay and a long night at the real screen: `python -m tests.bench.bench_stay`.

First a patient with 2,000 examinations of 49 findings: the key that opens the examination, the note
and the course, to the last byte of the repaint, beside a patient with one examination. Then 20,000
keys over 200 examinations in one session: memory and threads of the process at their beginning, at
every quarter and at their end.
"""

import argparse
import os
import tempfile
import time
from contextlib import ExitStack
from datetime import timedelta
from pathlib import Path

from tests.bench.bench_records import AT, SHEET
from tests.bench.bench_screen import percentile, timed
from tests.terminal.pty.harness import Session, environ, running, wardexam
from wardexam.exam.examination import Examination, Patient
from wardexam.records.repository import Arrival
from wardexam.records.ward import Ward, open_ward

AIM = 300.0  # milliseconds for the long stay
SCREENS = (("enter", "\r", "examination"), ("n", "n", "note"), ("v", "v", "course"))


def patient(number: int) -> Patient:
    """An invented patient."""
    return Patient(id=f"patient{number}", bed=f"A{number}", name=f"Invented {number}", number=f"9-{number}", admitted=AT)  # fmt: skip


def stay(number: int, count: int) -> tuple[Examination, ...]:
    """So many examinations of one patient, four hours apart."""
    return tuple(
        SHEET.model_copy(
            update={
                "id": f"exam{number}x{n:06}",
                "patient": f"patient{number}",
                "examiner": "Dr Ash",
                "at": AT + timedelta(hours=4 * n),
            }
        )
        for n in range(count)
    )


def filled(folder: Path, *counts: int) -> Ward:
    """A ward with a patient for each count of examinations."""
    ward = open_ward(folder)
    ward.take_in((Arrival(patient(n), stay(n, count)) for n, count in enumerate(counts, 1)), "bench")  # fmt: skip
    return ward


def process(session: Session) -> tuple[float, int]:
    """Resident memory in MB and threads of the program."""
    status = Path(f"/proc/{session.process.pid}/status").read_text().splitlines()
    row = dict(line.split(":", 1) for line in status if ":" in line)
    return int(row["VmRSS"].split()[0]) / 1024, int(row["Threads"])


def bench_long_stay(examinations: int, rounds: int) -> None:
    """The keys that open a long stay beside those that open a short one."""
    with tempfile.TemporaryDirectory() as place, ExitStack() as stack:
        os.environ["XDG_STATE_HOME"] = f"{place}/state"
        filled(Path(place) / "ward", 1, examinations)
        env = environ(Path(place), XDG_STATE_HOME=f"{place}/state")
        session = stack.enter_context(running(wardexam("--db", f"{place}/ward"), env, (80, 24)))
        session.wait("Invented 2")
        session.send("\r")
        session.wait("not asked")  # the tables are loaded
        session.send("q")
        session.wait("Invented 2")
        print(f"a stay of {examinations} examinations, {rounds} rounds: key to last byte, ms")
        print(f"  {'':<12}{'of one p50':>12}{'long p50':>12}{'long most':>12}{'aim':>8}")
        taken: dict[tuple[str, int], list[float]] = {}
        for _ in range(rounds):
            for which in (0, 1):
                for _, key, name in SCREENS:
                    taken.setdefault((name, which), []).append(timed(session, key)[1])
                    timed(session, "q")
                timed(session, "j" if which == 0 else "k")
        for _, _, name in SCREENS:
            short, long = taken[name, 0], taken[name, 1]
            print(
                f"  {name:<12}{percentile(short, 0.5):>12.0f}{percentile(long, 0.5):>12.0f}{max(long):>12.0f}{AIM:>8.0f}"
            )


def bench_long_night(examinations: int, keys: int) -> None:
    """Memory and threads over many examinations in one session."""
    with tempfile.TemporaryDirectory() as place, ExitStack() as stack:
        os.environ["XDG_STATE_HOME"] = f"{place}/state"
        filled(Path(place) / "ward", 1, 1)
        env = environ(Path(place), XDG_STATE_HOME=f"{place}/state")
        session = stack.enter_context(running(wardexam("--db", f"{place}/ward"), env, (80, 24)))
        session.wait("Invented 2")
        each = keys // examinations
        pattern = ("2j2k1j2k" * each)[: each - 3]
        print(f"{keys} keys over {examinations} examinations in one session")
        print(f"  {'examinations':>14}{'MB':>8}{'threads':>9}{'seconds':>9}")
        begun = time.monotonic()
        for number in range(examinations + 1):
            if number in (1, 10) or number % max(1, examinations // 4) == 0:
                session.pump(0.3)
                memory, threads = process(session)
                print(f"  {number:>14}{memory:>8.1f}{threads:>9}{time.monotonic() - begun:>9.0f}", flush=True)  # fmt: skip
            session.send("\r")
            session.wait("nothing entered")
            for start in range(0, len(pattern), 24):
                session.send(pattern[start : start + 24])
                session.pump(0.02)
            if number % 10 == 9:
                session.send("s")
                session.wait("Note")
                session.send("q")
            else:
                session.send("q")
            session.wait("Invented 2")


def main() -> None:
    """Both, or one of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stay", type=int, default=2000)
    parser.add_argument("--rounds", type=int, default=6)
    parser.add_argument("--examinations", type=int, default=200)
    parser.add_argument("--keys", type=int, default=20_000)
    options = parser.parse_args()
    if options.stay:
        bench_long_stay(options.stay, options.rounds)
    if options.examinations:
        bench_long_night(options.examinations, options.keys)


if __name__ == "__main__":
    main()
