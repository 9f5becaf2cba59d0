"""Every command that opens a ward, on a server; and that a ward in a folder loads nothing of a server."""

import json
import shutil
import subprocess
import sys

import pytest

from tests.terminal.pty.harness import ROOT
from wardexam.commands.main import run

SERVERS = {"psycopg", "psycopg_pool", "psycopg_binary"}


@pytest.fixture
def folder(tmp_path):
    shutil.copytree(ROOT / "demo_db" / "ward", tmp_path / "ward")
    (tmp_path / "ward").chmod(0o700)
    return tmp_path / "ward"


@pytest.fixture
def said(capsys):
    """What a command says, where it ends well."""

    def ask(*words, code=0):
        capsys.readouterr()
        assert run([*map(str, words)]) == code
        return capsys.readouterr().out

    return ask


@pytest.fixture
def demo(ward_url, folder, said, tmp_path, monkeypatch):
    """The demo ward on a server, brought there as an archive."""
    (tmp_path / "demo.jsonl").write_text(said("export", "--db", folder))
    monkeypatch.setenv("WARDEXAM_DB", ward_url)
    monkeypatch.setenv("WARDEXAM_EXAMINER", "Dr Ash")
    said("import", "--dry-run", tmp_path / "demo.jsonl")
    assert said("beds") == ""
    said("import", tmp_path / "demo.jsonl")
    return folder


def test_what_came_from_a_folder_goes_out_again_to_the_byte(demo, said, tmp_path):
    assert said("export") == (tmp_path / "demo.jsonl").read_text()
    said("import", tmp_path / "demo.jsonl", code=2)
    assert said("export", "--csv") == said("export", "--csv", "--db", demo)
    assert "all sound" in said("check")


@pytest.mark.parametrize(
    "command",
    [
        ("beds",), ("beds", "--discharged"), ("note", "A1"), ("note", "A1", "--form", "figure"), ("referral", "B1"),
        ("act", "A2"), ("figure", "A1"), ("export", "--patient", "A1"), ("outcome", "A1"),
        ("audit", "--from", "2026-01-01", "--to", "2026-12-31", "--csv"), ("agreement", "--csv"),
    ],
    ids=" ".join,
)  # fmt: skip
def test_a_paper_is_the_same_from_a_folder_and_a_server(demo, said, command):
    there = said(*command)
    assert there == said(*command, "--db", demo)


def test_a_handover_is_the_same_but_for_its_trail(demo, said):
    def sheet(*where):
        return [line for line in said("handover", *where).splitlines() if "Audit trail" not in line]

    assert sheet() == sheet("--db", demo)


def test_what_is_written_by_commands_is_kept(demo, said, tmp_path):
    reason = said("act", "A2").splitlines()[1].partition(":")[0]
    said("act", "A2", reason, "asked", "MRI of the whole spine")
    assert "MRI of the whole spine" in said("act", "A2")
    said("outcome", "A2", "--positive", "yes", "--site", "cauda", "--diagnosis", "disc")
    assert "revision 2" in said("outcome", "A2", "--side", "left", "--why", "seen again")
    lines = [{"patient": bed, "site": "cord", "diagnosis": "x"} for bed in ("B1", "B2")]
    (tmp_path / "outcomes.jsonl").write_text("".join(f"{json.dumps(line)}\n" for line in lines))
    assert "2 outcomes would be" in said(
        "outcome", "--file", tmp_path / "outcomes.jsonl", "--dry-run"
    )
    assert "2 outcomes recorded" in said("outcome", "--file", tmp_path / "outcomes.jsonl")
    assert "all sound" in said("check")
    assert "repaired" not in said("check", "--repair")


def test_a_head_that_was_printed_is_compared(demo, said):
    head = next(line.split()[2] for line in said("handover").splitlines() if "Audit trail" in line)
    assert "all sound" in said("check", "--trail", head)
    number, _, digest = head.partition(":")
    other = f"{number}:{digest[::-1]}"
    assert "written anew" in said("check", "--trail", other, code=1)


def test_plain_lines_examine_on_a_server(demo, said, ward_url, tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "wardexam", "enter"], input="A3\nknee 2/0\nsave\n", capture_output=True, text=True,
        cwd=ROOT, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert "Traceback" not in done.stdout


def test_a_group_has_no_meaning_on_a_server(demo, capsys):
    assert run(["beds", "--shared"]) == 2
    assert "--shared goes with a folder" in capsys.readouterr().err


def loaded(*words, **more):
    script = (
        "import sys, contextlib, io\nfrom wardexam.commands.main import run\n"
        "with contextlib.redirect_stdout(io.StringIO()):\n"
        f"    code = run({[*map(str, words)]!r})\n"
        "print(code, *{m.split('.')[0] for m in sys.modules})\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=True, cwd=ROOT)  # fmt: skip
    code, *names = done.stdout.split()
    assert code == "0"
    return set(names)


@pytest.mark.parametrize("command", [("beds",), ("note", "A1"), ("check",), ("export",), ("handover",)], ids=" ".join)  # fmt: skip
def test_a_folder_loads_nothing_of_a_server(folder, command):
    assert not SERVERS & loaded(*command, "--db", folder)


def test_without_what_speaks_to_a_server_it_is_said_what_to_install(monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "psycopg", None)
    assert run(["beds", "--db", "postgresql://localhost/ward"]) == 3
    assert "wardexam[postgres]" in capsys.readouterr().err
