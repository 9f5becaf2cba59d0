"""What everything in a bundle is called: the systems of our identifiers and codes, and names that stay the same.

Every name is made from the record's own identifiers (RFC 4122, version 5), so that the same ward gives the
same bundle, and a server that has a resource already finds it by its identifier.
"""

import re
from typing import Any
from uuid import UUID, uuid5

Resource = dict[str, Any]

SPACE = UUID("eabffdbc-95b4-4d5c-8a61-e097ea715dc3")


def _system(name: str) -> str:
    return f"urn:uuid:{uuid5(SPACE, name)}"


CODES = _system("codes")  # our signs, answers and the like
RECORD = _system("record")  # patients, examinations and all that is kept of them
PRACTITIONER = _system("practitioner")  # who is named in a record
LOGIN = _system("login")  # the login under which something was saved
TRAIL = _system("trail")  # what a line of the audit trail or of a revision became
FORM = _system("form")  # how a bundle is laid out
LAYOUT = "r4-1"  # one more where an element changes its place
LONGEST = 100_000_000  # bytes of a bundle that is read; an examination in full takes some 150,000


def full_url(kind: str, value: str) -> str:
    """The name of a resource in a bundle, of its type and identifier."""
    return f"urn:uuid:{uuid5(SPACE, f'{kind}|{value}')}"


def reference(kind: str, value: str) -> dict[str, str]:
    """A reference to a resource of the bundle, by its type and identifier."""
    return {"reference": full_url(kind, value)}


def _quoted(text: str) -> str:
    """A text as it may stand in a search (RFC 3986): all but letters, digits and ``-._~`` as percent signs."""
    return re.sub(
        r"[^A-Za-z0-9._~-]", lambda c: "".join(f"%{byte:02X}" for byte in c[0].encode()), text
    )


def entry(resource: Resource, value: str) -> Resource:
    """A resource as an entry that a server puts in the place of the one with the same identifier, if it has one.

    Args:
        resource: The resource; one of the trail has its name as a tag, since a Provenance has no identifier.
        value: Its identifier.
    """
    kind = resource["resourceType"]
    if kind == "Provenance":
        sought = f"_tag={_quoted(f'{TRAIL}|{value}')}"
    else:
        system = PRACTITIONER if kind == "Practitioner" else RECORD
        sought = f"identifier={_quoted(f'{system}|{value}')}"
    return {
        "fullUrl": full_url(kind, value),
        "resource": resource,
        "request": {"method": "PUT", "url": f"{kind}?{sought}"},
    }


def identified(value: str) -> list[dict[str, str]]:
    """The identifier of something kept in the record, as a resource holds it."""
    return [{"system": RECORD, "value": value}]


def own(resource: Resource) -> str:
    """The identifier that we gave a resource.

    Raises:
        ValueError: It has none.
    """
    for found in resource.get("identifier", ()):
        if found.get("system") == RECORD:
            return str(found["value"])
    raise ValueError("has no identifier of wardexam")


def tagged(resource: Resource, system: str) -> str:
    """The code that a resource's tag of one system has; empty where it has none."""
    for tag in resource.get("meta", {}).get("tag", ()):
        if tag.get("system") == system:
            return str(tag["code"])
    return ""
