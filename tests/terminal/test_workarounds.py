"""Each workaround for Textual: what it gives, and that Textual alone still does not give it.

When a test of the second kind fails, upstream has mended the fault: delete the workaround.
"""

import re
import signal
import sys
import time
from pathlib import Path

import pytest

from tests.terminal.pty.harness import environ, running

PROBE = str(Path(__file__).parent / "pty" / "probe.py")


@pytest.fixture
def log(tmp_path):
    path = tmp_path / "log"
    path.touch()
    return path


def probe(log, *options, ignore=(), **env):
    command = [sys.executable, PROBE, str(log), *options]
    return running(command, environ(log.parent, **env), ignore=ignore)


def keys(log) -> list[str]:
    return log.read_text().split("\n")[:-1]


def told(log, wanted):
    """A condition: the log ends with these lines."""
    return lambda _: keys(log)[-len(wanted) :] == wanted


# -- a byte that is not UTF-8 (textual#6456)


def test_a_latin1_letter_is_that_letter(log):
    with probe(log) as session:
        session.wait("ready")
        session.send(b"1\xe92")
        session.wait(told(log, ["1", "é", "2"]))
        session.send(b"\xe9")
        session.wait(told(log, ["2", "é"]))
        session.send("é3")
        session.wait(told(log, ["é", "é", "3"]))


def test_textual_alone_ends_with_a_traceback_on_a_latin1_letter(log):
    with probe(log, "stock") as session:
        session.wait("ready")
        session.send(b"1\xe92")
        session.ended()
        assert b"UnicodeDecodeError" in session.raw


# -- a sequence or a paste that the link cuts


CUT = [(b"\x1b[1", b"~"), (b"\x1b[1", b"5~"), (b"\x1b", b"[15~"), (b"\x1b[", b"B")]


@pytest.mark.parametrize(("first", "rest"), CUT)
def test_a_sequence_cut_in_two_never_gives_a_digit(log, first, rest):
    with probe(log, ESCDELAY="30") as session:
        session.wait("ready")
        session.send(first)
        if first == b"\x1b":
            session.wait(told(log, ["escape"]))
        else:
            session.quiet(0.3)
        session.send(rest)
        session.send("z")
        session.wait(told(log, ["z"]))
        assert set(keys(log)) <= {"z", "escape", "home", "f5", "down"}


def test_textual_alone_turns_the_rest_of_a_cut_sequence_into_keys(log):
    with probe(log, "stock", ESCDELAY="30") as session:
        session.wait("ready")
        session.send(b"\x1b[1")
        session.wait(lambda _: "1" in keys(log))


def test_a_paste_is_one_event_whatever_it_holds(log):
    block = "\x1b[200~2\x1b[31;42;2222222222222222222222222222222222222222m\r3\x1b[201~"
    with probe(log) as session:
        session.wait("ready")
        session.send(block + "z")
        session.wait(told(log, ["z"]))
        assert [k.split()[0] for k in keys(log)] == ["paste", "z"]


def test_textual_alone_types_a_long_sequence_within_a_paste(log):
    block = "\x1b[200~\x1b[31;42;2222222222222222222222222222222222222222m\x1b[201~"
    with probe(log, "stock") as session:
        session.wait("ready")
        session.send(block + "z")
        session.wait(lambda _: "2" in keys(log))


def test_escape_and_a_key_typed_ahead_stay_two_keys(log):
    with probe(log) as session:
        session.wait("ready")
        session.send("\x1b2\x1b[B3")
        session.wait(told(log, ["escape", "2", "down", "3"]))


# -- a terminal that does not read


def handled_unread(session, log, number):
    """How many of so many keys are handled while nothing is read from the terminal."""
    sent, handled, moved = 0, 0, time.monotonic()
    while handled < number and time.monotonic() - moved < 1.5:
        if sent == handled and sent < number:
            session.send("ab")
            sent += 2
        time.sleep(0.002)
        if (now := len(keys(log))) != handled:
            handled, moved = now, time.monotonic()
    return handled


def test_keys_are_handled_while_the_link_stalls_and_nothing_drawn_is_lost(log):
    with probe(log) as session:
        session.wait("ready")
        assert handled_unread(session, log, 600) == 600
        session.wait("count 600 last b")


def test_textual_alone_stops_handling_keys_while_the_link_stalls(log):
    with probe(log, "stock") as session:
        session.wait("ready")
        assert handled_unread(session, log, 600) < 600


# -- a terminal that is gone (textual#5140)


@pytest.mark.parametrize("ignore", [(), (signal.SIGHUP,)])
def test_a_hang_up_ends_with_the_draft_kept(log, ignore):
    with probe(log, ignore=ignore) as session:
        session.wait("ready")
        session.send("12")
        session.wait("count 2")
        session.hang_up()
        assert session.ended(10) == 128 + signal.SIGHUP
        assert keys(log)[-1] == "kept"


def test_textual_alone_runs_on_without_a_terminal(log):
    with probe(log, "stock", ignore=[signal.SIGHUP]) as session:
        session.wait("ready")
        session.hang_up()
        with pytest.raises(AssertionError, match="still running"):
            session.ended(2)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_signal_ends_with_the_draft_kept_and_the_terminal_restored(log, number):
    with probe(log) as session:
        session.wait("ready")
        session.kill(number)
        assert session.ended(10) == 128 + number
        assert keys(log)[-1] == "kept"
        assert session.modes() == session.modes_before
        assert session.raw.rfind(b"\x1b[?1049l") > session.raw.rfind(b"\x1b[?1049h")


def test_a_stalled_terminal_does_not_hold_the_end_up(log):
    with probe(log) as session:
        session.wait("ready")
        handled_unread(session, log, 600)
        session.kill(signal.SIGTERM)
        session.process.wait(10)
        assert session.process.returncode == 128 + signal.SIGTERM
        assert session.modes() == session.modes_before


# -- stopping and going on


@pytest.mark.parametrize("stop", [signal.SIGTSTP, signal.SIGSTOP])
def test_going_on_after_a_stop_repaints_and_reads_keys_once(log, stop):
    with probe(log) as session:
        session.wait("ready")
        session.kill(stop)
        session.wait(lambda s: Path(f"/proc/{s.process.pid}/stat").read_text().split()[2] == "T")
        session.screen.reset()
        session.kill(signal.SIGCONT)
        session.wait("ready")
        session.send("12")
        session.wait(told(log, ["1", "2"]))
        assert keys(log) == ["1", "2"]
        session.send("q")
        assert session.ended() == 0
        assert session.modes() == session.modes_before


# -- the program's own faults


def test_a_fault_of_the_program_is_one_line_without_names(log):
    with probe(log) as session:
        session.wait("ready")
        session.send("!")
        assert session.ended() == 1
        assert b"kept as a draft" in session.raw
        assert b"Secret" not in session.raw
        assert b"Traceback" not in session.raw


def test_textual_alone_prints_every_local_variable(log):
    with probe(log, "stock") as session:
        session.wait("ready")
        session.send("!")
        session.ended()
        assert b"Secret" in session.raw


# -- ASCII only


def test_in_ascii_mode_no_other_byte_leaves(log):
    with probe(log, "ascii") as session:
        session.wait("ready")
        session.press(".", "???w ? ???? ?")
        assert max(session.raw) < 0x80


def test_no_mouse_report_and_no_keyboard_protocol_is_asked_for(log):
    with probe(log) as session:
        session.wait("ready")
        session.send("q")
        assert session.ended() == 0
        assert not re.search(rb"\x1b\[\?10(?:00|02|03|06|15|16)h|\x1b\[>\d+u", session.raw)
