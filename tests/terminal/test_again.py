"""A re-examination: last time's signs first, and one key for examined again and unchanged."""

from datetime import timedelta

import pytest

from tests.terminal.screens import NOW, demo_app, dump, status
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.findings import Finding
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.examine.state import AGAIN
from wardexam.terminal.screens.text import TextScreen

WHO = "patient1"


def tendon(sign, side, answer, **more):
    return Finding(sign=sign, side=side, answer=answer, scale="conventional", **more)


def power(sign, side, answer):
    return Finding(sign=sign, side=side, answer=answer)


EARLIER = (
    tendon("biceps", "right", "2+"), tendon("biceps", "left", "2+"),
    tendon("knee", "right", "2+"), tendon("knee", "left", "0"),
    tendon("ankle", "right", "1+", qualities=("reinforced",)), tendon("ankle", "left", "0", comment="seen twice"),
    power("hip_flexion", "right", "5"), power("hip_flexion", "left", "4+"),
    Finding(sign="triceps", side="right", not_testable="cast"),
    Finding(sign="post_void_residual", side="midline", answer="measured", amount=300),
    Finding(sign="gait", side="midline", answer="spastic"),
)  # fmt: skip
FIRST = ["knee", "ankle", "hip_flexion", "gait", "post_void_residual"]  # in whatever order


@pytest.fixture
def app(tmp_path):
    made = demo_app(tmp_path / "ward", empty=True)
    made.ward.admit(
        Patient(id=WHO, bed="A3", name="Ana Invented", number="40-1", age=50, admitted=NOW), "test"
    )
    earlier = Examination(
        id="earlier1", patient=WHO, examiner="Dr Ash", at=NOW - timedelta(hours=4), findings=EARLIER
    )
    earlier = earlier.model_copy(
        update={"context": earlier.context.model_copy(update={"onset": "days"})}
    )
    made.ward.save(earlier, "Dr Ash")
    return made


async def test_the_rest_of_a_limb_that_was_abnormal_is_stated_normal_only_after_a_yes(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("knee", "left")
        await pilot.press("e")
        shown = " ".join(" ".join(dump(app)).split())
        assert "Abnormal before: left knee 0, left ankle 0" in shown
        await pilot.press("n")
        assert app.screen.state.examination.rest_normal == ()
        app.screen.go("knee", "right")
        await pilot.press("2", "e", "y")  # the left knee is next: of the left leg again
        assert [s.limb for s in app.screen.state.examination.rest_normal] == ["left leg"]
        app.screen.go("biceps", "right")
        await pilot.press("e")  # as usual before
        assert len(app.screen.state.examination.rest_normal) == 2


def found(app):
    return {f.key: f for f in app.screen.state.examination.findings}


async def test_it_opens_on_last_times_signs_the_abnormal_first_and_every_part_is_still_there(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        state = app.screen.state
        ids = [row.id for row in state.signs]
        assert state.page == AGAIN
        assert set(ids) == {f.sign for f in EARLIER}
        assert set(ids[:5]) == set(FIRST)
        assert ids[5:] == ["triceps", "biceps"]  # what could not be tested, then what was normal
        assert state.row.id == ids[0]
        assert any(line[1:].startswith("ankle ") and "1+r/0" in line for line in dump(app))
        await pilot.press("tab")
        assert state.page == "core"
        await pilot.press("shift+tab")
        assert state.page == AGAIN
        await pilot.press("m", "1")
        assert state.page == "core"
        await pilot.press("m", "0")
        assert state.page == AGAIN


@pytest.mark.parametrize("key", ["comma", "equals_sign"])
async def test_one_key_enters_the_earlier_grade_of_one_cell_and_goes_on(app, key):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("ankle", "right")
        await pilot.press(key)
        assert set(found(app)) == {("ankle", "right")}
        assert found(app)["ankle", "right"] == tendon(
            "ankle", "right", "1+", qualities=("reinforced",)
        )
        assert "   right ankle 1+, unchanged" in status(app)
        await pilot.press(key)
        # The comment is of the earlier examination; the grade is not.
        assert found(app)["ankle", "left"] == tendon("ankle", "left", "0")
        await pilot.press("u")
        assert set(found(app)) == {("ankle", "right")}


async def test_four_signs_again_take_at_most_eight_keys(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        rows = [row.id for row in app.screen.state.signs[:3]]
        keys = ["b", "comma"] * 3
        await pilot.press(*keys)
        assert {sign for sign, _ in found(app)} == set(rows)
        assert len(found(app)) == 6
        await pilot.press("slash", *"gait", "enter", "comma")
        assert found(app)["gait", "midline"].answer == "spastic"
        assert len(keys) + 1 <= 8


async def test_both_armed_writes_the_cells_that_have_one_and_undo_takes_both_back(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("knee", "right")
        await pilot.press("b", "comma")
        assert {k: f.answer for k, f in found(app).items()} == {
            ("knee", "right"): "2+",
            ("knee", "left"): "0",
        }
        assert "BOTH" not in dump(app)[-1]
        await pilot.press("u")
        assert found(app) == {}


@pytest.mark.parametrize(
    ("sign", "side", "said"),
    [
        ("plantar", "left", "left plantar: no earlier grade. Nothing was entered."),
        ("triceps", "right", "right triceps: could not be tested. Nothing was entered."),
        ("post_void_residual", "midline", "post-void residual: measured again, not taken over."),
    ],
)
async def test_where_there_is_no_earlier_grade_it_says_so_and_enters_nothing(app, sign, side, said):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go(sign, side)
        await pilot.press("comma")
        assert status(app).startswith(said)
        assert found(app) == {}
        await pilot.press("f", "comma")
        assert status(app).startswith("A question is asked again: 1 yes  0 no.")


async def test_an_equals_sign_that_may_be_a_plus_without_shift_is_not_taken(app):
    """4+ typed without shift must never become the earlier 5."""
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("hip_flexion", "right")
        await pilot.press("equals_sign")
        assert found(app) == {}
        assert status(app).startswith(
            "= is not taken here: , enters the earlier grade, + grades 4+."
        )
        app.screen.go("hip_flexion", "left")  # both mean 4+ here
        await pilot.press("equals_sign")
        assert found(app)["hip_flexion", "left"].answer == "4+"
        app.screen.go("knee_flexion", "left")
        await pilot.press("equals_sign")
        assert status(app).startswith(
            "= is not taken here: + grades 4+, and there is no earlier grade."
        )
        await pilot.press("plus")
        assert found(app)["knee_flexion", "left"].answer == "4+"


async def test_what_was_abnormal_again_costs_its_findings_and_six_keys(app):
    async with app.run_test(size=(80, 24)) as pilot:
        keys = ["enter", "m", "0", *["comma"] * 7, "s"]
        await pilot.press("enter")
        cells = []
        for row in app.screen.state.signs:
            cells += [(f.sign, f.side) for f in EARLIER if f.sign == row.id and f.amount is None]
        await pilot.press(*keys[1:-1])
        assert isinstance(app.screen, ExamineScreen)
        assert len(found(app)) == 7
        assert len(keys) <= len(found(app)) + 6
        await pilot.press("s")
        assert isinstance(app.screen, TextScreen)
        saved = app.ward.examinations(WHO)[-1]
        assert {f.key for f in saved.findings} <= set(cells)


async def test_an_amendment_opens_on_the_core_and_says_which_it_is(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "comma", "s", "h", "q", "n", "M")
        assert isinstance(app.screen, ExamineScreen)
        assert app.screen.state.page == "core"
        assert "AMENDING 2 of 2" in dump(app)[0]
        assert status(app).startswith("What was saved stays. Saving makes a further revision")
        assert "resumed" not in status(app)


async def test_when_it_began_is_told_again_by_the_same_key_and_asked_for_above_till_then(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        assert "when it began" in dump(app)[2]
        earlier = app.screen.state.onset_earlier
        app.screen.state.row_at = 0
        await pilot.press("comma")
        assert app.screen.state.examination.context.onset == earlier != "unknown"
        assert "as told before" in status(app)
        assert "when it began" not in dump(app)[2]
        await pilot.press("u")
        assert app.screen.state.examination.context.onset == "unknown"
