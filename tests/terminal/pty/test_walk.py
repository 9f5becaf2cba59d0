"""The real command in a pseudo-terminal: from the ward list to the note, as a doctor would."""

import signal
import sys

import pytest

from tests.terminal.admitting import admission
from tests.terminal.pty import harness
from tests.terminal.pty.harness import OPEN_NEW, Session, kept

COMMAND = [sys.executable, "-m", "wardexam"]


def environ(tmp_path, **more):
    with_mouse = {"WARDEXAM_MOUSE": None, "WARDEXAM_DB": str(tmp_path / "ward")}
    return harness.environ(tmp_path, **(with_mouse | more))


def demo(tmp_path, size=(80, 24), **more):
    return Session([*COMMAND, "demo"], environ(tmp_path, **more), size)


def admitted(tmp_path):
    """A session on a ward of its own with one patient admitted."""
    session = Session(COMMAND, environ(tmp_path))
    session.wait("The ward is empty")
    session.type(admission("B7", "Mo Invented", "40-1", "50"))
    session.wait("Admitted")
    return session


def test_from_the_ward_list_to_the_copied_note(tmp_path):
    session = demo(tmp_path)
    session.wait("12 patients")
    session.send("jj\rm1")
    session.wait("Reflexes and more: core")
    session.send("22222222201100")
    session.wait(kept(14))
    session.wait("Where (suggestion)")
    session.send("s")
    session.wait("NEUROLOGICAL EXAMINATION")
    session.press("C", "paste to check")
    assert b"\x1b]52;c;" in session.raw
    session.send("q")
    session.wait("12 patients")
    session.send("q")
    assert session.ended() == 0


@pytest.mark.long
def test_a_burst_typed_ahead_lands_on_the_right_cells_in_order(tmp_path):
    session = admitted(tmp_path)
    # Everything at once, before the screen is there: open, grade, move, grade, both, undo.
    session.send(
        OPEN_NEW + "20" * 3 + "\x1b[B" + "3" + "\x1b[A\x1b[A" + "1" + "b2" + "u" * 2 + "0" + "s"
    )
    session.wait("NEUROLOGICAL EXAMINATION")
    text = " ".join(session.text.split())
    assert (
        "biceps, brachioradialis and triceps jerks normal (2+) on the right, absent (0) on the left"
        in text
    )
    session.send("qq")
    assert session.ended() == 0


@pytest.mark.long
@pytest.mark.parametrize("term", ["xterm", "xterm-256color", "linux", "vt100", "screen", "tmux"])
def test_every_terminal_shows_the_grid_and_the_cursor(tmp_path, term):
    session = demo(tmp_path, TERM=term)
    session.wait("12 patients")
    session.send("\rm12")
    session.wait(kept(1))
    assert any("2+" in line for line in session.lines)
    session.wait(lambda s: len(s.reversed_cells()) > 0)
    session.send("qq")
    assert session.ended() == 0


@pytest.mark.long
def test_without_colour_meaning_stays(tmp_path):
    session = demo(tmp_path, NO_COLOR="1")
    session.wait("NOW")
    assert "worse" in session.text
    assert b"\x1b[31" not in session.raw
    session.send("q")
    session.ended()


def test_in_the_c_locale_every_byte_is_ascii(tmp_path):
    session = demo(tmp_path, LANG="C", LC_ALL="C")
    session.wait("12 patients")
    session.send("\rm120v")
    session.wait("reinforc")
    assert all(byte < 0x80 for byte in session.raw)
    session.send("\x1b")
    session.kill(signal.SIGTERM)
    session.ended()


def test_a_dumb_terminal_is_told_of_the_line_mode(tmp_path):
    session = demo(tmp_path, TERM="dumb")
    session.wait("wardexam enter")
    assert session.ended() == 2


@pytest.mark.parametrize("end", ["kill", "hangup", "terminate"])
def test_whatever_ends_it_the_draft_is_offered_on_the_next_start(tmp_path, end):
    session = admitted(tmp_path)
    session.send(OPEN_NEW + "203")
    session.wait(kept(3))
    if end == "hangup":
        session.hang_up()
    else:
        session.kill(signal.SIGKILL if end == "kill" else signal.SIGTERM)
    session.ended()
    again = Session(COMMAND, environ(tmp_path))
    again.wait("resumes, T sets aside")
    again.send("\r")
    again.wait("Draft resumed: ")
    assert any("biceps" in line and "2+    0" in line for line in again.lines)
    again.send("q")
    again.wait("1 patient,")
    again.send("q")
    assert again.ended() == 0


@pytest.mark.long
def test_a_small_window_says_what_it_needs_and_comes_back(tmp_path):
    session = demo(tmp_path)
    session.wait("12 patients")
    session.send("\r2")
    session.wait(kept(1))
    session.resize(79, 23)
    session.wait("Needs 80 x 24")
    session.resize(80, 24)
    session.wait(kept(1))
    session.send("qq")
    assert session.ended() == 0


def test_no_mouse_report_is_asked_for_over_a_link(tmp_path):
    session = demo(tmp_path, SSH_CONNECTION="127.0.0.1 1 127.0.0.1 22")
    session.wait("12 patients")
    assert b"?1000h" not in session.raw
    assert b"?1003h" not in session.raw
    session.send("q")
    session.ended()
