"""The 34 worked cases: both ways of computing agree with them, and what is published is told apart."""

import pytest

from tests.injury import enumerated
from tests.injury.cases import (
    CASES,
    CONTRADICTS_ITS_KEY,
    PUBLISHED,
    expected,
    expected_sums,
    plain,
    sheet_of,
)
from wardexam.injury.computed import compute


def test_there_are_34_cases_nine_of_them_partly_published():
    assert (len(CASES), len(PUBLISHED)) == (34, 9)
    assert CONTRADICTS_ITS_KEY in PUBLISHED


@pytest.mark.parametrize("name", sorted(set(CASES) - PUBLISHED))
def test_a_constructed_case_agrees(name):
    agrees(name)


@pytest.mark.parametrize("name", sorted(PUBLISHED))
def test_a_partly_published_case_agrees(name):
    agrees(name)


def agrees(name):
    computed = compute(sheet_of(name), deciding=False)
    for id_, (values, star) in expected(name).items():
        result = computed.results[id_]
        assert (set(result.values), result.assumed) == (values, star), id_
    for id_, total in expected_sums(name).items():
        found = computed.sums[id_]
        assert (found.least if found.determined else None) == total, id_
    if useful := CASES[name].get("useful"):
        least, below = useful.split("/")
        assert (
            f"{least} of {below} key muscles below" in computed.results["impairment"].why[0].words
        )


@pytest.mark.parametrize("name", sorted(PUBLISHED))
def test_what_a_source_publishes_is_what_is_computed(name):
    results = compute(sheet_of(name), deciding=False).results
    published = CASES[name]["published"]
    assert published
    for id_ in published:
        for each in [i for i in results if i in (id_, f"{id_}_right", f"{id_}_left")]:
            assert set(results[each].values) == expected(name)[each][0]


def test_the_key_of_p8_contradicts_its_own_explanation():
    """Voluntary anal contraction alone makes it at least C; the published key says B."""
    grade = compute(sheet_of(CONTRADICTS_ITS_KEY)).results["impairment"]
    assert grade.values == ("C",)
    assert 17 in grade.rules
    assert "impairment" not in CASES[CONTRADICTS_ITS_KEY]["published"]


@pytest.mark.parametrize("name", sorted(CASES))
def test_the_second_way_agrees_with_the_case(name):
    sheet = plain(sheet_of(name))
    found, stars = enumerated.results(sheet), enumerated.assumed(sheet)
    for id_, (values, star) in expected(name).items():
        assert (found[id_], id_ in stars) == (values, star), id_
    sums = enumerated.sums(sheet)
    assert {id_: sums[id_] for id_ in expected_sums(name)} == expected_sums(name)
