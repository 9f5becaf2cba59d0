"""`wardexam injury`: a sheet from a file or standard input, as a worksheet or as JSON."""

import io
import json
import sys

import jsonschema
import pytest

from tests.injury.cases import CASES
from wardexam.commands.main import run

SHEET = CASES["P6"]["sheet"]


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
