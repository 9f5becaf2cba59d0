"""A patient's file read for counting says the same as the file read whole, in every form that was ever written."""

import json
from pathlib import Path

import pytest

from tests.records.conftest import AT
from wardexam.errors import RecordsError
from wardexam.exam.entry import Change, apply
from wardexam.exam.outcome import Outcome
from wardexam.records.light_reading import read_light, trail_events
from wardexam.records.schemas import read_tables

HERE = Path(__file__).parent
FILES = sorted([
    *(HERE / "layout-1" / "ward").glob("*.json"),
    *(p for name in ("layout-2", "layout-2-schema-3", "layout-3-schema-4", "layout-3-schema-5") for p in (HERE / name / "ward" / "patients").glob("*.json")),
    *(HERE.parents[1] / "demo_db" / "ward" / "patients").glob("*.json"),
])  # fmt: skip


@pytest.mark.parametrize(
    "path", [p for p in FILES if p.name != "ward.json"], ids=lambda p: f"{p.parts[-4]}-{p.stem}"
)
def test_it_says_what_the_file_says(path):
    tables = read_tables(path)
    light = read_light(path)
    assert light.patient == dict(next(iter(tables["patient"].values())))
    stored = [dict(r) for r in tables["examinations"].values()]
    found = [e for revisions in light.revisions.values() for e in revisions]
    assert len(found) == len(stored)
    for one in stored:
        (light_one,) = [e for e in found if (e.fields["id"], e.fields["revision"]) == (one["id"], one["revision"])]  # fmt: skip
        assert light_one.findings == one["findings"]
        assert {**light_one.fields, "findings": light_one.findings} == one
        assert light_one.named == {(f["sign"], f["side"]) for f in one["findings"]}
    assert light.outcome is None


@pytest.mark.parametrize(
    "words", ['], "flags": {', '"findings": [', '"side": "left", "sign": "ankle"', "\\", '"']
)
def test_no_comment_is_taken_for_more(ward, patient, examination, knee, words):
    ward.admit(patient, "x")
    value = knee.value | {"comment": words}
    examined = apply(examination, Change(knee.what, knee.key, value))
    examined = apply(examined, Change("comment", "", words))
    ward.save(examined, "x")
    (only,) = read_light(ward.layout.file(patient.id)).revisions[examination.id]
    assert only.named == {("knee", "right")}
    assert (only.findings[0]["comment"], only.fields["comment"]) == (words, words)


def test_the_last_outcome_is_read(ward, patient):
    ward.admit(patient, "x")
    for revision, site in ((1, "cauda"), (2, "root")):
        ward.conclude(Outcome(patient=patient.id, revision=revision, site=site, by="x", at=AT), "x")
    assert read_light(ward.layout.file(patient.id)).outcome["site"] == "root"


def test_a_damaged_file_is_refused(ward, patient):
    ward.admit(patient, "x")
    path = ward.layout.file(patient.id)
    path.write_bytes(path.read_bytes().replace(b"Ana", b"Bob"))
    with pytest.raises(RecordsError, match="checksum"):
        read_light(path)
    with pytest.raises(RecordsError, match="not there"):
        read_light(path.with_name("nobody00.json"))


def test_the_trail_is_read_up_to_what_cannot_be(ward, patient, examination):
    ward.admit(patient, "x")
    ward.save(examination, "x")
    path = ward.layout.trail
    events = [(e.event, e.patient, e.what.split(",")[0]) for e in trail_events(path)]
    assert events == [("admitted", patient.id, ""), ("saved", patient.id, f"{examination.id} 1")]
    with path.open("a") as file:
        file.write("torn\n" + json.dumps({"event": "saved"}) + "\n")
    assert len(list(trail_events(path))) == 2
    assert list(trail_events(path.with_name("none"))) == []
