"""What was entered in error is sent as that, so that no system takes it for valid, and comes back as that."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from tests.examinations import examined
from tests.fhir.bundles import bundle_of, every_text, read, resources
from tests.fhir.validators import refused
from tests.records.memory import MemoryWard
from wardexam.commands.main import run
from wardexam.errors import InputError
from wardexam.exam.acts import Act
from wardexam.exam.examination import Patient
from wardexam.records.ward import open_ward

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
PATIENT = Patient(id="patient1", bed="A1", name="Ana Invented", number="40-1", admitted=AT)
ERROR = "entered-in-error"


def examination(number, line):
    at = AT + timedelta(hours=number)
    return examined(line, at, id=f"exam000{number}", patient=PATIENT.id, examiner="Dr Ash")


@pytest.fixture
def ward():
    """A patient with one examination that counts and one that was entered in error, with an act on it."""
    ward = MemoryWard()
    ward.admit(PATIENT, "x")
    ward.save(examination(0, "knee 2/2"), "Dr Ash")
    act = Act(rule="cauda_equina", kind="asked", what="MRI", by="Dr Ash", at=AT)
    wrong = examination(1, "knee 2/0 rest=power:right_leg flag:saddle_numb=yes")
    saved = ward.save(wrong.model_copy(update={"acts": (act,)}), "Dr Ash")
    ward.mark(saved, "Dr Bex", "wrong patient", AT, lambda _: None, in_error=True)
    return ward


def of_wrong(bundle, kind):
    """The resources of the examination that was entered in error, of one type."""
    return [
        r
        for r in resources(bundle, kind)
        if any("exam0001" in i["value"] for i in r.get("identifier", ()))
    ]


def test_nothing_of_it_stands_and_what_counts_does(ward):
    bundle = bundle_of(ward)
    for kind, count in (("Observation", 4), ("Task", 1)):
        assert [r["status"] for r in of_wrong(bundle, kind)] == [ERROR] * count
    first, last = of_wrong(bundle, "DocumentReference")
    assert (first["status"], first["docStatus"]) == ("superseded", ERROR)
    assert (last["status"], last["docStatus"]) == (ERROR, ERROR)
    for document in (first, last):
        assert any(t.startswith("ENTERED IN ERROR: wrong patient") for t in every_text(document))
    others = [r for r in resources(bundle, "Observation") if r not in of_wrong(bundle, "Observation")]  # fmt: skip
    assert ERROR not in {r["status"] for r in others}


def test_its_codes_are_of_the_standard(ward):
    found = {r["resourceType"]: refused(r) for r in resources(bundle_of(ward)) if refused(r)}
    assert found == {}


def test_it_comes_back_as_that_with_who_when_and_why(ward):
    (back,) = read(bundle_of(ward))
    wanted = [r for e in ("exam0000", "exam0001") for r in ward.revisions(PATIENT.id, e)]
    assert list(back.examinations) == wanted
    assert back.examinations[-1].in_error
    assert back.examinations[-1].amendment.why == "wrong patient"


def test_brought_in_it_counts_nowhere(ward, tmp_path, capsys):
    (tmp_path / "bundle.json").write_text(json.dumps(bundle_of(ward)))
    folder = tmp_path / "ward"
    assert run(["import", "--db", str(folder), str(tmp_path / "bundle.json")]) == 0
    capsys.readouterr()
    brought = open_ward(folder)
    (bed,) = brought.beds()
    assert (bed.examinations, bed.summary.urgency) == (1, 0)
    assert [e.id for e in brought.examinations(PATIENT.id)] == ["exam0000"]
    assert brought.file(PATIENT.id).in_error("exam0001").by == "Dr Bex"


def test_taken_back_it_stands_and_its_history_comes_along(ward):
    wrong = ward.file(PATIENT.id).with_errors[-1]
    ward.mark(wrong, "Dr Bex", "it was hers", AT, lambda _: None, in_error=False)
    bundle = bundle_of(ward)
    assert ERROR not in {r["status"] for kind in ("Observation", "Task") for r in of_wrong(bundle, kind)}  # fmt: skip
    (back,) = read(bundle)
    assert [e.in_error for e in back.examinations] == [False, False, True, False]


@pytest.mark.parametrize(
    ("kind", "name"), [("Observation", "exam0000"), ("DocumentReference", "exam0000.r1")]
)
def test_a_bundle_in_which_only_a_part_says_so_is_refused(ward, kind, name):
    """Whether it stands must not hang on which of its resources is read."""
    bundle = bundle_of(ward)
    (part,) = (
        r
        for r in resources(bundle, kind)
        if {"patient1." + name} & {i["value"] for i in r["identifier"]}
    )
    part["status"] = ERROR
    with pytest.raises(InputError):
        read(bundle)
