"""A bundle that is sent again doubles nothing: a server that takes transactions as FHIR R4 says, in a few lines."""

import json
from urllib.parse import parse_qsl, urlsplit

import pytest

from tests.fhir.bundles import bundle_of, codes, resources
from tests.fhir.conftest import LATER


class Server:
    """Resources by type and a number of its own, put by what is sought (http.html#cond-update, #trules)."""

    def __init__(self):
        self.held = {}

    def _sought(self, url):
        kind, asked = urlsplit(url).path, dict(parse_qsl(urlsplit(url).query))
        ((name, token),) = asked.items()
        system, value = token.split("|")

        def fits(resource):
            if name == "identifier":
                return {"system": system, "value": value} in resource["identifier"]
            assert name == "_tag"
            return {"system": system, "code": value} in resource["meta"]["tag"]

        return [key for key, r in self.held.items() if key[0] == kind and fits(r)]

    def take(self, bundle):
        """Take a transaction in: every reference leads to what the server has afterwards."""
        assert bundle["type"] == "transaction"
        places, fresh = {}, len(self.held)
        for e in bundle["entry"]:
            found = self._sought(e["request"]["url"])
            assert len(found) <= 1  # else the server answers 412
            fresh += not found
            places[e["fullUrl"]] = found[0] if found else (e["resource"]["resourceType"], fresh)
        assert len(set(places.values())) == len(places)  # no two entries are one resource
        text = json.dumps([e["resource"] for e in bundle["entry"]])
        for url, (kind, number) in places.items():
            text = text.replace(json.dumps(url), json.dumps(f"{kind}/{number}"))
        assert "urn:uuid:" not in [
            r.get("reference", "")[:9] for r in _references(json.loads(text))
        ]
        self.held |= dict(zip(places.values(), json.loads(text), strict=True))


def _references(found):
    if isinstance(found, dict):
        if "reference" in found:
            yield found
        for value in found.values():
            yield from _references(value)
    elif isinstance(found, list):
        for value in found:
            yield from _references(value)


@pytest.mark.long
@pytest.mark.parametrize("which", ["demo", "full"])
def test_a_bundle_that_is_sent_twice_doubles_nothing(which, request):
    server, bundle = Server(), bundle_of(request.getfixturevalue(which))
    server.take(bundle)
    before = dict(server.held)
    assert len(before) == len(bundle["entry"])
    server.take(bundle)
    assert server.held == before


def test_a_later_bundle_puts_what_changed_in_its_place(full):
    server = Server()
    server.take(bundle_of(full))
    before = dict(server.held)
    last = full.examinations("patient1")[0]
    ankle = last.findings[0]
    assert ankle.sign == "ankle"
    full.amend(last.model_copy(update={"findings": last.findings[1:]}), "Dr Ash", "why", LATER)
    server.take(bundle_of(full))

    def standing(held):
        return [
            codes(r["code"])
            for r in held.values()
            if r["resourceType"] == "Observation" and r["status"] != "entered-in-error"
        ]

    assert ["sign.ankle"] in standing(before)
    assert ["sign.ankle"] not in standing(server.held)
    assert len(standing(server.held)) == len(standing(before)) - 1
    current = [
        r["identifier"][0]["value"]
        for r in server.held.values()
        if r["resourceType"] == "DocumentReference" and r["status"] == "current"
    ]
    assert "patient1.exam0001.r3" in current
    assert "patient1.exam0001.r2" not in current
    # One document, its two Provenances, and no finding more.
    assert len(server.held) == len(before) + 3


def test_one_patient_sent_alone_is_the_same_as_with_the_ward(full):
    server = Server()
    server.take(bundle_of(full))
    before = dict(server.held)
    server.take(bundle_of(full, patients=["patient1"]))
    assert server.held == before
    assert len(resources(bundle_of(full, patients=["patient1"]), "Patient")) == 1
