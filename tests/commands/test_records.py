"""The commands on a ward: what they print, what they refuse, and what they leave in the trail."""

import json
import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.examinations import examined
from wardexam.commands.main import run
from wardexam.exam.examination import Patient
from wardexam.records.repository import Summary
from wardexam.records.ward import Ward, open_ward

ROOT = Path(__file__).parents[2]
WARDEXAM = [sys.executable, "-m", "wardexam"]


def events(folder):
    return [json.loads(t)["event"] for t in (folder / "audit.jsonl").read_text().splitlines()]


def test_an_archive_goes_out_and_comes_in_to_the_byte(folder, tmp_path, capsys):
    assert run(["export", "--db", str(folder)]) == 0
    text = capsys.readouterr().out
    file = tmp_path / "ward.jsonl"
    file.write_text(text)
    other = str(open_ward(tmp_path / "other").folder)
    assert run(["import", "--db", other, "--dry-run", str(file)]) == 0
    assert "13 patients and 18 examinations would be added" in capsys.readouterr().out
    assert open_ward(tmp_path / "other").beds() == ()
    assert run(["import", "--db", other, str(file)]) == 0
    capsys.readouterr()
    run(["export", "--db", other])
    assert capsys.readouterr().out == text
    assert open_ward(tmp_path / "other").beds() == open_ward(folder).beds()  # urgency as well
    assert run(["import", "--db", other, str(file)]) == 2
    assert "already" in capsys.readouterr().err


@pytest.fixture
def one_damaged(folder):
    """The demo ward with one patient who cannot be read."""
    damaged = open_ward(folder).beds()[0].patient_id
    (folder / "patients" / f"{damaged}.json").write_bytes(b"torn")
    return damaged


@pytest.mark.parametrize("form", [[], ["--csv"]])
def test_an_export_goes_without_whom_it_cannot_read_and_says_so(folder, one_damaged, form, capsys):
    assert run(["export", *form, "--db", str(folder)]) == 3
    said = capsys.readouterr()
    assert said.err.startswith(f"wardexam: left out: {one_damaged}: ")
    assert said.err.count("\n") == 1
    assert one_damaged in said.out.splitlines()[0]
    assert len(said.out.splitlines()) > 20
    assert run(["export", *form, "--patient", one_damaged, "--db", str(folder)]) == 3
    assert capsys.readouterr().out == ""


def test_an_import_says_whom_the_archive_was_made_without(folder, one_damaged, tmp_path, capsys):
    run(["export", "--db", str(folder)])
    file = tmp_path / "ward.jsonl"
    file.write_text(capsys.readouterr().out)
    assert run(["import", "--db", str(tmp_path / "other"), str(file)]) == 0
    said = capsys.readouterr()
    assert "12 patients and" in said.out
    assert said.err.startswith(f"wardexam: the archive was made without {one_damaged}: ")


def test_an_archive_of_version_1_is_said_to_have_no_end(tmp_path, capsys):
    file = ROOT / "tests" / "records" / "archive-1" / "ward.jsonl"
    assert run(["import", "--db", str(tmp_path / "ward"), str(file)]) == 0
    said = capsys.readouterr()
    assert said.out == "3 patients and 7 examinations added\n"
    assert "of version 1, which has no end mark: whether it was cut cannot be told" in said.err
    assert said.err.count("\n") == 1


def test_a_cut_archive_is_refused_in_one_line(folder, tmp_path, capsys):
    run(["export", "--db", str(folder)])
    file = tmp_path / "ward.jsonl"
    file.write_text("".join(capsys.readouterr().out.splitlines(keepends=True)[:-1]))
    for more in ([], ["--dry-run"]):
        assert run(["import", "--db", str(tmp_path / "other"), str(file), *more]) == 2
        assert "it was cut; nothing was added" in capsys.readouterr().err
    assert open_ward(tmp_path / "other").beds() == ()


@pytest.mark.parametrize("kind", ["pipe", "folder", "device", "nothing"])
def test_what_is_no_file_is_no_archive(kind, tmp_path, capsys):
    place = tmp_path / "odd"
    if kind == "pipe":
        os.mkfifo(place)
    elif kind == "folder":
        place.mkdir()
    elif kind == "device":
        place.symlink_to("/dev/zero")
    assert run(["import", "--db", str(tmp_path / "ward"), str(place)]) == 2
    said = capsys.readouterr().err
    assert "cannot be read: " in said
    assert said.count("\n") == 1


@pytest.mark.long
@pytest.mark.parametrize("name", ["-", "/dev/stdin"])
def test_an_archive_is_read_from_standard_input(folder, tmp_path, name):
    whole = subprocess.run([*WARDEXAM, "export", "--db", folder], capture_output=True, check=True)
    other = open_ward(tmp_path / "other").folder
    spool = tmp_path / "spool"
    spool.mkdir()
    environ = {**os.environ, "TMPDIR": str(spool)}
    for more, said in (
        (["--dry-run"], b"13 patients and 18 examinations would be added\n"),
        ([], b"13 patients and 18 examinations added\n"),
    ):
        done = subprocess.run(
            [*WARDEXAM, "import", name, "--db", other, *more],
            input=whole.stdout,
            capture_output=True,
            env=environ,
        )
        assert (done.returncode, done.stderr) == (0, b"")
        *each, last = done.stdout.splitlines(keepends=True)
        assert last == said
        assert len(each) == (13 if more else 0)  # a line for each patient who would be added
    assert open_ward(other).beds() == open_ward(folder).beds()
    assert list(spool.iterdir()) == []


def test_a_cut_archive_on_standard_input_is_refused(folder, tmp_path):
    whole = subprocess.run([*WARDEXAM, "export", "--db", folder], capture_output=True, check=True)
    done = subprocess.run(
        [*WARDEXAM, "import", "-", "--db", tmp_path / "other"],
        input=whole.stdout[:-200],
        capture_output=True,
    )
    assert (done.returncode, done.stdout, done.stderr.count(b"\n")) == (2, b"", 1)
    assert open_ward(tmp_path / "other").beds() == ()


def test_every_export_is_in_the_trail_before_it_leaves(folder, capsys):
    bed = open_ward(folder).beds()[0].patient_id
    for command in (["note", bed], ["referral", bed], ["figure", bed], ["handover"], ["export", "--csv"]):  # fmt: skip
        assert run([*command, "--db", str(folder)]) == 0
    assert events(folder)[-5:] == ["exported"] * 5
    assert "exported" not in events(folder)[:-5]
    (folder / "audit.jsonl").unlink()
    (folder / "audit.jsonl").mkdir()
    capsys.readouterr()
    assert run(["note", bed, "--db", str(folder)]) == 3
    said = capsys.readouterr()
    assert said.out == ""
    assert "audit trail cannot be written" in said.err


def test_check_verifies_and_repairs_only_when_told(folder, capsys):
    assert run(["check", "--db", str(folder)]) == 0
    assert "13 patients checked: all sound" in capsys.readouterr().out
    ward = open_ward(folder)
    patient = ward.patient(ward.beds()[0].patient_id)
    ward.update(patient.model_copy(update={"remark": "moved"}), "x")
    path = folder / "patients" / f"{patient.id}.json"
    path.write_bytes(path.read_bytes()[:-30])
    assert run(["check", "--db", str(folder)]) == 1
    assert f"damaged: {path}" in capsys.readouterr().out
    assert run(["beds", "--db", str(folder)]) == 3
    said = capsys.readouterr()
    assert len(said.out.splitlines()) == 12
    assert str(path) in said.err
    assert run(["check", "--repair", "--db", str(folder)]) == 1
    assert "set aside as" in capsys.readouterr().out
    assert run(["check", "--db", str(folder)]) == 1  # what was set aside is still to be looked at
    next(path.parent.glob("*.damaged-*")).unlink()
    assert run(["check", "--db", str(folder)]) == 0


def test_a_fault_of_the_program_is_one_line_without_names(folder, monkeypatch, capsys):
    def breaks(self, **options):
        raise ValueError("Ana Invented")

    monkeypatch.setattr(Ward, "beds", breaks)
    assert run(["beds", "--db", str(folder)]) == 1
    said = capsys.readouterr().err
    assert said.startswith("wardexam: a fault of the program ended it (ValueError at ")
    assert len(said.splitlines()) == 1
    assert "Ana" not in said


EVIL = "Dr\x1b[2J\x9b31m\x07\u202e\x7f"


def test_no_control_sequence_leaves_by_any_command(tmp_path, capsys):
    ward = open_ward(tmp_path / "ward")
    at = datetime(2026, 3, 2, 8, tzinfo=UTC)
    ward.admit(
        Patient(id="patient1", bed=f"A{EVIL}"[:12], name=EVIL, remark=EVIL, number=EVIL, admitted=at),
        EVIL,
    )  # fmt: skip
    made = examined("knee 2/0 plantar down/up", at)
    finding = made.findings[0].model_copy(update={"comment": EVIL})
    evil = made.model_copy(update={
        "id": "exam0001", "patient": "patient1", "examiner": EVIL, "comment": EVIL, "impression": EVIL,
        "suggestion": EVIL, "findings": (finding, *made.findings[1:]),
    })  # fmt: skip
    ward.save(evil, EVIL, Summary(0, "no flag raised", False, EVIL))
    for command in (
        ["note", "patient1"], ["note", "patient1", "--utf8"], ["note", "patient1", "--form", "figure"],
        ["referral", "patient1"], ["handover"], ["figure", "patient1"], ["beds"], ["export"],
        ["export", "--csv"], ["check"], ["note", EVIL],
    ):  # fmt: skip
        run([*command, "--db", str(ward.folder), "--examiner", "Dr Test"])
        said = capsys.readouterr()
        text = said.out + said.err
        assert text, command
        assert all(c.isprintable() or c == "\n" for c in text), command
