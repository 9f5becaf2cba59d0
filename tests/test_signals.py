"""The end that a signal brings: the drafts first, then in order, and at last by force."""

import signal
import subprocess
import sys
import time

import pytest

from wardexam.signals import ENDING, KEEP, Ending, watch

PROGRAM = """
import signal, sys, threading, time
from wardexam.signals import Ending, watch
way = sys.argv[1]
done = threading.Event()

def keep(timeout):
    print("kept", flush=True)
    if "slow disk" in way:
        time.sleep(timeout)
        print("took its time", flush=True)
    if way == "keeping fails":
        raise OSError("disk full")

def leave():
    if "stuck" not in way:
        done.set()

ending = Ending(keep, leave, lambda: print("restored", flush=True))
with watch(ending):
    print("ready", flush=True)
    done.wait()
print("left in order", flush=True)
sys.exit(ending.code)
"""

BUSY = 3.0  # seconds more, on a machine that has other things to do
TABLE = [
    ("in order", signal.SIGTERM, ["kept", "left in order"]),
    ("in order", signal.SIGHUP, ["kept", "left in order"]),
    ("in order", signal.SIGINT, ["kept", "left in order"]),
    ("keeping fails", signal.SIGTERM, ["kept", "left in order"]),
    ("slow disk", signal.SIGTERM, ["kept", "took its time", "left in order"]),
    ("stuck", signal.SIGTERM, ["kept", "restored"]),
    ("stuck", signal.SIGHUP, ["kept"]),
]


@pytest.mark.parametrize("times", [1, 3])
@pytest.mark.parametrize(("way", "number", "said"), TABLE)
def test_a_signal_ends_the_program_once(way, number, said, times):
    program = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, way], stdout=subprocess.PIPE, text=True
    )
    assert program.stdout.readline() == "ready\n"
    for _ in range(times):
        program.send_signal(number)
    out, _ = program.communicate(timeout=30)
    assert out.split("\n")[:-1] == said
    assert program.returncode == 128 + number


def test_a_program_that_is_stuck_with_a_slow_disk_ends_about_a_second_after_the_signal():
    program = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, "stuck, slow disk"], stdout=subprocess.PIPE, text=True
    )
    assert program.stdout.readline() == "ready\n"
    start = time.monotonic()
    program.send_signal(signal.SIGTERM)
    out, _ = program.communicate(timeout=30)
    assert out.split("\n")[:-1] == ["kept", "took its time", "restored"]
    assert KEEP < time.monotonic() - start < 1 + BUSY


def test_the_signals_are_as_before_afterwards():
    before = {number: signal.getsignal(number) for number in ENDING}
    with watch(Ending(lambda _: None, lambda: None, lambda: None)):
        assert all(signal.getsignal(n) not in (before[n], signal.SIG_IGN) for n in ENDING)
    assert {number: signal.getsignal(number) for number in ENDING} == before
