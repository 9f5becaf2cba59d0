"""An answer beside what was so: place, side, urgency, first action, and the words for it."""

import re
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from tests.practice.cases import Made, path, truth
from wardexam.practice import words
from wardexam.practice.case import place_of, places
from wardexam.practice.drawing import Drawing
from wardexam.practice.feedback import Answer, Feedback, feedback, right_actions, urgency_of
from wardexam.practice.tables import actions
from wardexam.ready import engine
from wardexam.reasoning.rules.urgency import WORDS, assess, rules

CAUDA = Made(
    "age=50 onset=days pain=back knee 2+/2+ ankle 0/0 saddle reduced/reduced anal_tone reduced bladder retention"
    " ankle_plantarflexion 3/3 flag:bladder_bowel=yes",
    truth("cauda", "both", "S1"),
)
CALM = Made(
    "age=50 onset=longer knee 2+/2+ ankle 2+/2+ plantar down/down", truth("none", "none", "")
)
ANSWER = Answer("cauda", "both", 3, "lumbosacral", 80, "L5")
MINE = path((0.2, 2, 30), (0.7, 1, 20))
OWN = path((0.6, 1, 15))


def made(answer=ANSWER, case=CAUDA, mine=MINE, own=OWN):
    urgency = urgency_of(engine(), case)
    return Feedback(case, answer, mine, own, urgency, right_actions(urgency))


def said(given):
    return " ".join(words.answered(given, places(engine().hypotheses)))


def test_a_right_answer_is_right_in_all():
    given = made()
    assert (given.site_right, given.side_right, given.action_right) == (True, True, True)
    assert given.emergency
    assert not given.under_called
    assert given.saved == 35  # known at 50 s, the tool's own way at 15 s
    assert given.segments_off == 1
    text = said(given)
    assert "The emergency was recognised." in text
    assert "test 2: the right place rose from 20% to 70%" in text.replace("your test 2", "test 2")
    assert "It could be known after your test 2, at 50 s." in text
    assert "knew it after 1 test, at 15 s: 35 s to be saved." in text
    assert "Level: L5: 1 segment off." in text


@pytest.mark.parametrize(
    ("urgency", "wanted"),
    [
        (0, "EMERGENCY NOT RECOGNISED"),
        (1, "EMERGENCY NOT RECOGNISED"),
        (2, "UNDER-CALLED"),
        (3, "The emergency was recognised."),
    ],
)
def test_an_under_call_is_said_plainly(urgency, wanted):
    given = made(replace(ANSWER, urgency=urgency))
    assert given.urgency.level == 3
    assert given.under_called == (urgency < 3)
    assert wanted in said(given)
    assert f"you say {WORDS[urgency]}; the rules say now" in said(given)


def test_an_over_call_misses_nothing_and_is_no_praise():
    given = made(replace(ANSWER, place="none", side="none", urgency=3, action="planned"), CALM)
    assert given.urgency.level == 0
    assert given.action_right
    text = said(given)
    assert "more urgent than the rules call it, and misses nothing" in text
    assert "UNDER-CALLED" not in text
    assert "not an emergency" not in text.lower()


@pytest.mark.parametrize(
    ("case", "side", "right"),
    [
        (CAUDA, "both", True),
        (CAUDA, "none", True),  # no one side
        (CAUDA, "left", False),
        (Made("age=50", truth()), "left", True),
        (Made("age=50", truth()), "right", False),
        (Made("age=50", truth()), "both", False),
    ],
)
def test_sides(case, side, right):
    assert made(replace(ANSWER, side=side), case).side_right == right


def test_wrong_place_and_action_are_said_with_what_the_rules_would_do():
    given = made(replace(ANSWER, place="root", side="left", action="head", sure=90))
    assert not given.site_right
    text = said(given)
    assert "Place: root: NOT right. Side: left: NOT right." in text
    assert "NOT right. The rules, which know no place: " in text
    assert actions()["lumbosacral"].words in text
    assert "You were 90% sure of place and side, and not right." in text


def test_where_nothing_was_known_it_is_said():
    text = said(made(mine=path(), own=path((0.2, 2, 5))))
    assert "Nothing that you tested spoke for the right place." in text
    assert "the right place never led" in text
    assert "did not make it known either" in text


def test_every_first_action_of_the_rules_can_be_answered():
    regions = {name for row in actions().values() for name in row.regions}
    assert {row.region for row in rules().values()} <= regions
    for level in range(len(WORDS)):
        for region in {row.region for row in rules().values() if row.urgency == level}:
            assert [
                n
                for n, r in actions().items()
                if region in r.regions and r.least <= level <= r.most
            ], (region, level)


def test_without_a_reason_only_a_plan_is_right():
    assert right_actions(urgency_of(engine(), CALM)) == ("planned",)


def test_urgency_is_of_the_whole_patient_and_not_of_what_was_tested():
    drawn = Drawing(engine().hypotheses).draw(1, 3)
    assert urgency_of(engine(), drawn) == assess(
        drawn.whole, None, engine().read(drawn.whole, silence=False)
    )


def test_what_is_kept_is_what_was_said():
    at = datetime(2026, 11, 26, 12, tzinfo=UTC)
    result = feedback(engine(), CAUDA, ANSWER, MINE).result(at)
    assert (result.was, result.site, result.right, result.due, result.urgency) == ("cauda", "cauda", True, 3, 3)  # fmt: skip
    assert (result.seconds, result.known_seconds, result.tests, result.sure) == (50, 50, 2, 80)
    assert result.case == "1-1"


def test_the_two_ways_stand_beside_each_other_within_a_page():
    long = path(*[(0.1 + n / 100, 2, 6) for n in range(40)], (0.9, 1, 6))
    lines = words.ways(made(mine=long, own=OWN))
    assert len(lines) <= 23
    assert all(len(line) <= 80 for line in lines)
    assert re.search(r"and 2[34] that moved it less", "\n".join(lines))
    assert "41. test 41" in "\n".join(lines)  # the one that decided is kept
    assert "Yours: 41 tests, 246 s" in lines[2]
    assert "The tool's: 1 test, 15 s" in lines[2]


def test_places_have_no_side_and_are_spoken():
    known = places(engine().hypotheses)
    assert known["nerve.median"] == "median nerve"
    assert known["root"] == "root"
    assert not [p for p in known if p.endswith(("right", "left", ".both"))]
    assert place_of("plexus.brachial.left") == "plexus.brachial"
    assert place_of("cord") == "cord"
