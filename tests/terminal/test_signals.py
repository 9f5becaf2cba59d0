"""The end that a signal brings: the drafts first, then in order, and at last by force."""

import signal
import subprocess
import sys

import pytest

from wardexam.terminal.signals import ENDING, KEEP, WHOLE, Ending, watch

PROGRAM = """
import signal, sys, threading, time
from wardexam.terminal.signals import Ending, watch
way = sys.argv[1]
done = threading.Event()

def keep(timeout):
    print("kept", flush=True)
    if way == "keeping fails":
        raise OSError("disk full")

def leave():
    if way != "stuck":
        done.set()

ending = Ending(keep, leave, lambda: print("restored", flush=True))
with watch(ending):
    print("ready", flush=True)
    done.wait()
print("left in order", flush=True)
sys.exit(ending.code)
"""

TABLE = [
    ("in order", signal.SIGTERM, ["kept", "left in order"]),
    ("in order", signal.SIGHUP, ["kept", "left in order"]),
    ("in order", signal.SIGINT, ["kept", "left in order"]),
    ("keeping fails", signal.SIGTERM, ["kept", "left in order"]),
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


def test_the_drafts_have_their_time_within_the_second():
    assert KEEP < WHOLE < 1


def test_the_signals_are_as_before_afterwards():
    before = {number: signal.getsignal(number) for number in ENDING}
    with watch(Ending(lambda _: None, lambda: None, lambda: None)):
        assert all(signal.getsignal(n) not in (before[n], signal.SIG_IGN) for n in ENDING)
    assert {number: signal.getsignal(number) for number in ENDING} == before
