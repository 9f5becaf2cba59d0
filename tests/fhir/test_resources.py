"""What stands in a bundle, resource by resource, and what never does."""

import base64
from datetime import timedelta
from types import SimpleNamespace
from urllib.parse import unquote

import pytest

from tests.fhir.bundles import bundle_of, codes, every_text, of_code, read, resources, text_of
from tests.fhir.conftest import AT, LATER, SUGGESTED
from tests.fhir.validators import VALIDATORS, refused
from wardexam.errors import TableError
from wardexam.exam.examination import Patient
from wardexam.fhir import own_codes
from wardexam.fhir.bundle import Bundling
from wardexam.fhir.naming import RECORD, TRAIL
from wardexam.fhir.own_codes import code_system, words
from wardexam.fhir.standard_codes import read_hospital


@pytest.mark.parametrize("name", VALIDATORS)
@pytest.mark.parametrize("which", ["demo", "full"])
def test_every_resource_is_valid(name, which, request):
    bundle = bundle_of(request.getfixturevalue(which))
    said = [(r, found) for r in [bundle, *resources(bundle)] if (found := VALIDATORS[name](r))]
    assert said == []


OBSERVATION = {"resourceType": "Observation", "status": "final", "code": {"text": "knee"}}
AS_IN_R5 = {"resourceType": "Encounter", "status": "planned", "class": [{"code": "IMP"}]}
NO_STATUS = {"resourceType": "Observation", "code": {"text": "knee"}}


@pytest.mark.parametrize(
    ("broken", "by"),
    [
        (OBSERVATION | {"foo": 1}, {"models", "schema", "fhirkit"}),
        ({"resourceType": "Patient", "birthDate": "1961-2-3"}, {"models", "schema", "fhirkit"}),
        (OBSERVATION | {"status": "bogus"}, {"schema"}),
        (NO_STATUS, {"models", "fhirkit"}),
        (AS_IN_R5, {"models", "fhirkit"}),
    ],
)
def test_the_validators_refuse_what_is_wrong(broken, by):
    assert set(refused(broken)) == by
    assert refused(OBSERVATION) == {}


def test_the_code_system_is_valid_and_holds_every_code_once():
    made = code_system()
    assert refused(made) == {}
    found = [c["code"] for kind in made["concept"] for c in kind["concept"]]
    assert len(found) == len(set(found))
    assert set(found) == set(words())
    assert made["count"] == len(found) + len(made["concept"])


@pytest.mark.long
@pytest.mark.parametrize("which", ["demo", "full"])
def test_every_code_of_ours_is_in_the_code_system_in_the_same_words(which, request):
    seen = {}

    def look(found):
        if isinstance(found, dict):
            if found.get("system") == code_system()["url"]:
                seen[found["code"]] = found["display"]
            for value in found.values():
                look(value)
        elif isinstance(found, list):
            for value in found:
                look(value)

    look(bundle_of(request.getfixturevalue(which)))
    assert len(seen) > 40
    assert seen == {code: words()[code] for code in seen}


@pytest.mark.parametrize("which", ["demo", "full"])
def test_every_entry_is_put_by_its_identifier_and_every_reference_leads_to_one(which, request):
    bundle = bundle_of(request.getfixturevalue(which))
    urls = [e["fullUrl"] for e in bundle["entry"]]
    assert len(urls) == len(set(urls))
    for e in bundle["entry"]:
        resource = e["resource"]
        assert e["request"]["method"] == "PUT"
        kind, _, asked = e["request"]["url"].partition("?")
        assert kind == resource["resourceType"]
        name, _, sought = asked.partition("=")
        system, value = unquote(sought).split("|")
        if kind == "Provenance":
            assert name == "_tag"
            assert {"system": system, "code": value} in resource["meta"]["tag"]
        else:
            assert name == "identifier"
            assert {"system": system, "value": value} in resource["identifier"]
    sought = {e["request"]["url"] for e in bundle["entry"]}
    assert len(sought) == len(urls)
    references = []

    def look(found):
        if isinstance(found, dict):
            references.extend([found["reference"]] if "reference" in found else [])
            for value in found.values():
                look(value)
        elif isinstance(found, list):
            for value in found:
                look(value)

    look(bundle)
    assert len(references) > 50
    assert set(references) <= set(urls)


def test_the_same_ward_gives_the_same_bytes(full, demo):
    assert text_of(full) == text_of(full)
    assert text_of(demo, patients=["0n2yscjx8a31e7w6"]) == text_of(demo, patients=["0n2yscjx8a31e7w6"])  # fmt: skip
    before = text_of(full)
    full.record("exported", "ward", "Dr Ash")
    full.record("viewed", "patient1", "Dr Ash")
    assert text_of(full) == before


def test_a_patient_has_no_birth_date_that_is_not_kept(full, demo):
    one, other = resources(bundle_of(full), "Patient")
    assert one["birthDate"] == "1961-02-03"
    assert one["name"] == [{"text": "Ana Ïnvented"}]
    assert one["gender"] == "female"
    assert "birthDate" not in other
    assert other["gender"] == "unknown"
    kept = {p.id: p for p in (demo.patient(b.patient_id) for b in demo.beds())}
    for found in resources(bundle_of(demo), "Patient"):
        patient = kept.get(found["identifier"][0]["value"])
        if patient:
            assert found.get("birthDate") == (patient.born and patient.born.isoformat())


def test_the_hospitals_number_has_the_hospitals_system(full):
    number = resources(bundle_of(full), "Patient")[0]["identifier"][1]
    assert number["value"] == "H 12/3"
    assert "system" not in number
    hospital = read_hospital('number_system = "urn:oid:1.2.3"')
    number = resources(bundle_of(full, Bundling(hospital)), "Patient")[0]["identifier"][1]
    assert (number["system"], number["value"]) == ("urn:oid:1.2.3", "H 12/3")
    assert read(bundle_of(full, Bundling(hospital)))[0].patient.number == "H 12/3"


def test_the_stay_holds_bed_times_and_why(full):
    here, gone = resources(bundle_of(full), "Encounter")
    assert here["status"] == "in-progress"
    assert here["class"]["code"] == "IMP"
    assert here["period"] == {"start": AT.isoformat()}
    assert here["location"] == [{"location": {"display": "A1"}}]
    assert here["reasonCode"] == [{"text": "weak leg, since Monday"}]
    assert gone["status"] == "finished"
    assert gone["period"]["end"] == LATER.isoformat()


def test_an_age_and_a_schedule_that_do_not_stand_any_more_are_taken_back(full):
    (request,) = [r for r in resources(bundle_of(full), "ServiceRequest") if r["status"] == "active"]  # fmt: skip
    assert request["occurrenceTiming"]["repeat"] == {"frequency": 1, "period": 4, "periodUnit": "h"}
    assert request["intent"] == "plan"
    full.update(full.patient("patient1").model_copy(update={"age": None, "recheck_hours": None}), "x")  # fmt: skip
    bundle = bundle_of(full, patients=["patient1"])
    assert [r["status"] for r in resources(bundle, "ServiceRequest")] == ["revoked"]
    assert [r["status"] for r in of_code(bundle, "paper.age")] == ["entered-in-error"]
    back = read(bundle)[0].patient
    assert (back.age, back.recheck_hours, back.revision) == (None, None, 2)


def finding(bundle, sign, status="amended"):
    (found,) = [o for o in of_code(bundle, f"sign.{sign}") if o["status"] == status]
    return found


def test_a_finding_has_its_sign_side_and_modality(full):
    pin = finding(bundle_of(full), "pin_L4")
    assert codes(pin["bodySite"]) == ["side.right"]
    assert codes(pin["method"]) == ["modality.pin"]
    assert codes(pin["valueCodeableConcept"]) == ["answer.sensation.reduced"]
    assert pin["effectiveDateTime"] == AT.isoformat()
    (known,) = pin["component"]
    assert (codes(known["code"]), known["valueString"]) == (["finding.known"], "letter of 2024")
    residual = finding(bundle_of(full), "post_void_residual")
    (amount,) = residual["component"]
    assert amount["valueQuantity"] == {
        "value": 350, "unit": "mL", "system": "http://unitsofmeasure.org", "code": "mL",
    }  # fmt: skip
    assert codes(finding(bundle_of(full), "level_pin")["valueCodeableConcept"]) == ["segment.T4"]
    knee = finding(bundle_of(full), "knee", "entered-in-error")
    assert codes(knee["valueCodeableConcept"]) == ["grade.ninds.1"]
    assert codes(knee["component"][0]["valueCodeableConcept"]) == ["quality.reinforced"]
    assert knee["note"] == [{"text": "after a rest"}]


def test_not_testable_is_why_there_is_no_value(full):
    ankle = finding(bundle_of(full), "ankle")
    assert "valueCodeableConcept" not in ankle
    assert codes(ankle["dataAbsentReason"]) == ["not_testable.cast"]
    assert [c["code"] for c in ankle["dataAbsentReason"]["coding"]][1:] == ["not-performed"]
    for observation in resources(bundle_of(full), "Observation"):
        values = [n for n in observation if n.startswith("value")]
        assert not (values and "dataAbsentReason" in observation)


def test_blank_is_never_sent(demo):
    bundle = bundle_of(demo)
    every = [b.patient_id for d in (False, True) for b in demo.beds(discharged=d)]
    examined = [e for p in every for e in demo.examinations(p)]
    sent = [
        (codes(o["code"])[0].removeprefix("sign."), codes(o["bodySite"])[0].removeprefix("side."))
        for o in of_code(bundle, "sign.")
    ]
    assert len(sent) > 300
    assert sorted(sent) == sorted(f.key for e in examined for f in e.findings)
    assert of_code(bundle, "part.") == []  # no statement was made in the demo ward
    assert not [e for e in examined if e.rest_normal]


def test_a_statement_is_never_written_out_as_findings(full):
    (standing, gone) = sorted(of_code(bundle_of(full), "part."), key=lambda o: o["status"])
    assert (standing["status"], gone["status"]) == ("amended", "entered-in-error")
    assert codes(standing["code"]) == ["part.power"]
    assert codes(standing["valueCodeableConcept"]) == ["rest.normal"]
    assert standing["performer"] == [{"display": "not named"}]
    power = [o for o in of_code(bundle_of(full), "sign.") if "flexion" in codes(o["code"])[0]]
    assert power == []


def test_no_suggestion_of_the_tool_is_in_any_resource_until_it_is_accepted(full, patient):
    bundle = bundle_of(full)
    assert resources(bundle, "Condition") == []
    texts = list(every_text(bundle))
    for said in SUGGESTED:
        assert not [t for t in texts if said in t]
    assert of_code(bundle, "paper.examination")
    parts = [codes(c["code"])[0] for c in of_code(bundle, "paper.examination")[0]["component"]]
    assert "story.suggestion" not in parts
    last = full.examinations("patient1")[0]
    accepted = last.model_copy(update={"suggestion": "left L5 root"})
    full.amend(accepted, "Dr Ash", "accepted", LATER + timedelta(hours=1))
    bundle = bundle_of(full)
    (told,) = [
        c
        for c in of_code(bundle, "paper.examination")[0]["component"]
        if codes(c["code"]) == ["story.suggestion"]
    ]
    assert told["valueString"] == "left L5 root"
    assert told["code"]["text"] == "tool's suggestion as the doctor accepted it"
    assert resources(bundle, "Condition") == []
    assert [r for r in resources(bundle) if "left L5 root" in every_text(r)] == of_code(bundle, "paper.examination")  # fmt: skip


def test_what_the_tool_said_is_told_to_be_left_out(full):
    bundling = Bundling()
    text_of(full, bundling)
    assert bundling.left_out["reading"] == bundling.left_out["raised"] == 2
    assert bundling.said == (
        "2 readings of the tool's, 2 sets of urgency reasons kept with an examination, 1 line of the trail that wrote nothing"
    )


def attached(document):
    return [base64.b64decode(c["attachment"]["data"]).decode() for c in document["content"]]


def test_a_revision_replaces_the_one_before_and_says_by_whom_and_why(full):
    bundle = bundle_of(full, patients=["patient1"])
    documents = resources(bundle, "DocumentReference")
    first, second = [d for d in documents if codes(d["type"]) == ["paper.note"]]
    assert (first["status"], first["docStatus"]) == ("superseded", "final")
    assert (second["status"], second["docStatus"]) == ("current", "amended")
    (related,) = second["relatesTo"]
    assert related["code"] == "replaces"
    urls = {e["fullUrl"]: e["resource"] for e in bundle["entry"]}
    assert urls[related["target"]["reference"]] == first
    assert second["description"] == "the other knee"
    assert second["date"] == LATER.isoformat()
    assert urls[second["authenticator"]["reference"]]["name"] == [{"text": "Dr Bell"}]
    assert [urls[a["reference"]]["name"][0]["text"] for a in second["author"]] == ["Dr Ash", "Dr Cole"]  # fmt: skip
    assert "NEUROLOGICAL EXAMINATION 2026-03-02 08:00" in attached(second)[0]
    assert "Revision 2, amended" in attached(second)[0]
    assert len(attached(second)) == 1
    amended = [p for p in resources(bundle, "Provenance") if p["meta"]["tag"][0]["code"].endswith(".r2.amended")]  # fmt: skip
    assert [p["reason"][0]["text"] for p in amended] == ["the other knee", "again"]
    assert urls[amended[0]["target"][0]["reference"]] == second


def test_what_an_amendment_took_away_is_taken_back(full):
    bundle = bundle_of(full, patients=["patient1"])
    gone = [r for r in resources(bundle) if r.get("status") == "entered-in-error"]
    assert sorted(r["resourceType"] for r in gone) == ["Observation", "Observation", "Task"]
    (head,) = of_code(bundle, "paper.examination")
    named = {m["reference"] for m in head["hasMember"]}
    urls = {e["fullUrl"]: e["resource"] for e in bundle["entry"]}
    assert not [r for r in gone if r in [urls[u] for u in named]]
    assert len(named) == 5


def test_a_task_says_what_was_done_and_asks_for_nothing(full):
    standing, gone = sorted(resources(bundle_of(full), "Task"), key=lambda t: t["status"] == "entered-in-error")  # fmt: skip
    assert codes(standing["code"]) == ["act.not_needed"]
    assert (standing["status"], standing["statusReason"]["text"]) == ("rejected", "known since 2019")  # fmt: skip
    assert codes(standing["reasonCode"]) == ["reason.cauda_equina"]
    assert [i["valueString"] for i in standing["input"]] == ["knee right: 1"]
    assert codes(gone["code"]) == ["act.asked"]
    assert gone["description"] == "MRI lumbosacral"
    for task in resources(bundle_of(full), "Task"):
        assert task["status"] in ("completed", "rejected", "entered-in-error")  # none is to be done
        assert task["focus"]["reference"]


def test_the_trail_tells_who_wrote_what_under_which_login(full):
    bundle = bundle_of(full, patients=["patient1"])
    lines = list(full.trail("patient1"))
    told = [
        p for p in resources(bundle, "Provenance") if not p["meta"]["tag"][0]["code"].endswith(".amended")
    ]  # fmt: skip
    assert [p["meta"]["tag"][0] for p in told] == [
        {"system": TRAIL, "code": line.hash} for line in lines if line.event != "viewed"
    ]
    assert [codes(p["activity"])[0] for p in told] == [
        "event.admitted", "event.saved", "event.amended", "event.saved", "event.amended", "event.concluded", "event.concluded",
    ]  # fmt: skip
    urls = {e["fullUrl"]: e["resource"] for e in bundle["entry"]}
    spoken_of = [urls[p["target"][0]["reference"]]["identifier"][0]["value"] for p in told]
    assert spoken_of == [
        "patient1", "patient1.exam0001.r1", "patient1.exam0001.r2", "patient1.sheet0001.r1", "patient1.sheet0001.r2",
        "patient1.outcome.r1", "patient1.outcome.r2",
    ]  # fmt: skip
    assert told[1]["agent"][1]["who"]["identifier"]["value"] == lines[1].login
    assert urls[told[1]["agent"][0]["who"]["reference"]]["name"] == [{"text": "Dr Bell"}]
    assert told[1]["recorded"] == lines[1].at


def test_a_sheet_has_its_scores_and_no_classification(full):
    bundle = bundle_of(full)
    (sheet,) = of_code(bundle, "paper.injury")
    parts = {codes(c["code"])[0]: c for c in sheet["component"]}
    assert codes(parts["scored.light_touch.right.C3"]["valueCodeableConcept"]) == ["score.1"]
    assert codes(parts["scored.light_touch.left.C2"]["dataAbsentReason"]) == ["score.NT"]
    assert codes(parts["scored.motor.right.L2"]["interpretation"][0]) == ["injury.counts_normal"]
    assert parts["scored.motor.right.L2"]["interpretation"][0]["text"] == "fracture"
    assert parts["injury.anal_contraction"]["valueBoolean"] is False
    assert codes(parts["injury.anal_pressure"]["dataAbsentReason"]) == ["score.NT"]
    assert len([name for name in parts if name.startswith("scored.")]) == 4
    typed = [attached(d)[0] for d in resources(bundle, "DocumentReference") if codes(d["type"]) == ["paper.injury"]]  # fmt: skip
    assert all(t.startswith("right light touch: ") for t in typed)
    assert not [t for t in typed if "level" in t.lower() or "impairment" in t.lower()]


def test_an_outcome_is_what_doctors_recorded(full):
    (found,) = of_code(bundle_of(full), "paper.outcome")
    parts = {codes(c["code"])[0]: c for c in found["component"]}
    assert parts["outcome.diagnosis"]["valueString"] == "disc"
    assert parts["outcome.positive"]["valueBoolean"] is True
    assert parts["outcome.imaged"]["valueDateTime"] == AT.isoformat()
    assert codes(parts["outcome.site"]["valueCodeableConcept"]) == ["site.cauda"]
    assert found["status"] == "amended"


def test_somebody_named_is_one_practitioner(full):
    bundle = bundle_of(full)
    names = [p["name"][0]["text"] for p in resources(bundle, "Practitioner")]
    assert sorted(names) == ["Dr Ash", "Dr Bell", "Dr Cole", "Dr Ray"]


def test_two_patients_with_an_examination_of_the_same_name_are_told_apart(full, examination):
    other = Patient(id="patient3", bed="A3", name="Cy Invented", admitted=AT)
    full.admit(other, "x")
    full.save(examination.model_copy(update={"patient": "patient3"}), "x")
    back = {a.patient.id: a for a in read(text_of(full))}
    assert len(back["patient3"].examinations[0].findings) == 5
    assert len(back["patient1"].examinations[1].findings) == 4
    assert RECORD not in (i["value"] for p in resources(bundle_of(full), "Patient") for i in p["identifier"])  # fmt: skip


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("SIDE_WORDS", {"right": "right", "left": "left"}, "code system, side: no words for 'both', 'midline'"),
        ("story", lambda: (SimpleNamespace(field="tide", name="tide", answers=()),), "code system, story: no field of an examination: 'tide'"),
    ],
)  # fmt: skip
def test_a_code_without_its_words_or_its_field_is_refused_by_name(monkeypatch, name, value, said):
    monkeypatch.setattr(own_codes, name, value)
    with pytest.raises(TableError) as refused:
        code_system()
    assert str(refused.value).startswith(said)
