"""A settings file of any kind is read, or refused in one line at once and at no cost."""

import os
import subprocess
import sys
import time
import tracemalloc

import pytest

from wardexam.errors import InputError, RecordsError, TableError
from wardexam.reasoning.rules.wording import read_wording
from wardexam.records.paths import settings_text, ward_folder
from wardexam.settings import LONGEST, line_of, read_toml
from wardexam.terminal.keymap import read_keys

GOOD = '[cauda_equina]\ncall = "bleep 1234"\n'

BEYOND = {
    "lists in lists": (GOOD + "x = " + "[" * 900 + "]" * 900, 3, "nested deeper"),
    "tables in tables": (GOOD + "x = " + "{a=" * 400 + "1" + "}" * 400, 3, "nested deeper"),
    "lists over many lines": (GOOD + "x = " + "[\n" * 5000, 11, "nested deeper"),
    "a number of 5000 digits": (GOOD + "x = " + "9" * 5000, 3, "longer than"),
    "a number of 500 digits": (GOOD + "x = " + "9" * 500, 3, "number"),
    "a number with underscores": (GOOD + "x = " + "9_" * 250 + "9", 3, "number"),
    "a long dotted key": (GOOD + ".".join("a" * 500) + " = 1", 3, "dots"),
    "a long dotted table": (GOOD + "[" + ".".join("a" * 500) + "]", 3, "dots"),
    "a dotted key of quotes": (GOOD + " . ".join(["''"] * 300) + " = 1", 3, "dots"),
    "a dotted key over 60 kB": (".".join("a" * 30_000) + " = 1", 1, "longer than"),
    "a line of 60 kB": ("\n# " + "x" * 60_000, 2, "longer than"),
    "more than 64 kB": (GOOD + "# comment\n" * 7000, 1, "64000"),
    "open strings": (GOOD + 'x = """' + '\\"""' * 400, 3, ""),
}  # fmt: skip


@pytest.mark.parametrize(("text", "line", "said"), BEYOND.values(), ids=list(BEYOND))
@pytest.mark.parametrize("read", [read_wording, read_keys])
def test_what_is_beyond_bounds_is_refused_by_line_and_at_no_cost(read, text, line, said):
    tracemalloc.start()
    start = time.perf_counter()
    with pytest.raises(TableError) as refusal:
        read(text, where="own.toml")
    assert time.perf_counter() - start < 1
    assert tracemalloc.get_traced_memory()[1] < 8_000_000
    tracemalloc.stop()
    assert f"own.toml, line {line}: " in str(refusal.value)
    assert said in str(refusal.value)
    assert "the built-in" in str(refusal.value)
    assert len(str(refusal.value).splitlines()) == 1


WITHIN = [
    'a = "' + "[" * 500 + '"',
    "a = '" + "9" * 500 + "'",
    '"' + "." * 300 + '" = 1',
    "# " + "[" * 500 + "9" * 500,
    'a = """\n' + "[" * 500 + '\n"quoted" \\""" ""\n"""""',
    "a = '''\n" + "." * 500 + "\n''' # [[[[[[[[[[[[",
    "a = [[[1, 2.5], []]]\nb.c.d = {e = 1979-05-27T07:32:00.999999Z}",
]


@pytest.mark.parametrize("text", WITHIN)
def test_texts_and_comments_are_not_counted(text):
    assert read_toml(text, "own.toml", "stays") is not None


def test_a_line_is_found_without_looking_back_and_forth():
    start = time.perf_counter()
    assert (
        line_of("[ward" + " " * 60_000 + "\n[" + " " * 60_000 + "x\n[ward]\na = 1", "ward", "a")
        == 4
    )
    assert time.perf_counter() - start < 0.5


# --- what lies in the place of a settings file


@pytest.fixture(
    params=[
        "pipe",
        "folder",
        "device",
        "link to a pipe",
        "link to a folder",
        "link to a device",
        "link to itself",
        "dangling link",
    ]
)
def odd(request, tmp_path):
    place, target = tmp_path / "wording.toml", tmp_path / "target"
    kind = request.param.removeprefix("link to a ")
    there = target if request.param.startswith("link to a ") else place
    if kind == "pipe":
        os.mkfifo(there)
    elif kind == "folder":
        there.mkdir()
    elif kind == "device" and there is place:
        return "/dev/zero"
    elif kind == "device":
        target = "/dev/zero"
    elif kind == "link to itself":
        target = place
    if not os.path.lexists(place):
        place.symlink_to(target)
    return str(place)


def test_what_is_no_regular_file_is_refused_at_once(odd):
    start = time.perf_counter()
    with pytest.raises(RecordsError) as refusal:
        settings_text("wording", odd)
    assert time.perf_counter() - start < 0.5
    assert "the built-in wording stays" in str(refusal.value)


def test_a_link_to_a_regular_file_is_followed(tmp_path):
    (tmp_path / "real").write_text(GOOD)
    (tmp_path / "link").symlink_to("real")
    assert settings_text("wording", str(tmp_path / "link")) == ("link", GOOD)


def test_an_odd_thing_in_the_usual_place_is_said_and_not_passed_over(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    folder = tmp_path / "wardexam"
    folder.mkdir()
    assert settings_text("keys") is None
    (folder / "keys.toml").symlink_to("nowhere")
    with pytest.raises(RecordsError, match="cannot be read: No such file"):
        settings_text("keys")


def test_no_more_than_the_bound_is_read(tmp_path):
    place = tmp_path / "wording.toml"
    with place.open("wb") as file:
        file.truncate(4_000_000_000)
    tracemalloc.start()
    with pytest.raises(RecordsError, match=str(LONGEST)):
        settings_text("wording", str(place))
    assert tracemalloc.get_traced_memory()[1] < 1_000_000
    tracemalloc.stop()


# --- a home that nobody has


def test_an_unknown_home_is_bad_input(monkeypatch):
    for ask in (
        lambda: ward_folder("~nobody-of-that-name/ward"),
        lambda: settings_text("wording", "~nobody-of-that-name/w.toml"),
    ):
        with pytest.raises(InputError, match="~nobody-of-that-name"):
            ask()
    monkeypatch.setenv("WARDEXAM_DB", "~nobody-of-that-name")
    with pytest.raises(InputError, match="~nobody-of-that-name"):
        ward_folder(None)


HOMELESS = [
    (["beds", "--db", "~nobody-of-that-name"], {}),
    (["check"], {"WARDEXAM_DB": "~nobody-of-that-name/ward"}),
    (["localise", "--signs", "knee 2/0", "--wording", "~nobody-of-that-name/w"], {}),
    (["localise", "--signs", "knee 2/0"], {"WARDEXAM_WORDING": "~nobody-of-that-name/w"}),
    (["keys"], {"WARDEXAM_KEYS": "~nobody-of-that-name/k"}),
]


@pytest.mark.parametrize(("arguments", "environ"), HOMELESS)
def test_an_unknown_home_is_one_line_and_exit_two(arguments, environ, tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "wardexam", *arguments],
        env={**os.environ, "HOME": str(tmp_path), **environ},
        capture_output=True,
        text=True,
    )
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert "~nobody-of-that-name" in done.stderr
    assert "fault" not in done.stderr
