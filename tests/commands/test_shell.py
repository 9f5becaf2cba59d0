"""Completions and the manual page are those of the grammar, and the shells themselves complete with them."""

import re
import shutil
import subprocess

import pytest

from tests import shell_files
from tests.terminal.pty.harness import environ, running
from wardexam.commands.arguments import parser
from wardexam.commands.main import run
from wardexam.commands.shell import NAMES, PAGE

COMMANDS = shell_files.commands(parser())


def written(name: str) -> str:
    return (shell_files.FOLDER / name).read_text()


@pytest.mark.parametrize("name", [*NAMES.values(), PAGE])
def test_a_file_is_what_is_made_from_the_grammar(name):
    if other := shell_files.other_makers():
        pytest.skip(f"made with another version of its library: here is {other}")
    assert written(name) == shell_files.files()[name], "python -m tests.shell_files writes it anew"


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("name", [*NAMES.values(), PAGE])
def test_every_command_has_its_options_there(name, command):
    grammar, _ = COMMANDS[command]
    text = written(name).replace("\\-", "-")
    own = {
        "wardexam.bash": rf"^_shtab_wardexam_{command}_option_strings=.*",
        "_wardexam": rf"^_shtab_wardexam_{command}_options=\(\n(?:.+\n)*",
        "wardexam.fish": rf"^(?:complete -c wardexam -n '_shtab_wardexam_using {command}' .*\n)+",
        PAGE: rf"^\.SS \\fBwardexam {command}\\fR\n(?:(?!\.S[SH]).*\n)*",
    }[name]
    found = re.search(own, text, re.M)
    assert found, command
    options = {o for action in grammar._actions for o in action.option_strings if o != "-h"}
    for option in options - ({"--help"} if name == PAGE else set()):
        assert (f"-l {option[2:]} " if name.endswith("fish") else option) in found[0], option


@pytest.mark.parametrize(("words", "name"), [*((["completion", s], n) for s, n in NAMES.items()), (["manual"], PAGE)])  # fmt: skip
def test_it_is_printed_as_it_lies_there(words, name, capsys):
    assert run(words) == 0
    assert capsys.readouterr().out == written(name)


def test_an_unknown_shell_is_refused_with_those_there_are(capsys):
    assert run(["completion", "ksh"]) == 2
    assert "'bash', 'zsh', 'fish'" in capsys.readouterr().err


# --- in the shells themselves

TYPED = [
    ("wardexam hand", {"handover"}),
    ("wardexam note --sc", {"--scale"}),
    ("wardexam note --form ", {"sentences", "table", "line", "figure"}),
    ("wardexam completion ", {"bash", "zsh", "fish"}),
]


def needed(program: str) -> str:
    if (found := shutil.which(program)) is None:
        pytest.skip(f"{program} is not installed here")
    return found


@pytest.mark.parametrize(("typed", "offered"), TYPED)
def test_bash_completes(typed, offered):
    script = (
        f"source '{shell_files.FOLDER / NAMES['bash']}'\n"
        'read -ra COMP_WORDS <<< "$1"; [ "${1% }" = "$1" ] || COMP_WORDS+=("")\n'
        "COMP_CWORD=$((${#COMP_WORDS[@]} - 1)) COMP_LINE=$1 COMP_POINT=${#1}\n"
        "_shtab_wardexam; printf '%s\\n' \"${COMPREPLY[@]}\"\n"
    )
    done = subprocess.run(
        [needed("bash"), "--norc", "-c", script, "bash", typed], capture_output=True, text=True, check=True
    )  # fmt: skip
    assert done.stderr == ""
    assert set(done.stdout.split()) == offered


@pytest.mark.parametrize(("typed", "offered"), TYPED)
def test_fish_completes(typed, offered, tmp_path):
    done = subprocess.run(
        [needed("fish"), "--no-config", "-c", f"source '{shell_files.FOLDER / NAMES['fish']}'; complete -C '{typed}'"],
        env=environ(tmp_path), capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert {line.split("\t")[0] for line in done.stdout.splitlines()} == offered


@pytest.mark.slow
def test_zsh_completes(tmp_path):
    with running([needed("zsh"), "-f", "-i"], environ(tmp_path, PROMPT="ready: ")) as session:
        session.wait("ready:")
        session.send(
            f"fpath=({shell_files.FOLDER} $fpath); autoload compinit; compinit -u -D; clear\r"
        )
        session.wait(lambda s: s.text.strip() == "ready:")
        for typed, offered in TYPED:
            session.send(typed + "\t")
            session.wait(lambda s, offered=offered: offered <= set(s.text.split()))
            session.send("\x15\x0c")  # the line away, the screen anew
            session.wait(lambda s: s.text.strip() == "ready:")


def test_man_shows_the_page():
    done = subprocess.run(
        [needed("man"), "-l", "--warnings", str(shell_files.FOLDER / PAGE)],
        env={"MANWIDTH": "80", "LANG": "C.UTF-8", "PATH": "/usr/bin:/bin"},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stderr == ""
    assert "wardexam handover" in done.stdout
    assert "rule nothing out" in done.stdout
