"""Published cases that are like a patient speak beside the model: the nearer, the more, and never of urgency or of health."""

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.handbook.fit import fold
from tests.handbook.published.cases import OF_TWO, PARTS
from tests.handbook.published.cases import cases as published
from wardexam import ready
from wardexam.errors import TableError
from wardexam.exam.typed import read_line
from wardexam.reasoning.inference import neighbours
from wardexam.reasoning.inference.neighbours import Alike, Neighbours
from wardexam.reasoning.tables import weighing_row

TABLE = """source,right,left,midline,told,places
one,ankle plantar:mute,,,onset:days,root.right:1.00
two,,ankle,,,root.left:0.60 nerve.sciatic.left:0.40
three,plantar,plantar,bladder,onset:days,cord:1.00
four,plantar,plantar,,,cord:1.00
five,plantar knee,knee,,,cord:1.00
six,biceps,,,,root.right:1.00
"""


@pytest.fixture
def made():
    return ready.engine().hypotheses


def few(made, monkeypatch, text=TABLE) -> Neighbours:
    """Of these cases alone."""
    monkeypatch.setattr(neighbours, "_text", lambda: text)
    return Neighbours(made)


def shown(*signs: str) -> dict:
    """Signs out of the usual, as ``"right ankle"``."""
    pairs = (sign.split() for sign in signs)
    return {((name, "odd"), side): 1.0 for side, name in pairs}


def told(made, alike: Alike) -> dict[str, float]:
    return {g: float(p) for g, p in zip(made.groups, alike.places, strict=True) if p > 0.001}


def test_a_case_that_is_the_same_is_one_and_gives_its_places(made, monkeypatch):
    some = few(made, monkeypatch)
    alike = some.alike(shown("left ankle"), (), ())
    assert alike.near == pytest.approx(
        1, abs=0.1
    )  # the second case, and a little of the first's mirror image
    assert told(made, alike)["root.left"] > told(made, alike)["nerve.sciatic.left"] > 0.3


def test_the_mirror_image_of_a_case_is_as_near(made, monkeypatch):
    some = few(made, monkeypatch)
    right, left = (some.alike(shown(f"{side} ankle"), (), ()) for side in ("right", "left"))
    assert right.near == left.near
    assert told(made, right) == {
        name.replace("left", "right"): share for name, share in told(made, left).items()
    }


def test_rarer_things_in_common_are_nearer(made, monkeypatch):
    some = few(made, monkeypatch, f"{TABLE}seven,plantar,,,,nerve.sciatic.right:1.00\n")
    where = told(made, some.alike(shown("right plantar", "right biceps"), (), ()))
    assert where["root.right"] > where.get("nerve.sciatic.right", 0)


def test_what_was_found_usual_makes_a_case_that_has_it_less_near(made, monkeypatch):
    some = few(made, monkeypatch)
    found = shown("right plantar", "left plantar")
    blank = some.alike(found, (), ()).near
    usual = some.alike(found, {("bladder", "midline")}, ()).near
    assert blank > usual > 0


def test_a_word_of_the_story_is_shared_and_one_that_no_case_tells_is_not_heard(made, monkeypatch):
    some = few(made, monkeypatch)
    found = shown("right ankle")
    blank, days, age = (
        some.alike(found, (), words) for words in ((), [("onset", "days")], [("age", "80")])
    )
    assert told(made, days)["root.right"] > told(made, blank)["root.right"]
    assert age.near == blank.near


def test_what_is_left_of_an_earlier_finding_is_what_it_shares(made, monkeypatch):
    some = few(made, monkeypatch)
    fresh = shown("left ankle", "left biceps")
    faded = {**fresh, (("ankle", "odd"), "left"): 0.3}
    each = [told(made, some.alike(found, (), ())) for found in (fresh, faded)]
    assert each[0]["nerve.sciatic.left"] > each[1].get("nerve.sciatic.left", 0)


@pytest.mark.parametrize("found", [{}, shown("right jaw")])
def test_with_nothing_like_it_the_model_stands_alone(made, monkeypatch, found):
    alike = few(made, monkeypatch).alike(found, (), [("onset", "days")])
    chance = np.full(len(made.groups), 1 / len(made.groups))
    assert alike.near == 0
    assert alike.beside(chance) == pytest.approx(chance)


def test_cases_have_a_bounded_share_and_say_nothing_of_health(made, monkeypatch):
    alike = few(made, monkeypatch).alike(shown("left ankle"), (), ())
    chance = np.zeros(len(made.groups))
    chance[made.groups.index("none")], chance[made.groups.index("muscle")] = 0.5, 0.5
    beside = alike.beside(chance)
    assert beside.sum() == pytest.approx(1)
    assert beside[made.groups.index("none")] == 0.5
    share = weighing_row("neighbours")["share"]
    assert 0.5 * (1 - share) < beside[made.groups.index("muscle")] < 0.5
    assert beside[made.groups.index("root.left")] > 0


TWO = "seven,biceps,knee,,,two lesions\n"


def test_cases_of_two_lesions_have_no_place_and_say_how_often_there_were_two(made, monkeypatch):
    found = shown("right biceps", "left knee")
    one = few(made, monkeypatch).alike(found, (), ())
    two = few(made, monkeypatch, TABLE + TWO).alike(found, (), ())
    other = few(made, monkeypatch, TABLE + TWO).alike(shown("left ankle"), (), ())
    assert two.near == one.near
    assert (two.places == one.places).all()
    assert two.two > max(one.two, other.two)


def test_with_nothing_like_it_two_lesions_are_as_often_as_among_all_cases(made, monkeypatch):
    alike = few(made, monkeypatch, TABLE + TWO).alike(shown("right jaw"), (), ())
    assert math.exp(alike.two) == pytest.approx(1 / 6)


@pytest.mark.parametrize(
    "row",
    [
        ",ankle,,,,cord:1.00",
        "six,tail,,,,cord:1.00",
        "six,ankle:strange,,,,cord:1.00",
        "six,ankle,,,weather:wet,cord:1.00",
        "six,ankle,,,,nowhere:1.00",
        "six,ankle,,,,cord:0",
        "six,ankle,,,,",
        "six,ankle,,,,cord:much",
        "six,ankle",
    ],
)
def test_a_row_that_names_nothing_is_an_error_at_load(made, monkeypatch, row):
    with pytest.raises(TableError, match=r"neighbours\.csv"):
        few(made, monkeypatch, f"{TABLE}{row}\n")


def test_a_table_with_other_columns_is_an_error(made, monkeypatch):
    with pytest.raises(TableError, match="columns"):
        few(made, monkeypatch, "source,places\nsix,cord:1.00\n")


def test_every_case_is_of_the_development_part(made):
    known = {c.source for part in ("development", OF_TWO) for c in published(part)}
    others = {case.source for part in PARTS[1:] for case in published(part)}
    sources = {case.source for case in Neighbours(made).cases}
    assert sources <= known
    assert sources.isdisjoint(others)
    assert len(sources) > 0.9 * sum(c.site != "two_lesions" for c in published("development"))


def test_cases_that_are_not_asked_say_nothing(made):
    some = Neighbours(made)
    case = next(c for c in published("development") if c.source == some.cases[0].source)
    beside = ready.engine().posterior(case.findings).beside
    folds = np.array([fold(c.source) for c in some.cases])
    whole, others = beside(None), beside(folds != fold(case.source))
    assert others.near < whole.near


def test_the_alarm_does_not_hear_them(monkeypatch):
    findings = read_line("age=60 onset=days knee 4+/4+ plantar up/up power_leg 3/3").spelled_out()
    before = ready.engine().read(findings).dangerous
    monkeypatch.setitem(weighing_row("neighbours"), "share", 0.0)
    after = ready.engine().read(findings)
    assert after.dangerous == before


def test_without_a_share_the_model_stands_as_it_is(monkeypatch):
    findings = read_line("ankle 2/0 pin_S1 2/1 power_leg 5/5").spelled_out()
    posterior = ready.engine().posterior(findings)
    alone = replace(posterior, beside=None).groups
    assert np.abs(posterior.groups - alone).max() > 0.01
    monkeypatch.setitem(weighing_row("neighbours"), "share", 0.0)
    assert ready.engine().posterior(findings).groups == pytest.approx(alone)
