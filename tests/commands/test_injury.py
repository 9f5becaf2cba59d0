"""`wardexam injury`: a sheet from a file, standard input or a patient, as a worksheet, as JSON or as signs."""

import io
import json
import sys
from datetime import UTC, datetime, timedelta

import jsonschema
import pytest

from tests.injury.cases import CASES
from wardexam.commands.main import run
from wardexam.injury.kept import KeptSheet
from wardexam.injury.typed import read_typed
from wardexam.records.paths import copy_demo
from wardexam.records.ward import open_ward

SHEET = CASES["P6"]["sheet"]
AT = datetime(2026, 3, 9, 8, tzinfo=UTC)


def given(monkeypatch, text):
    """Have standard input say a text."""
    source = io.TextIOWrapper(io.BytesIO(text.encode()), encoding="utf-8")
    monkeypatch.setattr(sys, "stdin", source)


@pytest.fixture
def path(tmp_path):
    sheet = tmp_path / "sheet.txt"
    sheet.write_text(SHEET)
    return str(sheet)


def test_a_file_gives_a_worksheet(path, capsys):
    assert run(["injury", path]) == 0
    text = capsys.readouterr().out
    assert "Impairment scale      D, motor incomplete" in text
    assert "not for unchecked" in text


@pytest.mark.parametrize("arguments", [[], ["-"]])
def test_standard_input_gives_json(monkeypatch, capsys, arguments):
    given(monkeypatch, SHEET)
    assert run(["injury", "--json", *arguments]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["results"]["impairment"]["values"] == ["D"]
    # What it gives back as its sheet is read again, and answers the same.
    given(monkeypatch, json.dumps(answer["sheet"]))
    assert run(["injury", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == answer


def test_signs_whose_power_may_be_a_grade_out_of_five_begin_no_sheet(monkeypatch, capsys):
    given(monkeypatch, "elbow_flexion 2/5\nhip_flexion 2/5")
    assert run(["injury", "--from-signs"]) == 2
    assert "2/5 may be right 2, left 5, or grade 2 out of 5" in capsys.readouterr().err


def test_a_sheet_is_begun_from_ordinary_signs_and_read_again(monkeypatch, capsys):
    given(monkeypatch, "elbow_flexion 5/4+ finger_abduction 3/nt touch_C5 2/1\nanal_squeeze 1")
    assert run(["injury", "--from-signs"]) == 0
    begun = capsys.readouterr().out
    assert "right motor: C5 5, T1 3\n" in begun
    assert "# missing: deep anal pressure\n" in begun
    assert "# T1 is taken from finger abduction: check the little finger\n" in begun
    given(monkeypatch, begun)
    assert run(["injury"]) == 0
    assert "Completeness          incomplete" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("text", "said"),
    [("", "nothing was given"), ("vac perhaps", "line 1: 'perhaps' is no answer here"), ("{", "not JSON"), ('{"vac": "no"}', "schema --injury")],
)  # fmt: skip
def test_a_bad_sheet_is_refused_in_one_line_with_its_place(tmp_path, capsys, text, said):
    sheet = tmp_path / "bad.txt"
    sheet.write_text(text)
    assert run(["injury", str(sheet)]) == 2
    refused = capsys.readouterr()
    assert refused.out == ""
    assert refused.err.count("\n") == 1
    assert said in refused.err
    assert "bad.txt" in refused.err


@pytest.mark.parametrize(("held", "said"), [(b"\xff\xfe", "not UTF-8 text"), (b"x" * 4_000_001, "longer than 4000000 bytes")])  # fmt: skip
def test_what_is_no_text_is_refused(tmp_path, capsys, held, said):
    sheet = tmp_path / "bad.txt"
    sheet.write_bytes(held)
    assert run(["injury", str(sheet)]) == 2
    assert said in capsys.readouterr().err
    assert run(["injury", str(tmp_path)]) == 2
    assert "it is a folder" in capsys.readouterr().err
    assert run(["injury", str(tmp_path / "none")]) == 2
    assert "cannot be read" in capsys.readouterr().err


def test_the_schema_is_that_of_the_sheet(monkeypatch, capsys):
    assert run(["schema", "--injury"]) == 0
    schema = json.loads(capsys.readouterr().out)
    given(monkeypatch, SHEET)
    run(["injury", "--json"])
    jsonschema.validate(json.loads(capsys.readouterr().out)["sheet"], schema)


def test_the_help_says_what_it_is_for_in_80_columns(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    assert run(["injury", "--help"]) == 0
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 80
    assert "not for unchecked clinical use" in text
    example = text.split("a sheet:\n")[1].split("\n\nexample")[0]
    lines = [line[2:44].rstrip() for line in example.splitlines()]
    from wardexam.injury.typed import read_typed

    assert read_typed("\n".join(line for line in lines if "pinprick" not in line)).id == "A1"


# --- of a patient


@pytest.fixture
def ward(tmp_path):
    """The demo ward with two sheets of the patient in bed C2."""
    folder = copy_demo(tmp_path / "ward")
    store = open_ward(folder)
    (patient,) = (b.patient_id for b in store.beds() if b.bed == "C2")
    for number, text in enumerate((SHEET, SHEET.replace("motor: 55544", "motor: 54444"))):
        kept = KeptSheet(
            id=f"sheet00{number}", patient=patient, examiner="Dr Ash", at=AT + timedelta(hours=number),
            sheet=read_typed(text),
        )  # fmt: skip
        store.save_sheet(kept, "Dr Ash")
    return folder


@pytest.mark.parametrize("who", ["C2", "c2", "37-1490", "f14z5r3kehjb2w60"])
def test_a_patient_gives_the_worksheet_of_the_sheet_saved_last(ward, capsys, who):
    assert run(["injury", who, "--db", str(ward)]) == 0
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 72
    words = " ".join(text.split())
    assert "For: Kwabena Asante, no. 37-1490" in words
    assert "Scored 9 Mar 2026 09:00 by Dr Ash" in words
    assert "Since the sheet of 9 Mar 2026 08:00 by Dr Ash:" in words
    assert words.index("WORSE: ") < words.index("Sensory level")
    assert '"event": "exported"' in (ward / "audit.jsonl").read_text().splitlines()[-1]


def test_a_patient_gives_json_and_findings_that_localise_reads(ward, capsys, monkeypatch):
    assert run(["injury", "C2", "--json", "--db", str(ward)]) == 0
    assert json.loads(capsys.readouterr().out)["results"]["impairment"]["values"] == ["D"]
    assert run(["injury", "C2", "--to-signs", "--db", str(ward)]) == 0
    out, remarks = capsys.readouterr()
    assert "deep anal pressure is no sign" in remarks
    rows = json.loads(out)["findings"]
    assert {"sign": "finger_flexion", "side": "left", "answer": "4"} in rows
    given(monkeypatch, out)
    assert run(["localise", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["sites"]


def test_a_file_gives_findings_as_well(path, capsys):
    assert run(["injury", "--to-signs", path]) == 0
    rows = json.loads(capsys.readouterr().out)["findings"]
    assert len(rows) == 20 + 112 + 1  # all muscles and points, and no anal contraction


@pytest.mark.parametrize(
    ("arguments", "fault"),
    [
        (["A1"], "no cord injury sheet is saved"),
        (["nobody"], "neither a file nor a patient"),
        (["C2", "--from-signs"], "no such file"),
    ],
)
def test_where_there_is_no_sheet_it_says_so(ward, capsys, arguments, fault):
    assert run(["injury", *arguments, "--db", str(ward)]) == 2
    assert fault in capsys.readouterr().err


def test_a_file_that_is_there_goes_before_a_bed_of_its_name(ward, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "C2").write_text("vac no")
    assert run(["injury", "C2", "--db", str(ward)]) == 0
    assert "NO NAME OR NUMBER GIVEN" in capsys.readouterr().out
