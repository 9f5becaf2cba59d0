"""`beds`, `check`, `import` and `handover` in JSON: by the schema that is printed, and the same as their text says."""

import json
import re
from datetime import UTC, datetime

import pytest
from jsonschema import Draft202012Validator, FormatChecker

from wardexam.commands import answers, edge
from wardexam.commands.main import run
from wardexam.exam.examination import Patient
from wardexam.records.paths import copy_demo
from wardexam.records.ward import open_ward

NOW = datetime(2026, 3, 4, 14, tzinfo=UTC)


@pytest.fixture
def ward(tmp_path, monkeypatch):
    monkeypatch.setattr(edge, "now", lambda: NOW)
    folder = copy_demo(tmp_path / "ward")
    monkeypatch.setenv("WARDEXAM_DB", str(folder))
    return open_ward(folder)


@pytest.fixture
def archive(ward, tmp_path, capsys):
    assert run(["export"]) == 0
    file = tmp_path / "ward.jsonl"
    file.write_text(capsys.readouterr().out)
    return str(file)


def damage(ward):
    """The record of one patient, made such that it cannot be read; who it is."""
    bed = ward.beds()[3]
    (ward.folder / "patients" / f"{bed.patient_id}.json").write_bytes(b"torn")
    return bed


def answered(capsys, *words, code=0):
    """The answer of a command, held to the schema that is printed for it."""
    assert run(["schema", f"--{words[0]}"]) == 0
    schema = json.loads(capsys.readouterr().out)
    Draft202012Validator.check_schema(schema)
    assert run([*words, "--json"]) == code
    said = capsys.readouterr()
    assert said.out.count("\n") == 1
    assert said.out.isascii()
    answer = json.loads(said.out)
    Draft202012Validator(schema, format_checker=FormatChecker()).validate(answer)  # fmt: skip
    return answer, said.err


def told(capsys, *words, code=0):
    assert run([*words]) == code
    return capsys.readouterr().out


@pytest.mark.parametrize("command", list(answers.FORMS))
def test_a_schema_refuses_what_is_missing_and_what_is_more(
    command, archive, tmp_path, monkeypatch, capsys
):
    words = [command]
    if command == "import":
        words.append(archive)
        monkeypatch.setenv("WARDEXAM_DB", str(open_ward(tmp_path / "other").folder))
    answer, _ = answered(capsys, *words)
    valid = Draft202012Validator(answers.schema(command)).is_valid
    assert not valid({**answer, "more": 1})
    for name in answer:
        assert not valid({n: v for n, v in answer.items() if n != name}), name
    assert not valid({**answer, "version": 2})


def test_beds_are_those_of_the_list_with_how_urgent_and_by_when(ward, capsys):
    answer, _ = answered(capsys, "beds")
    lines = told(capsys, "beds").splitlines()
    assert [(b["bed"], b["patient"]) for b in answer["beds"]] == [tuple(line.split()[:2]) for line in lines]  # fmt: skip
    for bed, line in zip(answer["beds"], lines, strict=True):
        assert bed["urgency"] is not None
        assert bed["urgency"]["word"] in line or "12 h" in line
        assert ("OVERDUE" in line) == (bed["urgency"]["overdue_minutes"] is not None)
    assert answer["at"] == "2026-03-04T14:00:00Z"
    assert answer["problem"] == ""
    assert "Signs exclude no emergency" in answer["caution"]


def test_who_was_not_examined_has_no_level_at_all(ward, capsys):
    ward.admit(Patient(id="newcomer", bed="Z9", name="Ana Invented", admitted=NOW), "test")
    answer, _ = answered(capsys, "beds")
    assert [b["urgency"] for b in answer["beds"] if b["bed"] == "Z9"] == [None]
    answer, _ = answered(capsys, "handover")
    assert [p["examination"] for p in answer["patients"] if p["bed"] == "Z9"] == [None]


@pytest.mark.long
def test_what_the_reason_for_admission_tells_of_who_was_never_examined_stands_in_both(ward, capsys):
    patient = Patient(id="newcomer", bed="Z9", name="Ana Invented", admitted=NOW, remark="unconscious")  # fmt: skip
    ward.admit(patient, "test")
    (line,) = (text for text in told(capsys, "beds").splitlines() if "newcomer" in text)
    beds, sheet = answered(capsys, "beds")[0]["beds"], answered(capsys, "handover")[0]["patients"]
    for rows in (beds, sheet):
        assert [row["told"] is None for row in rows] == [r["patient"] != "newcomer" for r in rows]
        (row,) = (row["told"] for row in rows if row["told"])
        assert row["level"] > 0
        assert f"not examined, {row['word']}: {row['headline']}" in line


def test_who_left_with_an_emergency_that_is_open_stands_at_the_end_of_both(ward, capsys):
    bed = next(b for b in ward.beds() if b.bed == "C2")
    assert answered(capsys, "handover")[0]["left"] == []
    ward.discharge(ward.patient(bed.patient_id), NOW, "test")
    (left,) = answered(capsys, "handover")[0]["left"]
    assert (left["patient"], left["bed"], left["at"]) == (bed.patient_id, "C2", "2026-03-04T14:00:00Z")  # fmt: skip
    text = " ".join(told(capsys, "handover").split())
    assert f"C2 {left['who']}, discharged 4 Mar 14:00. {left['said']}." in text


@pytest.mark.long
def test_nobody_named_as_examiner_takes_no_patient_off_the_handover(ward, capsys):
    bed = ward.beds()[0]
    last = ward.examinations(bed.patient_id)[-1]
    made = last.model_copy(update={"id": "nobody00", "examiner": "", "entered_by": ()})
    ward.save(made.model_copy(update={"acts": (), "raised": None}), "")
    answer, _ = answered(capsys, "handover")
    assert {p["patient"]: p["examination"]["by"] for p in answer["patients"]}[bed.patient_id] == ""


@pytest.mark.long
def test_a_first_examination_with_a_schedule_is_due_since_the_admission_in_both(ward, capsys):
    for name, hours in (("newcomer", 4), ("unscheduled", None)):
        patient = Patient(id=name, bed="Z9", name="Ana Invented", admitted=NOW, recheck_hours=hours)
        ward.admit(patient, "test")
    beds, sheet = answered(capsys, "beds")[0]["beds"], answered(capsys, "handover")[0]["patients"]
    due = {bed["patient"]: bed["next_due"] for bed in beds}
    assert due == {patient["patient"]: patient["next_due"] for patient in sheet}
    assert (due["newcomer"], due["unscheduled"]) == ("2026-03-04T14:00:00Z", None)


def test_the_discharged_are_listed_with_when(ward, capsys):
    answer, _ = answered(capsys, "beds", "--discharged")
    assert len(answer["beds"]) == 1
    assert answer["beds"][0]["discharged"].startswith("2026-03-")


@pytest.mark.long
def test_a_record_that_cannot_be_read_is_said_in_each(ward, capsys):
    bed = damage(ward)
    answer, err = answered(capsys, "beds", code=3)
    (row,) = (b for b in answer["beds"] if b["patient"] == bed.patient_id)
    assert row["trouble"]
    assert row["trouble"] in err
    answer, err = answered(capsys, "handover", code=3)
    assert [p["patient"] for p in answer["left_out"]] == [bed.patient_id]
    assert bed.patient_id not in {p["patient"] for p in answer["patients"]}
    assert answer["left_out"][0]["why"] in err
    answer, _ = answered(capsys, "check", code=1)
    assert not answer["sound"]
    assert any(line.startswith(f"damaged: {ward.folder}") for line in answer["lines"])


def test_check_says_the_lines_of_its_text(ward, capsys):
    answer, _ = answered(capsys, "check")
    assert answer["sound"] is True
    assert answer["lines"] == told(capsys, "check").splitlines()
    assert answer["review"] == ""
    answer, _ = answered(capsys, "check", "--repair")
    assert answer["repair"] is True
    assert "index made anew" in answer["lines"]


def test_import_says_what_would_be_and_what_was_added(archive, tmp_path, monkeypatch, capsys):
    other = open_ward(tmp_path / "other")
    monkeypatch.setenv("WARDEXAM_DB", str(other.folder))
    answer, _ = answered(capsys, "import", archive, "--dry-run")
    assert (answer["dry_run"], answer["patients"], answer["examinations"]) == (True, 13, 18)
    told_each = told(capsys, "import", archive, "--dry-run").splitlines()[:-1]
    assert [(p["bed"], p["patient"]) for p in answer["arriving"]] == [tuple(line.split()[:2]) for line in told_each]  # fmt: skip
    assert sum(p["examinations"] for p in answer["arriving"]) == 18
    assert [p["discharged"] for p in answer["arriving"]].count(True) == 1
    assert other.beds() == ()
    answer, _ = answered(capsys, "import", archive)
    assert (answer["arriving"], answer["erased"]) == ([], [])
    assert (answer["dry_run"], answer["sealed"], answer["left_out"]) == (False, True, [])
    assert len(open_ward(other.folder).beds()) == 12


def test_import_names_whom_the_archive_was_made_without(ward, tmp_path, monkeypatch, capsys):
    bed = damage(ward)
    assert run(["export"]) == 3
    file = tmp_path / "ward.jsonl"
    file.write_text(capsys.readouterr().out)
    monkeypatch.setenv("WARDEXAM_DB", str(open_ward(tmp_path / "other").folder))
    answer, _ = answered(capsys, "import", str(file))
    assert [p["patient"] for p in answer["left_out"]] == [bed.patient_id]


def test_a_refusal_prints_no_json_and_one_line(tmp_path, capsys):
    for words in (["beds"], ["handover"], ["check"], ["import", str(tmp_path / "none")]):
        assert run([*words, "--json", "--db", str(tmp_path / "nowhere")]) in (2, 3)
        said = capsys.readouterr()
        assert (said.out, said.err.count("\n")) == ("", 1)


def test_the_handover_has_the_patients_of_the_sheet_in_its_order_with_every_reason(ward, capsys):
    answer, _ = answered(capsys, "handover")
    sheet = told(capsys, "handover")
    overview = sheet.split("REASONS, WHAT WAS DONE")[0]
    beds = re.findall(r"^([A-Z]\d) ", overview, re.M)
    assert [p["bed"] for p in answer["patients"]] == beds
    flat = " ".join(sheet.split())
    for patient in answer["patients"]:
        examined = patient["examination"]
        assert patient["number"] in sheet
        assert examined["level"] >= examined["urgency"]["level"]
        assert ("WORSE" in next(line for line in overview.splitlines() if line.startswith(f"{patient['bed']} "))) == examined["worse"]  # fmt: skip
        for reason in examined["urgency"]["reasons"]:
            assert reason["text"].removesuffix(" (earlier)") in flat
        for text in examined["found"]:
            assert " ".join(text.split())[:40] in flat
    levels = [p["examination"]["level"] for p in answer["patients"]]
    assert levels == sorted(levels, reverse=True)
    assert levels[0] == 3
    assert re.fullmatch(r"\d+:[0-9a-f]{16}", answer["trail"])


def test_a_handover_in_json_is_in_the_trail_as_one_on_paper(ward, capsys):
    answered(capsys, "handover")
    last = json.loads((ward.folder / "audit.jsonl").read_text().splitlines()[-1])
    assert (last["event"], last["patient"]) == ("exported", "ward")


OFF = """\
[cauda_equina]
off_by = "Dr A. Lead"
off_why = "a pathway of its own"
off_on = 2026-03-01

[review]
owner = "Dr A. Lead"
reviewed = 2026-03-01
due = 2026-03-02
"""


def test_a_rule_that_is_switched_off_and_a_review_that_is_due_stand_in_the_answers(
    ward, tmp_path, monkeypatch, capsys
):
    words = tmp_path / "words.toml"
    words.write_text(OFF)
    monkeypatch.setenv("WARDEXAM_WORDING", str(words))
    answer, _ = answered(capsys, "handover")
    off = [row for p in answer["patients"] for row in p["examination"]["urgency"]["switched_off"]]
    assert {(row["rule"], row["by"], row["why"]) for row in off} == {("cauda_equina", "Dr A. Lead", "a pathway of its own")}  # fmt: skip
    answer, _ = answered(capsys, "check")
    assert answer["review"].startswith("Rules: review due since 2 Mar 2026: wording")
    assert answer["review"] in told(capsys, "check")
