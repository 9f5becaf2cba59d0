"""`wardexam outcome`: recorded, printed, recorded from a file, refused whole."""

import json

import jsonschema
import pytest

from wardexam.commands.main import run
from wardexam.records.ward import open_ward
from wardexam.review.outcome_file import COLUMNS

WHO, OTHER, GONE = "avzac69ob94i575u", "skrlq8gm0b9i0lk8", "gxyxk1owep7is3tr"


def outcome(folder, *words):
    return run(["outcome", "--db", str(folder), "--examiner", "Dr Ash", *words])


def recorded(folder, who):
    return [(o.site, o.side, o.positive, o.diagnosis) for o in open_ward(folder).outcomes(who)]


def test_it_is_recorded_amended_and_printed(folder, capsys):
    assert (
        outcome(folder, "A1", "--site", "cord", "--positive", "y", "--diagnosis", "T9 collapse")
        == 0
    )
    assert outcome(folder, "A1", "--side", "midline", "--why", "reread") == 0
    assert recorded(folder, WHO) == [("cord", None, "yes", "T9 collapse"), ("cord", "midline", "yes", "T9 collapse")]  # fmt: skip
    capsys.readouterr()
    assert outcome(folder, "A1") == 0
    said = capsys.readouterr().out
    assert "Revision 1 of 2\n" in said
    assert "  Site: spinal cord, midline\n" in said
    assert all(len(line) <= 80 for line in said.splitlines())


def test_of_who_has_none_it_says_so(folder, capsys):
    assert outcome(folder, "A1") == 0
    assert capsys.readouterr().out.splitlines()[1:] == ["No outcome is recorded."]


@pytest.mark.parametrize("words", [(), ("--positive", "no")], ids=["read", "recorded"])
@pytest.mark.parametrize(
    ("whose", "said"),
    [
        ("A1", "A1 Ottoline Marsh, no. 40-1182, born 17 Sep 1954"),
        (GONE, "{bed} {name}, {rest}, discharged"),
    ],
)
def test_whose_it_is_stands_first(folder, whose, said, words, capsys):
    assert outcome(folder, whose, *words) == 0
    first = capsys.readouterr().out.splitlines()[0]
    patient = open_ward(folder).patient(GONE)
    rest = patient.identity.removeprefix(f"{patient.name}, ")
    assert first == said.format(bed=patient.bed, name=patient.name, rest=rest)
    assert "no. " in first or "born" in first


def test_a_long_name_is_wrapped_and_the_number_stays_whole(folder, capsys):
    ward = open_ward(folder)
    ward.update(ward.patient(WHO).model_copy(update={"name": "Maria " * 8 + "Invented"}), "x")
    assert outcome(folder, WHO, "--positive", "no") == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    assert any("no. 40-1182" in line for line in lines)
    assert lines[0].startswith("A1 Maria Maria")


def test_the_trail_says_who_recorded_and_check_is_content(folder, capsys):
    assert outcome(folder, WHO, "--positive", "no") == 0
    lines = [json.loads(line) for line in (folder / "audit.jsonl").read_text().splitlines()]
    last = lines[-1]
    assert (last["event"], last["patient"], last["by"], last["what"]) == (
        "concluded", WHO, "Dr Ash", "outcome 1, by Dr Ash",
    )  # fmt: skip
    assert last["record"]
    assert run(["check", "--db", str(folder)]) == 0
    assert "all sound" in capsys.readouterr().out


def test_the_same_again_is_no_event(folder, capsys):
    for _ in range(2):
        assert outcome(folder, "A1", "--site", "cord") == 0
    assert "Recorded already, revision 1." in capsys.readouterr().out
    assert (folder / "audit.jsonl").read_text().count('"concluded"') == 1


def test_what_stays_of_the_revision_before_is_said(folder, capsys):
    assert outcome(folder, "A1", "--positive", "y", "--site", "cord", "--diagnosis", "T9") == 0
    assert "stays" not in capsys.readouterr().out
    assert outcome(folder, "A1", "--positive", "no") == 0
    said = capsys.readouterr().out
    assert "  Not said anew, stays: site, diagnosis\n  (a dash takes one away: --site -)\n" in said
    assert outcome(folder, "A1", "--site", "-", "--diagnosis", "-") == 0
    assert "  Not said anew, stays: positive\n" in capsys.readouterr().out
    assert recorded(folder, WHO)[-1] == (None, None, "no", "")


@pytest.mark.parametrize("words", [(), ("--site", "cord")], ids=["alone", "with the same"])
def test_a_reason_for_nothing_new_is_not_kept_and_that_is_said(folder, words, capsys):
    assert outcome(folder, "A1", "--site", "cord") == 0
    capsys.readouterr()
    assert outcome(folder, "A1", *words, "--why", "reread") == 0
    said = capsys.readouterr().out
    assert "Recorded already, revision 1." in said
    assert "The reason was not kept: nothing else is said anew." in said
    assert "stays" not in said
    assert [o.why for o in open_ward(folder).outcomes(WHO)] == [""]


@pytest.mark.parametrize("file", [False, True], ids=["typed", "of a file"])
def test_the_bed_of_a_discharged_patient_means_nobody_and_says_where_he_is_listed(
    folder, tmp_path, file, capsys
):
    bed = open_ward(folder).patient(GONE).bed
    (tmp_path / "outcomes").write_text(f"patient,site\n{bed},cord\n")
    words = ("--file", str(tmp_path / "outcomes")) if file else (bed, "--site", "cord")
    assert outcome(folder, *words) == 2
    said = capsys.readouterr().err
    assert "nobody lies in this bed ('wardexam beds --discharged' lists who did)" in said
    assert recorded(folder, GONE) == []


CSV = """patient,imaged,image,positive,site,side,diagnosis,by
A1,2026-03-03 10:00,cord pressed at T9,yes,cord,midline,"metastasis, breast",Dr Ray
{gone},,,no,none,,no lesion,
B1,2026-03-03 11:00+00:00,,yes,brain,left,infarct,
"""
GOOD = {
    "csv": CSV.format(gone=GONE),
    "with the mark of a spreadsheet": "\ufeff" + CSV.format(gone=GONE),
    "json lines": "\n".join(
        json.dumps(row)
        for row in (
            {"patient": "A1", "site": "cord", "side": "midline", "positive": "yes", "diagnosis": "metastasis, breast"},
            {"patient": GONE, "site": "none", "positive": "no", "diagnosis": "no lesion", "side": None},
            {"patient": "B1", "site": "brain", "side": "left", "positive": "yes", "diagnosis": "infarct"},
        )
    ),
}  # fmt: skip


@pytest.mark.parametrize("text", GOOD.values(), ids=list(GOOD))
def test_a_file_is_recorded_also_of_the_discharged(folder, tmp_path, text, capsys):
    path = tmp_path / "outcomes"
    path.write_text(text)
    assert outcome(folder, "--file", str(path), "--dry-run") == 0
    assert recorded(folder, WHO) == []
    assert outcome(folder, "--file", str(path)) == 0
    assert capsys.readouterr().out == "3 outcomes would be recorded\n3 outcomes recorded\n"
    assert recorded(folder, WHO) == [("cord", "midline", "yes", "metastasis, breast")]
    assert recorded(folder, GONE) == [("none", None, "no", "no lesion")]
    assert recorded(folder, OTHER) == [("brain", "left", "yes", "infarct")]
    trail = (folder / "audit.jsonl").read_text()
    assert outcome(folder, "--file", str(path), "--dry-run") == 0
    assert outcome(folder, "--file", str(path)) == 0  # the same again is no further one
    said = capsys.readouterr().out
    assert said == (
        "0 outcomes would be recorded, 3 recorded already\n0 outcomes recorded, 3 recorded already\n"
    )
    assert len(recorded(folder, WHO)) == 1
    assert (folder / "audit.jsonl").read_text().count('"concluded"') == trail.count('"concluded"') == 3  # fmt: skip


WRONG = {
    "a site": ("patient,site\nA1,cord\nA2,spleen\n", "row 3: site: spleen is no site"),
    "nobody": ("patient,site\nA1,cord\nnobody00,cord\n", "row 3: nobody00: no such patient"),
    "twice": ("patient,site\nA1,cord\navzac69ob94i575u,cord\n", "row 3: patient avzac69ob94i575u is given twice"),
    "no patient": ("patient,site\nA1,cord\n,cord\n", "row 3: says no patient"),
    "a cell more": ("patient,site\nA1,cord\nA2,cord,left\n", "row 3: 3 cells, the heading has 2"),
    "a column": ("patient,organ\nA1,cord\n", "no column 'organ'"),
    "no column of the patient": ("site\ncord\n", "'patient' among them"),
    "a quote": ('patient,site\nA1,"cord\n', "cannot be read as CSV"),
    "both rows": ("patient,positive\nA1,?\nA2,!\n", "row 2: positive: ? is neither yes nor no; row 3"),
    "a list": ('{"patient": "A1", "site": "cord"}\n[1]\n', "row 2: is no JSON object"),
    "a number": ('{"patient": "A1", "site": 3}\n', "row 1: every value is text"),
    "empty": (" \n", "is empty"),
}  # fmt: skip


@pytest.mark.parametrize(("text", "said"), WRONG.values(), ids=list(WRONG))
def test_a_file_with_a_wrong_row_is_refused_whole_and_the_row_is_named(
    folder, tmp_path, text, said, capsys
):
    path = tmp_path / "outcomes"
    path.write_text(text)
    before = {p: p.read_bytes() for p in (folder / "patients").iterdir()}
    assert outcome(folder, "--file", str(path)) == 2
    assert said in capsys.readouterr().err
    assert {p: p.read_bytes() for p in (folder / "patients").iterdir()} == before


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "say whose outcome it is"),
        (("A1", "--dry-run"), "--dry-run goes with --file"),
        (("A1", "--file", "x"), "a file names its patients"),
        (("--file", "x", "--site", "cord"), "a file names its patients"),
        (("A1", "--positive", "perhaps"), "neither yes nor no"),
        (("A9", "--site", "cord"), "beds"),
    ],
)
def test_what_cannot_be_is_refused(folder, words, said, capsys):
    assert outcome(folder, *words) == 2
    assert said in capsys.readouterr().err


def test_the_schema_of_a_line_fits_what_is_read_and_refuses_what_is_not(capsys):
    assert run(["schema", "--outcome"]) == 0
    schema = json.loads(capsys.readouterr().out)
    for row in map(json.loads, GOOD["json lines"].splitlines()):
        jsonschema.validate(row, schema)
    assert set(schema["properties"]) == set(COLUMNS)
    for row in ({"site": "cord"}, {"patient": "A1", "organ": "x"}, {"patient": "A1", "site": 3}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(row, schema)


@pytest.mark.parametrize("file", [False, True], ids=["typed", "of a file"])
@pytest.mark.parametrize(
    ("imaged", "code", "said"),
    [
        ("2025-12-01 10:00", 2, "more than 30 days before the admission"),
        ("2026-02-20 10:00", 0, "days before the admission: is the date right?"),
        (
            "2026-03-03 13:31+00:00",
            2,
            "the image is after the last result, written 2026-03-03 13:30",
        ),
        ("2090-01-01 10:00", 2, "the image is later than now"),
    ],
)
def test_the_time_of_the_image_is_looked_at(folder, tmp_path, file, imaged, code, said, capsys):
    words = ["A1", "--imaged", imaged]
    if file:
        (tmp_path / "outcomes").write_text(f"patient,imaged\nA1,{imaged}\n")
        words = ["--file", str(tmp_path / "outcomes")]
    assert outcome(folder, *words) == code
    assert said in capsys.readouterr().err
    assert len(recorded(folder, WHO)) == (code == 0)
