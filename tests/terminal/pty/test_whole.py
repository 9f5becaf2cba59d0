"""The whole tool in a pseudo-terminal while the link, the terminal and the system do their worst."""

import os
import random
import re
import shlex
import signal
import time
from pathlib import Path

import pytest

from tests.terminal.admitting import ADMIT, admission, answered
from tests.terminal.pty.harness import OPEN_NEW, environ, kept, running, until, wardexam
from wardexam.records.ward import open_ward


def ward(tmp_path, *options, size=(80, 24), ignore=(), **more):
    """The tool on a ward of its own."""
    command = wardexam("--db", str(tmp_path / "ward"), *options)
    return running(command, environ(tmp_path, **more), size, ignore)


def examining(session):
    """Admit a patient and open the examination."""
    session.wait("The ward is empty")
    session.type(admission("B7", "Mo Invented", "40-1", "50"))
    session.wait("Admitted")
    session.press(OPEN_NEW, "Reflexes and more: core")
    session.quiet()


def held(tmp_path):
    """What the one draft holds: sign, side and answer."""
    store = open_ward(tmp_path / "ward")
    (info,) = store.drafts()
    draft, examination = store.resume_draft(info.draft_id)
    draft.close()
    return [(f.sign, f.side, f.answer) for f in examination.findings]


def shows(label, *grades):
    """A condition: the grid's row holds these grades."""
    wanted = re.compile(rf"{label} +{' +'.join(map(re.escape, grades))}")
    return lambda s: any(wanted.search(line) for line in s.lines)


# -- in order, always


@pytest.mark.long
def test_a_dialog_that_opens_takes_the_keys_typed_ahead_as_text(tmp_path):
    with ward(tmp_path) as session:
        examining(session)
        session.send("2c34 yes\r0")  # in one piece: what stands behind Enter is text as well
        session.wait("34 yes 0")
        session.quiet()
        session.send("\r")
        session.wait(kept(2))
        session.send("0")
        session.wait(kept(3))
        session.kill(signal.SIGTERM)
        session.ended()
    assert held(tmp_path) == [("biceps", "right", "2+"), ("biceps", "left", "0")]


def test_keys_typed_ahead_of_a_discharge_never_confirm_it(tmp_path):
    with ward(tmp_path) as session:
        session.wait("The ward is empty")
        session.type(admission("B7", "Mo Invented", "40-1", "50"))
        session.wait("Admitted")
        session.send("D2202\rdy\r")
        session.wait("2202 dy")
        session.quiet()
        session.send("\r")
        session.wait("Nothing was changed")
        session.send("q")
        session.ended()
    assert len(open_ward(tmp_path / "ward").beds()) == 1


@pytest.mark.long
def test_a_byte_that_is_not_utf8_a_cut_sequence_and_a_paste_grade_nothing(tmp_path):
    with ward(tmp_path, ESCDELAY="50") as session:
        examining(session)
        session.send(b"2\xe9")
        session.wait("no such key here")
        session.send(b"\x1b[")
        session.quiet(0.3)
        session.send(b"B")  # the rest of an arrow
        session.wait(lambda s: any(line[:1] in "\u25ba>" and "brachio" in line for line in s.lines))
        session.send(b"\x1b[1")
        session.quiet(0.3)
        session.send(b"5~")
        session.send(b"\x1b[200~1234\r00\x1b[201~")
        session.wait("Pasted text was ignored")
        session.send("0")
        session.wait(kept(2))
        session.hang_up()
        session.ended()
    assert held(tmp_path) == [("biceps", "right", "2+"), ("brachioradialis", "left", "0")]


@pytest.mark.long
def test_a_paste_into_a_question_is_text(tmp_path):
    with ward(tmp_path) as session:
        examining(session)
        session.send("2c")
        session.wait("Comment")
        session.send(b"\x1b[200~slow on the\r34 left\x1b[201~")
        session.send("\r")
        session.wait("Comment kept")
        session.kill(signal.SIGTERM)
        session.ended()
    assert held(tmp_path) == [("biceps", "right", "2+")]


@pytest.mark.long
def test_a_stalled_link_loses_no_key_and_what_comes_through_is_the_last_state(tmp_path):
    with ward(tmp_path) as session:
        examining(session)
        os.set_blocking(session._master, True)
        for _ in range(120):  # nothing is read from the terminal meanwhile
            session.send("20\x1b[A")
        until(lambda: len(list((tmp_path / "ward").rglob("*.draft"))) == 1)
        until(lambda: next((tmp_path / "ward").rglob("*.draft")).read_bytes().count(b"\n") == 241)
        session.wait(kept(240))
        session.wait(shows("biceps", "2+", "0"))
        session.kill(signal.SIGTERM)
        session.ended()
    assert held(tmp_path) == [("biceps", "right", "2+"), ("biceps", "left", "0")]


@pytest.mark.long
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_size_may_change_at_any_moment(tmp_path, seed):
    chance = random.Random(seed)
    sizes = [(79, 23), (80, 24), (100, 30), (120, 40), (20, 5), (200, 60), (80, 23)]
    with ward(tmp_path) as session:
        examining(session)
        for _ in range(30):
            session.resize(*chance.choice(sizes))
            session.send(chance.choice(["20", "3", "\x1b[A", "u", "\t", "m1"]))
            time.sleep(chance.choice([0, 0.01, 0.05]))
        session.resize(80, 24)
        session.wait(lambda s: "Needs" not in s.text and s.lines[-1])
        session.quiet(0.8)  # the reading has come as well
        # What shows is what is: drawing everything anew changes nothing.
        before = session.text
        session.screen.reset()
        session.send("\x0c")
        session.wait(lambda s: s.text == before)


@pytest.mark.long
@pytest.mark.parametrize("digits", ["\x1bOr\x1bOp", "20"])
def test_digits_on_the_keypad_grade(tmp_path, digits):
    with ward(tmp_path) as session:
        examining(session)
        session.send(digits)
        session.wait(kept(2))
        session.wait(shows("biceps", "2+", "0"))


@pytest.mark.long
def test_arrows_and_the_home_row_move_alike(tmp_path):
    with ward(tmp_path) as session:
        examining(session)
        places = []
        for keys in (["\x1b[B", "\x1b[B", "\x1b[C", "\x1b[A"], ["k", "l", "j", "j", "h", "k"]):
            for key in keys:
                session.tap(key)
                places.append([(y, x) for y, x, _ in session.reversed_cells()])
        arrows, home = places[:4], places[4:]
        assert arrows == [home[5], home[4], home[3], home[2]]
        assert "nothing entered" in session.text


# -- the mouse


@pytest.mark.long
def test_the_mouse_moves_the_cursor_and_opens_a_bed_and_grades_nothing(tmp_path):
    with ward(tmp_path, WARDEXAM_MOUSE="on") as session:
        examining(session)
        for kind in "Mm":
            session.send(f"\x1b[<0;33;9{kind}")  # column 33, line 9: knee, left
        session.send("0")
        session.wait("left knee 0")
        session.send("\x1b[<65;10;10M")  # wheel down
        session.wait(kept(1))
        session.send("q")
        session.wait("1 patient,")
        for _ in range(2):
            session.send("\x1b[<0;5;3M\x1b[<0;5;3m")
        session.wait("Reflexes and more: core")
        session.kill(signal.SIGTERM)
        session.ended()
    assert held(tmp_path) == [("knee", "left", "0")]


# -- stopping, going on, ending


@pytest.mark.long
@pytest.mark.parametrize("stop", [signal.SIGTSTP, signal.SIGSTOP])
def test_going_on_after_a_stop_draws_everything(tmp_path, stop):
    with ward(tmp_path) as session:
        examining(session)
        session.press("2", kept(1))
        session.wait("%")  # the reading has come
        session.quiet()
        before = session.text
        session.kill(stop)
        until(lambda: Path(f"/proc/{session.process.pid}/stat").read_text().split()[2] == "T")
        session.quiet()
        session.screen.reset()
        session.kill(signal.SIGCONT)
        session.wait(kept(1))
        session.quiet()
        assert session.text == before
        session.press("0", kept(2))
        session.send("qq")
        assert session.ended() == 0
        assert session.modes() == session.modes_before


@pytest.mark.long
def test_ctrl_z_goes_to_the_shell_and_fg_comes_back(tmp_path):
    tool = " ".join(map(shlex.quote, wardexam("--db", str(tmp_path / "ward"))))
    shell = ["bash", "--noprofile", "--norc", "-i"]
    with running(shell, environ(tmp_path, PS1="prompt> ")) as session:
        session.wait("prompt>")
        session.send(f"{tool}\r")
        examining(session)
        session.press("2", kept(1))
        session.press("\x1a", "Stopped")
        session.send("fg\r")
        session.wait(lambda s: kept(1)(s) and "Stopped" not in s.text)
        session.press("0", kept(2))
        session.send("qq")
        session.wait("prompt>")


@pytest.mark.long
def test_ctrl_z_without_a_shell_stops_nothing(tmp_path):
    with ward(tmp_path) as session:
        examining(session)
        session.press("\x1a", "No shell to go to here")
        session.press("2", kept(1))


def test_ctrl_c_ends_nothing_and_loses_nothing(tmp_path):
    with ward(tmp_path) as session:
        examining(session)
        session.send("2\x03\x03")
        session.wait("no such key here")
        session.send("0")
        session.wait(kept(2))
        session.kill(signal.SIGTERM)
        session.ended()
    assert len(held(tmp_path)) == 2


ENDS = [
    (signal.SIGTERM, ()), (signal.SIGINT, ()), (signal.SIGHUP, ()), (signal.SIGHUP, (signal.SIGHUP,)),
    ("hang up", ()), ("hang up", (signal.SIGHUP,)),
]  # fmt: skip


@pytest.mark.parametrize(("end", "ignored"), ENDS)
def test_every_end_comes_within_the_second_with_the_draft_kept(tmp_path, end, ignored):
    with ward(tmp_path, ignore=ignored) as session:
        examining(session)
        session.send("203")
        session.wait("right brachioradialis 3+")
        begun = time.monotonic()
        if end == "hang up":
            session.hang_up()
        else:
            session.kill(end)
        session.ended()
        # 0.8 s is the most that the end is given; the rest is for a busy machine.
        assert time.monotonic() - begun < 2
        if end != "hang up":
            assert session.modes() == session.modes_before
            assert session.raw.rstrip().rfind(b"\x1b[?1049l") > session.raw.rfind(b"\x1b[?1049h")
    assert len(held(tmp_path)) == 3


# -- what shows at the first run


@pytest.mark.long
def test_a_person_who_has_never_seen_it_is_told_each_next_key(tmp_path):
    """At 80x24 without colour: every key pressed stands on the screen before it is pressed."""
    with ward(tmp_path, NO_COLOR="1") as session:
        session.wait(f"Press {ADMIT} to admit the first patient")
        session.press(ADMIT, "Bed:")
        session.wait("enter accept")
        for answer in answered("B7", "Mo Invented", "40-1", "50"):
            session.type(answer + "\r")
        session.wait("Enter starts the examination")
        session.press("\r", "Reflexes and more: core")
        session.press("4", kept(1))
        for number in range(1, 15):
            session.wait(lambda s: re.match(r"0 (absent|mute|none)  1", s.lines[-1]))
            session.send("2" if number < 13 else "0" if "0 none" in session.lines[-1] else "1")
            session.wait(kept(number + 1))
        session.wait("? help")
        session.press("?", "save and show the note")
        session.press("q", kept(15))
        session.press("s", "NEUROLOGICAL EXAMINATION")
        session.wait("C copy")
        session.press("C", "paste to check")
        assert b"\x1b]52;c;" in session.raw
        assert not re.search(rb"\x1b\[[\d;]*\b(3[0-7]|4[0-7]|38|48|9\d)\b[\d;]*m", session.raw)


@pytest.mark.long
@pytest.mark.parametrize("pause", [0.0, 0.02, 0.05, 0.1, 0.2, 0.4])
def test_leaving_while_a_thread_still_reasons_ends_well(tmp_path, pause):
    # No rows are kept, so the tables are still being made, or the next grades read ahead.
    with ward(tmp_path, XDG_CACHE_HOME=str(tmp_path / "cache")) as session:
        examining(session)
        session.send("20")
        time.sleep(pause)
        session.send("q")
        session.wait("1 patient")
        session.send("q")
        assert session.ended() == 0
