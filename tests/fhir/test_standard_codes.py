"""Codes of standards: each with its source, none that needs a licence, and the hospital's before ours."""

import tomllib
from importlib.resources import files

import pytest

from tests.fhir.bundles import bundle_of, text_of
from wardexam import tables
from wardexam.errors import TableError
from wardexam.exam.answers import answer_sets
from wardexam.fhir import standard_codes as codes
from wardexam.fhir.bundle import Bundling
from wardexam.fhir.own_codes import words

FREE = {"http://loinc.org", "http://hl7.org/fhir/administrative-gender"}


def table(name):
    return tomllib.loads((files("wardexam.fhir") / name).read_text(encoding="utf-8"))


def test_every_row_has_a_source_and_is_free_to_use():
    for name, row in table("codes.toml").items():
        assert name in words()
        assert row["source"].strip()
        assert row["system"] in FREE
    for row in table("units.toml").values():
        assert row["source"].startswith("UCUM")


def test_every_unit_that_an_answer_takes_has_its_code():
    wanted = {s.amount.unit for s in answer_sets().values() if s.amount}
    assert wanted <= set(codes.units())
    assert len(wanted) == 3


def test_no_code_of_a_licensed_terminology_is_sent_unasked(full, demo):
    assert "snomed" not in text_of(full).lower() + text_of(demo).lower()


def test_a_hospitals_code_stands_in_place_of_ours(full):
    own = codes.read_hospital(
        '[codes."paper.age"]\nsystem = "urn:oid:1.2"\ncode = "A 1"\ndisplay = "Age"\nsource = "ours"'
    )

    def age(bundling):
        return [
            c["code"]
            for e in bundle_of(full, bundling)["entry"]
            if e["fullUrl"] and e["request"]["url"].endswith("patient1.age")
            for c in e["resource"]["code"]["coding"]
        ]

    assert age(Bundling()) == ["paper.age", "30525-0"]
    assert age(Bundling(own)) == ["paper.age", "A 1"]


def test_a_unit_without_a_source_is_refused(monkeypatch):
    monkeypatch.setattr(tables, "read_table", lambda *_: {"years": {"code": "a", "source": ""}})
    with pytest.raises(TableError, match="years"):
        codes.units.__wrapped__()
