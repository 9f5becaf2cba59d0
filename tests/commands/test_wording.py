"""The hospital's own words reach every place that speaks of urgency, and a bad file none."""

import os
import subprocess
import sys

import pytest

from demo_db.make_demo import make
from tests.terminal.pty.harness import environ, flag_keys, running, wardexam

OWN = """
[cauda_equina]
reason = "our own pathway"
image = "MRI, ring 5678"
call = "bleep 1234"
"""
BAD = '[cauda_equina]\ncall = "bleep 1234"\nurgency = 0\n'
REFUSED = "line 3: 'urgency' cannot be given"


@pytest.fixture
def home(tmp_path):
    make(tmp_path / "ward")
    return tmp_path


def settings(home):
    folder = home / ".config" / "wardexam"
    folder.mkdir(parents=True)
    return folder / "wording.toml"


def run(home, *arguments, **more):
    env = environ(home, WARDEXAM_DB=str(home / "ward"), **more)
    return subprocess.run(
        [sys.executable, "-m", "wardexam", *arguments], env=env, capture_output=True, text=True
    )


def patient(home, bed):
    lines = run(home, "beds").stdout.splitlines()
    return next(line.split()[1] for line in lines if line.startswith(bed))


PLACES = {
    "note": ("note", "A2"),
    "referral": ("referral", "A2"),
    "handover": ("handover", ""),
    "localise": ("localise", ""),
}


@pytest.mark.long
@pytest.mark.parametrize("place", list(PLACES))
def test_own_words_stand_in_the_text_and_without_them_the_built_in(home, place):
    command, bed = PLACES[place]
    arguments = [command, *([patient(home, bed)] if bed else [])]
    arguments += ["--signs", "flag:saddle_numb=yes"] if command == "localise" else []
    assert "our own pathway" not in run(home, *arguments).stdout
    settings(home).write_text(OWN)
    done = run(home, *arguments)
    assert "our own pathway" in done.stdout
    assert done.stderr == ""
    if place != "handover":
        assert "bleep 1234" in done.stdout


@pytest.mark.long
def test_the_option_comes_before_the_variable_and_that_before_the_settings(home):
    for name in ("option", "variable"):
        (home / name).write_text(OWN.replace("our own pathway", f"from the {name}"))
    settings(home).write_text(OWN)
    ask = ("localise", "--signs", "flag:saddle_numb=yes")
    by_variable = {"WARDEXAM_WORDING": str(home / "variable")}
    assert "our own pathway" in run(home, *ask).stdout
    assert "from the variable" in run(home, *ask, **by_variable).stdout
    done = run(home, *ask, "--wording", str(home / "option"), **by_variable)
    assert "from the option" in done.stdout


@pytest.mark.long
@pytest.mark.parametrize(
    ("data", "said"),
    [
        (BAD.encode(), REFUSED),
        (b"[cord]\ncall = \xff\n", "line 2: not UTF-8 text"),
        (None, "cannot be read: No such file"),
    ],
)
def test_a_bad_file_is_said_in_one_line_and_the_built_in_wording_stays(home, data, said):
    words = home / "words.toml"
    if data is not None:
        words.write_bytes(data)
    done = run(home, "localise", "--signs", "flag:saddle_numb=yes", "--wording", str(words))
    assert done.returncode == 0
    assert done.stderr.count("\n") == 1
    assert said in done.stderr
    assert "the built-in wording stays" in done.stderr
    assert "possible cauda equina syndrome" in done.stdout
    assert "bleep 1234" not in done.stdout


def test_the_doctor_sees_the_own_words_while_examining(home):
    settings(home).write_text(OWN)
    env = environ(home, WARDEXAM_DB=str(home / "ward"))
    with running(wardexam(), env) as session:
        session.wait("12 patients")
        session.type("jj\r" + flag_keys(saddle_numb="1"))
        session.wait(
            "our own pathway"
        )  # after 20:00 the limit has its day and takes the room of the step
        session.wait("bleep 1234")
        session.send("q")
        session.wait("12 patients")
        session.send("q")
        assert session.ended() == 0


def test_the_doctor_is_told_in_one_line_of_the_list_that_a_file_was_refused(home):
    settings(home).write_text(BAD)
    env = environ(home, WARDEXAM_DB=str(home / "ward"))
    with running(wardexam(), env) as session:
        session.wait("wording.toml, line 3: 'urgency'")
        session.type("jj\r" + flag_keys(saddle_numb="1"))
        session.wait("saddle numbness: yes")
        session.send("q")
        session.wait("12 patients")
        session.send("q")
        assert session.ended() == 0


def test_own_words_never_reach_a_terminal_as_control_characters(home):
    settings(home).write_text('[cauda_equina]\ncall = "x\\u001b]0;y\\u0007"\n')
    done = run(home, "localise", "--signs", "flag:saddle_numb=yes")
    assert "\x1b" not in done.stdout + done.stderr
    assert os.linesep.join(done.stderr.splitlines()) == done.stderr.strip()
