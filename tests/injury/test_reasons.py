"""Reasons say what stands on the sheet: the row that decides, its score, and no score that is unknown."""

import re

import pytest

from tests.injury.cases import CASES, sheet_of
from tests.injury.drawn import drawn
from wardexam.injury.computed import compute
from wardexam.injury.tables import rules
from wardexam.injury.typed import read_typed

SIDES = ("right", "left")


def sheets():
    yield from map(sheet_of, sorted(CASES))
    for seed in range(400):
        yield drawn(seed, unknown=seed % 7, marks=seed % 4)


def test_the_reason_of_a_known_level_quotes_the_score_of_its_row_as_entered():
    quoted = 0
    for sheet in sheets():
        results = compute(sheet, deciding=False).results
        for test in ("light_touch", "pinprick", "motor"):
            for side in SIDES:
                result = results[f"{test}_level_{side}"]
                if not result.determined:
                    continue
                words = result.why[0].words
                assert "not entered" not in words
                found = re.search(r"\(?([CTLS][0-9]+(?:-5)?)\)? (?:is )?([0-9]\*?)(?:,|:|$)", words)
                if found:
                    assert getattr(getattr(sheet, test), side)[found[1]] == found[2], words
                    quoted += 1
                if "the level is here" in words:
                    assert found
                    assert found[2][0] in "34"
                    assert found[1] == result.values[0]
                if "the segment above" in words:
                    assert found
                    assert found[2][0] in "012"
    assert quoted > 1_000


def test_the_count_of_a_reason_is_that_of_the_sheet():
    told = 0
    for seed in range(200):
        sheet = drawn(seed)
        results = compute(sheet, deciding=False).results
        words = results["impairment"].why[0].words
        found = re.search(r"([0-9]+) of ([0-9]+) key muscles below (\w+)", words)
        if not found:
            continue
        told += 1
        from tests.injury.enumerated import RANK

        level = results["neurological_level"].values[0]
        assert found[3] == level
        codes = [(k, c) for s in SIDES for k, c in getattr(sheet.motor, s).items()]
        below = [int(c) for k, c in codes if RANK[k] > RANK[level]]
        assert (int(found[1]), int(found[2])) == (sum(c >= 3 for c in below), len(below))
    assert told > 50


def test_every_reason_names_rules_that_there_are():
    for sheet in sheets():
        computed = compute(sheet, deciding=False)
        told = [w for r in computed.results.values() for w in r.why] + list(computed.doubts)
        told += [s.why for s in computed.sums.values()]
        assert all(set(why.rules) <= set(rules()) and why.rules and why.words for why in told)


@pytest.mark.parametrize("where", ["right ankle plantar flexors, S1", "left, a movement at S1"])
def test_movement_far_below_is_named_with_its_side(where):
    side = where.split()[0].rstrip(",")
    moves = "motor right: 55555/00001\nmotor left: 55555/00000\n"
    other = f"motor: 55555/00000\nmovement {side} S1\n"
    text = "sensation: 2 to T4, 1\nvac no\ndap no\n" + (moves if "flexors" in where else other)
    assert where in compute(read_typed(text)).results["impairment"].why[0].words


def test_what_is_present_at_the_end_of_the_cord_is_named():
    text = "right light touch: 2 to T4, 0 to S3, 1\nleft light touch: 2 to T4, 0\npinprick: 2 to T4, 0\nvac no\ndap no"
    words = compute(read_typed(text)).results["completeness"].why[0].words
    assert words == "present: right light touch S4-5"
    marked = read_typed(
        "sensation: 2 to T4, 0, S4-5 0*\nvac no\ndap no\ncount right light touch S4-5 as normal: scar"
    )
    completeness = compute(marked).results["completeness"]
    assert completeness.text == "incomplete*"
    assert completeness.why[0].words == "present: a marked score at S4-5, counted as normal"
