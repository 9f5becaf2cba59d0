"""The tables of the review: every row with its source, and a malformed one refused by name."""

from importlib.resources import files

import pytest

from wardexam.errors import TableError
from wardexam.review.published import published, read_published
from wardexam.review.standards import read_standards, standards

STANDARDS = (files("wardexam.review") / "standards.toml").read_text()
PUBLISHED = (files("wardexam.review") / "published.toml").read_text()


def test_the_standards_speak_of_two_groups_and_what_each_shall_hold():
    made = standards()
    assert set(made.suspicions) == {"cauda", "cord"}
    assert set(made.intervals) == {"call", "image", "result"}
    for group in made.suspicions:
        assert sum(item.counts for item in made.items_of(group).values()) >= 7
        assert [item.name for item in made.items_of(group).values() if not item.counts] == ["anal tone or squeeze"]  # fmt: skip
    names = [(item.of, item.name) for item in made.items.values()]
    assert len(set(names)) == len(names)
    assert all(len(item.name) <= 34 for item in made.items.values())


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"cauda_equina", "cauda_whole', '"cauda_equine", "cauda_whole', "unknown 'cauda_equine'"),
        ('any = ["post_void_residual"]', 'any = ["residual"]', "unknown 'residual'"),
        ('flags = ["sexual"]', 'flags = ["sexuality"]', "unknown 'sexuality'"),
        ('flags = ["sexual"]', "", "names nothing to examine"),
        ('of = "cord"\nname = "plantars"', 'of = "brain"\nname = "plantars"', "unknown 'brain'"),
        ('source = "judgement: five of equal width"', "", "source"),
        ("0.2, 0.4", "0.4, 0.2", "rise from 0 to 1"),
        ('ends = "call"', 'ends = "image"', "two intervals"),
        ("minutes = 60", "minutes = 0", "minutes"),
        ("[counting.few]", "[more.few]", "the sections are"),
        ("number = 20", "number = ", "Invalid value"),
    ],
)
def test_a_malformed_standard_is_refused(old, new, said):
    assert old in STANDARDS
    with pytest.raises(TableError, match=said):
        read_standards(STANDARDS.replace(old, new, 1))


def test_published_kappas_have_their_source_and_speak_of_signs():
    rows = published()
    assert len(rows) >= 6
    assert all(len(row.source) > 20 for row in rows.values())
    beside = {sign: [n for n, row in rows.items() if row.of(sign)] for sign in ("knee", "plantar", "palate")}  # fmt: skip
    assert beside["knee"] == ["knee_1994", "elicitable_2014"]
    assert len(beside["plantar"]) == 4
    assert beside["palate"] == []


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('signs = ["knee"]', 'signs = ["kneecap"]', "unknown 'kneecap'"),
        ('parts = ["power"', 'parts = ["force"', "unknown 'force'"),
        ('limbs = ["arm", "leg"]', 'limbs = ["wing"]', "unknown 'wing'"),
        ('limbs = ["arm", "leg"]', "", "speaks of no sign"),
        ("kappa = 0.32", "kappa = 1.32", "kappa"),
        ("kappa = 0.32", "", "kappa"),
    ],
)
def test_a_malformed_published_row_is_refused(old, new, said):
    assert old in PUBLISHED
    with pytest.raises(TableError, match=said):
        read_published(PUBLISHED.replace(old, new, 1))
