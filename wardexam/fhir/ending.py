"""What it was in the end, as an Observation: what doctors recorded, and no diagnosis of the tool's."""

from typing import Any

from wardexam.exam.outcome import Outcome
from wardexam.fhir.elements import Outgoing, code, component, components, named, when
from wardexam.fhir.naming import Resource, identified
from wardexam.fhir.stay import encounter, subject

TEXTS = ("image", "diagnosis", "why")
TITLES = {
    "imaged": "Imaged",
    "image": "The image showed",
    "positive": "It showed what needed action",
    "site": "Site",
    "side": "Side",
    "diagnosis": "Diagnosis",
    "why": "Recorded again since",
}


def outcome_id(patient: str) -> str:
    """The identifier of a patient's outcome."""
    return f"{patient}.outcome"


def outcome_resource(outcome: Outcome, out: Outgoing) -> Resource:
    """The outcome's Observation, in its last revision."""
    parts = [
        component(out, "outcome", name, valueString=said)
        for name in TEXTS
        if (said := getattr(outcome, name)).strip()
    ]
    if outcome.imaged:
        parts.append(component(out, "outcome", "imaged", valueDateTime=when(outcome.imaged)))
    if outcome.positive:
        showed = outcome.positive == "yes"
        parts.append(component(out, "outcome", "positive", valueBoolean=showed))
    for name in ("site", "side"):
        if said := getattr(outcome, name):
            value = out.concept(name, said)
            parts.append(component(out, "outcome", name, valueCodeableConcept=value))
    return {
        "resourceType": "Observation",
        "identifier": identified(outcome_id(outcome.patient)),
        "status": "final" if outcome.revision == 1 else "amended",
        "code": out.concept("paper", "outcome"),
        "subject": subject(outcome.patient),
        "encounter": encounter(outcome.patient),
        "effectiveDateTime": when(outcome.at),
        "performer": [out.who(outcome.by)],
        "component": parts,
    }


def outcome_text(outcome: Outcome) -> str:
    """The outcome in lines of text."""
    lines = [
        f"{title}: {said.isoformat() if name == 'imaged' else str(said).replace('_', ' ')}"
        for name, title in TITLES.items()
        if (said := getattr(outcome, name))
    ]
    return "\n".join([*lines, f"Recorded {outcome.at.isoformat()} by {outcome.by}"]) + "\n"


# --- and back


def read_outcome(resource: Resource, people: dict[str, str]) -> dict[str, Any]:
    """What an outcome's Observation says.

    Raises:
        ValueError, KeyError, TypeError, IndexError, AttributeError: It is not as we write it.
    """
    found: dict[str, Any] = {
        "by": named(resource["performer"][0], people),
        "at": resource["effectiveDateTime"],
    }
    for name, part in components(resource, "outcome"):
        if name in TEXTS:
            found[name] = part["valueString"]
        elif name == "imaged":
            found[name] = part["valueDateTime"]
        elif name == "positive":
            found[name] = "yes" if part["valueBoolean"] else "no"
        else:
            found[name] = code(part["valueCodeableConcept"], name)
    return found
