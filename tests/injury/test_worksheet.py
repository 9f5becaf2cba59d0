"""The worksheet and the document: width, what they say and what they never leave out."""

import json

import pytest

from tests.injury.cases import CASES, sheet_of
from tests.injury.drawn import drawn
from wardexam import __version__
from wardexam.injury.computed import FORM, SCORES_CAUTION, compute
from wardexam.injury.sheet import InjurySheet
from wardexam.injury.typed import read_typed
from wardexam.injury.worksheet import NOBODY, worksheet

BARE = InjurySheet()


def sheets(count=25):
    yield BARE
    yield InjurySheet(id="x" * 120, comment="word " * 200)
    for name in sorted(CASES):
        yield sheet_of(name)
    for seed in range(count):
        yield drawn(seed, unknown=seed % 20, marks=seed % 4)


@pytest.mark.parametrize("count", [25, pytest.param(60, marks=pytest.mark.long)])
def test_a_worksheet_is_ascii_in_72_columns_and_says_what_it_is(count):
    for sheet in sheets(count):
        text = worksheet(compute(sheet))
        assert text.isascii()
        assert text.endswith("\n")
        assert max(map(len, text.splitlines())) <= 72
        assert all(line == line.rstrip() for line in text.splitlines())
        assert "\n\n\n" not in text
        assert " ".join(SCORES_CAUTION.split()) in " ".join(text.split())


def test_it_says_for_whom_or_that_nobody_is_named():
    assert f"For: {NOBODY}\n" in worksheet(compute(BARE))
    assert "For: A1 H123\n" in worksheet(compute(InjurySheet(id="A1 H123")))


def test_no_control_character_of_a_comment_reaches_it():
    text = worksheet(compute(InjurySheet(id="a\x1b[2J", comment="b\u202ec\nd")))
    assert "\x1b" not in text
    assert "b?c d" in text


def test_every_result_stands_on_it_with_its_reason_and_rule():
    text = worksheet(compute(sheet_of("P6")))
    words = " ".join(text.split())
    assert "Motor level C8 C8" in words
    assert "Impairment scale D, motor incomplete" in words
    assert "Motor level, both C8: finger flexors (C8) 4, all above normal: the level is here (rule 4)" in words  # fmt: skip
    assert (
        "10 of 14 key muscles below C7 are 3 or more, at least half (rules 14, 15, 16, 18)" in words
    )
    assert "Rules in part from memory: 8, 23." in words


def test_what_remains_and_what_it_depends_on_stand_on_it():
    words = " ".join(worksheet(compute(sheet_of("K17"))).split())
    assert "Impairment scale B or C (not determinable)" in words
    assert "C5, C6 or C8 (not determinable)" in words
    assert "depends on right motor C6" in words
    assert "NOT TESTABLE right motor C6" in words
    assert "ND (17-22)" in words


def test_a_bare_sheet_is_unknown_throughout_and_never_normal():
    computed = compute(BARE)
    assert not any(r.determined for r in computed.results.values())
    assert set(computed.results["impairment"].values) == {"A", "B", "C", "D", "E", "none"}
    assert computed.results["impairment"].depends_on is None
    text = worksheet(computed)
    assert "NOT ENTERED: UNKNOWN, NOT NORMAL" in text
    assert "FOUND\n  nothing" in text


def test_a_doubt_stands_under_what_is_to_be_checked():
    text = worksheet(compute(read_typed("sensation: 2\nmotor: 5\nvac no\ndap yes")))
    assert "TO CHECK\n  no rule found for all levels intact" in text
    assert "Rules our own reading: 13." in text


@pytest.mark.parametrize("name", sorted(CASES))
def test_the_document_holds_the_whole_and_is_json(name):
    computed = compute(sheet_of(name))
    document = computed.to_dict()
    assert json.loads(json.dumps(document)) == document
    assert (document["version"], document["program"]) == (FORM, __version__)
    assert InjurySheet.model_validate(document["sheet"]) == computed.sheet
    for id_, result in computed.results.items():
        held = document["results"][id_]
        assert held["values"] == list(result.values)
        assert held["determined"] == (len(result.values) == 1)
        assert [r["value"] for r in held["reasons"]] == held["values"]
        assert all(str(n) in document["rules"] for r in held["reasons"] for n in r["rules"])
        assert all(r["words"] and r["rules"] for r in held["reasons"])
    for total in document["sums"].values():
        assert (total["value"] is None) == bool(total["missing"])
        assert total["least"] <= total["most"] <= total["full"]
    assert document["caution"] == SCORES_CAUTION


def test_only_scores_that_would_narrow_a_result_are_named_as_what_it_depends_on():
    text = "sensation: 2 to T4, 0, L1 NT\nmotor: 55555/00000\nvac NT\ndap no"
    results = compute(read_typed(text)).results
    assert results["impairment"].depends_on == ("voluntary anal contraction",)
    assert results["sensory_zone_right"].depends_on == (
        "right light touch L1",
        "right pinprick L1",
    )
    assert results["sensory_level_right"].depends_on == ()
