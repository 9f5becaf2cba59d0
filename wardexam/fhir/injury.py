"""A cord injury sheet: an Observation with a component for each score. Its classification is the tool's and is not sent."""

from typing import Any, cast

from wardexam.fhir.elements import (
    Element,
    Outgoing,
    absent,
    code,
    component,
    components,
    examined,
    named,
    noted,
    notes,
    when,
)
from wardexam.fhir.naming import Resource, identified
from wardexam.fhir.own_codes import SEPARATOR
from wardexam.fhir.stay import encounter, subject
from wardexam.injury.kept import KeptSheet
from wardexam.injury.sheet import ANAL_WORDS, NOT_TESTABLE, SIDES, TESTS, InjurySheet, Test, places

REASON = "score"  # a score of not testable gives its code where the reason stands


def sheet_id(kept: KeptSheet) -> str:
    """The identifier of a sheet."""
    return f"{kept.patient}.{kept.id}"


def sheet_resource(kept: KeptSheet, out: Outgoing) -> Resource:
    """A sheet's Observation, in its last revision."""
    return {
        "resourceType": "Observation",
        "identifier": identified(sheet_id(kept)),
        "status": "final" if kept.revision == 1 else "amended",
        "category": examined(),
        "code": out.concept("paper", "injury"),
        "subject": subject(kept.patient),
        "encounter": encounter(kept.patient),
        "effectiveDateTime": when(kept.at),
        "performer": [out.who(kept.examiner)],
        **notes(kept.sheet.comment),
        **_components(kept.sheet, out),
    }


def _components(sheet: InjurySheet, out: Outgoing) -> Element:
    parts = [component(out, "injury", "id", valueString=sheet.id)] if sheet.id.strip() else []
    parts += [
        component(out, "injury", name, **_sign(answer, out))
        for name in ANAL_WORDS
        if (answer := getattr(sheet, name))
    ]
    for side in SIDES:
        if moved := getattr(sheet.movements, side):
            value = out.concept("moved", moved)
            parts.append(component(out, "injury", f"movement_{side}", valueCodeableConcept=value))
    if sheet.earlier_deficit:
        earlier = sheet.earlier_deficit == "yes"
        parts.append(component(out, "injury", "earlier_deficit", valueBoolean=earlier))
    for test in TESTS:
        for side in SIDES:
            given = getattr(getattr(sheet, test), side)
            parts += [
                _score(sheet, (test, side, place), given[place], out)
                for place in places(test)
                if place in given
            ]
    return {"component": parts} if parts else {}


def _sign(answer: str, out: Outgoing) -> Element:
    if answer == NOT_TESTABLE:
        return {"dataAbsentReason": absent(out, REASON, NOT_TESTABLE)}
    return {"valueBoolean": answer == "yes"}


def _score(sheet: InjurySheet, where: tuple[Test, Any, str], score: str, out: Outgoing) -> Element:
    if score.startswith(NOT_TESTABLE):
        value = {"dataAbsentReason": absent(out, REASON, score)}
    else:
        value = {"valueCodeableConcept": out.concept("score", score)}
    rated = [
        out.concept("injury", f"counts_{r.counts}", r.why if r.why.strip() else "")
        for r in sheet.rated
        if r.place == where
    ]
    return component(
        out, "scored", SEPARATOR.join(where), **value, **({"interpretation": rated} if rated else {})
    )  # fmt: skip


# --- and back


def read_sheet(resource: Resource, people: dict[str, str]) -> dict[str, Any]:
    """What a sheet's Observation says.

    Raises:
        ValueError, KeyError, TypeError, IndexError, AttributeError: It is not as we write it.
    """
    sheet: dict[str, Any] = {"comment": noted(resource), "movements": {}, "rated": []}
    sheet |= {test: {side: {} for side in SIDES} for test in TESTS}
    for name, part in components(resource, "injury"):
        if name == "id":
            sheet["id"] = part["valueString"]
        elif name.startswith("movement_"):
            side = name.removeprefix("movement_")
            sheet["movements"][side] = code(part["valueCodeableConcept"], "moved")
        elif name in (*ANAL_WORDS, "earlier_deficit"):
            sheet[name] = _read_sign(part)
    for name, part in components(resource, "scored"):
        test, side, place = name.split(SEPARATOR)
        value = part.get("valueCodeableConcept") or part["dataAbsentReason"]
        sheet[test][side][place] = code(value, "score")
        sheet["rated"] += [
            _read_rating(cast("Test", test), side, place, found)
            for found in part.get("interpretation", ())
        ]
    return {
        "examiner": named(resource["performer"][0], people),
        "at": resource["effectiveDateTime"],
        "sheet": sheet,
    }


def _read_sign(part: Element) -> str:
    if "dataAbsentReason" in part:
        return code(part["dataAbsentReason"], REASON)
    return "yes" if part["valueBoolean"] else "no"


def _read_rating(test: Test, side: str, place: str, found: Element) -> dict[str, str]:
    counts = code(found, "injury").removeprefix("counts_")
    words = found["coding"][0].get("display", "")
    why = "" if found.get("text", words) == words else found["text"]
    return {"side": side, "test": test, "segment": place, "counts": counts, "why": why}
