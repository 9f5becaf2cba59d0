"""An examination: an Observation that holds what was told, asked and stated, and names the Observations of its findings."""

from typing import Any

from wardexam.exam.examination import Context, Examination
from wardexam.fhir.elements import (
    Element,
    Outgoing,
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
from wardexam.fhir.naming import Resource, identified, reference
from wardexam.fhir.own_codes import SEPARATOR
from wardexam.fhir.stay import encounter, subject

UNTOLD = (None, "unknown")


def examination_id(examination: Examination) -> str:
    """The identifier of an examination, with which those of all that belongs to it begin."""
    return f"{examination.patient}.{examination.id}"


def examination_resource(examination: Examination, out: Outgoing, members: list[str]) -> Resource:
    """An examination's own Observation.

    Args:
        examination: The examination, in its last revision.
        out: What it is written with.
        members: The identifiers of its findings and statements.
    """
    value = examination_id(examination)
    hands = (examination.examiner, *examination.entered_by)
    return {
        "resourceType": "Observation",
        "identifier": identified(value),
        "status": "final" if examination.revision == 1 else "amended",
        "category": examined(),
        "code": out.concept("paper", "examination"),
        "subject": subject(examination.patient),
        "encounter": encounter(examination.patient),
        "effectiveDateTime": when(examination.at),
        **({"issued": when(examination.entered)} if examination.entered else {}),
        "performer": [out.who(name) for name in hands],
        **notes(examination.comment),
        **({"hasMember": [reference("Observation", m) for m in members]} if members else {}),
        "component": [*_told(examination.context, out), *_stated(examination, out)],
    }


def _told(context: Context, out: Outgoing) -> list[Element]:
    told = {k: v for k, v in context.model_dump().items() if v not in UNTOLD}
    return [
        component(out, "story", name, valueQuantity=quantity(value, "years"))
        if name == "age"
        else component(
            out, "story", name,
            valueCodeableConcept=out.concept("told", f"{name}{SEPARATOR}{value}"),
        )
        for name, value in told.items()
    ]  # fmt: skip


def _stated(examination: Examination, out: Outgoing) -> list[Element]:
    parts = [
        component(out, "story", "scale", valueCodeableConcept=out.concept("scale", examination.scale))
    ]  # fmt: skip
    parts += [
        component(out, "story", name, valueString=said)
        for name in ("impression", "suggestion")
        if (said := getattr(examination, name)).strip()
    ]
    return parts + [
        component(out, "flag", name, valueBoolean=answer == "yes")
        for name, answer in sorted(examination.flags.items())
    ]


# --- and back


def read_examination(resource: Resource, people: dict[str, str]) -> dict[str, Any]:
    """What an examination's own Observation says.

    Raises:
        ValueError, KeyError, TypeError, AttributeError: It is not as we write it.
    """
    examiner, *others = [named(who, people) for who in resource["performer"]]
    found: dict[str, Any] = {
        "examiner": examiner,
        "entered_by": others,
        "at": resource["effectiveDateTime"],
        "entered": resource.get("issued"),
        "comment": noted(resource),
    }
    context: dict[str, Any] = {}
    for name, part in components(resource, "story"):
        if name == "age":
            context[name] = whole(part["valueQuantity"])
        elif name == "scale":
            found[name] = code(part["valueCodeableConcept"], "scale")
        elif name in ("impression", "suggestion"):
            found[name] = part["valueString"]
        else:
            asked, _, answer = code(part["valueCodeableConcept"], "told").partition(SEPARATOR)
            if asked != name:
                raise ValueError(f"an answer to '{asked}' stands at '{name}'")
            context[name] = answer
    flags = {}
    for name, part in components(resource, "flag"):
        if type(part["valueBoolean"]) is not bool:
            raise ValueError(f"the answer to '{name}' is neither yes nor no")
        flags[name] = "yes" if part["valueBoolean"] else "no"
    return found | {"context": context, "flags": flags}
