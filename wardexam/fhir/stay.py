"""Who the patient is and the stay: Patient, Encounter, the age where no birth date is kept, the schedule."""

import re
from collections.abc import Iterator
from typing import Any

from wardexam.exam.examination import Patient
from wardexam.fhir.elements import Outgoing, code, quantity, when, whole
from wardexam.fhir.naming import Resource, entry, identified, own, reference

ACT_CODE = "http://terminology.hl7.org/CodeSystem/v3-ActCode"
IDENTIFIER_TYPE = "http://terminology.hl7.org/CodeSystem/v2-0203"
NUMBER = "MR"  # medical record number
# Before R5 an Encounter's class is one coding.
INPATIENT = {"system": ACT_CODE, "code": "IMP", "display": "inpatient encounter"}


def stay_id(patient: str) -> str:
    """The identifier of a patient's stay."""
    return f"{patient}.stay"


def subject(patient: str) -> dict[str, Any]:
    """Whose a resource is."""
    return reference("Patient", patient)


def encounter(patient: str) -> dict[str, Any]:
    """In which stay."""
    return reference("Encounter", stay_id(patient))


def patient_entries(patient: Patient, out: Outgoing) -> Iterator[Resource]:
    """The entries of a patient's details."""
    yield entry(_patient(patient, out), patient.id)
    yield entry(_stay(patient), stay_id(patient.id))
    if patient.age is not None or patient.revision > 1:
        value = f"{patient.id}.age"
        yield entry(_age(patient, out, value), value)
    if patient.recheck_hours is not None or patient.revision > 1:
        value = f"{patient.id}.recheck"
        yield entry(_recheck(patient, out, value), value)


def _patient(patient: Patient, out: Outgoing) -> Resource:
    identifiers: list[dict[str, Any]] = list(identified(patient.id))
    if patient.number.strip():
        system = out.hospital.number_system
        identifiers.append({
            "type": {"coding": [
                {"system": IDENTIFIER_TYPE, "code": NUMBER, "display": "Medical record number"}
            ]},
            **({"system": system} if system else {}),
            "value": patient.number,
        })  # fmt: skip
    return {
        "resourceType": "Patient",
        "meta": {"versionId": str(patient.revision)},
        "identifier": identifiers,
        "name": [{"text": patient.name}],
        "gender": patient.sex,
        **({"birthDate": patient.born.isoformat()} if patient.born else {}),
    }


def _stay(patient: Patient) -> Resource:
    period = {"start": when(patient.admitted)}
    if patient.discharged:
        period["end"] = when(patient.discharged)
    return {
        "resourceType": "Encounter",
        "identifier": identified(stay_id(patient.id)),
        "status": "finished" if patient.discharged else "in-progress",
        "class": INPATIENT,
        "subject": subject(patient.id),
        "period": period,
        **({"reasonCode": [{"text": patient.remark}]} if patient.remark.strip() else {}),
        "location": [{"location": {"display": patient.bed}}],
    }


def _age(patient: Patient, out: Outgoing, value: str) -> Resource:
    """The age as told; taken back where one may have been sent that is not known any more."""
    known = patient.age is not None
    return {
        "resourceType": "Observation",
        "identifier": identified(value),
        "status": "final" if known else "entered-in-error",
        "code": out.concept("paper", "age"),
        "subject": subject(patient.id),
        "encounter": encounter(patient.id),
        **({"valueQuantity": quantity(patient.age, "years")} if patient.age is not None else {}),
    }


def _recheck(patient: Patient, out: Outgoing, value: str) -> Resource:
    """The schedule of re-examination; taken back where one may have been sent that does not stand any more."""
    hours = patient.recheck_hours
    status = "revoked" if hours is None else "completed" if patient.discharged else "active"
    every = {"repeat": {"frequency": 1, "period": hours, "periodUnit": "h"}}
    return {
        "resourceType": "ServiceRequest",
        "identifier": identified(value),
        "status": status,
        "intent": "plan",
        "code": out.concept("paper", "recheck"),
        "subject": subject(patient.id),
        "encounter": encounter(patient.id),
        **({"occurrenceTiming": every} if hours is not None else {}),
    }


# --- and back


def read_patient(resource: Resource, beside: list[Resource]) -> Patient:
    """A patient's details from the Patient and the other resources of the details.

    Raises:
        ValueError, KeyError, TypeError, IndexError, AttributeError: They are not as we write them.
    """
    found: dict[str, Any] = {
        "id": own(resource),
        "revision": _version(resource),
        "name": resource["name"][0]["text"],
        "sex": resource.get("gender", "unknown"),
        "number": _number(resource),
        "born": resource.get("birthDate"),
    }
    stays = 0
    for other in beside:
        kind = other["resourceType"]
        if kind == "Encounter":
            stays += 1
            found |= _read_stay(other)
        elif kind == "ServiceRequest":
            code(other["code"], "paper")
            if "occurrenceTiming" in other and other["status"] != "revoked":
                repeat = other["occurrenceTiming"]["repeat"]
                if (repeat["frequency"], repeat["periodUnit"]) != (1, "h"):
                    raise ValueError("a schedule is one examination every so many hours")
                found["recheck_hours"] = whole({"value": repeat["period"]})
        elif other["status"] != "entered-in-error":
            found["age"] = whole(other["valueQuantity"])
    if stays != 1:
        raise ValueError(f"has {stays} Encounters; one is needed")
    return Patient.model_validate(found)


def _version(resource: Resource) -> int:
    version = resource["meta"]["versionId"]
    if not re.fullmatch("[1-9][0-9]{0,8}", version):
        raise ValueError("its version is no number")
    return int(version)


def _number(resource: Resource) -> str:
    for found in resource["identifier"]:
        for coding in found.get("type", {}).get("coding", ()):
            if (coding.get("system"), coding.get("code")) == (IDENTIFIER_TYPE, NUMBER):
                return str(found["value"])
    return ""


def _read_stay(resource: Resource) -> dict[str, Any]:
    if not isinstance(resource["class"], dict):
        raise ValueError("class is no coding: it is of another version of FHIR than R4")
    reasons = resource.get("reasonCode", [])
    return {
        "bed": resource["location"][0]["location"]["display"],
        "admitted": resource["period"]["start"],
        "discharged": resource["period"].get("end"),
        "remark": reasons[0]["text"] if reasons else "",
    }
