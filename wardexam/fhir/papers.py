"""A DocumentReference for each revision of an examination, a cord injury sheet or an outcome, with its text.

Only what stands now is sent as Observations: a finding that was amended must not stand beside the one in its place.
An earlier revision is a document that the later one replaces; all that it held is in it as JSON, beside its text.
"""

import base64
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from wardexam.exam.examination import Amendment
from wardexam.fhir.elements import Element, Outgoing, code, named, text, when
from wardexam.fhir.findings import Made
from wardexam.fhir.naming import TRAIL, Resource, identified, own, reference
from wardexam.fhir.stay import encounter, subject
from wardexam.records.stored_record import strict_loads

ERROR = "entered-in-error"  # a code of R4 for the status of Observation, Task and DocumentReference
TEXT, DOCUMENT = "text/plain;charset=UTF-8", "application/json"
_REVISION = re.compile(r"(.+)\.r([1-9][0-9]{0,8})")


@dataclass(frozen=True, slots=True)
class Paper:
    """One revision of something that is kept with all its revisions.

    Attributes:
        kind: What it is: ``note``, ``injury`` or ``outcome``.
        base: The identifier of what it is a revision of.
        patient: Whose it is.
        revision: Its number.
        last: Whether it is the last one.
        at: When it was found, scored or recorded.
        hands: Who made it, the first examiner first.
        saved_by: Who saved it; empty where nobody is named.
        amendment: Who amended it, when and why; None where nobody did or it is not kept.
        said: Its text.
        document: All that it held; sent of an earlier one, and of one that says that it was entered in error.
        in_error: Whether the last one says that it was entered in error: then no revision of it stands.
    """

    kind: str
    base: str
    patient: str
    revision: int
    last: bool
    at: datetime
    hands: tuple[str, ...]
    saved_by: str
    amendment: Amendment | None
    said: str
    document: dict[str, Any]
    in_error: bool = False


def paper_id(base: str, revision: int) -> str:
    """The identifier of a revision."""
    return f"{base}.r{revision}"


def revision_of(resource: Resource) -> tuple[str, int]:
    """Of what a document is a revision, and which.

    Raises:
        ValueError: Its identifier names none.
    """
    found = _REVISION.fullmatch(own(resource))
    if not found:
        raise ValueError("its identifier names no revision")
    return found[1], int(found[2])


def paper_resources(paper: Paper, out: Outgoing) -> Iterator[Made]:
    """A revision as its DocumentReference, and where it was amended the Provenance that says by whom and why."""
    value = paper_id(paper.base, paper.revision)
    amended = paper.amendment
    content = [_content(TEXT, paper.said.encode())]
    if not paper.last or paper.in_error:
        data = json.dumps(paper.document, sort_keys=True, ensure_ascii=False)
        content.append(_content(DOCUMENT, data.encode()))
    before = reference("DocumentReference", paper_id(paper.base, paper.revision - 1))
    yield (
        value,
        {
            "resourceType": "DocumentReference",
            "identifier": identified(value),
            "status": _status(paper),
            "docStatus": ERROR if paper.in_error else "final" if paper.revision == 1 else "amended",
            "type": out.concept("paper", paper.kind),
            "subject": subject(paper.patient),
            "date": when(amended.at if amended else paper.at),
            "author": [out.who(name) for name in paper.hands],
            **({"authenticator": out.who(paper.saved_by)} if paper.saved_by else {}),
            **(
                {"relatesTo": [{"code": "replaces", "target": before}]}
                if paper.revision > 1
                else {}
            ),
            **text("description", amended.why if amended else ""),
            "content": content,
            "context": {
                "encounter": [encounter(paper.patient)],
                "period": {"start": when(paper.at)},
                "related": [reference("Observation", paper.base)],
            },
        },
    )
    if amended:
        yield f"{value}.amended", _amended(amended, f"{value}.amended", value, out)


def _status(paper: Paper) -> str:
    """Whether a document stands; the last one says it where the examination was entered in error."""
    if not paper.last:
        return "superseded"
    return ERROR if paper.in_error else "current"


def _content(kind: str, data: bytes) -> Element:
    return {"attachment": {"contentType": kind, "data": base64.b64encode(data).decode()}}


def _amended(amendment: Amendment, name: str, value: str, out: Outgoing) -> Resource:
    return {
        "resourceType": "Provenance",
        "meta": {"tag": [{"system": TRAIL, "code": name}]},
        "target": [reference("DocumentReference", value)],
        "recorded": when(amendment.at),
        **({"reason": [{"text": amendment.why}]} if amendment.why.strip() else {}),
        "activity": out.concept("event", "amended"),
        "agent": [{"who": out.who(amendment.by)}],
    }


# --- and back


def is_last(resource: Resource) -> bool:
    """Whether a document is that of the last revision, as it stands or was entered in error."""
    return resource["status"] in ("current", ERROR)


def read_document(resource: Resource) -> dict[str, Any]:
    """All that an earlier revision held.

    Raises:
        ValueError, KeyError, TypeError, AttributeError: It is not as we write it.
    """
    for content in resource["content"]:
        attached = content["attachment"]
        if attached["contentType"] == DOCUMENT:
            found = strict_loads(base64.b64decode(attached["data"], validate=True))
            if isinstance(found, dict):
                return found
    raise ValueError("an earlier revision without what it held")


def read_paper(
    resource: Resource, amendments: dict[str, Resource], people: dict[str, str]
) -> dict[str, Any]:
    """What the last revision's document says: its number, who saved it, and how it was amended.

    Args:
        resource: The document.
        amendments: The Provenances of amendments, by the name of the revision.
        people: The names of practitioners by the resource.

    Raises:
        ValueError, KeyError, TypeError, AttributeError: It is not as we write it.
    """
    revision = revision_of(resource)[1]
    found: dict[str, Any] = {"revision": revision, "amendment": None}
    if revision > 1:
        amended = amendments[f"{own(resource)}.amended"]
        reasons = amended.get("reason", [])
        found["amendment"] = {
            "by": named(amended["agent"][0]["who"], people),
            "at": amended["recorded"],
            "why": reasons[0]["text"] if reasons else "",
        }
    saved_by = resource.get("authenticator")
    return found | {"saved_by": named(saved_by, people) if saved_by else ""}


def kind_of(resource: Resource) -> str:
    """What a document is: ``note``, ``injury`` or ``outcome``."""
    return code(resource["type"], "paper")
