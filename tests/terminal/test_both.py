"""Both sides armed: seen, ended by whatever leaves the cell, and undone as one keystroke."""

import pytest

from tests.terminal.screens import dump, found
from wardexam.terminal.examine import view


def cursor_cells(app) -> int:
    """How many cells of the row under the cursor are drawn as the cursor's."""
    state, height = app.screen.state, app.size.height
    line = view.grid(state, height, app.glyphs).grades[1 + state.line_at(height)]
    return sum(1 for text, style in line if style == "cursor" and text.strip())


async def test_it_is_seen_in_both_cells_and_in_the_last_line(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "m", "1")
        assert cursor_cells(app) == 1
        await pilot.press("b")
        assert cursor_cells(app) == 2
        assert dump(app)[-1].startswith("BOTH SIDES  0 absent  1 reduced  2 normal")
        assert dump(app)[-2].startswith("The next grade goes to both sides.")
        await pilot.press("b")
        assert cursor_cells(app) == 1
        assert "BOTH" not in dump(app)[-1]


@pytest.mark.parametrize(
    "keys",
    [
        ["down", "up"], ["right", "left"], ["tab", "shift+tab"], ["f", "f"], ["m", "1"], ["g", "b"], ["space", "up"],
        ["c", "escape"], ["w", "escape"], ["i", "escape"], ["t", "slash", *"biceps", "enter"], ["slash", *"biceps", "enter"],
    ],
    ids=lambda keys: " ".join(keys),
)  # fmt: skip
async def test_any_move_part_question_or_flag_page_ends_it(app, keys):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "m", "1", "b", *keys)
        assert "BOTH" not in dump(app)[-1]
        app.screen.go("biceps", "right")
        await pilot.press("0")
        assert found(app) == {("biceps", "right"): "0"}


async def test_a_click_ends_it(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "m", "1", "b")
        app.screen.click(26, 6)
        assert "BOTH" not in dump(app)[-1]
        await pilot.press("0")
        assert len(found(app)) == 1


async def test_a_key_that_is_no_grade_leaves_it_armed_and_seen(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "m", "1", "b", "9")
        assert dump(app)[-1].startswith("BOTH SIDES")
        await pilot.press("0")
        assert found(app) == {("biceps", "right"): "0", ("biceps", "left"): "0"}
        assert "BOTH" not in dump(app)[-1]


async def test_a_sign_in_the_midline_has_no_sides_to_arm(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "m", "1")
        app.screen.go("gait", "midline")
        await pilot.press("b")
        assert dump(app)[-2].startswith("This row has one cell")
        assert "BOTH" not in dump(app)[-1]


async def test_both_are_undone_and_done_again_as_the_one_keystroke_they_were(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "m", "1", "2", "down", "b", "0")
        both = {("brachioradialis", "right"): "0", ("brachioradialis", "left"): "0"}
        assert found(app) == {("biceps", "right"): "2+"} | both
        await pilot.press("u")
        assert found(app) == {("biceps", "right"): "2+"}
        assert dump(app)[-2].startswith("Undone: both brachioradialis 0.")
        await pilot.press("u")
        assert found(app) == {}
        await pilot.press("U", "U")
        assert found(app) == {("biceps", "right"): "2+"} | both
        await pilot.press("U")
        assert dump(app)[-2].startswith("Nothing done again")


async def test_not_testable_and_a_quality_go_to_both_as_well(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "m", "1", "b", "x", "c")
        reasons = {f.key: f.not_testable for f in app.screen.state.examination.findings}
        assert reasons == {("biceps", "right"): "cast", ("biceps", "left"): "cast"}
        assert "   both biceps not testable: cast" in dump(app)[-2]
        await pilot.press("b", "1", "r")
        held = {f.sign + f.side: f.qualities for f in app.screen.state.examination.findings}
        assert held["brachioradialisright"] == held["brachioradialisleft"] == ("reinforced",)
        assert "   both brachioradialis: only with reinforcement" in dump(app)[-2]
        await pilot.press("u")
        assert not any(f.qualities for f in app.screen.state.examination.findings)


async def test_reinforcement_marks_the_cell_that_the_cursors_line_names(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(
            "j", "enter", "m", "1", "1", "1", "up", "left", "1"
        )  # the cursor is on a graded cell
        assert "left biceps  C5-C6   right biceps 1+" in dump(app)[-2]
        await pilot.press("r")
        held = {f.side: f.qualities for f in app.screen.state.examination.findings}
        assert held == {"right": ("reinforced",), "left": ()}
        await pilot.press("down", "up", "right")
        assert dump(app)[-2].startswith("left biceps: C5-C6")
        await pilot.press("r")
        held = {f.side: f.qualities for f in app.screen.state.examination.findings}
        assert held == {"right": ("reinforced",), "left": ("reinforced",)}
