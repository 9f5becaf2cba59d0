"""What is asked of the story, and why the patient came."""

from typing import get_args

import pytest

from wardexam.exam.admission import complaint_in, context_of, no_adult, reason_text
from wardexam.exam.examination import Complaint, Context, Onset
from wardexam.exam.onset import onset, onsets
from wardexam.exam.row_sets import row_sets, set_for
from wardexam.exam.story import NOT_KNOWN, complaints, story
from wardexam.reasoning.tables import read


def test_every_answer_that_can_be_kept_can_be_chosen():
    for asked in story():
        for answer in asked.answers:
            context = Context.model_validate({asked.field: answer.code})
            assert getattr(context, asked.field) == answer.code
            assert asked.words(answer.code) == answer.words
        assert asked.words(asked.unknown) == NOT_KNOWN
    assert tuple(c.code for c in complaints()) == get_args(Complaint)
    assert all(getattr(Context(), q.field) == q.unknown for q in story())


def test_every_onset_is_asked_and_has_its_place_among_the_more_acute_ones():
    most_acute_first = onset().most_acute_first
    assert {o.code for o in onsets()} == set(most_acute_first) == set(get_args(Onset))
    assert len(onsets()) == len(most_acute_first)
    acute = read("rules/conditions.toml")["condition"]["acute"]["any"][0]["onset"]
    assert set(acute) == set(most_acute_first[: len(acute)])


@pytest.mark.parametrize(("code", "words"), [(c.code, c.words) for c in complaints()])
def test_a_complaint_of_the_list_is_known_again_by_its_words(code, words):
    number = 1 + [c.code for c in complaints()].index(code)
    assert reason_text(f" {number} ") == words
    for text in (words, words.capitalize(), f"{words}, since Monday", reason_text(f"{number}, x")):
        assert complaint_in(text) == code


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("weak legs", None), ("no headache", None), ("fit for surgery", None), ("fits", None),
        ("headache since Monday", "headache"), ("back pain for a week", "back_pain"),
        ("bladder or bowel cancer", None), ("found on the floor", None), ("", None),
        ("weak on one side suddenly", "weak_one_side"), ("weak all over today", "weak_all"),
        ("numb on one side for hours", "numb_one_side"), ("weak all overnight", None),
        ("bladder or bowel trouble", "bladder"), ("bladder or bowel problems since Monday", "bladder"),
    ],
)  # fmt: skip
def test_other_words_are_no_complaint_of_the_list(text, complaint):
    assert complaint_in(text) == complaint
    assert reason_text(text) == text


@pytest.mark.parametrize("text", ["0", "25", "99999", "2 falls this week", "25, tired"])
def test_a_number_that_is_not_on_the_list_stays_text(text):
    assert reason_text(text) == text


def test_a_complaint_has_one_set_of_signs_at_most_and_every_other_opens_on_the_first():
    named = [c for row in row_sets().values() for c in row.complaints]
    assert set(named) <= set(get_args(Complaint))
    assert len(named) == len(set(named)) > 4
    first = next(iter(row_sets()))
    for complaint in (None, *get_args(Complaint)):
        assert complaint in row_sets()[set_for(complaint)].complaints or set_for(complaint) == first


def test_an_age_below_an_adults_is_said_to_be_no_adults_and_an_unknown_one_is_not():
    assert no_adult(6) == "6 years is no adult, and this is meant for adults"
    assert no_adult(15)
    assert no_adult(16) == ""
    assert no_adult(None) == ""


@pytest.mark.parametrize(
    ("reason", "setting"),
    [
        ("headache, 32 weeks pregnant", "pregnancy"),
        ("Weak leg after left hip surgery", "operation"),
        ("foot drop, post-op day 2", "operation"),
        ("after surgery", "operation"),
        ("numb thigh after emergency caesarean", "childbirth"),
        ("fit, 3 days postpartum", "childbirth"),
        ("headache, not pregnant", None),
        ("awaiting surgery, weak hands", None),
        ("weak hands, surgery planned", None),
        ("back pain", None),
        ("", None),
    ],
)
def test_a_reason_tells_what_it_came_after(reason, setting):
    assert context_of(reason, None, "unknown").setting == setting
