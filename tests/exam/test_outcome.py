"""What an outcome may say: sites by the reasoning's names, at least one thing, nothing that cannot be."""

import tomllib
from datetime import UTC, datetime, timedelta
from importlib.resources import files

import pytest
from pydantic import ValidationError

from wardexam.exam.final_sites import FINAL_SITES
from wardexam.exam.outcome import Outcome

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)


def outcome(**said):
    return Outcome(patient="patient1", by="Dr Ash", at=AT, **said)


def test_the_sites_are_those_of_the_reasoning():
    table = (files("wardexam.reasoning") / "inference" / "sites.toml").read_text()
    assert set(FINAL_SITES) == set(tomllib.loads(table))
    assert len(set(FINAL_SITES)) == len(FINAL_SITES)


@pytest.mark.parametrize(
    "said",
    [
        {"site": "cord"}, {"site": "root", "side": "left"}, {"diagnosis": "migraine"}, {"positive": "no"},
        {"imaged": AT}, {"image": "disc at L5/S1"}, {"site": "none"},
    ],
)  # fmt: skip
def test_one_thing_is_enough(said):
    assert outcome(**said).model_dump(include=set(said)) == said


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ({}, "at least one thing"),
        ({"side": "left"}, "at least one thing"),
        ({"diagnosis": "x", "side": "left"}, "name the site"),
        ({"site": "spleen"}, "Input should be"),
        ({"positive": "maybe"}, "Input should be"),
        ({"imaged": AT + timedelta(minutes=1)}, "later than now"),
        ({"imaged": AT.replace(tzinfo=None)}, "timezone"),
        ({"diagnosis": "x" * 121}, "120"),
    ],
)
def test_what_cannot_be_is_refused(said, why):
    with pytest.raises(ValidationError, match=why):
        outcome(**said)
