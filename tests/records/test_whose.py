"""Who of a ward has a name, a bed or a number, however it is typed."""

from datetime import UTC, datetime

import pytest

from wardexam.exam.examination import Patient
from wardexam.records.ward import open_ward
from wardexam.records.whose import namesake, namesakes, with_part_of_number

AT = datetime(2026, 11, 24, 9, tzinfo=UTC)


@pytest.fixture
def ward(tmp_path):
    ward = open_ward(tmp_path / "ward")
    for number, (bed, name, hospital) in enumerate(
        [("A1", "Smith", ""), ("A2", "Müller, Jörg", "40-777"), ("A3", "Smith, John", "40-778")]
    ):
        patient = Patient(id=f"patient{number}", bed=bed, name=name, number=hospital, admitted=AT)
        ward.admit(patient, "test")
    return ward


@pytest.mark.parametrize(
    ("name", "bed"),
    [
        ("smith", "A1"), ("John Smith", "A1"), ("muller", "A2"), ("Jorg  Muller", "A2"), ("Smithers", None),
        ("Mary Smith-Jones", "A1"), ("", None), ("?", None),
    ],
)  # fmt: skip
def test_a_name_that_another_has_is_found_in_any_order_and_without_accents(ward, name, bed):
    other = namesake(ward, name)
    assert (other.bed if other else None) == bed


def test_nobody_is_their_own_namesake(ward):
    assert namesake(ward, "Smith", "patient0").bed == "A3"
    assert namesake(ward, "Müller", "patient1") is None


def test_both_of_one_name_have_each_other_beside_them(ward):
    beds = {b.bed: b for b in ward.beds()}
    found = namesakes(ward.beds())
    assert {beds["A1"].patient_id: "A3", beds["A3"].patient_id: "A1"} == {
        k: v.bed for k, v in found.items()
    }


@pytest.mark.parametrize(
    ("part", "ids"),
    [("40-777", {"patient1"}), ("40-77", {"patient1", "patient2"}), ("4 0-777", {"patient1"}), ("99", set()), ("-", set()), ("", set())],
)  # fmt: skip
def test_who_has_a_number_with_these_digits(ward, part, ids):
    assert with_part_of_number(ward, ward.beds(), part) == ids
