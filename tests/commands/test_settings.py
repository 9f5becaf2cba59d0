"""One settings file: an option goes before the environment, that before the user's file, that before the host's."""

import json
import os
import re
import subprocess
import sys
import tomllib

import pytest

from demo_db.make_demo import make
from tests.terminal.pty.harness import colour_codes, environ, running, wardexam
from wardexam.commands.main import run
from wardexam.commands.settings import SETTINGS, read_settings
from wardexam.errors import WardexamError

GOOD = """\
store = "/srv/ward"
shared = true
examiner = "Dr Ash"
ascii = true
mouse = false
background = "light"
high_contrast = true
"""


@pytest.fixture
def places(tmp_path, monkeypatch):
    """The user's and the host's settings file, in folders of their own."""
    for name in [s.variable for s in SETTINGS if s.variable] + ["WARDEXAM_SETTINGS"]:
        monkeypatch.delenv(name, raising=False)
    found = []
    for name, variable in (("own", "XDG_CONFIG_HOME"), ("host", "XDG_CONFIG_DIRS")):
        monkeypatch.setenv(variable, str(tmp_path / name))
        (tmp_path / name / "wardexam").mkdir(parents=True)
        found.append(tmp_path / name / "wardexam" / "settings.toml")
    return found


def in_force(capsys, *arguments):
    """What `settings` prints: each name with its value and source; without the file where it stands as a comment."""
    assert run([*arguments, "settings"]) == 0
    out = capsys.readouterr().out
    rows = re.findall(r"^(?:# )?(\w+) = (.*?)  # (.*)$", out, re.M)
    assert [name for name, _, _ in rows] == [s.name for s in SETTINGS]
    return {name: (json.loads(value), source) for name, value, source in rows}, tomllib.loads(out)


def test_every_name_is_read_and_nothing_else_stands_in_the_table():
    found = read_settings(GOOD, "own")
    assert {name: chosen.value for name, chosen in found.items()} == tomllib.loads(GOOD)
    assert [c.where for c in found.values()] == [f"own, line {n}" for n in range(1, 8)]
    assert set(found) == {s.name for s in SETTINGS}


GIVEN = {
    "store": (["--db", "/option"], "WARDEXAM_DB", "/variable"),
    "examiner": (["--examiner", "/option"], "WARDEXAM_EXAMINER", "/variable"),
    "shared": (["--shared"], "", True),
    "ascii": (["--ascii"], "WARDEXAM_ASCII", "on"),
    "mouse": ([], "WARDEXAM_MOUSE", "on"),
    "background": ([], "WARDEXAM_BACKGROUND", "dark"),
    "high_contrast": ([], "WARDEXAM_HIGH_CONTRAST", "on"),
}
OWN = 'store = "/own"\nexaminer = "/own"\nshared = false\nascii = false\nmouse = false\nbackground = "light"\nhigh_contrast = false\n'  # fmt: skip
HOST = OWN.replace("/own", "/host").replace("false", "true").replace("light", "dark")


@pytest.mark.parametrize("name", list(GIVEN))
def test_option_then_environment_then_own_file_then_the_hosts(name, places, monkeypatch, capsys):
    options, variable, said = GIVEN[name]
    own, host = places
    assert in_force(capsys)[0][name][1].startswith("built in")
    host.write_text(HOST)
    values, kept = in_force(capsys)
    assert values[name] == (tomllib.loads(HOST)[name], f"{host}, line {list(tomllib.loads(HOST)).index(name) + 1}")  # fmt: skip
    assert kept[name] == values[name][0]
    own.write_text(OWN)
    assert in_force(capsys)[0][name][0] == tomllib.loads(OWN)[name]
    assert str(own) in in_force(capsys)[0][name][1]
    if variable:
        monkeypatch.setenv(variable, said)
        assert in_force(capsys)[0][name] == (said == "on" or said, variable)
    if options:
        assert in_force(capsys, *options)[0][name] == ((options[1:] or [True])[0], options[0])  # fmt: skip


def test_a_file_holds_what_the_other_does_not_say(places, capsys):
    own, host = places
    own.write_text('examiner = "Dr Own"\n')
    host.write_text('store = "/srv/ward"\nexaminer = "Dr Host"\n')
    values, _ = in_force(capsys)
    assert values["store"] == ("/srv/ward", f"{host}, line 1")
    assert values["examiner"] == ("Dr Own", f"{own}, line 1")


def test_a_file_that_is_named_stands_in_the_place_of_both(places, tmp_path, monkeypatch, capsys):
    places[0].write_text('store = "/own"\n')
    (tmp_path / "named").write_text('examiner = "Dr Named"\n')
    monkeypatch.setenv("WARDEXAM_SETTINGS", str(tmp_path / "named"))
    values, kept = in_force(capsys)
    assert values["examiner"][0] == "Dr Named"
    assert set(kept) == {"examiner"}


WRONG = [
    ('stor = "/srv"\n', "line 1: there is no setting 'stor'; did you mean store?"),
    ("store = '/a'\nnothing_like = 1", "line 2: there is no setting 'nothing_like'; there are store, shared"),
    ("store = 3", "line 1: 'store' is a text: the folder's whole path"),
    ('store = "ward"', "line 1: 'store' is a whole path"),
    ('store = ""', "line 1: 'store' is a whole path"),
    ('\n\nexaminer = ""', "line 3: 'examiner' is a name"),
    (f'examiner = "{"x" * 121}"', "line 1: 'examiner' is a name: one line of at most 120"),
    ('examiner = "a\\u001b[2J"', "line 1: 'examiner' is a name"),
    ('mouse = "off"', "line 1: 'mouse' is true or false"),
    ("shared = 1", "line 1: 'shared' is true or false"),
    ('background = "grey"', "line 1: 'background' is \"dark\" or \"light\""),
    ("[mouse]\nx = 1", "line 1: 'mouse' is true or false"),
    ("store = ", "line 1: "),
    ("mouse = false\nmouse = true", "line 2: "),
]  # fmt: skip


@pytest.mark.parametrize(("text", "said"), WRONG)
@pytest.mark.parametrize("command", [["beds"], ["settings"], ["check"], []])
def test_a_wrong_file_is_refused_in_one_line_and_no_ward_is_opened(
    text, said, command, places, capsys
):
    for place in places:
        place.write_text(text)
        assert run(command) != 0
        told = capsys.readouterr()
        assert (told.out, told.err.count("\n")) == ("", 1)
        assert f"{place}, {said}" in told.err
        assert "mend the line or take it out" in told.err
        place.unlink()


def test_what_opens_no_ward_and_no_screen_is_not_held_up_by_a_wrong_file(places, capsys):
    places[0].write_text("nonsense = 1\n")
    for command in (["localise", "--signs", "knee 2/0"], ["schema"], ["keys"], ["manual"]):
        assert run(command) == 0
    assert capsys.readouterr().err == ""


def test_a_variable_that_cannot_be_is_passed_over_and_said(places, monkeypatch, capsys):
    places[0].write_text("mouse = false\n")
    monkeypatch.setenv("WARDEXAM_MOUSE", "perhaps")
    assert run(["settings"]) == 2
    told = capsys.readouterr()
    assert f"mouse = false  # {places[0]}, line 1" in told.out
    assert "WARDEXAM_MOUSE is not on or off" in told.err


def test_a_file_that_cannot_be_read_is_refused(places, capsys):
    places[0].symlink_to("nowhere")
    assert run(["beds"]) == 3
    told = capsys.readouterr().err
    assert f"{places[0]}: cannot be read" in told
    assert told.count("\n") == 1


def test_settings_of_a_user_are_a_file_that_is_read_as_it_was_printed(places, capsys):
    places[0].write_text(GOOD)
    assert run(["settings"]) == 0
    printed = capsys.readouterr().out
    assert tomllib.loads(printed) == tomllib.loads(GOOD)
    assert {n: c.value for n, c in read_settings(printed, "again").items()} == tomllib.loads(GOOD)


@pytest.mark.parametrize("text", ["a = [", "x" * 70_000, "a = " + "[" * 900])
def test_what_is_beyond_bounds_is_refused(text):
    with pytest.raises(WardexamError):
        read_settings(text, "own")


# --- the real program


@pytest.mark.long
@pytest.mark.slow
def test_the_ward_and_the_examiner_of_the_file_are_opened(tmp_path):
    make(tmp_path / "ward")
    (tmp_path / ".config" / "wardexam").mkdir(parents=True)
    place = tmp_path / ".config" / "wardexam" / "settings.toml"
    place.write_text(f'store = "{tmp_path}/ward"\nexaminer = "Dr Ash"\nhigh_contrast = true\n')
    env = environ(tmp_path, WARDEXAM_EXAMINER=None, TERM="xterm-256color")
    done = subprocess.run(
        [sys.executable, "-m", "wardexam", "handover"], env=env, capture_output=True, check=True
    )
    assert b"of 12" in done.stdout
    last = (tmp_path / "ward" / "audit.jsonl").read_text().splitlines()[-1]
    assert '"Dr Ash"' in last
    with running(wardexam(), env) as session:
        session.wait("12 patients")
        session.type("jj\r")
        session.wait("Rules nothing out")
        session.send("q")
        session.wait("12 patients")
        session.send("q")
        assert session.ended() == 0
        assert colour_codes(bytes(session.raw)) == set()
    place.write_text(place.read_text().replace("true", "false"))
    with running(wardexam(), env) as session:
        session.wait("12 patients")
        session.send("q")
        assert session.ended() == 0
        assert colour_codes(bytes(session.raw)) == {"256"}


def test_no_test_reads_the_settings_of_who_runs_it():
    assert "pytest" in os.environ["XDG_CONFIG_HOME"]
