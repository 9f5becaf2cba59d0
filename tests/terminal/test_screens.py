"""Every screen by its keys, at 80x24 and 120x40."""

import threading
from dataclasses import replace

import pytest
from textual import events

from tests.terminal.admitting import ADMIT, EDIT, presses
from tests.terminal.screens import demo_app, dump, settled
from tests.terminal.test_trouble import until
from wardexam.exam.entry import Change
from wardexam.exam.row_sets import row_sets
from wardexam.terminal.canvas import Canvas
from wardexam.terminal.examine.actions import ACTIONS
from wardexam.terminal.examine.edits import Edit, ahead
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.injury.screen import InjuryScreen
from wardexam.terminal.keys import SCREENS, action_of
from wardexam.terminal.screens.reasons import ReasonsScreen
from wardexam.terminal.screens.text import NoteScreen, TextScreen
from wardexam.terminal.screens.ward import WardScreen

SIZES = [(80, 24), (100, 30), (120, 40)]
CORE = [(s.id, side) for s in row_sets()["core"].signs for side in ("right", "left")]


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
            line[1:].startswith("A1 ") and "NOW" in line and "worse" in line for line in lines
        )
        assert "q quit" in lines[-1] or "A admit" in lines[-1]


async def test_an_empty_ward_says_what_to_do(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert any(f"Press {ADMIT} to admit" in line for line in dump(app))
        await pilot.press(*presses("B7", "Mo Invented", "40-1", "50"))
        assert any("B7" in line and "Mo Invented" in line for line in dump(app))


async def test_order_search_discharge_and_restore(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("O")
        assert "by urgency" in dump(app)[0]
        await pilot.press("slash", *"keane", "enter")
        assert "1 of 12 patients," in dump(app)[0]
        await pilot.press("D", *"no", "enter")
        assert "Nothing was changed" in dump(app)[-2]
        await pilot.press("D", *"yes", "enter")
        assert "Discharged" in dump(app)[-2]
        await pilot.press("X")
        assert any("Keane" in line for line in dump(app))
        await pilot.press("D", *"yes", "enter", "X")
        assert any("Keane" in line for line in dump(app))


async def test_keys_typed_ahead_never_discharge(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("D", *"222y", "enter")
        assert len(app.ward.beds()) == 12


@pytest.mark.parametrize("size", SIZES)
async def test_a_core_examination_from_list_to_copied_note_takes_one_key_a_finding_and_three(
    app, size
):
    async with app.run_test(size=size) as pilot:
        keys = ["enter", "m", "1", *"22222222201100", "s", "C"]
        await pilot.press(*keys)
        assert len(keys) <= len(CORE) + 5
        assert isinstance(app.screen, TextScreen)
        said = "ankle jerk normal (2+) on the right, absent (0) on the left"
        assert said in " ".join(app.clipboard.split())
        saved = app.ward.examinations(app.ward.beds()[0].patient_id)[-1]
        assert {f.key for f in saved.findings} == set(CORE)
        assert app.ward.drafts() == ()


async def test_the_panel_follows_every_key_and_rules_nothing_out(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j", "enter", "m", "1", *"22222220")
        await settled(pilot)
        text = "\n".join(dump(app))
        assert "left roots" in text
        said = " ".join(" ".join(app.screen.canvas("panel").text()).split())
        assert "Sides differ knee: right 2+, left 0" in said
        assert "Next (t)  " in text
        assert "(37 not asked)  f" in text
        panel = " ".join(line.strip() for line in app.screen.canvas("panel").text())
        assert "Rules nothing out. Follow local policy." in panel
        assert len(app.screen.canvas("panel").text()) <= app.screen.canvas("panel").size.height


async def test_a_wrong_key_changes_nothing_and_says_what_is_accepted(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "9")
        assert answers(app) == {}
        assert (
            f"{app.screen.state.row.name}: here 0 absent  1 reduced  2 normal  3 brisk"
            in dump(app)[-2]
        )
        await pilot.press("W")
        assert answers(app) == {}
        assert "no such key" in dump(app)[-2]


async def test_undo_says_what_it_undid_and_redo_brings_it_back(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "1", "2", "0", "u")
        assert answers(app) == {("biceps", "right"): "2+"}
        assert "Undone: left biceps 0." in dump(app)[-2]
        await pilot.press("U")
        assert answers(app)["biceps", "left"] == "0"


async def test_both_sides_reinforcement_not_testable_and_clear(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "1", "b", "1", "r")
        assert answers(app) == {("biceps", "right"): "1+", ("biceps", "left"): "1+"}
        assert app.screen.state.examination.finding("biceps", "left").qualities == ("reinforced",)
        await pilot.press("x", "c")
        assert (
            app.screen.state.examination.finding("brachioradialis", "right").not_testable == "cast"
        )
        await pilot.press("up", "full_stop")
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
        await pilot.press("enter", "m", "1", "e")
        assert [s.limb for s in app.screen.state.examination.rest_normal] == ["right arm"]
        assert answers(app) == {}
        await pilot.press("e")
        assert app.screen.state.examination.rest_normal == ()
        app.screen.go("saddle", "right")
        await pilot.press("e")
        assert "Refused" in dump(app)[-2]


async def test_the_suggestion_enters_the_note_only_when_accepted(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j", "enter", "m", "1", *"22222220")
        await settled(pilot)
        assert app.screen.state.examination.suggestion == ""
        await pilot.press("a")
        assert "compatible with" in app.screen.state.examination.suggestion
        await pilot.press("a")
        assert app.screen.state.examination.suggestion == ""


async def test_an_accepted_suggestion_that_falls_is_told_in_the_panel_until_it_is_accepted_anew(
    app,
):
    fell = "Suggestion out of the note: more was entered. a accepts anew."

    def told():
        return fell in " ".join(" ".join(line[51:] for line in dump(app)[3:-2]).split())

    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j", "enter", "m", "1", *"22222220")
        await settled(pilot)
        await pilot.press("a")
        assert not told()
        await pilot.press("2")  # a grade more
        assert told()
        assert fell in dump(app)[-2]
        await pilot.press("j")  # and after the next key, when the status line says something else
        assert told()
        await settled(pilot)
        await pilot.press("a")
        assert not told()
        await pilot.press("f", "0")  # a flag: the line that asks the next gives way
        assert told()
        assert fell in dump(app)[-2]
        await pilot.press("u", "f")
        assert not told()
        await pilot.press("w", "1", "1", "escape")  # two answers of the story
        assert told()


async def test_right_and_left_are_swapped_after_a_yes_and_back_by_one_undo(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j", "j", "enter", "m", "1", "2", "0", "1")
        begun = {
            ("biceps", "right"): "2+",
            ("biceps", "left"): "0",
            ("brachioradialis", "right"): "1+",
        }
        assert answers(app) == begun
        await pilot.press("less_than_sign")
        assert "Swap right and left in 3 findings?" in dump(app)[-2]
        await pilot.press("n")
        assert answers(app) == begun
        await pilot.press("less_than_sign", "y")
        assert "Right and left swapped in 3 findings." in dump(app)[-2]
        assert answers(app) == {
            ("biceps", "right"): "0", ("biceps", "left"): "2+", ("brachioradialis", "left"): "1+"
        }  # fmt: skip
        await pilot.press("u")
        assert answers(app) == begun


async def test_where_right_and_left_are_alike_nothing_is_asked(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j", "enter", "m", "1", "2", "2", "less_than_sign")
        assert "there is nothing to swap" in dump(app)[-2]


async def test_leaving_keeps_a_draft_that_the_list_offers(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "1", "2", "2", "escape")
        assert isinstance(app.screen, WardScreen)
        await pilot.press("enter")
        assert answers(app) == {("biceps", "right"): "2+", ("biceps", "left"): "2+"}
        assert "resumed" in dump(app)[-2]


async def test_a_burst_of_keys_lands_on_the_right_cells_in_order(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "1")
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
        await pilot.press("enter", "m", "1", "2")
        await pilot.resize_terminal(79, 23)
        assert await until(pilot, lambda: "Needs 80 x 24, has 79 x 23" in dump(app)[0])
        await pilot.resize_terminal(80, 24)
        assert await until(pilot, lambda: "biceps" in "\n".join(dump(app)))
        assert answers(app) == {("biceps", "right"): "2+"}


@pytest.mark.parametrize(
    ("key", "word"),
    [
        ("n", "NEUROLOGICAL"),
        ("V", "Worse"),
        ("H", "HANDOVER"),
        ("question_mark", "examine"),
        ("Z", "Hidden"),
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
        assert "Working it out." in "\n".join(dump(app))
        go.set()


QUICK = (
    "wardexam.terminal.thinking.QUICK"  # beyond it, as beside other tests, nothing is read ahead
)


async def test_the_reading_for_the_next_grade_is_there_before_the_key(app, monkeypatch):
    monkeypatch.setattr(QUICK, 60.0)
    monkeypatch.setattr("os.getloadavg", lambda: (0.0, 0.0, 0.0))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "1", "2")
        await settled(pilot)
        screen, reader = app.screen, app.screen.reader
        for keys in ((), ("g", "k"), ("b",), ("f",)):
            await pilot.press(*keys)
            wanted = list(ahead(screen.state, screen.state.examination))
            assert wanted
            for _ in range(400):
                if all(map(reader.known, wanted)):
                    break
                await pilot.pause(0.02)
            assert all(map(reader.known, wanted))
        before = reader.reading
        await pilot.press("1")
        assert reader.current
        assert reader.reading is not before


async def test_an_urgency_foreseen_is_the_urgency_there_is(app, monkeypatch):
    monkeypatch.setattr(QUICK, 60.0)
    monkeypatch.setattr("os.getloadavg", lambda: (0.0, 0.0, 0.0))
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
        await pilot.press("enter", "m", "1", "2")
        for _ in range(100):
            await pilot.pause(0.02)
            if "Reasoning unavailable" in "\n".join(dump(app)):
                break
        assert "Reasoning unavailable" in "\n".join(dump(app))
        assert answers(app) == {("biceps", "right"): "2+"}


@pytest.mark.parametrize("name", SCREENS)
def test_no_key_does_two_things_and_every_action_is_done(name):
    screens = {
        "ward": WardScreen, "examine": ExamineScreen, "text": NoteScreen, "reasons": ReasonsScreen,
        "injury": InjuryScreen,
    }  # fmt: skip
    screen = screens[name]
    for action in action_of(SCREENS[name]).values():
        assert action in ACTIONS or hasattr(screen, f"do_{action}"), action


def test_no_letter_of_an_escape_sequence_writes():
    # xterm control sequences end in these; one cut in two must not grade or clear.
    writes = {"set_aside", "mark", "leave"}  # beyond the grid: all other actions open, show or ask
    for name, rows in SCREENS.items():
        for key, action in action_of(rows).items():
            if name in ("examine", "injury") or action in writes or not key.isalpha():
                assert key not in {*"ABCDFHMPQRSO", "left_square_bracket", "tilde"}, (name, key)


async def test_in_ascii_every_character_is_ascii(app):
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.press("enter", *"2203")
        await settled(pilot)
        assert all(line.isascii() for line in dump(app))


async def test_an_amendment_is_a_further_revision_with_its_reason(app):
    async with app.run_test(size=(80, 24)) as pilot:
        bed = app.ward.beds()[0].patient_id
        before = app.ward.examinations(bed)
        await pilot.press("n", "M")
        assert isinstance(app.screen, ExamineScreen)
        await pilot.press("2", "s", *"misread", "enter")
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
        await pilot.press("enter", "m", "1", "2")
        theirs = app.screen.visit.draft
        app.examine(bed)
        await pilot.pause()
        assert app.screen.visit.draft.draft_id != theirs.draft_id
        assert answers(app) == {}


async def test_a_detail_that_cannot_be_is_asked_again_and_the_others_stay(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(ADMIT, "enter")
        assert dump(app)[-3].startswith("! The bed is needed")
        await pilot.press(*"B7", "enter", *"Mo Invented", "enter", "enter", *"old", "enter")
        assert dump(app)[-3].startswith("! 'old' is neither an age, a birth date nor a sex")
        assert dump(app)[-2].startswith("No number:")
        assert dump(app)[-2].rstrip().endswith("old")
        await pilot.press(*["backspace"] * 3, *"300", "enter")
        assert "120" in dump(app)[-3]
        await pilot.press(*["backspace"] * 3, *"f 52", "enter", "enter")
        (bed,) = app.ward.beds()
        assert (bed.bed, bed.name, bed.age, bed.sex) == ("B7", "Mo Invented", 52, "female")
        await pilot.press(EDIT, *["enter"] * 5, "0", "enter")
        assert "Re-examine" in dump(app)[-2]
        await pilot.press("backspace", "4", "enter")
        (bed,) = app.ward.beds()
        assert bed.recheck_hours == 4


async def test_an_examination_in_which_nothing_was_entered_is_not_saved(app):
    async with app.run_test(size=(80, 24)) as pilot:
        before = app.ward.beds()[0]
        await pilot.press("enter", "s")
        assert "Nothing was entered: nothing is saved." in dump(app)[-2]
        await pilot.press("i", *"tired", "enter", "s")
        assert "No sign was examined and no flag asked." in " ".join(dump(app)[-3:])
        await pilot.press("n", "q")
        assert app.ward.beds()[0].summary == before.summary


async def test_a_correction_after_undo_lands_where_what_was_wrong_stood(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "1", "3", "u")
        assert "Undone: right biceps 3+" in dump(app)[-2]
        await pilot.press("2")
        assert answers(app) == {("biceps", "right"): "2+"}


async def test_escape_ends_a_search_of_the_ward(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("slash", *"nobody", "enter")
        assert "0 of 12 patients" in dump(app)[0]
        await pilot.press("escape")
        assert "  12 patients, by bed" in dump(app)[0]


async def test_what_cannot_be_both_is_said_at_the_cursor_when_it_is_entered(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j", "enter", "m", "1")
        screen = app.screen
        jerk = {"sign": "ankle", "side": "left", "answer": "0", "scale": "conventional"}
        clonus = {"sign": "clonus_ankle", "side": "left", "answer": "sustained"}
        screen.write(Edit(Change("finding", "ankle left", jerk), "left ankle 0"))
        assert "Both" not in screen.said
        screen.write(Edit(Change("finding", "clonus_ankle left", clonus), "left clonus"))
        await pilot.pause()
        assert "Both left ankle 0 and ankle clonus sustained?" in "\n".join(dump(app))
