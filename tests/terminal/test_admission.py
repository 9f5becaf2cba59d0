"""An admission in six keys beside what is typed, with the reason for it."""

from datetime import date

import pytest

from tests.terminal.admitting import ADMIT, EDIT, presses
from tests.terminal.screens import demo_app, dump
from wardexam.exam.story import complaints


async def admitted(app, pilot, *answers):
    await pilot.press(*presses(*answers))
    (bed,) = app.ward.beds()
    return app.ward.patient(bed.patient_id)


@pytest.fixture
def app(tmp_path):
    return demo_app(tmp_path / "ward", empty=True)


@pytest.mark.parametrize(
    ("number", "who", "born", "age"),
    [("40-3317", "63 m", None, 63), ("", "4.3.1985 m", date(1985, 3, 4), 41)],
)
async def test_six_keys_and_the_words_admit_with_or_without_a_number(app, number, who, born, age):
    words = ("B7", "Otto Brandt", number, who, "weak leg since Monday")
    keys = presses(*words)
    assert len(keys) - len("".join(words)) == 6
    async with app.run_test(size=(80, 24)) as pilot:
        of = await admitted(app, pilot, *words)
    assert (of.number, of.born, of.age, of.sex) == (number, born, age, "male")
    assert of.remark == "weak leg since Monday"


async def test_a_birth_date_typed_for_the_number_says_where_it_goes_and_what_was_typed_stays(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(ADMIT, *"B7", "enter", *"Otto Brandt", "enter", *"4.3.1985", "enter")
        seen = " ".join(" ".join(dump(app)[-4:]).split())
        assert "! 4.3.1985 is a date: leave the number empty, the birth date is asked next" in seen
        assert "Hospital number (empty if not known): 4.3.1985" in seen


async def test_the_complaints_stand_numbered_and_whole_while_the_reason_is_asked(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*presses("B7", "Otto Brandt", "40-3317", "63 m")[:-1])
        seen = dump(app)
        for number, complaint in enumerate(complaints(), 1):
            assert any(f"{number:>2} {complaint.words}" in line for line in seen)
        assert seen[-2].startswith("Why admitted?")
        await pilot.press("6", "enter")
        seen = dump(app)
        assert not any("numb on one side" in line for line in seen)
        assert any("Otto Brandt" in line for line in seen)
        assert any("back pain" in line for line in seen)


async def test_left_with_escape_nobody_is_admitted_and_the_list_is_back(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*presses("B7", "Otto Brandt", "40-3317", "63 m")[:-1], "escape")
        assert app.ward.beds() == ()
        seen = "\n".join(dump(app))
        assert "numb on one side" not in seen
        assert f"Press {ADMIT} to admit the first patient." in seen


async def test_the_reason_is_the_complaint_of_the_first_examination_and_of_no_later_one(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await admitted(app, pilot, "B7", "Otto Brandt", "40-3317", "63 m", "weak leg, fell")
        await pilot.press("enter")
        assert app.visit.examination.context.complaint == "weak_leg"
        await pilot.press("w")
        seen = "\n".join(dump(app))
        assert "Admitted for: weak leg, fell" in seen
        await pilot.press("escape", "4", "2", "s", "q", "enter")
        assert app.visit.examination.context.complaint is None
        assert app.visit.previous.context.complaint == "weak_leg"


async def test_editing_shows_age_sex_and_reason_and_keeps_what_is_passed_over(app):
    async with app.run_test(size=(80, 24)) as pilot:
        before = await admitted(app, pilot, "B7", "Otto Brandt", "", "4 Mar 1985 m", "dizzy")
        await pilot.press(EDIT, *["enter"] * 3)
        assert dump(app)[-2].rstrip().endswith("4 Mar 1985 male")
        await pilot.press("enter")
        assert dump(app)[-2].rstrip().endswith("dizzy")
        await pilot.press("enter", "enter")
        assert dump(app)[-2] == "Details saved."
        (bed,) = app.ward.beds()
        assert app.ward.patient(bed.patient_id) == before.model_copy(update={"revision": 2})


async def test_a_bed_that_is_taken_is_said_once_and_a_number_of_another_is_refused(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(ADMIT, *"A1", "enter")
        assert "! A1 is Ottoline Marsh's already." in " ".join(dump(app)[-5:])
        await pilot.press("enter", *"Otto Brandt", "enter", *"40-1182", "enter")
        assert "40-1182 is Ottoline Marsh's, in bed A1." in " ".join(dump(app)[-5:])
        await pilot.press("ctrl+u", *"40-9999", "enter", *"63 m", "enter", "enter")
        beds = [bed.name for bed in app.ward.beds() if bed.bed == "A1"]
        assert sorted(beds) == ["Otto Brandt", "Ottoline Marsh"]


async def test_who_was_here_before_is_said_once_and_two_stays_of_one_number_are_not_on_the_ward(
    app,
):
    who = ("B7", "Otto Brandt", "40-3317", "63 m", "weak leg")
    async with app.run_test(size=(80, 24)) as pilot:
        first = await admitted(app, pilot, *who)
        app.ward.discharge(first, app.session.now(), "Dr Ash")
        await pilot.press("X", "X", ADMIT, *"B8", "enter", *who[1], "enter", *who[2], "enter")
        said = " ".join(" ".join(dump(app)[-6:]).split())
        assert "Otto Brandt with this number was discharged from bed B7" in said
        assert "or enter again: admitted anew, without it" in said.lower()
        await pilot.press("enter", *"63 m", "enter", *"weak leg", "enter")
        (bed,) = app.ward.beds()
        assert bed.bed == "B8"
        await pilot.press("X", "D", *"yes", "enter")
        assert "40-3317 is Otto Brandt's, in bed B8: not restored" in dump(app)[-2]
        assert [b.bed for b in app.ward.beds()] == ["B8"]


@pytest.mark.parametrize(
    ("typed", "such"),
    [
        ("face droop, speech", "such as 5 (weak face), 15 (speech disturbed)"),
        ("cant walk since tonight", "before them, or"),
        ("cannot see double", "such as 17 (double vision)"),
    ],
)
async def test_words_that_raise_nothing_say_so_once_and_are_kept_by_enter(app, typed, such):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*presses("B7", "Otto Brandt", "40-3317", "63 m", typed))
        seen = " ".join(" ".join(dump(app)[-6:]).split())
        assert "! In these words no alarm can be raised." in seen
        assert such in seen
        assert f"Why admitted? In words, or a number: {typed}" in seen
        assert any("5 weak face" in line for line in dump(app))  # the list still stands
        assert app.ward.beds() == ()
        await pilot.press("enter")
        (bed,) = app.ward.beds()
        assert bed.reason == typed


@pytest.mark.parametrize(("typed", "years"), [("6 m", 6), ("4 Mar 2016 m", 10)])
async def test_an_age_of_a_child_is_said_once_and_is_kept_by_enter(app, typed, years):
    async with app.run_test(size=(80, 24)) as pilot:
        who = (ADMIT, *"B7", "enter", *"Otto Brandt", "enter", *"40-3317", "enter")
        await pilot.press(*who, *typed, "enter")
        seen = " ".join(" ".join(dump(app)[-6:]).split())
        assert "is no adult, and this is meant for adults: check it, or enter again" in seen
        assert app.ward.beds() == ()
        await pilot.press("enter", *"weak leg", "enter")
        (bed,) = app.ward.beds()
        assert bed.age == years


async def test_a_number_and_a_comma_before_the_words_raise_what_the_list_says(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*presses("B7", "Otto Brandt", "40-3317", "63 m", "face droop, speech"))
        await pilot.press("home", *"5", "comma", "space", "enter")
        (bed,) = app.ward.beds()
        assert bed.reason == "weak face, face droop, speech"


@pytest.mark.parametrize("typed", ["", "6", "Weak leg since Monday", "fell off a ladder", "fit"])
async def test_words_that_are_heard_and_none_cost_no_further_key(app, typed):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*presses("B7", "Otto Brandt", "40-3317", "63 m", typed))
        assert len(app.ward.beds()) == 1
