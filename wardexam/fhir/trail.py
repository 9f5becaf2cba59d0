"""What the audit trail says was written of a patient, a Provenance for each line.

Who viewed, copied or exported something made nothing and is not sent: it stays in the trail.
"""

import re

from wardexam.fhir.elements import Outgoing
from wardexam.fhir.findings import Made
from wardexam.fhir.naming import LOGIN, TRAIL, reference
from wardexam.fhir.own_codes import EVENT_WORDS
from wardexam.fhir.papers import paper_id
from wardexam.records.repository import TrailLine

_WHAT = (
    (re.compile(r"cord injury sheet (\S+) (\d+),"), "{patient}.{0}"),
    (re.compile(r"outcome (\d+),"), "{patient}.outcome"),
    (re.compile(r"([a-z0-9]{8,40}) (\d+),"), "{patient}.{0}"),
)


def wrote(line: TrailLine) -> bool:
    """Whether a line says that something was written."""
    return line.event in EVENT_WORDS


def provenance(line: TrailLine, papers: set[str], out: Outgoing) -> Made:
    """A line of the trail as its Provenance, with its identifier.

    Args:
        line: The line; see `wrote`.
        papers: The identifiers of the documents of this patient, one of which the line may speak of.
        out: What it is written with.
    """
    spoken_of = _paper(line, papers)
    target = (
        reference("DocumentReference", spoken_of)
        if spoken_of
        else reference("Patient", line.patient)
    )
    login = {"identifier": {"system": LOGIN, "value": line.login}}
    return line.hash, {
        "resourceType": "Provenance",
        "meta": {"tag": [{"system": TRAIL, "code": line.hash}]},
        "target": [target],
        "recorded": line.at,
        **({"reason": [{"text": line.what}]} if line.what.strip() else {}),
        "activity": out.concept("event", line.event.replace(" ", "_")),
        "agent": [{"who": out.who(line.by)}, *([{"who": login}] if line.login.strip() else [])],
    }


def _paper(line: TrailLine, papers: set[str]) -> str:
    """The document that a line speaks of; empty where there is none."""
    for pattern, name in _WHAT:
        if found := pattern.match(line.what):
            base = name.format(*found.groups(), patient=line.patient)
            value = paper_id(base, int(found[found.lastindex or 1]))
            if value in papers:
                return value
    return ""
