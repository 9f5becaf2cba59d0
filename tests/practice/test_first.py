"""What is done first: fitting what the patient truly has, never an absurd image called right, nor a sound one wrong."""

from datetime import UTC, datetime

import pytest

from tests.practice.cases import Made, path, truth
from wardexam.practice import words
from wardexam.practice.case import places
from wardexam.practice.drawing import Drawing
from wardexam.practice.feedback import Answer, Feedback, urgency_of
from wardexam.practice.first import first
from wardexam.practice.progress import Result
from wardexam.practice.published import published
from wardexam.practice.tables import actions, first_rows
from wardexam.ready import engine
from wardexam.reasoning.rules.rule_table import WORDS, rules

MINE = path(*[(0.7, 1, 20)] * 8)


def drawn(level, seed):
    return Drawing(engine().hypotheses).draw(level, seed)


def answered(case, action):
    """Feedback to an answer with one first action."""
    urgency = urgency_of(engine(), case)
    answer = Answer(case.truth.places[0], case.truth.side, urgency.level, action, 50)
    return Feedback(case, answer, MINE, MINE, urgency, first(case.truth, urgency))


def said(given):
    return " ".join(words.answered(given, places(engine().hypotheses)))


@pytest.mark.long
@pytest.mark.parametrize(
    ("level", "seed", "site", "right", "never"),
    [
        (1, 17, "cauda", {"lumbosacral", "spine", "treat"}, {"head", "planned"}),
        (1, 1, "muscle", {"treat"}, {"lumbosacral", "spine", "head", "planned"}),
        # the rule of lids and double vision names this place, and images the head
        (1, 2, "junction", {"treat", "head"}, {"spine", "lumbosacral", "planned"}),
        (1, 3, "plexus.brachial", {"limb"}, {"head", "lumbosacral", "planned"}),
        (3, 3, "nerve.facial", {"treat"}, {"spine", "head", "planned"}),
        (1, 55, "root", {"lumbosacral", "planned"}, {"head", "limb"}),
        (1, 929, "nerve.radial", {"planned"}, {"head", "spine"}),
        (1, 36, "polyneuropathy", {"treat"}, {"head", "spine"}),
        (2, 158, "root", {"spine", "treat"}, {"head", "lumbosacral"}),
    ],
)
def test_what_is_right_fits_what_it_was(level, seed, site, right, never):
    case = drawn(level, seed)
    assert case.truth.places == (site,)
    called = {action for action in actions() if answered(case, action).action_right}
    assert called == right
    assert not called & never


def test_what_the_rules_would_do_elsewhere_is_not_scored_and_said():
    given = answered(
        drawn(1, 1), "lumbosacral"
    )  # weak from the muscles, no longer walking, with pain
    assert given.action_right is None
    assert "not scored. The rules, which know no place, would do it; for what it was: no image" in said(given)  # fmt: skip
    assert answered(drawn(1, 1), "head").action_right is False
    assert "NOT right. For what it was: no image first" in said(answered(drawn(1, 1), "head"))


@pytest.mark.long
def test_where_nothing_sound_can_be_said_nothing_is_scored():
    for level, seed in ((2, 6), (3, 65)):  # a nerve of the skin; one of the leg
        for action in actions():
            given = answered(drawn(level, seed), action)
            assert given.action_right is None
            assert "Nothing sound can be said of it here." in said(given)
    kept = answered(drawn(2, 6), "head").result(datetime(2026, 11, 26, 12, tzinfo=UTC))
    assert Result.model_validate(kept.model_dump(mode="json")).action_right is None


@pytest.mark.long
def test_nothing_at_once_is_never_right_for_what_is_urgent():
    seen = set()
    for case in [drawn(level, seed) for level in (1, 2, 3) for seed in range(8)]:
        urgency = urgency_of(engine(), case)
        seen.add(urgency.level)
        if urgency.level > 1:
            found = first(case.truth, urgency)
            assert "planned" not in (*found.fit, *found.ruled)
    assert seen == set(range(len(WORDS)))


def test_measuring_first_is_right_wherever_a_gravest_rule_begins_so():
    stroke = Made(
        "age=70 onset=sudden face_lower 2/0 finger_abduction 3/5 hip_flexion 3/5",
        truth("brain", "left", ""),
    )
    assert first(stroke.truth, urgency_of(engine(), stroke)).fit == ("head", "treat")
    asked = [r.first for r in rules().values() if r.urgency == 3]
    begins = [f for f in asked if any(step in f for step in actions()["treat"].steps)]
    assert all(f in begins for f in asked if "glucose" in f or "vital capacity" in f)
    # what is only asked or looked at is no measure
    assert "acuity, pupils, fundus; ask for jaw and scalp" not in begins


@pytest.mark.long
def test_every_place_has_a_row_and_every_step_and_region_is_of_a_rule():
    for place in places(engine().hypotheses):
        for level in ("", "C7", "L5"):
            made = Made("age=50", truth(place, "none", level))
            assert first(made.truth, urgency_of(engine(), made)).fit, (place, level)
    for row in actions().values():
        assert all(any(step in rule.first for rule in rules().values()) for step in row.steps)
    regions = {name for row in actions().values() for name in row.regions}
    assert regions == {rule.region for rule in rules().values()}
    assert {n.partition(".")[0] for n in first_rows()} == {
        p.partition(".")[0] for p in places(engine().hypotheses)
    }


def test_of_several_places_that_count_each_has_its_say():
    case = published()["h004"]  # botulism or polyradiculoneuropathy: breathing before all
    assert "treat" in first(case.truth, urgency_of(engine(), case)).fit
