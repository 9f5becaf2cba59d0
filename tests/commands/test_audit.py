"""`wardexam audit` and `wardexam agreement`: text, CSV and picture; the days meant; who is left out; nobody named."""

import csv
import io
import json
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree

import pytest

from tests.examinations import examined
from tests.review.simulated import arrival, truths
from wardexam.commands import edge
from wardexam.commands.main import run
from wardexam.exam.examination import Patient
from wardexam.records.ward import open_ward

NOW = datetime(2026, 3, 20, 12, tzinfo=UTC)
NAMES = ("Marsh", "Ottoline", "40-1182", "Dr Ash", "Dr Bex", "A1")


@pytest.fixture(autouse=True)
def at_noon(monkeypatch):
    monkeypatch.setattr(edge, "now", lambda: NOW)


def audit(folder, *words):
    return run(["audit", "--db", str(folder), "--examiner", "Dr Ash", *words])


def agreement(folder, *words):
    return run(["agreement", "--db", str(folder), "--examiner", "Dr Ash", *words])


def test_the_paper_of_the_demo_ward(folder, capsys):
    assert audit(folder) == 0
    text = capsys.readouterr().out
    assert text.startswith(
        "Audit of the ward, 21 Mar 2025 to 20 Mar 2026\n13 patients, 18 examinations;"
    )
    assert max(map(len, text.splitlines())) <= 80
    for name in NAMES:
        assert name not in text
    assert "How complete: suspected cauda equina (2 patients)" in text
    assert "too few to say much" in text
    assert "13 no outcome recorded" in text


@pytest.mark.parametrize(
    ("words", "period", "examinations"),
    [
        (("--from", "2026-03-02", "--to", "2026-03-02"), "02 Mar 2026 to 02 Mar 2026", 8),
        (("--from", "2026-03-03"), "03 Mar 2026 to 20 Mar 2026", 10),
        (("--to", "2026-03-01"), "02 Mar 2025 to 01 Mar 2026", 0),
    ],
)
def test_the_days_that_are_meant_are_both_in_it(folder, words, period, examinations, capsys):
    assert audit(folder, *words) == 0
    head = capsys.readouterr().out.splitlines()
    assert head[0] == f"Audit of the ward, {period}"
    ward = open_ward(folder)
    first = words[1] if words[0] == "--from" else "0"
    last = words[-1] if "--to" in words else "9"
    stored = [e.at.isoformat()[:10] for p in ward.layout.files() for e in ward.examinations(p.stem)]
    assert sum(first <= day <= last for day in stored) == examinations
    assert f"{examinations} examinations;" in head[1]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--from", "soon"), "is no day"),
        (("--from", "2026-03-05", "--to", "2026-03-04"), "ends before it begins"),
        (("--from", "0001-01-01"), "is out of reach"),
        (("--to", "9999-12-31"), "is out of reach"),
        (("--csv", "--svg"), "not allowed with"),
    ],
)
def test_what_cannot_be_is_refused(folder, words, said, capsys):
    assert audit(folder, *words) == 2
    assert said in capsys.readouterr().err


def test_as_csv_every_figure_has_its_denominator_and_what_was_left_out(folder, capsys):
    assert audit(folder, "--csv") == 0
    text = capsys.readouterr().out
    rows = list(csv.DictReader(io.StringIO(text)))
    assert {r["section"] for r in rows} >= {
        "times",
        "emergencies",
        "suggestion",
        "how sure",
        "trail",
    }
    figures = [r for r in rows if r["section"] != "period"]
    assert all(r["of"].isdecimal() and r["left_out"].isdecimal() for r in figures)
    shares = [r for r in figures if r["share"]]
    assert shares
    assert all(float(r["low"]) <= float(r["share"]) <= float(r["high"]) for r in shares)
    assert all(r["few"] == "yes" for r in shares)
    for name in NAMES:
        assert name not in text


def test_by_patient_the_csv_names_them_opaquely(folder, capsys):
    assert audit(folder, "--patients") == 0
    text = capsys.readouterr().out
    rows = list(csv.DictReader(io.StringIO(text)))
    known = {p.stem for p in open_ward(folder).layout.files()}
    assert {r["patient"] for r in rows} <= known
    assert ("bz4fz30rnrthcnvz", "suspected cauda equina") in {(r["patient"], r["group"]) for r in rows}  # fmt: skip
    for name in NAMES:
        assert name not in text


SVG = "{http://www.w3.org/2000/svg}"


def drawn(text):
    root = ElementTree.fromstring(text)
    assert root.tag == f"{SVG}svg"
    return root


def test_the_picture_is_one_page_and_draws_the_shares_of_the_table(tmp_path, capsys):
    folder = tmp_path / "year"
    open_ward(folder).take_in(map(arrival, truths(7, beds=3)), "x")
    days = ("--from", "2025-01-01", "--to", "2025-12-31")
    assert audit(folder, *days, "--svg") == 0
    root = drawn(capsys.readouterr().out)
    assert audit(folder, *days, "--csv") == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    width, height = float(root.get("width")), float(root.get("height"))
    assert (width, height) == (794, 1123)
    for each in root.iter():
        for name, most in (("x", width), ("cx", width), ("y", height), ("cy", height)):
            assert 0 <= float(each.get(name, 0)) <= most
        if each.tag == f"{SVG}text":
            size = float(each.get("font-size", 11))
            assert float(each.get("x")) + 0.55 * size * len(each.text) * (each.get("text-anchor") != "end") <= width  # fmt: skip
    wide = {round(float(r.get("width")) / 230, 3) for r in root.iter(f"{SVG}rect") if r.get("class") == "share"}  # fmt: skip
    shares = {round(float(r["share"]), 3) for r in rows if r["section"] == "complete, first examination"}  # fmt: skip
    assert all(any(abs(share - bar) < 0.002 for bar in wide) for share in shares)
    bins = [r for r in rows if r["section"] == "how sure" and r["of"] != "0"]
    assert len(list(root.iter(f"{SVG}circle"))) == len(bins) > 2


def test_the_picture_of_an_empty_ward_is_a_picture(tmp_path, capsys):
    open_ward(tmp_path / "ward")
    assert audit(tmp_path / "ward", "--svg") == 0
    assert drawn(capsys.readouterr().out) is not None
    assert audit(tmp_path / "ward") == 0
    assert "0 patients, 0 examinations" in capsys.readouterr().out


def test_a_record_that_cannot_be_read_is_left_out_and_said(folder, capsys):
    path = folder / "patients" / "bz4fz30rnrthcnvz.json"
    path.write_bytes(path.read_bytes()[:-40])
    assert audit(folder) == 3
    said = capsys.readouterr()
    assert "LEFT OUT of all: 1 patient whose record cannot be read: bz4fz30rnrthcnvz" in said.out
    assert "12 patients" in said.out
    assert "left out: bz4fz30rnrthcnvz: the file's checksum does not match" in said.err


def test_a_record_that_is_gone_is_left_out_and_said(folder, capsys):
    gone = sorted((folder / "patients").glob("*.json"))[0]
    gone.unlink()
    assert audit(folder) == 3
    said = capsys.readouterr()
    assert "12 patients" in said.out
    assert gone.name in said.err
    assert "the patient's file is gone" in said.err


def test_what_leaves_is_in_the_trail_first(folder):
    for command in (audit, agreement):
        assert command(folder) == 0
    lines = [json.loads(line) for line in (folder / "audit.jsonl").read_text().splitlines()]
    assert [(r["event"], r["patient"], r["what"]) for r in lines[-2:]] == [
        ("exported", "ward", "audit"), ("exported", "ward", "agreement"),
    ]  # fmt: skip


def test_the_trail_is_counted(folder, capsys):
    for words in (
        ("A1", "--site", "cord"),
        ("A1", "--site", "cord"),  # recorded already
        ("A1", "--site", "root"),
        ("A1", "--site", "root", "--side", "left"),
        ("A2", "--site", "cauda"),
    ):
        assert run(["outcome", "--db", str(folder), "--examiner", "Dr Ash", *words]) == 0
    capsys.readouterr()
    assert audit(folder, "--to", "2090-01-01", "--from", "2026-03-01", "--csv") == 0
    rows = {r["figure"]: r for r in csv.DictReader(io.StringIO(capsys.readouterr().out))}
    assert rows["patients with an outcome recorded"]["of"] == "2"
    assert rows["further revisions of outcomes"]["of"] == "2"
    assert (rows["examinations saved by the trail"]["count"], rows["examinations saved by the trail"]["of"]) == ("0", "18")  # fmt: skip
    assert rows["examinations with reasons kept"]["count"] == "18"


# --- agreement


def test_two_examinations_of_a_patient_side_by_side(folder, capsys):
    assert agreement(folder, "A1") == 0
    text = capsys.readouterr().out
    assert text.startswith("Two examinations of A1 Ottoline Marsh, no. 40-1182, born 17 Sep 1954\n")
    assert max(map(len, text.splitlines())) <= 80
    assert "hip flexion                         4      3      4+      3" in text


def test_two_are_named(folder, capsys):
    one, other = (e.id for e in open_ward(folder).examinations("avzac69ob94i575u"))
    assert agreement(folder, "A1", other, one) == 0
    assert "B  03 Mar 2026 10:00, Dr Bex; 24.0 h later" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("A1", "exam0001"), "two examinations are compared"),
        (("A1", "exam0001", "exam0002"), "no examination 'exam0001'"),
        (("B3",), "no two examinations by two doctors"),
        (("A1", "--csv"), "go with the whole ward"),
        (("A1", "--hours", "3"), "go with the whole ward"),
        (("--hours", "0"), "more than 0"),
        (("--hours", "nan"), "more than 0"),
        (("A9",), "beds"),
    ],
)
def test_what_cannot_be_compared_is_refused(folder, words, said, capsys):
    assert agreement(folder, *words) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize("form", [(), ("--csv",)])
def test_over_the_ward_nobody_is_named(folder, form, capsys):
    assert agreement(folder, "--hours", "48", *form) == 0
    text = capsys.readouterr().out
    for name in (*NAMES, "avzac69ob94i575u"):
        assert name not in text
    if form:
        rows = {(r["sign"], r["scale"]): r for r in csv.DictReader(io.StringIO(text))}
        assert int(rows["knee", "conventional"]["pairs"]) > 4
        assert rows["knee", "conventional"]["published"].startswith("0.32 Hansen")


def test_from_the_beginning_of_an_examination_to_its_saving_by_the_trail(
    tmp_path, capsys, monkeypatch
):
    ward = open_ward(tmp_path / "ward")
    ward.admit(Patient(id="patient1", bed="A1", name="Ana Invented", admitted=NOW), "x")
    for number, minutes in enumerate((5, 10, 20)):
        monkeypatch.setattr(ward.audit, "_now", NOW.isoformat)
        made = examined("knee 2/2", NOW - timedelta(minutes=minutes))
        ward.save(made.model_copy(update={"id": f"exam000{number}", "patient": "patient1"}), "x")
    ward.settle()
    assert audit(tmp_path / "ward", "--csv") == 0
    rows = {r["figure"]: r for r in csv.DictReader(io.StringIO(capsys.readouterr().out))}
    saved = rows["examinations saved by the trail"]
    assert (saved["count"], saved["of"], saved["median"], saved["unit"]) == ("3", "3", "10", "min")
