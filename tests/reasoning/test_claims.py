"""The name of a site claims only what was found."""

from functools import cache

import pytest

from tests.handbook.published.cases import cases
from wardexam import ready
from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.exam.typed import read_line
from wardexam.reasoning.inference.claims import Known, claimed, claims
from wardexam.reasoning.tables import read

SIDED = (
    "both sides",
    "both leg areas",
    "both hands",
    "all limbs",
    "both pyramids",
    "several places",
)


@cache
def forms():
    return ready.engine().hypotheses.forms  # not while tests are collected


def group_of(name):
    return next(f.group for f in forms() if f.name == name)


def sites(line):
    return ready.engine().read(read_line(line).spelled_out()).sites


def test_every_name_of_a_form_is_known_to_claim_something_or_to_be_plain():
    plain = set(read("inference/claims.toml")["plain"]["names"])
    nerves = {f.name for f in forms() if f.site == "nerve" and f.side != "both"}
    assert {f.name for f in forms()} == set(claims()) | plain | nerves
    assert set(claims()).isdisjoint(plain | nerves)


@pytest.mark.parametrize("name", sorted(claims()))
def test_a_name_that_claims_is_not_said_where_nothing_was_found(name):
    said = claimed(name, group_of(name), 1.0, Known(()))
    plainer = claims()[name].plainer
    assert said == claims()[plainer].plainer if plainer in claims() else said == plainer
    assert said not in claims()


def odd(need):
    """Signs that meet a need: the first of those it names, on each of its sides, with the answer it asks for."""
    signs = [s for s in catalogue().values() if s.id in need.spoken_of]
    signs = [s for s in signs if s.sides == "each"] or signs
    answer = need.answers[0] if need.answers else "usual" if need.found == "usual" else "lost"
    sides = ("right", "left") if signs[0].sides == "each" else ("midline",)
    return [(signs[0].id, side, answer) for side in sides]


@pytest.mark.parametrize("name", sorted(n for n, row in claims().items() if row.needs))
def test_a_name_is_said_with_all_that_it_claims_and_with_no_part_of_it_missing(name):
    needs = claims()[name].needs
    told = next((n.onset[0] for n in needs if n.onset), "unknown")
    parts = [odd(n) for n in needs if not n.onset]
    whole = Known(tuple(f for part in parts for f in part), told)
    assert claimed(name, group_of(name), 1.0, whole) == name
    if told != "unknown":
        assert claimed(name, group_of(name), 1.0, Known(whole.found)) != name
    for need in needs:
        left = tuple(f for f in whole.found if need.onset or f[0] not in need.spoken_of)
        if not need.onset:
            assert claimed(name, group_of(name), 1.0, Known(left, told)) != name
        if need.each:
            right = tuple(f for f in whole.found if f[1] == "right")
            assert claimed(name, group_of(name), 1.0, Known(right, told)) != name


@pytest.mark.parametrize(
    ("ankle", "said"), [("0", True), ("1+", True), ("3+", False), ("4+", False)]
)
def test_a_neuropathy_beside_the_cord_is_named_where_a_jerk_is_lost_and_not_where_it_is_brisk(
    ankle, said
):
    name = "cord, posterior and lateral, with neuropathy"
    found = (
        ("vibration_leg", "left", "absent"),
        ("stocking", "left", "shin"),
        ("ankle", "left", ankle),
    )
    assert (claimed(name, group_of(name), 1.0, Known(found)) == name) == said


def test_a_place_on_a_nerve_is_named_only_where_it_holds_enough_of_the_nerve():
    known = Known(())
    places = {f.name for f in forms() if " at the " in f.name or " in the forearm" in f.name}
    assert places
    for name in places:
        assert claimed(name, group_of(name), 0.9, known) == name
        if len({f.name for f in forms() if f.group == group_of(name)}) > 1:
            nerve = name.partition(" at the ")[0].partition(" in the ")[0]
            assert claimed(name, group_of(name), 0.1, known) == nerve


def test_a_level_is_said_as_it_was_found():
    line = "power_leg 2/2 knee 3/3 plantar extensor/extensor level_pin {}/{}"
    for level in ("T5", "T8", "T10"):
        assert sites(line.format(level, level))[0].name.endswith(f", level {level}")
    assert sites(line.format("T9", "T8"))[0].name.endswith(", level T8")  # the higher


def test_no_level_is_said_where_nothing_shows_one():
    first = sites("hip_flexion 2/2 knee 3/3 plantar extensor/extensor")[0]
    assert first.region == "cord"
    assert "level" not in first.name
    assert "about" not in first.name
    assert first.levels is not None  # the range is still given


@pytest.mark.parametrize("answer", ["normal", "absent"])
def test_the_whole_cord_is_said_only_where_the_saddle_was_found_lost(answer):
    line = f"onset=hours power_leg 0/0 knee 0/0 level_pin T8/T8 saddle {answer}/{answer}"
    assert ("whole" in sites(line)[0].name) == (answer == "absent")


@pytest.mark.parametrize("case", cases("development"), ids=lambda c: c.id)
def test_no_site_of_a_published_sheet_claims_more_than_it_holds(case):
    reading = ready.engine().read(case.findings)
    answered = [f for f in case.findings.findings if f.answer is not None]
    lost = [f for f in answered if not (f.choice and f.choice.usual)]
    levels = {f.answer for f in answered if f.answer in SEGMENTS}
    for site in (*reading.sites, *reading.dangerous):
        if any(words in site.name for words in SIDED):
            assert {f.side for f in lost} >= {"right", "left"}, site.name
        if "whole cross-section" in site.name:
            assert any(f.row.limb == "saddle" for f in lost), site.name
        if ", level " in site.name:
            assert site.name.rpartition(" ")[2] in levels
        if ", about " in site.name:
            first, last = map(SEGMENTS.index, site.levels)
            assert last - first < 8
