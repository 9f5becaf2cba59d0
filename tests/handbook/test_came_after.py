"""Sheets of a strict reader: no level is lower than expected, few are higher, and what led as expected leads still."""

import tomllib
from functools import cache
from pathlib import Path

import pytest

from wardexam import ready
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.urgency import assess

SHEETS = tomllib.loads((Path(__file__).parent / "came_after.toml").read_text())["sheet"]
TOO_HIGH = 8  # as many as she counted


@cache
def read(entered):
    found = read_line(entered).spelled_out()
    reading = ready.engine().read(found)
    return reading.sites[0].region, assess(found, None, reading).level


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda s: s["id"])
def test_it_is_as_urgent_as_she_expected_and_leads_where_she_did(sheet):
    region, level = read(sheet["entered"])
    assert level >= sheet["level"], sheet["why"]
    assert region == sheet.get("leads", region), sheet["why"]
    assert region != sheet.get("never"), sheet["why"]


def test_few_are_more_urgent_than_she_would_have_them():
    assert len(SHEETS) == 70
    assert sum(read(s["entered"])[1] > s["upto"] for s in SHEETS) <= TOO_HIGH
