"""An answer beside what was so: place, side, urgency, first action, and the words for it."""

import re
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from tests.practice.cases import Made, path, truth
from wardexam.practice import words
from wardexam.practice.case import place_of, places
from wardexam.practice.drawing import Drawing
from wardexam.practice.feedback import Answer, Feedback, feedback, urgency_of
from wardexam.practice.first import first
from wardexam.practice.path import Path, Step
from wardexam.practice.tables import actions
from wardexam.ready import engine
from wardexam.reasoning.rules.rule_table import WORDS
from wardexam.reasoning.rules.urgency import assess

CAUDA = Made(
    "age=50 onset=days pain=back knee 2+/2+ ankle 0/0 saddle reduced/reduced anal_tone reduced bladder retention"
    " ankle_plantarflexion 3/3 flag:bladder_bowel=yes",
    truth("cauda", "both", "S1"),
)
CALM = Made(
    "age=50 onset=longer knee 2+/2+ ankle 2+/2+ plantar down/down", truth("none", "none", "")
)
ANSWER = Answer("cauda", "both", 3, "lumbosacral", 80, "L5")
MINE = path((0.2, 2, 30), (0.85, 1, 20))
OWN = path((0.9, 1, 15))
SEEN = path(*[(0.7, 1, 6)] * 8)  # enough signs that finding none says something


def made(answer=ANSWER, case=CAUDA, mine=MINE, own=OWN):
    urgency = urgency_of(engine(), case)
    return Feedback(case, answer, mine, own, urgency, first(case.truth, urgency))


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
    assert "test 2: the right place rose from 20% to 85%" in text.replace("your test 2", "test 2")
    assert "It could be known after your test 2 (85%), at 50 s." in text
    assert "The tool's own way knew it after 1 test (90%), at 15 s: 35 s to be saved." in text
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
    calm = replace(ANSWER, place="none", side="none", urgency=3, action="planned")
    given = made(calm, CALM, mine=SEEN)
    assert given.urgency.level == 0
    assert given.action_right
    text = said(given)
    assert "more urgent than the rules call it, and misses nothing" in text
    assert "UNDER-CALLED" not in text
    assert "not an emergency" not in text.lower()


ASKED = Path((Step("cancer: no", 6, 0.1, 2, "flag"),), 0.1)
TWO = "You tested 2 signs and asked no red flag: 'none found' does not reassure."
NONE = "You examined nothing and asked no red flag: 'none found' does not reassure."
ONLY_ASKED = "You examined nothing: 'none found' does not reassure."


@pytest.mark.parametrize(("mine", "wanted"), [(path(), NONE), (MINE, TWO), (ASKED, ONLY_ASKED)])
def test_calm_without_looking_is_never_called_right(mine, wanted):
    calm = Answer("none", "none", 0, "planned", 100)
    given = made(calm, CALM, mine=mine)
    assert given.site_right
    assert given.action_right is None
    text = said(given)
    assert wanted in text
    assert "It is not called right, since so little was looked for." in text
    assert "not scored, since so little was looked for." in text
    assert "The same as the rules." not in text
    assert ("and right, by a guess." in text) == (not mine.signs)
    # what is urgent is under-called all the same, and to do nothing is wrong
    urgent = said(made(calm, CAUDA, mine=mine))
    assert wanted in urgent
    assert "EMERGENCY NOT RECOGNISED" in urgent
    assert "planned tests, clinic, or look again: NOT right." in urgent


@pytest.mark.parametrize("more", [SEEN, Path((*ASKED.steps, *MINE.steps), 0.1)])
def test_who_looked_is_told_whether_calm_was_right(more):
    given = made(Answer("none", "none", 0, "planned", 100), CALM, mine=more)
    assert given.action_right
    assert "does not reassure" not in said(given)
    assert "The same as the rules." in said(given)


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


def test_a_side_that_the_lesion_has_not_is_right_with_the_place_alone():
    for side in ("none", "both", "left"):
        given = made(replace(ANSWER, place="root", side=side))
        assert given.side_right is None
        assert f"Place: root: NOT right. Side: {side}: not scored." in said(given)
        assert not given.result(datetime(2026, 11, 26, 12, tzinfo=UTC)).right
    one_sided = Made("age=50", truth())
    given = made(replace(ANSWER, place="cauda", side="none"), one_sided)
    assert given.side_right is False


def test_wrong_place_and_action_are_said_with_what_fits():
    given = made(replace(ANSWER, place="root", side="left", action="head", sure=90))
    assert not given.site_right
    text = said(given)
    assert "Place: root: NOT right. Side: left: not scored." in text
    assert "NOT right. For what it was: " in text
    assert actions()["lumbosacral"].words in text
    assert "You were 90% sure of place and side, and not right." in text


def test_where_nothing_was_known_it_is_said():
    text = said(made(mine=path(), own=path((0.2, 2, 5), (0.55, 1, 5))))
    assert "Nothing that you tested spoke for the right place." in text
    assert "the right place never led with 80%." in text
    # it leads at the end, with a chance that deserves no "knew"
    assert "The tool's own way did not make it known: 55% at its end." in text


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
