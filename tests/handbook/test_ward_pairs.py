"""Two lesions as a ward records them: more than half are said to be two, and hardly ever what is one."""

import tomllib
from pathlib import Path

from tests.handbook.published.cases import two_said
from wardexam import ready
from wardexam.exam.typed import read_line

CASES = tomllib.loads(Path(__file__).with_name("ward_pairs.toml").read_text(encoding="utf-8"))["case"]  # fmt: skip


def said(case):
    """Whether two lesions are said of a sheet."""
    return two_said(ready.engine().read(read_line(case["entered"]).spelled_out(), silence=False))


def test_more_than_half_of_two_lesions_are_said_to_be_two():
    two = [case for case in CASES if case["two"]]
    assert len(two) == 45
    assert sum(map(said, two)) >= 25


def test_hardly_any_of_one_lesion_or_none_is_said_to_be_two():
    one = [case for case in CASES if not case["two"]]
    assert len(one) == 55
    assert [case["id"] for case in one if said(case)] == []
