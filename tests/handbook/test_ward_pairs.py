"""Two lesions as a ward records them: more than half are said to be two, and hardly ever what is one."""

import tomllib
from pathlib import Path

import pytest

from wardexam import ready
from wardexam.exam.typed import read_line

CASES = tomllib.loads(Path(__file__).with_name("ward_pairs.toml").read_text(encoding="utf-8"))["case"]  # fmt: skip


@pytest.fixture(scope="module")
def said():
    """Whether two lesions are said of each sheet, as a pair or by a nerve or plexus of both sides, or that no one lesion fits."""
    found = {}
    for case in CASES:
        reading = ready.engine().read(read_line(case["entered"]).spelled_out(), silence=False)
        both = reading.sites[0].side == "both" and reading.sites[0].region in ("nerve", "plexus")
        found[case["id"]] = both or reading.pair is not None or not reading.fits_one
    return found


def test_more_than_half_of_two_lesions_are_said_to_be_two(said):
    two = [case["id"] for case in CASES if case["two"]]
    assert len(two) == 45
    assert sum(said[name] for name in two) >= 25


def test_hardly_any_of_one_lesion_or_none_is_said_to_be_two(said):
    one = [case["id"] for case in CASES if not case["two"]]
    assert len(one) == 55
    assert [name for name in one if said[name]] == []
