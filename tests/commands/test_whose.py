"""Which patient a command means: the identifier, the hospital's number, the bed; and who is possible."""

import re
from datetime import UTC, datetime

import pytest

from wardexam.commands.main import run
from wardexam.records.ward import open_ward

WHO = "f14z5r3kehjb2w60"  # Kwabena Asante, bed C2, no. 37-1490
AT = datetime(2026, 3, 9, 8, tzinfo=UTC)


@pytest.mark.parametrize("given", [WHO, "37-1490", " 37-1490 ", "C2", "c2"])
@pytest.mark.parametrize("command", ["note", "referral", "act", "figure"])
def test_every_way_of_naming_a_patient_means_the_same(folder, capsys, command, given):
    first = []
    for each in (WHO, given):
        assert run([command, each, "--db", str(folder)]) == 0
        lines = capsys.readouterr().out.splitlines()[:3]
        first.append([re.sub(r"\d\d:\d\d", "now", line) for line in lines])  # a minute may pass
    assert first[0] == first[1]


def test_one_patient_is_taken_out_by_number(folder, capsys):
    assert run(["export", "--patient", "37-1490", "--db", str(folder)]) == 0
    assert WHO in capsys.readouterr().out


def test_what_was_handed_out_stands_in_the_trail_by_identifier(folder, capsys):
    assert run(["note", "37-1490", "--db", str(folder)]) == 0
    assert f'"patient":"{WHO}"' in (folder / "audit.jsonl").read_text().splitlines()[-1].replace(
        " ", ""
    )


def test_two_with_the_same_number_are_named_by_identifier_and_bed_and_nothing_is_printed(
    folder, capsys
):
    ward = open_ward(folder)
    other = ward.beds()[0]
    assert other.patient_id != WHO
    twin = ward.patient(other.patient_id).model_copy(update={"number": "37-1490", "born": None})
    ward.update(twin, "Dr Test")
    assert run(["note", "37-1490", "--db", str(folder)]) != 0
    out, complaint = capsys.readouterr()
    assert out == ""
    assert "2 patients have this number or bed" in complaint
    assert f"{WHO} in bed C2" in complaint
    assert f"{other.patient_id} in bed {other.bed}" in complaint
    assert "Asante" not in complaint


def test_a_bed_means_who_is_in_it_and_a_number_also_who_has_left_it(folder, capsys):
    ward = open_ward(folder)
    ward.discharge(ward.patient(WHO), AT, "Dr Test")
    assert run(["note", "C2", "--db", str(folder)]) != 0
    assert "C2" in capsys.readouterr().err
    assert run(["note", "37-1490", "--db", str(folder)]) == 0
    assert "Asante" in capsys.readouterr().out
