"""Looking a sign or a flag up: the live list, what takes a match, what leaves all as it was."""

import pytest

from tests.terminal.screens import dump, found
from wardexam.anatomy.catalogue import PARTS, catalogue
from wardexam.exam.flags import flags
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.screens.find import LISTED, NAME, FindScreen


@pytest.mark.parametrize("before", [[], ["f"], ["tab"], ["m", "8"]], ids=["core", "flags", "power", "unconscious"])  # fmt: skip
@pytest.mark.parametrize(("side", "more"), [("right", []), ("left", ["right"])])
async def test_a_numb_s1_takes_at_most_eight_keys_from_anywhere(app, before, side, more):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", *before)
        keys = ["slash", "s", "1", "enter", *more, "1"]
        await pilot.press(*keys)
        assert found(app) == {("touch_S1", side): "reduced"}
        assert len(keys) <= 8


async def test_a_flag_is_found_and_answered(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "slash", *"breath", "enter")
        assert dump(app)[-2].startswith(
            "Question: Breathless, a weak cough, or trouble swallowing?"
        )
        await pilot.press("1")
        assert app.screen.state.examination.flags == {"breathing": "yes"}


async def test_when_it_began_is_found_from_a_part_and_from_the_set_that_shows(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "tab", "slash", *"onset", "enter", "1")
        assert app.screen.state.examination.context.onset == "sudden"
        assert app.screen.state.page == "core"
        await pilot.press("m", "5", "slash", *"began", "enter", "5")
        assert app.screen.state.examination.context.onset == "weeks"
        assert app.screen.state.page == "weak_leg"


async def test_a_sign_is_shown_on_the_page_that_is_open_where_that_has_it(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "m", "5", "slash", *"saddle sens", "enter")
        assert (app.screen.state.page, app.screen.state.row.id) == ("weak_leg", "saddle")
        assert dump(app)[-2].startswith("Sign: RIGHT saddle sensation.")


async def test_a_digit_takes_a_match_unless_it_belongs_to_a_name(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "slash", *"knee")
        listed = [line.split() for line in dump(app)[4:7]]
        assert listed[1][:3] == ["2", "knee", "extension"]
        await pilot.press("2")
        assert isinstance(app.screen, ExamineScreen)
        assert app.screen.state.row.id == "knee_extension"
        await pilot.press("slash", "t", "1")  # a segment, no choice: T1, T10, T11, T12
        assert isinstance(app.screen, FindScreen)
        assert [w.name for w in app.screen.found[:2]] == ["light touch T1", "light touch T10"]
        assert dump(app)[5].split()[:2] == ["light", "touch"]  # 2 would type T12: it is not offered


async def test_arrows_choose_and_a_number_without_a_match_changes_nothing(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "slash", *"knee", "9")
        assert "Nothing was changed" in dump(app)[-2]
        await pilot.press("down", "down", "enter")
        assert app.screen.state.row.id == "knee_flexion"


@pytest.mark.parametrize("leaves", [["escape"], ["backspace"] * 4])
async def test_leaving_changes_neither_the_cursor_nor_what_is_entered(app, leaves):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "tab", "down")
        before = app.screen.state.place
        await pilot.press("slash", *"sad", *leaves)
        assert isinstance(app.screen, ExamineScreen)
        assert app.screen.state.place == before
        assert app.screen.visit.draft.sent == 0


async def test_letters_and_signs_that_find_nothing_say_so_and_never_grade(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "slash", *"qq", "enter")
        assert "Nothing is called so" in "\n".join(dump(app))
        assert isinstance(app.screen, FindScreen)
        await pilot.press("escape")
        assert app.screen.visit.draft.sent == 0


async def test_keys_typed_ahead_arrive_in_their_order(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "slash", *"plantar", "enter", "3", "slash", *"gait", "enter", "7")  # fmt: skip
        assert found(app) == {("plantar", "right"): "extensor", ("gait", "midline"): "antalgic"}


async def test_whose_it_is_stands_above(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter")
        head = dump(app)[0]
        await pilot.press("slash")
        assert dump(app)[0] == head


@pytest.mark.parametrize("typed", ["s", "wast", "finger", "facial", "territory", "point", "pain"])
async def test_no_name_is_cut_at_eighty_columns(app, typed):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "slash", *typed)
        shown = dump(app)[4:]
        found = app.screen.found
        assert found
        for line, what in zip(shown, found[:LISTED], strict=False):
            assert what.name in line
            assert line.endswith(
                ("question, red flag", "question, story", *(f"sign, {p}" for p in PARTS))
            )
        if len(found) > LISTED:
            assert f"and {len(found) - LISTED} more: type on" in "\n".join(shown)


def test_every_name_that_may_be_listed_fits_its_column():
    names = [s.name for s in catalogue().values()] + [f.short for f in flags().values()]
    assert max(map(len, names)) <= NAME
    assert 5 + NAME + max(map(len, (*(f"sign, {p}" for p in PARTS), "question, red flag"))) <= 80


@pytest.mark.parametrize(
    ("typed", "sign", "question"),
    [("br", "brachioradialis", "breathing"), ("sad", "saddle", "saddle_numb")],
)
async def test_a_sign_and_a_question_that_begin_alike_are_offered_before_one_is_taken(
    app, typed, sign, question
):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "slash", *typed, "enter")
        assert isinstance(app.screen, FindScreen)
        assert dump(app)[-2].startswith("A sign and a question begin so. Enter again takes")
        assert {line.split()[-2] for line in dump(app)[4:7]} == {"sign,", "red"}
        await pilot.press("enter")
        assert app.screen.state.row.id == sign
        assert dump(app)[-2].startswith("Sign: ")
        await pilot.press("slash", *typed, "enter", *["down"] * 2, "escape", "slash", *typed)
        at = next(n for n, w in enumerate(app.screen.found, 1) if w.id == question)
        await pilot.press(str(at))
        assert app.screen.state.row.id == question
        assert dump(app)[-2].startswith("Question: ")


async def test_an_arrow_is_choice_enough(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "slash", *"sad", "down", "enter")
        assert app.screen.state.row.id == "saddle_numb"


@pytest.mark.parametrize(
    ("before", "side"),
    [
        ([], "right"),
        (["left"], "right"),
        (["right"], "left"),
        (["2"], "right"),  # graded on the right; the cursor has moved to the left
        (["right", "2"], "left"),  # graded on the left; the cursor has moved to the next row
        (["right", "slash", *"fever", "enter", "0"], "left"),
        (["b", "2"], "right"),
        (
            ["2", "2"],
            "right",
        ),  # both sides graded one after the other: it begins with the right again
        (["end", "1", "1"], "right"),  # so it does where there is no row behind them
    ],
)
async def test_a_search_stays_on_the_side_that_is_worked_at_and_says_it(app, before, side):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", *before, "slash", *"hip flex", "enter")
        assert (app.screen.state.row.id, app.screen.state.side) == ("hip_flexion", side)
        assert dump(app)[-2].startswith(f"Sign: {side.upper()} hip flexion.")


@pytest.mark.parametrize("asked", [["e"], ["x"], ["g"], ["m"]])
async def test_a_search_in_the_place_of_an_answer_is_a_search_and_its_text_no_keys(app, asked):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter")
        before = app.screen.state.examination
        await pilot.press(*asked, "slash", *"shoulder abd", "enter")
        assert app.screen.state.row.id == "shoulder_abduction"
        assert app.screen.state.examination == before


@pytest.mark.long
@pytest.mark.slow
async def test_a_question_is_named_as_one_when_it_was_looked_for(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter")
        for flag in list(flags().values())[::3]:
            await pilot.press("slash", *flag.short.replace(",", ""), "enter")
            said = dump(app)[-2]
            assert said.startswith((f"Question: {flag.ask}", f"Question: {flag.short}.")), said
