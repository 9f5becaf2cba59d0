"""The command line's words: each option where it acts, written out, and what is near a wrong one."""

import re
from pathlib import Path

import pytest

import wardexam
from wardexam.commands.arguments import SHARED_OPTIONS, parse, parser
from wardexam.commands.main import run
from wardexam.records.paths import copy_demo

VALUES = {"db": ["--db", "x"], "examiner": ["--examiner", "x"], "wording": ["--wording", "x"]}
ARGUMENTS = {
    "note": ["x"],
    "referral": ["x"],
    "figure": ["x"],
    "act": ["x"],
    "import": ["x"],
    "completion": ["bash"],
    "erase": ["x"],
    "incident": ["x"],
    "research": ["x"],
    "store": ["check"],
    "backup": ["x"],
    "restore": ["x"],
}


@pytest.mark.parametrize("name", parser().names)
def test_an_option_is_taken_only_where_it_acts(name, capsys):
    words = [name, *ARGUMENTS.get(name, [])]
    takes = parse(words).takes
    for option in SHARED_OPTIONS:
        given = VALUES.get(option, [f"--{option}"])
        if option in takes:
            before, after = parse([*given, *words]), parse([*words, *given])
            assert getattr(before, option) == getattr(after, option) == (given[1:] or [True])[0]
        else:
            assert run([*given, *words]) == 2
            said = capsys.readouterr()
            assert said.err.startswith(f"wardexam: {name}: --{option} does nothing here")
            assert said.err.count("\n") == 1
            assert run([*words, *given]) == 2
            assert f"unrecognized arguments: --{option}" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("command", "option"),
    [
        ("beds", "examiner"),
        ("localise", "db"),
        ("localise", "examiner"),
        ("schema", "wording"),
        ("keys", "db"),
        ("demo", "db"),
        ("enter", "ascii"),
        ("agreement", "wording"),
        ("check", "wording"),
    ],
)
def test_what_nobody_is_written_down_in_takes_no_examiner_and_so_on(command, option):
    assert option not in parse([command]).takes


@pytest.mark.parametrize(
    "words",
    [["--exam", "x"], ["--exam", "x", "beds"], ["beds", "--disch"], ["check", "--rep"], ["--vers"]],
)
def test_a_shortened_option_is_refused(words, capsys):
    assert run(words) == 2
    assert next(w for w in words if w.startswith("--")) in capsys.readouterr().err


@pytest.mark.parametrize(
    ("word", "near"), [("bed", "beds"), ("locali", "localise"), ("handovr", "handover")]
)
def test_a_wrong_command_is_one_line_with_what_is_near(word, near, capsys):
    for before in ([], ["--db", "beds"], ["--ascii", "--examiner=x"]):
        assert run([*before, word]) == 2
        said = capsys.readouterr()
        assert (said.out, said.err.count("\n")) == ("", 1)
        assert f"there is no command '{word}'; did you mean {near}" in said.err


def test_a_wrong_option_before_the_command_is_one_line_with_what_is_near(capsys):
    assert run(["--exam=x", "beds"]) == 2
    assert "no option '--exam'; did you mean --examiner" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "where"),
    [
        (["export", "--patient", ""], "--patient"),
        (["export", "--patient="], "--patient"),
        (["act", "A2", "", "called", "x"], "A2"),
        (["mark", "A2", ""], "A2"),
        (["agreement", "", "exam0001", "exam0002"], "agreement"),
        (["--db", ""], "--db"),
        (["incident", "A2", "--file", ""], "--file"),
        ([""], "wardexam"),
    ],
)
def test_an_empty_argument_is_none_that_was_left_out(words, where, capsys):
    assert run(words) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == f"wardexam: {where}: an argument is empty (give it, or leave it out)\n"


def test_every_variable_that_the_program_reads_is_in_its_help():
    text = parser().format_help()
    modules = Path(wardexam.__file__).parent.rglob("*.py")
    named = set(re.findall(r"WARDEXAM_[A-Z_]+[A-Z]", "".join(p.read_text() for p in modules)))
    assert len(named) >= 8
    for name in named:
        assert re.search(rf"^  {name}  ", text, re.M), name


# --- what only reads makes nothing, and so does a repair of nothing


READING = [
    ["check"], ["beds"], ["beds", "--discharged"], ["note", "abcdefgh"],
    ["referral", "abcdefgh"], ["handover"], ["figure", "abcdefgh"], ["export"], ["export", "--csv"],
    ["import", "--dry-run", "ARCHIVE"], ["check", "--repair"],
]  # fmt: skip


@pytest.fixture
def archive(tmp_path, capsys):
    folder = copy_demo(tmp_path / "ward")
    assert run(["export", "--db", str(folder)]) == 0
    file = tmp_path / "ward.jsonl"
    file.write_text(capsys.readouterr().out)
    return file


@pytest.mark.parametrize("command", READING, ids=" ".join)
@pytest.mark.parametrize("stands", ["nothing", "an empty folder", "folders of a ward, empty"])
def test_what_only_reads_begins_no_ward(command, stands, tmp_path, archive, capsys, monkeypatch):
    place = tmp_path / "home" / "mistyped"
    for variable in ("XDG_STATE_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.setenv(variable, str(tmp_path / "home" / variable))
    if stands != "nothing":
        place.mkdir(parents=True, mode=0o700)
    if stands == "folders of a ward, empty" and "--repair" not in command:
        (place / "patients").mkdir(mode=0o700)
    before = sorted(tmp_path.rglob("*"))
    assert run([w.replace("ARCHIVE", str(archive)) for w in command] + ["--db", str(place)]) == 3
    said = capsys.readouterr()
    assert (said.out, said.err.count("\n")) == ("", 1)
    assert said.err.startswith(f"wardexam: {place}: there is no ward here, and nothing was made (")
    assert "--db" in said.err
    assert sorted(tmp_path.rglob("*")) == before
