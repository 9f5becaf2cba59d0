"""Each territory of urgent neurology has a row that says how soon, what first, which image and whom to call."""

import tomllib
from pathlib import Path

import pytest

from tests.handbook.urgency import LEVELS, urgency_of
from wardexam.reasoning.rules.deadlines import limits

CASES = tomllib.loads((Path(__file__).parent / "territories.toml").read_text(encoding="utf-8"))[
    "case"
]
FIRST_SEEN = 3  # reasons that stand on the first screen


def says(reason, case):
    """Whether a reason says what a careful senior would."""
    return (
        case["first"] in reason.first
        and case["call"] in reason.call
        and limits()[reason.by] <= limits()[case["by"]]
        and (not case["region"] or image_agrees_one(reason, case["region"]))
    )


def image_agrees_one(reason, region):
    near = {"head": ("head", "head_and_neck_vessels"), "head_and_neck_vessels": ("head_and_neck_vessels", "head"),
            "lumbosacral": ("lumbosacral", "whole_spine"), "spine": ("spine", "whole_spine"),
            "cervical": ("cervical", "whole_spine", "spine")}  # fmt: skip
    return reason.region in near.get(region, (region,))


@pytest.mark.parametrize("case", [c for c in CASES if "level" in c], ids=lambda c: c["territory"])
def test_a_territory_is_as_urgent_as_guidance_says_and_its_action_is_seen_first(case):
    for reading in (False, True):
        found = urgency_of(case, reading=reading)
        assert found.level >= LEVELS[case["level"]], [r.rule for r in found.reasons]
        seen = [r for r in found.reasons if r.urgency >= LEVELS[case["level"]]][:FIRST_SEEN]
        assert any(says(r, case) for r in seen), [
            (r.rule, r.first, r.region, r.call, r.by) for r in seen
        ]


@pytest.mark.parametrize("case", [c for c in CASES if "most" in c], ids=lambda c: c["territory"])
def test_a_spared_pattern_stays_spared(case):
    for reading in (False, True):
        found = urgency_of(case, reading=reading)
        assert found.level <= LEVELS[case["most"]], [(r.rule, r.urgency) for r in found.reasons]
