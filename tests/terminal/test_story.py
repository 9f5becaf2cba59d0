"""The story beside the signs, asked on a screen of its own."""

import pytest

from tests.terminal.screens import dump
from wardexam.exam.story import complaints, story
from wardexam.terminal.choices import numbered
from wardexam.terminal.screens.story import StoryScreen

COMPLAINT = [c.code for c in complaints()]


def told(app):
    return app.visit.examination.context


async def opened(pilot, *keys):
    await pilot.press("enter", "w", *keys)


async def test_numbers_answer_every_question_and_the_last_goes_back(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot, "2", "6", *"21425")
        assert not isinstance(app.screen, StoryScreen)
        of = told(app)
        assert (of.onset, of.complaint, of.complaint_side) == ("hours", COMPLAINT[5], "left")
        assert (of.bears_weight, of.pain, of.trauma) == ("yes", "back", "no")
        assert of.setting == "intensive_care"


async def test_a_number_that_a_further_digit_could_change_waits_for_it_or_for_enter(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot, "down", "1")
        assert told(app).complaint is None
        await pilot.press("8")
        assert told(app).complaint == COMPLAINT[17]
        await pilot.press("up", "2", "enter")
        assert told(app).complaint == COMPLAINT[1]


async def test_words_are_typed_as_far_as_they_are_needed_and_what_is_not_on_the_list_stays(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot, "down", *"weak", "enter")
        assert (
            dump(app)[-2]
            == "Which one: weak leg, weak arm, weak on one side, weak all over, weak face?"
        )
        await pilot.press(*" o", "enter", *"lef", "enter")
        assert (told(app).complaint, told(app).complaint_side) == ("weak_one_side", "left")
        await pilot.press(*"perhaps", "enter")
        assert dump(app)[-2] == "'perhaps' is not on the list. Nothing was changed."
        assert "Can the patient bear weight? perhaps" in "\n".join(dump(app))
        assert told(app).bears_weight is None


async def test_nothing_typed_leaves_an_answer_and_nought_takes_it_away_and_undo_brings_it_back(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot, *["down"] * 4, "4")
        await pilot.press("escape", "w", *["enter"] * 4)
        assert told(app).pain == "back"
        assert [">pain", "back"] in [line.split() for line in dump(app)]
        await pilot.press("0")
        assert told(app).pain is None
        await pilot.press("escape", "u")
        assert told(app).pain == "back"


@pytest.mark.parametrize("width", [80, 120])
async def test_every_answer_of_every_question_stands_whole_with_its_number(app, width):
    async with app.run_test(size=(width, 24)) as pilot:
        await opened(pilot)
        for question in story():
            seen = "\n".join(dump(app))
            assert question.ask in seen
            for number, answer in enumerate(question.answers, 1):
                assert f"{number} {answer.words}" in seen
            await pilot.press("down")


def test_columns_of_answers_are_as_wide_as_the_longest():
    lines = numbered(tuple(c.words for c in complaints()), 80)
    assert max(map(len, lines)) < 80
    assert len({line.index(mark) for mark, line in zip("123", lines[:3], strict=True)}) == 1


async def test_what_the_story_raises_is_said_when_it_is_left(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        before = {r.rule for r in app.screen.reader.urgency.reasons}
        await pilot.press("w", "1", "1", "8", "escape")
        assert told(app).complaint == "headache"
        after = {r.rule for r in app.screen.reader.urgency.reasons}
        assert after > before


async def test_nothing_is_answered_on_a_terminal_that_is_too_small_to_show_it(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot)
        await pilot.resize_terminal(79, 24)
        await pilot.press("1")
        await pilot.resize_terminal(80, 24)
        assert told(app).onset == "unknown"
        await pilot.press("1")
        assert told(app).onset == "sudden"


async def test_what_was_told_earlier_in_the_stay_stands_until_it_is_told_anew(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await opened(pilot)
        earlier = app.visit.previous.context
        assert (earlier.onset, earlier.complaint) == ("days", "weak_leg")
        lines = [line.split() for line in dump(app)]
        assert [*["main", "complaint", "weak", "leg", "(earlier)"]] in lines
        await pilot.press("down", "2", "enter")
        lines = [line.split() for line in dump(app)]
        assert ["main", "complaint", "weak", "arm"] in lines
        assert told(app).onset == "unknown"
