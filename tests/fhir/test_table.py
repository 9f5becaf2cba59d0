"""The guide's table of what goes where names every field of every record, and says truly what comes back."""

import re
from pathlib import Path

import pytest

from wardexam.exam.acts import Act
from wardexam.exam.examination import Amendment, Context, Examination, Patient
from wardexam.exam.findings import Finding, RestNormal
from wardexam.exam.outcome import Outcome
from wardexam.fhir import bundle
from wardexam.injury.kept import KeptSheet
from wardexam.injury.sheet import InjurySheet, Rated

GUIDE = Path(bundle.__file__).parents[1] / "GUIDE.md"
MODELS = {
    "patient": Patient,
    "examination": Examination,
    "context": Context,
    "finding": Finding,
    "rest_normal": RestNormal,
    "act": Act,
    "amendment": Amendment,
    "sheet": KeptSheet,
    "scores": InjurySheet,
    "rated": Rated,
    "outcome": Outcome,
}


def rows():
    text = GUIDE.read_text(encoding="utf-8")
    table = re.search(r"\| ours \| in the bundle \| comes back \|\n(.*?)\n\n", text, re.DOTALL)
    return [[c.strip() for c in line.strip("|").split("|")] for line in table[1].splitlines()[1:]]


def named():
    return {
        name: back for ours, _, back in rows() for name in re.findall(r"`([a-z_]+\.[a-z_]+)`", ours)
    }


@pytest.mark.parametrize("name", MODELS)
def test_every_field_of_a_record_stands_in_the_table_once(name):
    fields = {
        f"{name}.{field}"
        for field, told in MODELS[name].model_fields.items()
        if field != "schema_version" and not told.exclude
    }
    told = [n for ours, _, _ in rows() for n in re.findall(r"`([a-z_]+\.[a-z_]+)`", ours)]
    assert {n for n in told if n.partition(".")[0] == name} == fields
    assert len(told) == len(set(told))


def test_what_does_not_come_back_is_what_is_the_tools():
    gone = {name for name, back in named().items() if not back.startswith("yes")}
    assert gone == {f"examination.{field}" for field in bundle.TOOLS_OWN}


def test_the_guides_example_of_a_hospitals_file_is_read():
    text = re.search(
        r"```toml\n(number_system.*?)```", GUIDE.read_text(encoding="utf-8"), re.DOTALL
    )
    from wardexam.fhir.standard_codes import read_hospital

    hospital = read_hospital(text[1])
    assert hospital.number_system == "urn:oid:1.2.3"
    assert hospital.codes["side.right"]["code"] == "24028007"
