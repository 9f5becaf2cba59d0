"""Every screen by its keys, at 80x24 and 120x40."""

import threading
from dataclasses import replace

import pytest
from textual import events

from tests.terminal.screens import demo_app, dump, settled
from tests.terminal.test_trouble import until
from wardexam.exam.row_sets import row_sets
from wardexam.terminal.canvas import Canvas
from wardexam.terminal.examine.actions import ACTIONS
from wardexam.terminal.examine.edits import ahead
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.keys import SCREENS, action_of
from wardexam.terminal.screens.reasons import ReasonsScreen
from wardexam.terminal.screens.text import TextScreen
from wardexam.terminal.screens.ward import WardScreen

SIZES = [(80, 24), (100, 30), (120, 40)]
CORE = [(s.id, side) for s in row_sets()["core"].signs for side in ("right", "left")]


@pytest.fixture
def app(tmp_path):
    return demo_app(tmp_path / "ward")


def answers(app):
    return {f.key: f.answer for f in app.screen.state.examination.findings}


@pytest.mark.parametrize("size", SIZES)
async def test_the_ward_list_fits_and_names_everyone(app, size):
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        lines = dump(app)
        assert len(lines) == size[1]
        assert "12 patients, by bed" in lines[0]
        assert any(
            line.strip().startswith("A1") and "NOW" in line and "worse" in line for line in lines
        )
        assert "q quit" in lines[-1] or "a admit" in lines[-1]


async def test_an_empty_ward_says_what_to_do(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert any("Press a to admit" in line for line in dump(app))
        await pilot.press(
            "a", *"B7", "enter", *"Mo Invented", "enter", *"40-1", "enter", *"50", "enter", "enter",
            *"4", "enter",
        )  # fmt: skip
        assert any("B7" in line and "Mo Invented" in line for line in dump(app))


async def test_order_search_discharge_and_restore(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("o")
        assert "by urgency" in dump(app)[0]
        await pilot.press("slash", *"keane", "enter")
        assert "1 patients" in dump(app)[0]
        await pilot.press("d", *"no", "enter")
        assert "Nothing was changed" in dump(app)[-2]
        await pilot.press("d", *"yes", "enter")
        assert "Discharged" in dump(app)[-2]
        await pilot.press("x")
        assert any("Keane" in line for line in dump(app))
        await pilot.press("d", *"yes", "enter", "x")
        assert any("Keane" in line for line in dump(app))


async def test_keys_typed_ahead_never_discharge(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("d", *"222y", "enter")
        assert len(app.ward.beds()) == 12


@pytest.mark.parametrize("size", SIZES)
async def test_a_core_examination_from_list_to_copied_note_takes_one_key_a_finding_and_three(
    app, size
):
    async with app.run_test(size=size) as pilot:
        keys = ["enter", *"22222222201100", "s", "c"]
        await pilot.press(*keys)
        assert len(keys) <= len(CORE) + 5
        assert isinstance(app.screen, TextScreen)
        assert "ankle S1" in app.clipboard
        assert "2+        0" in app.clipboard
        saved = app.ward.examinations(app.ward.beds()[0].patient_id)[-1]
        assert {f.key for f in saved.findings} == set(CORE)
        assert app.ward.drafts() == ()


async def test_the_panel_follows_every_key_and_rules_nothing_out(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j", "enter", *"22222220")
        await settled(pilot)
        text = "\n".join(dump(app))
        assert "left L4 root" in text
        assert (
            "Sides differ: knee: right 2+, left 0" in " ".join(text.split())
            or "knee: right 2+" in text
        )
        assert "Next (t):" in text
        assert "37 flags not asked (f)" in text
        panel = " ".join(line.strip() for line in app.screen.canvas("panel").text())
        assert "Rules nothing out. Follow local policy." in panel
        assert len(app.screen.canvas("panel").text()) <= app.screen.canvas("panel").size.height


async def test_a_wrong_key_changes_nothing_and_says_what_is_accepted(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "9")
        assert answers(app) == {}
        assert "0 1 1+ 2 2+" in dump(app)[-2]
        await pilot.press("W")
        assert answers(app) == {}
        assert "no such key" in dump(app)[-2]


async def test_undo_says_what_it_undid_and_redo_brings_it_back(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2", "0", "u")
        assert answers(app) == {("biceps", "right"): "2+"}
        assert "Undone: left biceps 0." in dump(app)[-2]
        await pilot.press("U")
        assert answers(app)["biceps", "left"] == "0"


async def test_both_sides_reinforcement_not_testable_and_clear(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "b", "1", "r")
        assert answers(app) == {("biceps", "right"): "1+", ("biceps", "left"): "1+"}
        assert app.screen.state.examination.finding("biceps", "left").qualities == ("reinforced",)
        await pilot.press("x", "c")
        assert (
            app.screen.state.examination.finding("brachioradialis", "right").not_testable == "cast"
        )
        await pilot.press("left", "full_stop")
        assert ("brachioradialis", "right") not in {
            f.key for f in app.screen.state.examination.findings
        }


async def test_moving_never_grades(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(
            "enter",
            "down",
            "j",
            "k",
            "up",
            "left",
            "right",
            "h",
            "l",
            "tab",
            "shift+tab",
            "m",
            "f",
            "f",
            "space",
            "o",
            "g",
            "k",
        )
        assert app.screen.visit.draft.sent == 0
        assert app.screen.state.row.id == "knee"


async def test_levels_numbers_and_flags_are_typed(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("level_pin", "right")
        await pilot.press("enter", *"t10", "enter")
        assert answers(app)["level_pin", "right"] == "T10"
        app.screen.go("post_void_residual", "midline")
        await pilot.press("enter", *"310", "enter")
        assert app.screen.state.examination.finding("post_void_residual", "midline").amount == 310
        await pilot.press("f", "1", "n", "y")
        assert list(app.screen.state.examination.flags.values()) == ["yes", "no", "yes"]


async def test_a_statement_for_a_limb_is_made_withdrawn_and_refused(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "e")
        assert [s.limb for s in app.screen.state.examination.rest_normal] == ["right arm"]
        assert answers(app) == {}
        await pilot.press("e")
        assert app.screen.state.examination.rest_normal == ()
        app.screen.go("saddle", "right")
        await pilot.press("e")
        assert "Refused" in dump(app)[-2]


async def test_the_suggestion_enters_the_note_only_when_accepted(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j", "enter", *"22222220")
        await settled(pilot)
        assert app.screen.state.examination.suggestion == ""
        await pilot.press("a")
        assert "compatible with" in app.screen.state.examination.suggestion
        await pilot.press("a")
        assert app.screen.state.examination.suggestion == ""


async def test_leaving_keeps_a_draft_that_the_list_offers(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2", "2", "escape")
        assert isinstance(app.screen, WardScreen)
        await pilot.press("enter")
        assert answers(app) == {("biceps", "right"): "2+", ("biceps", "left"): "2+"}
        assert "resumed" in dump(app)[-2]


async def test_a_burst_of_keys_lands_on_the_right_cells_in_order(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        for key in ["2", "down", "0", "down", "3", "up", "1"]:
            app.post_message(events.Key(key, key if len(key) == 1 else None))
        await pilot.pause()
        await pilot.pause()
        assert answers(app) == {
            ("biceps", "right"): "2+", ("brachioradialis", "left"): "0", ("knee", "right"): "3+",
            ("triceps", "left"): "1+",
        }  # fmt: skip


async def test_a_pasted_block_is_ignored_in_the_grid(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.post_message(events.Paste("2222"))
        await pilot.pause()
        assert answers(app) == {}
        assert "ignored" in dump(app)[-2]


async def test_too_small_says_what_it_needs_and_keeps_everything(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2")
        await pilot.resize_terminal(79, 23)
        assert await until(pilot, lambda: "Needs 80 x 24, has 79 x 23" in dump(app)[0])
        await pilot.resize_terminal(80, 24)
        assert await until(pilot, lambda: "biceps" in "\n".join(dump(app)))
        assert answers(app) == {("biceps", "right"): "2+"}


@pytest.mark.parametrize(
    ("key", "word"),
    [
        ("n", "NEUROLOGICAL"),
        ("v", "worse"),
        ("y", "HANDOVER"),
        ("question_mark", "examine"),
        ("z", "Hidden"),
    ],
)
async def test_the_other_screens_open_and_close(app, key, word):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(key)
        await pilot.pause()
        assert word in "\n".join(dump(app))
        await pilot.press("q")
        await pilot.pause()
        assert isinstance(app.screen, WardScreen)


async def test_before_the_first_reading_the_panel_says_that_it_is_worked_out(app, monkeypatch):
    from wardexam.terminal import thinking

    go = threading.Event()

    def late():
        go.wait(20)
        raise RuntimeError("never mind")

    monkeypatch.setattr(thinking, "engine", late)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        assert "Nothing entered yet." in "\n".join(dump(app))
        await pilot.press("2")
        assert "Working it out .." in "\n".join(dump(app))
        go.set()


async def test_the_reading_for_the_next_grade_is_there_before_the_key(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2")
        await settled(pilot)
        screen, reader = app.screen, app.screen.reader
        for keys in ((), ("g", "k"), ("b",), ("f",)):
            await pilot.press(*keys)
            wanted = list(ahead(screen.state, screen.state.examination))
            assert len(wanted) >= 2
            for _ in range(400):
                if all(map(reader.known, wanted)):
                    break
                await pilot.pause(0.02)
            assert all(map(reader.known, wanted))
        before = reader.reading
        await pilot.press("1")
        assert reader.current
        assert reader.reading is not before


async def test_an_urgency_foreseen_is_the_urgency_there_is(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j", "enter", "g", "p")
        await settled(pilot)
        state, reader = app.screen.state, app.screen.reader
        wanted = list(ahead(state, state.examination))
        for _ in range(400):
            if all(map(reader.foreseen, wanted)):
                break
            await pilot.pause(0.02)
        await pilot.press("1")  # the right plantar down, as most are
        assert reader.urgency is reader.foreseen(state.examination)[1]
        assert reader.urgency == app.screen.visit.case.urgency(reader.reading)


async def test_without_reasoning_the_grid_works_on(app, monkeypatch):
    from wardexam import ready

    def broken():
        raise RuntimeError("broken tables")

    monkeypatch.setattr(ready, "engine", broken)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2")
        for _ in range(100):
            await pilot.pause(0.02)
            if "Reasoning unavailable" in "\n".join(dump(app)):
                break
        assert "Reasoning unavailable" in "\n".join(dump(app))
        assert answers(app) == {("biceps", "right"): "2+"}


@pytest.mark.parametrize("name", SCREENS)
def test_no_key_does_two_things_and_every_action_is_done(name):
    screens = {
        "ward": WardScreen, "examine": ExamineScreen, "text": TextScreen, "reasons": ReasonsScreen,
    }  # fmt: skip
    screen = screens[name]
    for action in action_of(SCREENS[name]).values():
        assert action in ACTIONS or hasattr(screen, f"do_{action}"), action


def test_no_letter_of_an_escape_sequence_writes():
    # xterm control sequences end in these; one cut in two must not grade or clear.
    for name, rows in SCREENS.items():
        for key in action_of(rows):
            assert key not in {*"ABCDFHMPQRSO", "left_square_bracket", "tilde"}, (name, key)


async def test_in_ascii_every_character_is_ascii(app):
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.press("enter", *"2203")
        await settled(pilot)
        assert all(line.isascii() for line in dump(app))


async def test_the_context_is_asked_in_words(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(
            "enter", "w", *"days", "enter", *"weak_leg", "enter", *"left", "enter", *"y", "enter"
        )
        context = app.screen.state.examination.context
        assert (context.onset, context.complaint, context.complaint_side) == (
            "days",
            "weak_leg",
            "left",
        )
        assert context.bears_weight == "yes"


async def test_an_amendment_is_a_further_revision_with_its_reason(app):
    async with app.run_test(size=(80, 24)) as pilot:
        bed = app.ward.beds()[0].patient_id
        before = app.ward.examinations(bed)
        await pilot.press("n", "m")
        assert isinstance(app.screen, ExamineScreen)
        await pilot.press("3", "s", *"misread", "enter")
        assert "amended 2026-03-04 14:00 by Dr Test: misread" in " ".join(
            "\n".join(dump(app)).split()
        )
        after = app.ward.examinations(bed)
        assert (len(after), after[-1].revision) == (len(before), 2)
        assert app.ward.revisions(bed, after[-1].id)[0] == before[-1]


async def test_what_another_wrote_cannot_move_the_cursor(app):
    evil = "Dr\x1b[2J\x9b31m\x07"
    async with app.run_test(size=(80, 24)) as pilot:
        app.session = replace(app.session, examiner=evil)
        await pilot.press("enter", "2", "q", "enter")
        assert "resumed" in dump(app)[-2]
        for canvas in app.screen.query(Canvas):
            for y in range(canvas.size.height):
                assert all(c.isprintable() for c in canvas.render_line(y).text)


async def test_a_patient_being_examined_elsewhere_gets_an_examination_of_their_own(app):
    bed = app.ward.beds()[0].patient_id
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2")
        theirs = app.screen.visit.draft
        app.examine(bed)
        await pilot.pause()
        assert app.screen.visit.draft.path != theirs.path
        assert answers(app) == {}


async def test_a_detail_that_cannot_be_is_asked_again_and_the_others_stay(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("a", "enter")
        assert "Not empty. Bed:" in dump(app)[-2]
        await pilot.press(
            *"B7", "enter", *"Mo Invented", "enter", "enter", "enter", *"old", "enter"
        )
        assert "'old' is no whole number. Age" in dump(app)[-2]
        await pilot.press(*["backspace"] * 3, *"300", "enter")
        assert "120" in dump(app)[-2]
        await pilot.press(*["backspace"] * 3, *"52", "enter", *"f", "enter", "0", "enter")
        assert "Re-examine" in dump(app)[-2]
        await pilot.press("backspace", "4", "enter")
        (bed,) = app.ward.beds()
        assert (bed.bed, bed.name, bed.age, bed.sex) == ("B7", "Mo Invented", 52, "female")
        assert bed.recheck_hours == 4
