"""A finding marked as known from before: where it may be, where it shows, and what urgency makes of it."""

import pytest

from tests.terminal.screens import NOW, demo_app, dump
from wardexam.exam.examination import Patient


@pytest.fixture
def app(tmp_path):
    made = demo_app(tmp_path / "ward", empty=True)
    made.ward.admit(Patient(id="patient1", bed="A3", name="Ana Invented", admitted=NOW), "test")
    return made


def known(app):
    return {f.key: f.known for f in app.screen.state.examination.findings if f.known}


def line_of(app, name: str) -> str:
    return next(line for line in dump(app) if line[1:].startswith(name))


async def test_it_is_asked_where_it_is_documented_and_enter_takes_the_usual_words(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "4", "0", "left", "K")
        assert dump(app)[-2].startswith(
            "right biceps: documented when, where (enter: documented before):"
        )
        await pilot.press("enter")
        assert known(app) == {("biceps", "right"): "documented before"}
        assert line_of(app, "biceps")[26:32] == "0k    "
        assert dump(app)[-2].startswith("right biceps: known before ")
        await pilot.press("down", "up")
        assert dump(app)[-2].startswith("right biceps: known before, C5-C6")


async def test_the_doctors_own_words_are_kept_and_stand_in_the_cursors_line_in_full(app):
    async with app.run_test(size=(80, 24)) as pilot:
        words = "letter of June 2021"
        await pilot.press("enter", "4", "0", "left", "K", *words, "enter", "down", "up")
        assert known(app) == {("biceps", "right"): words}
        assert f"known before, {words}" in dump(app)[-2]


async def test_again_takes_it_away_and_each_is_one_step_to_undo(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "4", "0", "left", "K", "enter", "K")
        assert known(app) == {}
        assert dump(app)[-2].startswith("right biceps: no longer known before")
        await pilot.press("u")
        assert known(app) == {("biceps", "right"): "documented before"}
        await pilot.press("u")
        assert known(app) == {}
        assert len(app.screen.state.examination.findings) == 1


async def test_both_sides_are_marked_when_both_are_armed(app):
    async with app.run_test(size=(80, 24)) as pilot:
        sides = {("biceps", side): "documented before" for side in ("right", "left")}
        await pilot.press("enter", "4", "b", "0", "up", "b", "K")
        assert dump(app)[-2].startswith("both biceps: documented when, where")
        await pilot.press("enter")
        assert known(app) == sides
        await pilot.press("b", "K")
        assert known(app) == {}
        assert "BOTH" not in dump(app)[-1]
        await pilot.press("u", "u")
        assert known(app) == {}


async def test_escape_leaves_it_new(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "4", "0", "left", "K", *"letter", "escape")
        assert known(app) == {}
        assert len(app.screen.state.examination.findings) == 1


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        (["4", "K"], "right biceps: nothing recorded to be known from before."),
        (["4", "2", "left", "K"], "Only what is abnormal is marked as known from before."),
        (["4", "x", "c", "up", "K"], "Only what is abnormal is marked as known from before."),
        (["K"], "Only a finding is marked as known from before."),
        (["f", "K"], "Only a finding is marked as known from before."),
    ],
)
async def test_what_cannot_be_known_is_refused_and_says_why(app, keys, said):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", *keys)
        assert dump(app)[-2].startswith(said)
        assert known(app) == {}


async def test_urgency_counts_it_as_old_and_a_new_grade_is_new_again(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "4")
        app.screen.go("hip_flexion", "right")
        await pilot.press("3")
        new = app.screen.reader.urgency.level
        await pilot.press("left", "K", "enter")
        assert app.screen.reader.urgency.level < new
        await pilot.press("3")
        assert known(app) == {}
        assert app.screen.reader.urgency.level == new


async def test_it_goes_into_the_note(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "4", "0", "left", "K", *"letter 2021", "enter", "s")
        await pilot.pause()
        saved = app.ward.examinations("patient1")[-1]
        assert saved.finding("biceps", "right").known == "letter 2021"
        assert "known before: letter 2021" in " ".join(app.screen.shown.split())
