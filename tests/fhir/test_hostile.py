"""What is no bundle of ours is refused in one line that says what, where and what to do, and nothing is written."""

import copy
import json
import re

import pytest

from tests.fhir.bundles import bundle_of, of_code, resources
from wardexam.commands.main import run
from wardexam.fhir import incoming
from wardexam.records.ward import open_ward


@pytest.fixture
def bundle(full):
    return bundle_of(full)


@pytest.fixture
def bring(empty, tmp_path, capsys):
    """Bring a text into an empty ward, first only to see; the line that is said when it is refused."""

    def brought(text):
        file = tmp_path / "bundle.json"
        file.write_bytes(text if isinstance(text, bytes) else text.encode())
        said = []
        for more in ([], ["--dry-run"]):
            before = (empty.folder / "audit.jsonl").exists()
            assert run(["import", "--db", str(empty.folder), str(file), *more]) == 2
            out, err = capsys.readouterr()
            assert out == ""
            assert err.count("\n") == 1
            assert err.startswith("wardexam: ")
            assert re.search(r"\((export it again|export each|give what|update) .*\)$", err)
            assert (empty.folder / "audit.jsonl").exists() == before
            said.append(err)
        ward = open_ward(empty.folder)
        assert ward.beds() == ward.beds(discharged=True) == ()
        assert list((empty.folder / "patients").iterdir()) == []
        assert said[0] == said[1]
        return said[0].removeprefix("wardexam: ").strip()

    return brought


def first(bundle, kind, start=""):
    """The first resource of a type, and of a code where one is named."""
    return (of_code(bundle, start, kind) if start else resources(bundle, kind))[0]


AGAIN = "(export it again with 'wardexam export --fhir')"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('{"resourceType": "Bundle", "entry": [', f"bundle line 1: not JSON: Expecting value {AGAIN}"),
        ('{"resourceType": "Bundle", "resourceType": "Bundle"}', f"bundle: not JSON: a key is given twice {AGAIN}"),
        ('{"resourceType": "Bundle", "entry": ' + "[" * 100_000, f"bundle: not JSON: nested too deeply {AGAIN}"),
        ('{"resourceType": "Bundle", "total": 1e999}', f"bundle: not JSON: a number is too large {AGAIN}"),
        ('{"resourceType": "Bundle", "total": NaN}', f"bundle: not JSON: NaN is no number {AGAIN}"),
        (b'{"resourceType": "Bundle\xff"}', "bundle: not JSON"),
        ('["resourceType"]', "line 1: neither an archive of wardexam nor a FHIR bundle"),
        ('{"resourceType": "Patient"}', "line 1: neither an archive of wardexam nor a FHIR bundle"),
        ('{"resourceType": "Bundle", "type": "searchset", "entry": []}', "this bundle was not written by wardexam, and no other is read"),
        ('{"resourceType": "Bundle", "meta": {"tag": 3}}', "bundle: is not as wardexam writes it"),
    ],
)  # fmt: skip
def test_what_is_no_bundle_of_ours_is_refused(bring, text, said):
    assert said in bring(text)


@pytest.mark.parametrize("layout", ["r5-1", "r4-2"])
def test_a_bundle_of_another_form_is_refused(bring, bundle, layout):
    bundle["meta"]["tag"][0]["code"] = layout
    assert bring(json.dumps(bundle)) == (
        f"bundle: a bundle of form '{layout}' is not known to this program, which reads 'r4-1' (update wardexam)"
    )


def change(path, value):
    """Set an element of a resource, or take it away."""

    def changed(resource):
        *steps, last = path
        for step in steps:
            resource = resource[step]
        if value is None:
            del resource[last]
        else:
            resource[last] = value

    return changed


@pytest.mark.parametrize(
    ("kind", "start", "how", "said"),
    [
        ("Encounter", "", change(["class"], [{"code": "IMP"}]), "class is no coding: it is of another version of FHIR than R4"),
        ("Encounter", "", change(["subject"], {"reference": "urn:uuid:nobody"}), "refers to 'urn:uuid:nobody', which is not in the bundle"),
        ("Patient", "", change(["identifier", 0, "system"], "urn:oid:1"), "has no identifier of wardexam"),
        ("Patient", "", change(["identifier", 0, "value"], "../../etc"), "id"),
        ("Patient", "", change(["birthDate"], "2030-01-01"), "birth after the admission"),
        ("Patient", "", change(["name", 0, "text"], "x" * 61), "name"),
        ("Patient", "", change(["meta", "versionId"], "a1"), "its version is no number"),
        ("Patient", "", change(["meta"], None), "has no 'meta'"),
        ("Patient", "", change(["modifierExtension"], [{"url": "urn:x"}]), "has 'modifierExtension', which wardexam does not understand"),
        ("Observation", "sign.pin_L4", change(["code", "coding", 0, "code"], "sign.no_such"), "unknown sign 'no_such'"),
        ("Observation", "sign.pin_L4", change(["code", "coding", 0, "system"], "http://loinc.org"), "none of wardexam's"),
        ("Observation", "sign.pin_L4", change(["bodySite", "coding", 0, "code"], "side.midline"), "is found on right or left"),
        ("Observation", "sign.pin_L4", change(["valueCodeableConcept", "coding", 0, "code"], "answer.sensation.9"), "cannot be '9'"),
        ("Observation", "sign.pin_L4", change(["valueCodeableConcept"], None), "has no 'valueCodeableConcept'"),
        ("Observation", "sign.pin_L4", change(["valueCodeableConcept"], "reduced"), "is not as wardexam writes it"),
        ("Observation", "sign.post_void", change(["component", 0, "valueQuantity", "value"], 350.5), "a whole number below 1000000 is needed"),
        ("Observation", "sign.post_void", change(["component", 0, "valueQuantity", "value"], 10**400), "a whole number below 1000000 is needed"),
        ("Observation", "paper.examination", change(["hasMember", 1], {"reference": "urn:uuid:gone"}), "refers to 'urn:uuid:gone'"),
        ("Observation", "paper.examination", change(["effectiveDateTime"], "yesterday"), "at"),
        ("Observation", "paper.examination", change(["performer"], []), "not"),
        ("Observation", "paper.outcome", change(["component"], []), "at least one thing"),
        ("Observation", "paper.injury", change(["code", "coding", 0, "code"], "paper.outcome"), "is not what its document says"),
        ("DocumentReference", "", change(["identifier", 0, "value"], "patient1.exam0001"), "its identifier names no revision"),
        ("DocumentReference", "", change(["status"], "current"), "documents of 'patient1.exam0001' are the last; one is"),
        ("DocumentReference", "", change(["content", 1, "attachment", "data"], "%%%"), "base64"),
        ("Task", "", change(["authoredOn"], None), "has no 'authoredOn'"),
        ("Task", "", change(["resourceType"], "Condition"), "a Condition is none of what wardexam writes"),
        ("Provenance", "", change(["target", 0], {"reference": "urn:uuid:gone"}), "refers to 'urn:uuid:gone'"),
        ("Practitioner", "", change(["name"], []), "is not as wardexam writes it"),
    ],
)  # fmt: skip
def test_an_entry_that_is_not_ours_is_refused_by_its_place(bring, bundle, kind, start, how, said):
    resource = first(bundle, kind, start)
    place = resources(bundle).index(resource) + 1
    how(resource)
    told = bring(json.dumps(bundle))
    assert said in told
    where = told.split(":")[0]
    assert where.startswith("bundle entry ")
    if kind not in ("Patient", "Encounter", "Observation", "DocumentReference"):
        assert where.startswith(f"bundle entry {place}")


@pytest.mark.parametrize(
    "what", ["Patient", "Encounter", "Practitioner", "DocumentReference", "head", "finding"]
)
def test_a_bundle_that_lacks_an_entry_is_refused(bring, bundle, what):
    gone = {"head": "paper.examination", "finding": "sign.pin_L4"}
    resource = first(bundle, "Observation", gone[what]) if what in gone else first(bundle, what)
    bundle["entry"] = [e for e in bundle["entry"] if e["resource"] is not resource]
    assert "bundle entry " in bring(json.dumps(bundle))


def test_an_entry_that_stands_twice_is_refused(bring, bundle):
    bundle["entry"].append(copy.deepcopy(bundle["entry"][5]))
    assert "stands twice in the bundle" in bring(json.dumps(bundle))


def test_a_finding_that_two_examinations_claim_is_refused(bring, full, examination):
    other = examination.model_copy(update={"id": "exam0002"})
    full.save(other, "x")
    bundle = bundle_of(full)
    one, two = of_code(bundle, "paper.examination")
    two["hasMember"][0] = one["hasMember"][0]
    assert "a finding belongs to no or to two examinations" in bring(json.dumps(bundle))


def test_control_characters_of_a_bundle_reach_no_terminal(bring, bundle):
    first(bundle, "Patient")["identifier"][0]["value"] = "x\x1b[2Jy\u202e"
    told = bring(json.dumps(bundle))
    assert "\x1b" not in told
    assert "\u202e" not in told


def test_a_bundle_beyond_bounds_is_refused(bring, bundle, monkeypatch):
    monkeypatch.setattr(incoming, "LONGEST", 1000)
    assert bring(json.dumps(bundle)) == (
        "bundle: longer than 1000 bytes (export each patient with --patient)"
    )


def test_a_text_of_any_length_is_held_to_the_record(bring, bundle):
    head = first(bundle, "Observation", "paper.examination")
    head["note"] = [{"text": "x" * 3_000_000}]
    assert "comment" in bring(json.dumps(bundle))


def test_what_a_server_adds_is_passed_over(full, empty, tmp_path, capsys):
    bundle = bundle_of(full)
    for resource in resources(bundle):
        resource["id"] = "7"
        resource["text"] = {"status": "generated", "div": "<div xmlns='http://www.w3.org/1999/xhtml'/>"}  # fmt: skip
        resource.setdefault("meta", {})["lastUpdated"] = "2026-03-02T08:00:00Z"
        resource["extension"] = [{"url": "urn:x", "valueString": "y"}]
    file = tmp_path / "bundle.json"
    file.write_text("\ufeff" + json.dumps(bundle, indent=2), encoding="utf-8")
    assert run(["import", "--db", str(empty.folder), str(file)]) == 0
    assert capsys.readouterr().out == (
        "2 patients, 2 examinations, 2 cord injury sheets and 2 outcomes added\n"
    )


def test_a_finding_that_somebody_took_back_is_not_brought_in(full, empty, tmp_path):
    bundle = bundle_of(full)
    first(bundle, "Observation", "sign.pin_L4")["status"] = "entered-in-error"
    file = tmp_path / "bundle.json"
    file.write_text(json.dumps(bundle))
    assert run(["import", "--db", str(empty.folder), str(file)]) == 0
    found = open_ward(empty.folder).examinations("patient1")[0].findings
    assert [f.sign for f in found] == ["ankle", "post_void_residual", "level_pin"]
