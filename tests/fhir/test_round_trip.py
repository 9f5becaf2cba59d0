"""Every fact that a bundle holds comes back as it was."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from tests.fhir.bundles import as_kept, bundle_of, read, resources, text_of
from tests.fhir.drawn import arrivals
from tests.fhir.validators import refused
from tests.records.memory import MemoryWard
from wardexam.exam.examination import Examination, Patient
from wardexam.fhir.bundle import Bundling
from wardexam.records.repository import Arrival

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
PATIENT = Patient(id="patient1", bed="A1", name="Ana Invented", admitted=AT)
EXAMINATION = Examination(id="exam0001", patient="patient1", examiner="Dr Ash", at=AT)


def ward_of(*arriving):
    ward = MemoryWard()
    ward.take_in(arriving, "x")
    return ward


def kept(arrival):
    """What is to come back of a patient."""
    return Arrival(
        arrival.patient,
        tuple(map(as_kept, arrival.examinations)),
        sheets=arrival.sheets,
        outcomes=arrival.outcomes,
    )


def of_ward(ward, patient_id):
    """A patient of a ward as an archive would hold it."""
    file = ward.file(patient_id)
    names = dict.fromkeys(name for name, _ in file.numbered())
    return kept(
        Arrival(
            file.patient,
            tuple(e for name in names for e in file.revisions(name)),
            sheets=tuple(file.sheets),
            outcomes=tuple(file.outcomes),
        )
    )


@pytest.mark.long
def test_the_demo_ward_comes_back_equal(demo):
    back = {a.patient.id: a for a in read(text_of(demo))}
    every = [b.patient_id for d in (False, True) for b in demo.beds(discharged=d)]
    assert len(every) == 13
    assert set(back) == set(every)
    for patient_id in every:
        assert back[patient_id] == of_ward(demo, patient_id)


@settings(
    max_examples=settings.default.max_examples // 5,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.generate],
)
@given(arrivals())
def test_whatever_was_kept_comes_back_equal_and_is_valid(arrival):
    ward = ward_of(arrival)
    bundle = bundle_of(ward)
    assert read(bundle) == [kept(arrival)]
    assert {k: refused(r) for r in resources(bundle) for k in [r["resourceType"]] if refused(r)} == {}  # fmt: skip


@pytest.mark.long
@settings(
    max_examples=15, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate]
)
@given(arrivals("patient1"), arrivals("patient2"))
def test_what_came_in_goes_out_the_same_but_for_the_trail(one, other):
    first = bundle_of(ward_of(one, other))
    second = bundle_of(ward_of(*read(first)))

    def without_trail(bundle):
        return [e for e in bundle["entry"] if e["resource"]["resourceType"] != "Provenance"]

    assert without_trail(second) == without_trail(first)


@settings(
    max_examples=100,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.generate],
)
@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=60))
def test_a_text_comes_back_or_its_loss_is_told(text):
    base = ward_of(Arrival(PATIENT, (EXAMINATION.model_copy(update={"impression": text}),)))
    bundling = Bundling()
    (back,) = read(text_of(base, bundling))
    found = back.examinations[0].impression
    if not text.strip():
        assert found == ""
    elif bundling.left_out["text"]:
        assert found != text
        assert len(found) == len(text)
        assert all(a in (b, "?") for a, b in zip(found, text, strict=True))
    else:
        assert found == text


@pytest.mark.parametrize("character", ["\x00", "\x0b", "\x1b", "\x1f"])
def test_a_control_character_is_left_out_and_told(character):
    ward = ward_of(Arrival(PATIENT.model_copy(update={"remark": f"weak{character}leg"})))
    bundling = Bundling()
    text = text_of(ward, bundling)
    assert read(text)[0].patient.remark == "weak?leg"
    assert "1 text with a character that FHIR cannot hold" in bundling.said
    assert character not in text


@pytest.mark.parametrize("away", [timedelta(hours=-23), timedelta(hours=14, minutes=1), timedelta(hours=1, seconds=7)])  # fmt: skip
def test_a_zone_that_fhir_does_not_know_comes_back_as_the_same_moment(away):
    at = datetime(2026, 3, 2, 8, tzinfo=timezone(away))
    ward = ward_of(Arrival(PATIENT, (EXAMINATION.model_copy(update={"at": at}),)))
    bundle = bundle_of(ward)
    assert [refused(r) for r in resources(bundle) if refused(r)] == []
    found = read(bundle)[0].examinations[0].at
    assert found == at
    assert found.utcoffset() == timedelta()
