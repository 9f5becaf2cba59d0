"""The open benchmark: every row says what was found, where the lesion was, and who says so."""

from dataclasses import replace

import pytest

from tests.handbook.published.cases import NO_LESION, OF_TWO, PARTS, Published, cases, wanted
from tests.handbook.published.twice import known_to_be_two, may_be_one
from wardexam import ready
from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.reasoning.model.hypotheses import fingerprint
from wardexam.reasoning.reading import Reading, Site
from wardexam.reasoning.rules.urgency import assess
from wardexam.reasoning.tables import read

# Urgent cases that nothing speaks for; of a part that is never mended on nobody looks which.
UNHEARD = {"sealed_28_november": 1, "sealed_29_november_evening": 1}
EVERY = [case for part in (*PARTS, OF_TWO) for case in cases(part)]
BENCHMARK = [case for part in PARTS for case in cases(part)]


def known(site: str) -> bool:
    return site in wanted() or site.startswith(("nerve_", "cranial_nerve_"))


@pytest.mark.parametrize(
    "part", [pytest.param(PARTS[0], marks=pytest.mark.long), *PARTS[1:], OF_TWO]
)
def test_a_case_can_be_read_and_says_where_the_lesion_was_and_from_where_it_is(part):
    for case in cases(part):
        found = case.findings
        assert found.findings or found.rest_normal or found.flags, case.id
        assert all((case.source, case.confirmation, case.summary)), case.id
        assert known(case.site), case.id
        assert all(known(a) or a in SEGMENTS for a in case.accept), case.id
        assert case.side in ("right", "left", "bilateral", "none"), case.id
        assert case.level in ("", *SEGMENTS), case.id
        assert (case.site == "two_lesions") == (len(case.two) == 2), case.id


def heard(case: Published) -> bool:
    """Whether a reason, a flag or the leading site says that a case is urgent."""
    if assess(case.findings, None, None).reasons or "yes" in case.findings.flags.values():
        return True
    reading = ready.engine().read(case.findings)
    reasons = assess(case.findings, None, reading).reasons
    return bool(reasons) or reading.sites[0].urgent


@pytest.mark.parametrize(
    "part", [pytest.param(PARTS[0], marks=pytest.mark.long), *PARTS[1:], OF_TWO]
)
def test_every_urgent_case_keeps_an_urgent_leader_a_flag_or_a_reason_to_act(part):
    urgent = [case for case in cases(part) if case.urgent]
    assert len(urgent) >= 30
    unheard = [case.id for case in urgent if not heard(case)]
    assert len(unheard) <= UNHEARD.get(part, 0), unheard


def test_no_case_and_no_source_stands_twice():
    assert len({c.id for c in EVERY}) == len(EVERY)
    published = [c.source for c in EVERY if "textbook" not in c.source]
    assert len(set(published)) == len(published)


@pytest.mark.long
def test_no_patient_stands_twice_under_sources_that_are_written_differently():
    assert may_be_one(EVERY) <= known_to_be_two()


def test_a_patient_who_is_told_twice_is_found():
    first = made(
        source="Lee and Park, J Korean Med, ganglion of the palm", summary="A weak left hand"
    )
    again = replace(
        first, id="y", source="Ganglion of the palm (Lee and Park)", entered="ankle 1/0"
    )
    other = replace(again, id="z", side="right", entered="age=40 ankle 1/0")
    assert frozenset(("x", "y")) in may_be_one([first, again, other])
    older = replace(first, entered="age=70 ankle 2/0")
    assert frozenset(("x", "z")) not in may_be_one([older, again, other])


def test_a_fifth_of_the_cases_have_no_lesion():
    assert sum(c.no_lesion for c in BENCHMARK) >= len(BENCHMARK) / 5
    assert {c.site for c in BENCHMARK if c.no_lesion} == set(NO_LESION)


def test_the_regions_that_a_site_asks_for_are_those_that_the_engine_names():
    regions = set(read("inference/sites.toml"))
    for name, row in wanted().items():
        assert set(row["regions"]) <= regions, name


def made(**changed) -> Published:
    row = {"id": "x", "source": "s", "confirmation": "c", "summary": "s", "entered": "ankle 2/0", "site": "root",
           "side": "left", "level": "S1", "accept": (), "urgent": False, "two": (), "wanted": ""}  # fmt: skip
    return Published(**(row | changed))


def place(name, region, side, level=None, levels=None, chance=0.5) -> Site:
    return Site(name, region, name, side, levels, level, chance, "possible")


@pytest.mark.parametrize(
    ("case", "site", "met"),
    [
        (made(), place("root.left", "root", "left", "S1"), True),
        (made(), place("root.left", "root", "left", "L5"), True),
        (made(), place("root.left", "root", "left", "L4"), False),
        (made(), place("root.right", "root", "right", "S1"), False),
        (made(site="nerve_median", level=""), place("nerve.median.left", "nerve", "left"), True),
        (made(site="nerve_median", level=""), place("nerve.ulnar.left", "nerve", "left"), False),
        (made(site="cranial_nerve_facial", level=""), place("nerve.facial.left", "nerve", "left"), True),
        (made(site="cord_thoracic", level="T6"), place("cord", "cord", "none", "T8"), True),
        (made(site="cord_thoracic", level="T6"), place("cord", "cord", "none", "C6"), False),
        (made(site="lumbosacral_plexus", level=""), place("plexus.brachial.left", "plexus", "left"), False),
        (made(site="systemic", side="none", level=""), place("systemic", "systemic", "none"), True),
        (made(site="systemic", side="none", level=""), place("none", "none", "none"), False),
        (made(site="normal_variant", side="none", level=""), place("none", "none", "none"), True),
        (made(site="other", side="none", level=""), place("none", "none", "none"), False),
    ],
)  # fmt: skip
def test_whether_an_answer_is_the_true_site(case, site, met):
    assert case.met_by(site) == met


def test_what_the_findings_cannot_tell_apart_is_accepted_and_adds_nothing_to_the_truth():
    case = made(accept=("nerve_tibial", "L5"))
    tibial, root = place("nerve.tibial.left", "nerve", "left"), place("root.left", "root", "left", "S1", chance=0.3)  # fmt: skip
    assert case.accepted(tibial)
    assert not case.met_by(tibial)
    assert case.chance(Reading(sites=(tibial, root), tables=fingerprint())) == 0.3


def test_the_side_is_judged_apart_from_the_name():
    other = place("nerve.tibial.right", "nerve", "right")
    case = made(site="nerve_tibial", level="")
    assert case.named_by(other)
    assert not case.met_by(other)
    assert not made().named_by(place("root.left", "root", "left", "L2"))


def test_a_level_is_held_by_a_range_that_has_it_and_by_none_where_there_is_no_range():
    root = place("root.left", "root", "left", "S1", ("L5", "S2"))
    assert made().level_held(root) is True
    assert made(level="L4").level_held(root) is False
    assert made(level="").level_held(root) is None
    assert made().level_held(place("nerve.tibial.left", "nerve", "left")) is None
