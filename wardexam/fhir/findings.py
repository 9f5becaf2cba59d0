"""One Observation for each finding, and one for each statement that the rest of a part was normal.

A sign that was not examined has none. A statement stays a statement: it is never written out as findings.
"""

from collections.abc import Iterator
from typing import Any

from wardexam.exam.answers import answer_sets
from wardexam.exam.examination import Examination
from wardexam.exam.findings import Finding, RestNormal
from wardexam.fhir.elements import (
    Element,
    Numbered,
    Outgoing,
    absent,
    code,
    component,
    components,
    examined,
    named,
    noted,
    notes,
    quantity,
    when,
    whole,
)
from wardexam.fhir.naming import Resource, identified
from wardexam.fhir.own_codes import SEPARATOR
from wardexam.fhir.stay import encounter, subject

Made = tuple[str, Resource]  # a resource with its identifier


def member_resources(examination: Examination, out: Outgoing, base: str) -> Iterator[Made]:
    """The Observations of an examination, each with its identifier, which begins with `base`."""
    for finding in examination.findings:
        value = f"{base}.{finding.sign}.{finding.side}"
        yield value, _head(examination, out, value) | _finding(finding, out)
    numbered = Numbered()
    for stated in examination.rest_normal:
        value = numbered(f"{base}.rest.{stated.part}.{stated.limb.replace(' ', '_')}")
        yield value, _head(examination, out, value) | _statement(stated, examination, out)


def _head(examination: Examination, out: Outgoing, value: str) -> Resource:
    return {
        "resourceType": "Observation",
        "identifier": identified(value),
        "status": "final" if examination.revision == 1 else "amended",
        "category": examined(),
        "subject": subject(examination.patient),
        "encounter": encounter(examination.patient),
        "effectiveDateTime": when(examination.at),
        "performer": [out.who(examination.examiner)],
    }


def _finding(finding: Finding, out: Outgoing) -> Resource:
    parts = [
        component(out, "finding", "quality", valueCodeableConcept=out.concept("quality", q))
        for q in finding.qualities
    ]
    if finding.amount is not None:
        unit = _unit(finding)
        parts.append(
            component(out, "finding", "amount", valueQuantity=quantity(finding.amount, unit))
        )
    if finding.known.strip():
        parts.append(component(out, "finding", "known", valueString=finding.known))
    modality = finding.row.modality
    return {
        "code": out.concept("sign", finding.sign),
        "bodySite": out.concept("side", finding.side),
        **({"method": out.concept("modality", modality)} if modality else {}),
        **_value(finding, out),
        **notes(finding.comment),
        **({"component": parts} if parts else {}),
    }


def _unit(finding: Finding) -> str:
    number = answer_sets()[finding.row.answers].amount
    assert number is not None  # else the finding would not have one
    return number.unit


def _value(finding: Finding, out: Outgoing) -> Element:
    if finding.answer is None:
        return {"dataAbsentReason": absent(out, "not_testable", finding.not_testable or "other")}
    return {"valueCodeableConcept": _answer(finding, finding.answer, out)}


def _answer(finding: Finding, answer: str, out: Outgoing) -> Element:
    if finding.scale is not None:
        return out.concept("grade", f"{finding.scale}{SEPARATOR}{answer}")
    if finding.choice is None:
        return out.concept("segment", answer)
    return out.concept("answer", f"{finding.row.answers}{SEPARATOR}{answer}")


def _statement(stated: RestNormal, examination: Examination, out: Outgoing) -> Resource:
    limb = component(
        out, "finding", "limb", valueCodeableConcept=out.concept("limb", stated.limb.replace(" ", "_"))
    )  # fmt: skip
    return {
        "code": out.concept("part", stated.part),
        "valueCodeableConcept": out.concept("rest", "normal"),
        "component": [limb],
        "performer": [out.who(stated.by)],
        # A time of its own stands twice, so that it is told from the examination's, which may be the same.
        "effectiveDateTime": when(stated.at or examination.at),
        **({"issued": when(stated.at)} if stated.at else {}),
    }


# --- and back


def read_members(
    resources: list[Resource], people: dict[str, str]
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """The findings and the statements that Observations hold; one that was taken back is left out.

    Raises:
        ValueError, KeyError, TypeError, IndexError, AttributeError: One is not as we write it.
    """
    findings, stated = [], []
    for resource in resources:
        if resource["status"] == "entered-in-error":
            continue
        if code_kind(resource) == "part":
            stated.append(_read_statement(resource, people))
        else:
            findings.append(_read_finding(resource))
    return findings, stated


def code_kind(resource: Resource) -> str:
    """Of which kind our code of a resource is."""
    for kind in ("sign", "part", "paper"):
        try:
            code(resource["code"], kind)
        except ValueError:
            continue
        return kind
    raise ValueError("its code is none of wardexam's for an Observation")


def _read_finding(resource: Resource) -> dict[str, Any]:
    found: dict[str, Any] = {
        "sign": code(resource["code"], "sign"),
        "side": code(resource["bodySite"], "side"),
        "qualities": [],
        "comment": noted(resource),
    }
    for name, part in components(resource, "finding"):
        if name == "quality":
            found["qualities"].append(code(part["valueCodeableConcept"], "quality"))
        elif name == "amount":
            found["amount"] = whole(part["valueQuantity"])
        elif name == "known":
            found["known"] = part["valueString"]
    if "dataAbsentReason" in resource:
        found["not_testable"] = code(resource["dataAbsentReason"], "not_testable")
    else:
        found |= _read_answer(resource["valueCodeableConcept"])
    return found


def _read_answer(concept: Element) -> dict[str, Any]:
    for kind in ("answer", "grade"):
        try:
            first, _, answer = code(concept, kind).partition(SEPARATOR)
        except ValueError:
            continue
        return {"answer": answer} | ({"scale": first} if kind == "grade" else {})
    return {"answer": code(concept, "segment")}


def _read_statement(resource: Resource, people: dict[str, str]) -> dict[str, Any]:
    code(resource["valueCodeableConcept"], "rest")
    limbs = [part for name, part in components(resource, "finding") if name == "limb"]
    return {
        "part": code(resource["code"], "part"),
        "limb": code(limbs[0]["valueCodeableConcept"], "limb").replace("_", " "),
        "by": named(resource["performer"][0], people),
        "at": resource.get("issued"),
    }
