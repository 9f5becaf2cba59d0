"""How the screen feels, measured in a pseudo-terminal: start, keys, bytes, idling.

Drives the real command beside baselines in one run, interleaved, since a machine's speed drifts:
the smallest Textual app for the start; for a key, a curses program and a minimal line-widget app
that repaint the very cells which the real screen repainted. Times are milliseconds.

    python -m tests.bench.bench_screen [--rounds 12] [--keys 120] [--size 80x24]
"""

import argparse
import itertools
import os
import re
import select
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

from tests.bench.baselines import frames as recorded
from tests.terminal.pty.harness import Session, environ, running, wardexam
from wardexam.records.paths import copy_demo

SILENCE = 0.04  # seconds without a byte that end a repaint
BASELINE = Path(__file__).resolve().parent / "baselines"


def percentile(values: Sequence[float], share: float) -> float:
    """The value below which a share of the values lies (nearest rank)."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def row(name: str, *cells: str) -> None:
    """One line of the report."""
    print(f"  {name:<34}" + "".join(f"{cell:>13}" for cell in cells), flush=True)


# -- start


def started(
    command: list[str], env: dict[str, str], marker: bytes, size: tuple[int, int]
) -> tuple[float, float]:
    """Milliseconds from exec to the list, and to the repaint for a key that waited since exec."""
    begin = time.perf_counter()
    with running(command, env, size) as session:
        session.send("j")
        seen = session_bytes_until(session, marker)
        first = time.perf_counter()
        last = after_silence(session, first)
        assert marker in seen
        return (first - begin) * 1e3, (last - begin) * 1e3


def session_bytes_until(session: Session, marker: bytes) -> bytes:
    """Read until the marker has come."""
    data, end = b"", time.monotonic() + 60
    while marker not in data:
        if time.monotonic() > end or session.process.poll() is not None:
            raise SystemExit(f"no list appeared:\n{data[-2000:]!r}")
        if select.select([session._master], [], [], 0.1)[0]:
            data += os.read(session._master, 65536)
    return data


def after_silence(session: Session, last: float) -> float:
    """When the last byte came before a silence."""
    while select.select([session._master], [], [], 0.25)[0]:
        os.read(session._master, 65536)
        last = time.perf_counter()
    return last


def bench_start(
    rounds: int, store: Path, env: dict[str, str], size: tuple[int, int], marker: bytes
) -> None:
    commands = {
        "wardexam": (wardexam("--db", str(store)), marker),
        "smallest Textual app": ([sys.executable, str(BASELINE / "minimal_app.py")], b"ready"),
        "python -c pass": ([sys.executable, "-c", "print('ready')"], b"ready"),
    }
    times: dict[str, list[tuple[float, float]]] = {name: [] for name in commands}
    for number in range(rounds + 1):
        for name, (command, text) in commands.items():
            taken = started(command, env, text, size)
            if number:  # the first round warms the disk's cache and writes bytecode
                times[name].append(taken)
    print(f"start, {rounds} rounds interleaved: exec to")
    row("", "list p50", "list min", "quiet p50")
    for name, pairs in times.items():
        lists, quiets = [a for a, _ in pairs], [b for _, b in pairs]
        row(
            name,
            f"{statistics.median(lists):.0f}",
            f"{min(lists):.0f}",
            f"{statistics.median(quiets):.0f}",
        )
    ours, least = ([a for a, _ in times[name]] for name in ("wardexam", "smallest Textual app"))
    ratios = [a / b for a, b in zip(ours, least, strict=True)]
    print(
        f"  ratio to the smallest app: {statistics.median(ours) / statistics.median(least):.2f}"
        f" (median of paired ratios {statistics.median(ratios):.2f}; wanted: 1.25 at most)"
    )


def bench_first_keys(rounds: int, store: Path, env: dict[str, str], size: tuple[int, int]) -> None:
    """Keys on the list while numpy, the models and the tables load behind it."""
    lasts: list[float] = []
    for _ in range(rounds):
        with running(wardexam("--db", str(store)), env, size) as session:
            session_bytes_until(session, WARD.encode())
            lasts += [timed(session, key)[1] for key in "jkjkjkjkjk"]
    print(f"first {len(lasts)} keys, typed while the tables load: key to last byte")
    row("", "p50", "p95", "most")
    figures = (percentile(lasts, 0.5), percentile(lasts, 0.95), max(lasts))
    row("wardexam", *(f"{n:.1f}" for n in figures))


# -- opening


def bench_opening(rounds: int, store: Path, env: dict[str, str], size: tuple[int, int]) -> None:
    """From the list into an examination and into a note, and back, with everything loaded."""
    keys = {"examine": "\r", "back from it": "q", "note": "n", "back from the note": "q"}
    taken: dict[str, list[float]] = {name: [] for name in keys}
    with running(wardexam("--db", str(store)), env, size) as session:
        session.wait(lambda s: re.search(WARD, s.text))
        session.quiet(1.5)
        for number in range(rounds + 2):
            for name, key in keys.items():
                last = timed(session, key)[1]
                if number > 1:
                    taken[name].append(last)
                at_rest(session)
    print(f"opening, {rounds} times: key to last byte")
    row("", "p50", "p95")
    for name, values in taken.items():
        row(name, f"{percentile(values, 0.5):.1f}", f"{percentile(values, 0.95):.1f}")


# -- keys


def timed(session: Session, key: str) -> tuple[float, float, int]:
    """Send one key: milliseconds to the first and last byte of the repaint, and its bytes."""
    begin = time.perf_counter()
    first = last = begin
    data = b""
    os.write(session._master, key.encode())
    wait = 2.0
    while select.select([session._master], [], [], wait)[0]:
        piece = os.read(session._master, 65536)
        last = time.perf_counter()
        if not data:
            first = last
        data += piece
        wait = SILENCE
    session.raw += data
    return (first - begin) * 1e3, (last - begin) * 1e3, len(data)


# The cells of the core signs in the order graded, and the digits that each takes.
CELLS = ("01234",) * 12 + ("012",) * 2
HOME = "gb"  # back to the first cell


def script(keys: int) -> list[tuple[str, str]]:
    """Grades over the core cells again and again: what to press unmeasured first, and the key.

    Each differs from the grade that the cell had, so that the reading changes at every key.
    """
    typed = []
    for n in range(keys):
        cell, turn = n % len(CELLS), n // len(CELLS)
        digits = CELLS[cell]
        typed.append((HOME if cell == 0 and n else "", digits[(2 + cell % 2 + turn) % len(digits)]))
    return typed


def bench_keys(
    keys: int, stores: tuple[Path, Path], env: dict[str, str], size: tuple[int, int], work: Path
) -> None:
    typed = script(keys)
    shown = []
    with running(wardexam("--db", str(stores[0])), env, size) as ours:
        open_examination(ours)
        for first, key in [("", ""), *typed]:
            for each in (*first, key):
                ours.send(each)
                ours.quiet(0.08)
                shown.append(recorded.of_screen(ours.screen))
    changed = [sum(a != b for a, b in zip(x, y, strict=True)) for x, y in itertools.pairwise(shown)]
    file = work / "frames.json"
    recorded.save(file, shown)
    with ExitStack() as stack:
        ours = stack.enter_context(running(wardexam("--db", str(stores[1])), env, size))
        open_examination(ours)
        programs: dict[str, Session] = {}
        for name, program in (
            ("minimal line widgets", "line_prototype.py"),
            ("curses, the same cells", "curses_program.py"),
        ):
            session = stack.enter_context(
                running([sys.executable, str(BASELINE / program), str(file)], env, size)
            )
            session.wait(lambda s: s.text.strip())
            session.quiet(0.4)
            programs[name] = session
        programs["wardexam"] = ours  # last, and then at rest, so that none computes beside another
        taken: dict[str, list[tuple[float, float, int]]] = {name: [] for name in programs}
        spent = dict.fromkeys(programs, 0.0)
        for n, (first, key) in enumerate(typed):
            for name, session in programs.items():
                for each in first:
                    timed(session, each)
                before = cpu_seconds(session)
                taken[name].append(timed(session, key))
                spent[name] += cpu_seconds(session) - before
                time.sleep(0.005 + (n * 7 % 10) / 1000)
            at_rest(ours)
    print(
        f"keys, {keys} one at a time, interleaved; lines changed a key: median {statistics.median(changed):.0f}"
    )
    row("", "first p50", "last p50", "last p95", "bytes p50", "bytes p95", "CPU")
    for name, values in taken.items():
        row(
            name,
            f"{percentile([v[0] for v in values], 0.5):.1f}",
            f"{percentile([v[1] for v in values], 0.5):.1f}",
            f"{percentile([v[1] for v in values], 0.95):.1f}",
            f"{percentile([v[2] for v in values], 0.5):.0f}",
            f"{percentile([v[2] for v in values], 0.95):.0f}",
            f"{spent[name] / keys * 1e3:.1f}",
        )
    last = {name: percentile([v[1] for v in values], 0.5) for name, values in taken.items()}
    print(
        f"  ratio of the medians to the minimal line widgets: "
        f"{last['wardexam'] / last['minimal line widgets']:.2f} (wanted: 2 at most)"
    )
    print("  wanted: last byte p50 10, p95 20; bytes p50 400, p95 1200")


def at_rest(session: Session, most: float = 0.2) -> None:
    """Wait until a program computes nothing more, as between a doctor's keys; at most so long."""
    end, before = time.monotonic() + most, -1.0
    while (now := cpu_seconds(session)) != before and time.monotonic() < end:
        before = now
        time.sleep(0.025)


def open_examination(session: Session) -> None:
    """From the ward list to a new examination of the first patient, with everything loaded."""
    session.wait(lambda s: re.search(WARD, s.text))
    session.quiet(0.5)
    for key, expected in WALK:
        session.send(key)
        session.wait(lambda s, expected=expected: re.search(expected, s.text))
    session.quiet(1.0)


# -- idling


def cpu_seconds(session: Session) -> float:
    """Processor time that the program has used."""
    fields = Path(f"/proc/{session.process.pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def bench_idle(seconds: float, store: Path, env: dict[str, str], size: tuple[int, int]) -> None:
    print(f"idle, {seconds:.0f} s each")
    row("", "CPU %", "bytes")
    with running(wardexam("--db", str(store)), env, size) as session:
        session.wait(lambda s: re.search(WARD, s.text))
        session.quiet(1.5)
        idle_row("ward list", session, seconds)
        for key, expected in WALK:
            session.send(key)
            session.wait(lambda s, expected=expected: re.search(expected, s.text))
        session.quiet(1.5)
        idle_row("examination", session, seconds)


def idle_row(name: str, session: Session, seconds: float) -> None:
    before, end, sent = cpu_seconds(session), time.monotonic() + seconds, 0
    while (left := end - time.monotonic()) > 0:
        if select.select([session._master], [], [], left)[0]:
            sent += len(os.read(session._master, 65536))
    row(name, f"{(cpu_seconds(session) - before) / seconds * 100:.2f}", str(sent))


# -- modules


def bench_modules(store: Path, env: dict[str, str]) -> None:
    script = (
        "import os, sys\n"
        "from wardexam.terminal.environment import prepare\n"
        "prepare(os.environ, attached=True)\n"
        "{}\n"
        "names = {{m.split('.')[0] for m in sys.modules}}\n"
        "heavy = names & {{'numpy', 'pydantic', 'tinydb'}}\n"
        "print(len(sys.modules), ' '.join(sorted(heavy)) or 'none')\n"
    )
    print("modules loaded before the first paint")
    for name, what in (
        ("wardexam", "import wardexam.terminal.app"),
        ("smallest Textual app", "import textual.app, textual.widgets._static"),
    ):
        done = subprocess.run(
            [sys.executable, "-c", script.format(what)],
            env=env,
            capture_output=True,
            text=True,
            check=True,
        )
        number, heavy = done.stdout.strip().split(" ", 1)
        row(name, number, f"heavy: {heavy}")


# How to get from the ward list to an examination: a key, and what then shows.
WARD = "12 patients"
WALK: tuple[tuple[str, str], ...] = (("\r", "Abnormal last time"), ("m", "core"), ("1", "Reflexes and more: core"))  # fmt: skip


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    options.add_argument(
        "--rounds", type=int, default=12, help="rounds of the start; 0 leaves it out"
    )
    options.add_argument("--keys", type=int, default=120, help="keys typed; 0 leaves them out")
    options.add_argument(
        "--idle", type=float, default=10, help="seconds of idling; 0 leaves it out"
    )
    options.add_argument("--size", default="80x24", help="columns x lines")
    options.add_argument("--term", default="xterm", help="TERM; xterm has 16 colours")
    chosen = options.parse_args()
    columns, lines = (int(n) for n in chosen.size.split("x"))
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        env = environ(work, TERM=chosen.term)
        # Two copies: what is typed into one must not stand in the other already.
        stores = copy_demo(work / "ward"), copy_demo(work / "twin")
        store = stores[0]
        print(
            f"{chosen.size}, TERM={chosen.term}, {os.cpu_count()} processors, Python {sys.version.split()[0]}"
        )
        if chosen.rounds:
            bench_start(chosen.rounds, store, env, (columns, lines), WARD.encode())
            bench_modules(store, env)
            bench_first_keys(5, store, env, (columns, lines))
            bench_opening(30, store, env, (columns, lines))
        if chosen.keys:
            bench_keys(chosen.keys, stores, env, (columns, lines), work)
        if chosen.idle:
            bench_idle(chosen.idle, store, env, (columns, lines))


if __name__ == "__main__":
    main()
