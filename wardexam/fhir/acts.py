"""What was done about a reason of urgency, as a Task each: who was called, which image was asked for or done, why not.

A Task tells what happened and asks nobody for anything: an image that was asked for was asked for in the hospital's
own way, and a bundle that is sent must not ask for it again.
"""

from collections.abc import Iterator
from typing import Any
from uuid import uuid5

from wardexam.exam.acts import Act
from wardexam.exam.examination import Examination
from wardexam.fhir.elements import Element, Numbered, Outgoing, code, named, text, when
from wardexam.fhir.findings import Made
from wardexam.fhir.naming import SPACE, Resource, identified, reference
from wardexam.fhir.stay import encounter, subject


def act_resources(examination: Examination, out: Outgoing, base: str) -> Iterator[Made]:
    """The Tasks of an examination, each with its identifier, which begins with `base`."""
    numbered = Numbered()
    for act in examination.acts:
        value = numbered(f"{base}.act.{uuid5(SPACE, '|'.join(act.same)).hex}")
        yield value, _act(act, examination, out, value, base)


def _act(act: Act, examination: Examination, out: Outgoing, value: str, base: str) -> Resource:
    needed = act.kind != "not_needed"
    over: list[Element] = [
        {"type": out.concept("about", "over"), "valueString": said}
        for said in act.on or ()
        if said.strip()
    ]
    if act.on is not None and not over:
        over = [{"type": out.concept("about", "over_nothing"), "valueBoolean": True}]
    ended = [{"type": out.concept("about", "ended"), "valueString": act.ended}]
    return {
        "resourceType": "Task",
        "identifier": identified(value),
        "status": "completed" if needed else "rejected",
        **({} if needed or not act.what.strip() else {"statusReason": {"text": act.what}}),
        "intent": "order",
        "code": out.concept("act", act.kind),
        **text("description", act.what),
        "focus": reference("Observation", base),
        "for": subject(examination.patient),
        "encounter": encounter(examination.patient),
        "authoredOn": when(act.at),
        "requester": out.who(act.by),
        "reasonCode": out.concept("reason", act.rule),
        **({"input": over} if over else {}),
        **({"output": ended} if act.ended.strip() else {}),
    }


# --- and back


def read_act(resource: Resource, people: dict[str, str]) -> dict[str, Any]:
    """What was done, from its Task.

    Raises:
        ValueError, KeyError, TypeError, AttributeError: It is not as we write it.
    """
    over = [(code(i["type"], "about"), i) for i in resource.get("input", ())]
    ended = [o["valueString"] for o in resource.get("output", ()) if code(o["type"], "about") == "ended"]  # fmt: skip
    return {
        "rule": code(resource["reasonCode"], "reason"),
        "kind": code(resource["code"], "act"),
        "what": resource.get("description", ""),
        "by": named(resource["requester"], people),
        "at": resource["authoredOn"],
        "on": [i["valueString"] for name, i in over if name == "over"] if over else None,
        "ended": ended[0] if ended else "",
    }
