"""The rest of the examination on the screen: statements, sums, numbers, jumps, and what is saved of them."""

import pytest

from tests.terminal.screens import NOW, dump, settled, status
from wardexam.exam.examination import Patient
from wardexam.exam.row_sets import row_sets
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.examine.state import SET_KEYS


def shown(app, sign):
    """The line of a sign on the grid."""
    row = next(n for n, r in enumerate(app.screen.state.rows) if r.id == sign)
    _, first = app.screen.state.window(app.size.height)
    return dump(app)[4 + app.screen.state.placed.index(row) - first]


SUM = ["shoulder_abduction", "elbow_flexion", "wrist_extension", "hip_flexion", "knee_extension", "ankle_dorsiflexion"]  # fmt: skip


async def test_the_sum_score_shows_once_its_twelve_movements_are_graded(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        for sign in SUM:
            assert "sum" not in dump(app)[3]
            app.screen.go(sign, "right")
            await pilot.press("4", "4")
        assert dump(app)[3].startswith("Power, sum 48/60")


async def test_a_number_is_typed_where_it_belongs_and_shows_in_its_cell(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter")
        app.screen.go("post_void_residual", "midline")
        await pilot.press(*"480", "enter")
        assert "480" in shown(app, "post_void_residual")[26:37]
        assert "320" in shown(app, "post_void_residual")[38:49]  # the last examination's
        app.screen.go("straight_leg_raise", "right")
        await pilot.press("1", "enter", *"35", "enter")  # graded, moved on, then its angle
        assert "35deg" in shown(app, "straight_leg_raise")
        app.screen.go("clonus_ankle", "left")
        await pilot.press("1", "enter", *"4", "enter")
        assert "few 4" in shown(app, "clonus_ankle")


@pytest.mark.parametrize("text", ["", "x", "9999"])
async def test_a_number_that_cannot_be_changes_nothing(app, text):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("post_void_residual", "midline")
        await pilot.press("enter", *text, "enter")
        assert app.screen.state.examination.findings == ()


@pytest.mark.parametrize(
    ("keys", "levels"),
    [
        (["1", "0", "enter"], {"right": "T10"}),
        (["b", "4", "enter"], {"right": "T4", "left": "T4"}),
        (["enter", *"c5", "enter"], {"right": "C5"}),
        (["b", "enter", *"L1", "enter"], {"right": "L1", "left": "L1"}),
        (["0", "0"], {"right": "none", "left": "none"}),
        (["9", "9", "enter"], {}),
    ],
)
async def test_a_level_takes_few_keys(app, keys, levels):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("level_pin", "right")
        await pilot.press(*keys)
        assert {f.side: f.answer for f in app.screen.state.examination.findings} == levels


async def test_statements_of_every_limb_show_on_their_page_and_leave_cells_blank(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        for sign, side in (
            ("elbow_flexion", "right"),
            ("elbow_flexion", "left"),
            ("knee_extension", "right"),
            ("knee_extension", "left"),
            ("face_lower", "right"),
        ):
            app.screen.go(sign, side)
            await pilot.press("e")
            if app.screen.asking:  # something in that limb was abnormal before
                await pilot.press("y")
        labels = app.screen.canvas("labels").text()
        text = " ".join(" ".join(labels[-4:]).split())
        said = "Rest normal: power of right arm, left arm, right leg, left leg, head"
        assert said in text
        assert app.screen.state.examination.findings == ()
        (first, *_) = app.screen.state.examination.rest_normal
        assert (first.by, first.at) == ("Dr Test", app.session.now())
        assert "5" not in shown(app, "elbow_flexion")[26:37]
        assert len(app.screen.canvas("labels").text()) <= app.screen.canvas("labels").size.height


@pytest.mark.parametrize(
    "sign", ["bladder", "anal_tone", "perianal", "saddle", "pin_S3", "touch_S4_5", "anal"]
)
async def test_a_statement_is_refused_for_sphincters_and_the_saddle(app, sign):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go(sign, "right")
        await pilot.press("e")
        assert "Refused" in status(app)
        assert app.screen.state.examination.rest_normal == ()


async def test_a_statement_is_refused_for_the_flags(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "f", "e")
        assert "Refused" in status(app)


async def test_a_set_of_rows_is_chosen_by_its_number(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        for number, rows in enumerate(row_sets().values(), 1):
            await pilot.press("m")
            key = SET_KEYS[number - 1]
            assert f"{key} {rows.short}" in "  ".join(dump(app)[-3:])
            await pilot.press(key)
            assert app.screen.state.signs == rows.signs
        await pilot.press("m", "x")
        assert "Nothing was changed" in dump(app)[-2]
        assert app.screen.visit.draft.sent == 0


async def test_the_suggested_sign_is_one_key_away_whatever_part_it_is_in(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", *"2222220")
        await settled(pilot)
        wanted, _ = app.screen.reader.reading.next_signs[0].key
        await pilot.press("t")
        # On its right side, whichever is proposed: a pair is typed right before left.
        assert (app.screen.state.row.id, app.screen.state.column) == (wanted, 0)


async def test_the_row_under_the_cursor_is_said_in_full(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("pin_T10", "right")
        await pilot.press("right")
        assert "left pinprick T10: T10, umbilicus" in dump(app)[-2]
        await pilot.press("f", "down")
        assert dump(app)[-2].startswith(app.screen.state.row.ask)


async def test_what_is_saved_in_haste_rests_on_the_last_key(app):
    app.ward.admit(Patient(id="patient0", bed="A0", name="Zo Invented", admitted=NOW), "x")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "w", *"days", "enter", "escape")
        patient = app.screen.visit.patient.id
        for sign, keys in (
            ("knee", "33"),
            ("ankle", "33"),
            ("abdominal_upper", "22"),
            ("abdominal_lower", "00"),
            ("vibration_leg", "11"),
        ):
            app.screen.go(sign, "right")
            for key in keys:
                app.screen.press(key, key)
        app.screen.press("s", "s")  # before any reading has come
        await pilot.pause()
        assert not isinstance(app.screen, ExamineScreen)
        (bed,) = [b for b in app.ward.beds() if b.patient_id == patient]
        assert bed.summary.urgency == 2
        assert bed.summary.headline.startswith("signs may mean")


async def test_worse_than_before_is_said_whatever_is_more_urgent(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "m", "1", *"222222")  # bed A2, with a cauda equina
        assert "before" in dump(app)[3]
        app.screen.go("knee", "right")
        await pilot.press("0")
        assert "now WORSE" in dump(app)[3]
        assert dump(app)[1].startswith(" NOW  due 15:00  possible cauda equina")


async def test_a_larger_screen_says_every_reason_and_every_change(app):
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.press("j", "enter")
        app.screen.go("knee", "right")
        await pilot.press("0", "1")
        await settled(pilot)
        text = " ".join(" ".join(app.screen.canvas("panel").text()).split())
        assert "possible cauda equina" in dump(app)[1]
        assert "(earlier)" in dump(app)[1] + text
        assert "Since 04 Mar 11:00 worse: knee jerk right 2+ to 0, left 2+ to 1+" in text
        assert len(app.screen.canvas("panel").text()) <= 35


async def test_what_was_answered_earlier_stands_beside_a_flag_and_is_no_answer_now(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "enter", "f")  # bed A2
        line = next(line for line in dump(app)[4:] if "saddle numbness" in line)
        assert line[26:37].strip() == "not asked"
        assert line[38:49].strip() == "yes"
        assert app.screen.state.examination.flags == {}


async def test_the_flags_are_asked_in_an_order_that_stays_while_they_are_answered(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j", "enter")  # bed A3, a pain in the back and the leg
        await pilot.press("f")
        asked = [row.id for row in app.screen.state.rows]
        assert {"saddle_numb", "bladder_bowel", "pain_both_legs"} <= set(asked[:8])
        assert dump(app)[3].startswith("Red flags, 37 not asked ")
        await pilot.press("1", "0", "0")
        assert [row.id for row in app.screen.state.rows] == asked
        assert list(app.screen.state.examination.flags) == asked[:3]
        assert dump(app)[3].startswith("Red flags, 34 not asked ")
        await pilot.press("f", "f")  # shown anew: what is answered stands last
        again = [row.id for row in app.screen.state.rows]
        assert sorted(again) == sorted(asked)
        assert set(again[-3:]) == set(asked[:3])
        assert app.screen.state.row_at == 0
