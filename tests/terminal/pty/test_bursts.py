"""What comes in one piece in a real terminal: text of the question that is open, or nothing; never keys."""

import time

import pytest

from tests.terminal.admitting import admission
from tests.terminal.pty.harness import environ, kept, running, wardexam
from wardexam.records.ward import open_ward
from wardexam.terminal.app import PAUSED

PASTES = ["weak legs\rsq\r", "weak legs\nsq\n", "weak legs\r\nsq\r\n", "weak legs\rsq"]


@pytest.fixture
def examining(tmp_path):
    """An examination with two grades, in the real terminal."""
    with running(wardexam("--db", str(tmp_path / "ward")), environ(tmp_path)) as session:
        session.wait("The ward is empty")
        session.type(admission("B7", "Mo Invented", "40-1", "50"))
        session.wait("Admitted")
        session.type("\r")
        session.send("420")
        session.wait(kept(3))
        yield session
        session.kill(15)
        session.ended()


@pytest.mark.parametrize("paste", PASTES)
def test_an_unbracketed_paste_with_line_breaks_is_text_of_the_question(examining, tmp_path, paste):
    examining.press("i", "Impression:")
    examining.quiet()
    examining.send(paste)
    examining.wait("Impression: weak legs sq")
    examining.quiet()
    assert "brachioradialis" in examining.text  # neither saved nor left
    assert examining.changes == 3
    examining.send("\r")
    examining.wait("Impression kept")
    ward = open_ward(tmp_path / "ward")
    assert ward.examinations(ward.beds()[0].patient_id) == ()


@pytest.mark.long
def test_a_long_paste_without_its_marks_is_no_keys_of_the_grid(examining):
    begun = time.monotonic()
    examining.send("the power was 4 of 5 on the left, s q u 0 " * 50, apart=False)
    examining.wait("Pasted text was ignored here")
    examining.quiet()
    assert time.monotonic() - begun < 10
    assert "brachioradialis" in examining.text
    assert examining.changes == 3


@pytest.mark.long
def test_what_follows_the_closing_key_at_once_in_a_read_of_its_own_is_nothing(examining):
    examining.press("i", "Impression:")
    examining.quiet()
    for piece in ("weak legs\r", "sq", "55\r", "q"):  # as a slow link cuts a paste
        examining.send(piece, apart=False)
        time.sleep(0.002)
    # Read in pieces the rest is nothing; read as one it is text of the question still.
    examining.wait(lambda s: "Left out: all that came" in s.text or "weak legs sq55 q" in s.text)
    examining.quiet()
    assert "brachioradialis" in examining.text
    assert examining.changes <= 4  # the impression; no grade


@pytest.mark.parametrize("opened", ["/", ":"])
def test_a_paste_into_a_search_goes_nowhere_and_grades_nothing(examining, opened):
    examining.press(opened, lambda s: "Find:" in s.text or "Command:" in s.text)
    examining.quiet()
    examining.send("knee\r55\rsq\r")
    examining.wait(lambda s: "knee 55 sq" in s.text or "Left out: all that came" in s.text)
    examining.quiet()
    assert examining.changes == 3
    time.sleep(PAUSED)
    examining.send("\x1b")
    examining.wait("brachioradialis")


@pytest.mark.long
def test_of_keys_that_a_slow_link_brings_in_pieces_the_end_is_no_answer_either(examining):
    """``/bo2`` goes to a question; what was to follow is cut, and its end would answer another."""
    examining.press("/", "Find:")
    for key in "bo":
        examining.tap(key)
    examining.send("2" + "1/a")
    for piece in ("nt", "\r", "1"):  # "n" would be a "no" to the question
        time.sleep(0.15)
        examining.send(piece, apart=False)
    examining.wait("Left out: all that came")
    examining.quiet()
    assert examining.changes == 3
    assert "both legs                not asked" in examining.text
    time.sleep(PAUSED)
    examining.send("1")
    examining.wait("both legs                yes")
    examining.wait(kept(4))


@pytest.mark.long
def test_a_paste_of_a_whole_admission_is_text_of_its_first_question(tmp_path):
    with running(wardexam("--db", str(tmp_path / "ward")), environ(tmp_path)) as session:
        session.wait("The ward is empty")
        session.press("A", "Bed:")
        session.quiet()
        session.send("B7\rMo Invented\r40-1\rq\r")
        session.wait("B7 Mo Invented 40-1 q")
        session.quiet()
        session.send("\r")
        session.wait("! The bed is needed: at most 12")
        session.type("\x15B7\r")  # the line cleared, the bed typed
        session.wait("Name:")
        session.send("\x1b")
        session.wait("Left as it was")
        session.send("q")
        assert session.ended() == 0


@pytest.mark.parametrize("pause", [0.0, 0.05, 0.2, 0.5])
def test_keys_typed_before_the_first_paint_are_not_lost(tmp_path, pause):
    with running(wardexam("demo"), environ(tmp_path)) as session:
        time.sleep(pause)
        session.send("jj")
        session.send("\r")
        session.send("2")
        session.wait("Beatrix Lund")
        session.wait(kept(1))
        assert "Beatrix Lund" in session.lines[0]
        session.send("qq")
        assert session.ended() == 0


@pytest.mark.long
@pytest.mark.parametrize("behind", [0.06, 0.15, 0.3])
def test_a_key_that_a_hand_types_after_escape_is_a_key_of_what_is_below(tmp_path, behind):
    """Over a link an Escape waits for the rest of a sequence; what is typed meanwhile came no more with it."""
    remote = environ(tmp_path, SSH_CONNECTION="10.0.0.1 1 10.0.0.2 22", ESCDELAY="250")
    with running(wardexam("demo"), remote) as session:
        session.wait("Ottoline Marsh: cord signs")
        session.press("A", "Bed:")
        session.quiet()
        session.send("\x1b")
        time.sleep(behind)
        session.send("j")
        time.sleep(0.2)
        session.send("j")
        session.wait("A3 Beatrix Lund: ")
        assert "Left out" not in session.text
        session.send("q")
        assert session.ended() == 0
