"""The lines above the grid: which examination, kept when, how much done, and what is still to be asked."""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.terminal.screens import NOW, demo_app, dump, settled
from wardexam.exam.examination import Patient
from wardexam.exam.flags import flags
from wardexam.reasoning.rules.asking import order
from wardexam.terminal.canvas import plain
from wardexam.terminal.examine import view
from wardexam.terminal.examine.state import State
from wardexam.visit import Visit

SIZES = pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
BORN_FIRST = Patient(id="patient1", bed="A0", name="Ana Invented", number="40-1", age=40, sex="female", admitted=NOW)  # fmt: skip


@pytest.fixture
def app(tmp_path):
    made = demo_app(tmp_path / "ward", empty=True)
    made.ward.admit(BORN_FIRST, "test")
    return made


@SIZES
async def test_a_first_examination_a_resumed_one_a_later_one_and_an_amended_one_are_told_apart(
    app, size
):
    async with app.run_test(size=size) as pilot:
        await pilot.press("enter")
        assert dump(app)[0].startswith("A0 Ana Invented no. 40-1 40 f  first examination ")
        assert "kept" not in dump(app)[0]
        assert dump(app)[0].endswith("  0 of 14")
        await pilot.press("4", "2", "0")
        await settled(pilot)
        assert dump(app)[0].endswith("  kept 14:00  2 of 14")
        await pilot.press("q", "enter")
        assert "  first examination, resumed" in dump(app)[0]
        await pilot.press("s", "q")
        app.session = replace(app.session, now=lambda: NOW + timedelta(hours=4))
        await pilot.press("enter")
        assert "  examination 2, last 4 h ago" in dump(app)[0]
        await pilot.press("2", "s", "q", "n", "left", "M")
        assert "  AMENDING 1 of 2" in dump(app)[0]


async def test_that_it_is_amended_is_said_whatever_else_has_no_room(app):
    long = BORN_FIRST.model_copy(
        update={"id": "patient2", "bed": "A1", "name": "W" * 60, "number": "9" * 24}
    )
    app.ward.admit(long, "test")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "down", "2", "s", "M")
        assert "AMENDING 1 of 1" in dump(app)[0]
        assert "9" * 24 in dump(app)[0]


@SIZES
async def test_what_is_asked_stands_in_the_order_in_which_it_matters_and_whole(app, size):
    async with app.run_test(size=size) as pilot:
        await pilot.press("enter", "down", *"222222", "0")
        await settled(pilot)
        line = dump(app)[2]
        assert line.startswith("Ask  when it began, ")
        assert line.endswith("(37 not asked)  f")
        said = line.removeprefix("Ask  ").partition("  ")[0].removeprefix("when it began, ")
        wanted = [flags()[n].short for n in order(app.screen.state.examination, ())]
        text = ", ".join(wanted)
        assert text.startswith(said)
        assert said in [", ".join(wanted[:n]) for n in range(1, len(wanted))]  # no name cut
        await pilot.press("f", "0")
        await settled(pilot)
        assert dump(app)[2].endswith("(36 not asked)  f")
        assert f" {wanted[0]}," not in dump(app)[2]
        # The page of the flags asks in the same order.
        assert [row.short for row in app.screen.state.rows][:3] == wanted[:3]


def test_every_flag_asked_and_the_onset_known_leave_nothing_to_ask(app):
    from wardexam.exam.entry import Change

    state = State(Visit.open(app.session, "patient1"))
    assert plain(view.asks_line(state, tuple(flags()), 80, "f")).startswith("Ask  when it began, ")
    state.visit.change(Change("context", "onset", "days"))
    for name in flags():
        state.visit.change(Change("flag", name, "no"))
    assert plain(view.asks_line(state, tuple(flags()), 80, "f")) == "All flags asked."


@pytest.mark.parametrize(
    ("told", "undated", "asks"),
    [
        (False, True, "when it began, "),
        (True, True, "when what is new began (w), "),
        (True, False, "when it began, "),
    ],
)
def test_later_in_a_stay_it_is_asked_at_once_when_what_is_new_began(app, told, undated, asks):
    from wardexam.exam.entry import Change

    visit = Visit.open(app.session, "patient1")
    if told:
        visit.change(Change("context", "onset", "longer"))
        visit.save(None)
        visit = Visit.open(app.session, "patient1")
    if undated:
        visit.change(Change("finding", "face_lower right", _finding("face_lower", "3")))
    state = State(visit)
    began = view.began_text(state, visit.case.urgency(), "w")
    assert plain(view.asks_line(state, tuple(flags()), 80, "f", began)).startswith(f"Ask  {asks}")


def _finding(sign: str, answer: str) -> dict[str, str]:
    return {"sign": sign, "side": "right", "answer": answer}


@pytest.mark.parametrize(
    ("key", "style"), [("2", ""), ("0", "strong"), ("3", "strong"), (None, "quiet")]
)
async def test_what_is_abnormal_is_heavier_than_what_is_usual_and_not_examined_quieter(
    app, key, style
):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "down", *([key] if key else ["right"]), "down")
        state = app.screen.state
        line = view.grid(state, 24, app.glyphs).grades[2]
        assert line[0][1] == style
        assert line[0][0].strip() == {"2": "2+", "0": "0", "3": "3+", None: "."}[key]


async def test_a_sign_in_the_midline_has_one_cell_between_right_and_left(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("gait", "midline")
        await pilot.press("1", "up")
        lines = dump(app)
        head = next(line for line in lines if "right left" in line)
        row = next(line for line in lines if line[1:].startswith("gait"))
        right, left = head.index("right"), head.index("left")
        assert right < row.index("norm") < left
