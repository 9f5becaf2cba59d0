"""The cord injury sheet on the screen: cells and ranges, results at every key, from and to the examination, kept."""

import re

import pytest

from tests.injury.cases import CASES, sheet_of
from tests.records.memory import MemoryWard
from tests.terminal.screens import NOW, demo_app, dump, sheet_kept
from wardexam.exam.examination import Patient
from wardexam.injury.computed import compute
from wardexam.injury.entry import written_over
from wardexam.injury.sheet import SIDES, InjurySheet
from wardexam.injury.typed import read_typed
from wardexam.injury_visit import InjuryVisit
from wardexam.session import Session
from wardexam.terminal.canvas import plain
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.injury import edits, view
from wardexam.terminal.injury.screen import InjuryScreen
from wardexam.terminal.injury.state import COLUMNS, QUESTIONS, ROWS, State, named
from wardexam.terminal.looks import ASCII
from wardexam.terminal.screens.base import LineScreen
from wardexam.terminal.screens.ward import WardScreen

SIGNS = {" ": "space", ",": "comma", "/": "slash", "\r": "enter", "*": "asterisk", "=": "equals_sign", ".": "full_stop", "!": "exclamation_mark"}  # fmt: skip


def keys(text):
    """The keys that type a text."""
    return [SIGNS.get(c, c) for c in text]


def state_of(text=""):
    """The screen's state on a sheet that says this."""
    ward = MemoryWard()
    ward.admit(Patient(id="patient1", bed="A3", name="Otto Brandt", admitted=NOW), "x")
    names = iter(f"sheet{n:03}" for n in range(9))
    session = Session(ward, "Dr Ash", lambda: NOW, lambda: next(names))
    visit = InjuryVisit.open(session, "patient1")
    if text:
        visit.change(written_over(visit.sheet, read_typed(text)))
    return State(visit)


def press(state, *names):
    for name in names:
        edit = edits.digit(state, name)
        state.visit.change(edit.change, edit.said)
        state.advance()
    return state


def shown(state, width=49, room=20):
    return [plain(line).rstrip() for line in view.panel(state, width, room, "y")]


# --- state


def test_a_column_is_gone_down_then_the_next_and_at_last_the_questions():
    state = state_of()
    seen = []
    for _ in range(28 * 4 + 10 * 2):
        seen.append((state.column, ROWS[state.row]))
        press(state, "0")
    assert len(set(seen)) == 132
    assert [c for c, _ in seen] == sorted(c for c, _ in seen)
    assert not any(r in QUESTIONS for _, r in seen)
    for question in ("anal_contraction", "anal_pressure"):
        assert ROWS[state.row] == question
        press(state, "0")
    assert ROWS[state.row] == "movement"
    assert state.sheet.absent() == [f"{s} movement outside the key muscles" for s in SIDES]


def test_in_the_power_columns_only_key_muscles_are_gone_to():
    state = state_of()
    state.begin_column(4)
    rows = []
    for _ in range(12):
        rows.append(ROWS[state.row])
        state.move(1)
    assert rows == [
        "C5", "C6", "C7", "C8", "T1", "L2", "L3", "L4", "L5", "S1", "anal_contraction", "anal_pressure",
    ]  # fmt: skip
    state.turn(-1)
    assert COLUMNS[state.column] == ("pinprick", "left")
    state.begin_column(0)
    assert ROWS[state.row] == "C2"
    for _ in range(4):
        state.turn(1)
    assert ROWS[state.row] == "C5"  # the nearest that has a muscle


def test_the_next_score_that_is_open_is_found_and_none_where_all_is_entered():
    state = state_of("sensation: 2\nmotor left: 5\nmotor right: 55555/5N555\nvac yes\ndap yes")
    assert state.next_open()
    assert named(state.cell) == "lowest movement outside the key muscles, right"
    full = state_of("sensation: 2\nmotor: 5\nvac yes\ndap yes\nmovement both none\nearlier deficit no")  # fmt: skip
    assert not full.next_open()


def test_every_row_can_be_seen_at_24_lines_with_the_cursor_in_view():
    state = state_of()
    for row in range(len(ROWS)):
        state.row = row
        room, first = state.window(24)
        assert first <= row < first + room
        x, y = view.cursor(state, 24)
        line = plain(view.grid(state, 24, ASCII)[y - 2])
        assert line.startswith(">")
        assert 0 <= x < view.GRID
        assert len(view.grid(state, 24, ASCII)) == 20


# --- edits


@pytest.mark.parametrize("key", ["3", "9"])
def test_a_digit_that_is_no_score_is_refused_with_what_is(key):
    with pytest.raises(edits.RefusedError, match="0 absent"):
        edits.digit(state_of(), key)


def test_a_score_goes_to_both_sides_where_both_are_meant():
    state = state_of()
    state.both = True
    edit = edits.digit(state, "1")
    state.visit.change(edit.change)
    assert state.sheet.light_touch.right == state.sheet.light_touch.left == {"C2": "1"}
    assert edit.said == "both light touch C2 1"


@pytest.mark.parametrize(
    ("text", "both", "said"),
    [
        ("", False, "right light touch C2 1"),
        ("right light touch: C2 1", False, "right light touch C2 1"),
        ("light touch: C2 2", False, "right light touch C2 1, was 2"),
        ("right light touch: C2 0*", False, "right light touch C2 1, was 0*"),
        ("light touch: C2 2", True, "both light touch C2 1, was 2"),
        ("left light touch: C2 2", True, "both light touch C2 1, was left 2"),
        ("right touch: C2 2\nleft touch: C2 0", True, "both light touch C2 1, was right 2, left 0"),
    ],
)
def test_a_score_written_over_another_says_what_was_there(text, both, said):
    state = state_of(text)
    state.both = both
    assert edits.digit(state, "1").said == said


def test_an_answer_written_over_another_says_what_was_there():
    state = state_of("vac yes\nmovement right L4")
    state.row = ROWS.index("anal_contraction")
    assert edits.digit(state, "0").said == "voluntary anal contraction: no, was yes"
    assert edits.cleared(state).said == "voluntary anal contraction: not entered, was yes"
    state.row = ROWS.index("movement")
    assert edits.digit(state, "0").said.endswith("right: none, was L4")


@pytest.mark.parametrize(
    ("before", "typed", "left"),
    [
        ("", "2t9", ""),
        ("light touch: 2", "2t9, 0", ""),
        ("light touch: 2", "2t9", ". Left as before: right light touch T10 to S4-5"),
        ("right touch: 2 to T4, 0, T9 1", "T9 2", ". Left as before: right light touch C2 to T8, T10 to S4-5"),
        ("light touch: 2", "2t9, 0 / 2s3", ". Left as before: left light touch S4-5"),
        ("motor: 55555/00000", "right motor: C5 4, C6 4, C7 4, C8 4, L2 1, L3 1, L4 1, L5 1", ". Left as before: right motor T1, S1"),
    ],
)  # fmt: skip
def test_a_short_range_over_a_filled_column_says_what_it_left(before, typed, left):
    assert edits.typed(state_of(before), typed).said == f"Entered: {typed}{left}"


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("5 5 5 5 5 / 3 3 3 3 3", "Entered RIGHT, arms / legs: "),
        ("55555/33333", "Entered RIGHT, arms / legs: "),
        ("5555544444 / 5555533333", "Entered: "),
        ("C5 5 / C5 4", "Entered: "),
    ],
)
def test_a_slash_that_is_not_between_the_sides_says_so(typed, said):
    state = state_of()
    state.column = COLUMNS.index(("motor", "right"))
    assert edits.typed(state, typed).said == f"{said}{typed}"


def test_a_mark_goes_through_how_it_counts_and_away_again():
    state = state_of("motor right: 3N555/00000\nsensation: 2")
    state.go("motor", "right", "C5")
    told = []
    for _ in range(4):
        edit = edits.marked(state)
        state.visit.change(edit.change)
        told.append((state.sheet.motor.right["C5"], state.sheet.rating("motor", "right", "C5")))
    assert told == [("3*", None), ("3*", "normal"), ("3*", "examined"), ("3", None)]
    state.go("light_touch", "right", "C5")
    with pytest.raises(edits.RefusedError, match="is normal"):
        edits.marked(state)
    state.go("motor", "left", "C5")
    with pytest.raises(edits.RefusedError, match="enter it first"):
        edits.marked(state)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("2t9,0", "right light touch: 2 to T9, 0"),
        ("2t9,0/2t4,1", "right light touch: 2 to T9, 0\nleft light touch: 2 to T4, 1"),
        ("left pin: 2t4, 0", "left pinprick: 2 to T4, 0"),
        ("vac no", "vac no"),
        ("T4 NT", "right light touch: T4 NT"),
    ],
)
def test_what_is_typed_is_a_column_or_any_line_of_a_sheet(text, wanted):
    state = state_of()
    state.visit.change(edits.typed(state, text).change)
    assert state.sheet == read_typed(wanted)


def test_pinprick_is_the_same_as_light_touch_by_one_sign():
    state = state_of("light touch right: 2t9,0\nlight touch left: 2t4,0")
    state.begin_column(2)
    state.visit.change(edits.typed(state, "=").change)
    assert state.sheet.pinprick == state.sheet.light_touch
    state.begin_column(0)
    with pytest.raises(edits.RefusedError, match="stands at pinprick"):
        edits.typed(state, "=")


@pytest.mark.parametrize("text", ["", "x", "2t13", "1/2/3", "vac perhaps", "="])
def test_what_is_not_understood_changes_nothing(text):
    state = state_of()
    with pytest.raises(edits.RefusedError) as refused:
        edits.typed(state, text)
    assert str(refused.value)
    assert state.sheet == InjurySheet()


def test_how_a_marked_score_counts_is_typed_or_chosen_with_why():
    state = state_of("motor right: 3*5555/00000\nmotor left: 4*5555/00000\ncomment: seen")
    state.visit.change(edits.typed(state, "count right motor C5 as normal: fracture").change)
    state.visit.change(edits.typed(state, "count left motor C5 as examined").change)
    told = [(r.side, r.counts, r.why) for r in state.sheet.rated]
    assert told == [("right", "normal", "fracture"), ("left", "examined", "")]
    assert state.sheet.comment == "seen"
    state.go("motor", "left", "C5")
    state.visit.change(edits.why_counted(state, "old palsy").change)
    assert [r.why for r in state.sheet.rated] == ["fracture", "old palsy"]
    with pytest.raises(edits.RefusedError, match="only a score marked"):
        edits.typed(state, "count right motor C6 as normal")


# --- view


@pytest.mark.parametrize("name", sorted(CASES))
def test_the_panel_shows_every_result_of_a_worked_case_whole(name):
    sheet = sheet_of(name)
    state = state_of()
    state.visit.change(written_over(state.sheet, sheet))
    results = compute(sheet).results
    lines = shown(state)
    assert len(lines) == 20
    assert all(len(line) <= 48 for line in lines)
    words = " ".join(" ".join(lines).split())
    wanted = view.short(results["impairment"])
    assert f" scale {wanted}" in words
    if results["neurological_level"].determined:
        assert f" level {view.short(results['neurological_level'])} " in words
    for kind in ("sensory_level", "motor_level", "sensory_zone", "motor_zone"):
        both = [view.short(results[f"{kind}_{side}"]) for side in ("right", "left")]
        if all(len(text) < 16 for text in both):
            assert f"{kind.replace('_', ' ')} {both[0]} {both[1]}" in words
    assert lines[-1] == view.SCORES_CAUTION_IN_SHORT


def test_a_bare_sheet_says_that_all_remains_and_nothing_normal():
    words = " ".join(" ".join(shown(state_of())).split())
    assert "scale A, B, C, D, E or no grade" in words
    assert "injury complete or incomplete" in words
    assert "touch of 112 0-56 + 0-56 = ND (0-112)" in words
    assert "normal" not in words.replace("2 normal", "")


def test_what_is_not_testable_leaves_exactly_what_remains():
    state = state_of(
        "sensation: 2 to T8, 0 to S3, NT\nmotor: 55555/00000\nvac no\ndap no\nmovement both none"
    )
    lines = shown(state)
    assert any(re.match(r"scale +A or B$", line.rstrip()) for line in lines)
    assert any(re.match(r"sensory zone +T8 or NA +T8 or NA$", line.rstrip()) for line in lines)


def pages(state, width=49, room=20):
    """Everything that is told below the results, page by page."""
    told, state.page = [], 0
    while True:
        page = view.told(state, width, room)
        told += [plain(line) for line in page.lines]
        state.page += len(page.lines)
        if state.page >= page.whole:
            return " ".join(" ".join(told).split())


OPEN = {
    "touch alone": "light touch: 2t9, 0",
    "power alone": "motor: 5 NT 5 4* 3 / NT 2 2 1 1",
    "one cell": "left pinprick: S4-5 NT",
}


@pytest.mark.parametrize("name", [*sorted(CASES), *OPEN])
def test_every_reason_doubt_and_rule_can_be_read_at_80_columns(name):
    state = state_of(OPEN.get(name, ""))
    if name in CASES:
        state.visit.change(written_over(state.sheet, sheet_of(name)))
    words, computed = pages(state), state.visit.computed
    for why in computed.results["impairment"].why:
        assert why.words in words
    for doubt in computed.doubts:
        assert f"To check: {doubt.words}" in words
    for result in computed.results.values():
        for why in result.why if result.determined else ():
            assert why.words in words
        for number in result.rules:
            assert f"Rule {number}, " in words
    for depends in computed.results["impairment"].depends_on or ():
        assert depends in words


def test_what_was_taken_over_and_is_missing_is_told_first():
    state = state_of("motor: 55555/00000")
    state.remarks = ("from the examination being entered",)
    words = " ".join(" ".join(shown(state, room=22)).split())
    missing = "Not entered: both light touch: C2 to S4-5; both pinprick: C2 to S4-5; voluntary anal contraction; deep anal pressure; both movement outside the key muscles Taken over: from the examination"
    assert missing in words


# --- the screen


P6 = "\r2c7,1l3,0/2c7,1l3,0\r" + "\r2c7,1t8,0/2c7,1t8,0\r" + "\r5554443300/5554443300\r" + "01"
P6_SHEET = "light touch: 2 to C7, 1 to L3, 0\npinprick: 2 to C7, 1 to T8, 0\nmotor: 55544/43300\nvac no\ndap yes"  # fmt: skip


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_a_sheet_is_typed_by_range_and_its_results_stand_beside_it(tmp_path, size):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=size) as pilot:
        await pilot.press("J", *keys(P6))
        await sheet_kept(pilot)
        assert app.screen.visit.sheet == read_typed(P6_SHEET)
        words = " ".join(" ".join(dump(app)).split())
        assert "scale D motor incomplete" in words
        assert "kept 14:00" in words


async def test_the_screen_is_begun_and_ended_once(tmp_path, monkeypatch):
    made = []

    def counted(name):
        real = getattr(LineScreen, name)

        def handler(screen):
            made.append((screen, name))
            real(screen)

        monkeypatch.setattr(LineScreen, name, handler)

    counted("on_mount")
    counted("on_unmount")
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("J")
        sheet = app.screen
        await pilot.press("q")
    assert isinstance(sheet, InjuryScreen)
    assert [name for screen, name in made if screen is sheet] == ["on_mount", "on_unmount"]


async def test_a_movement_not_entered_leaves_the_scale_open_and_is_what_t_goes_to(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", *keys("\r2t4,1/2t4,1\r\r=\r\r5555500000/5555500000\r01"), "t")
        words = " ".join(" ".join(dump(app)).split())
        assert re.search(r"scale B or C ", words)
        assert "To check: movement outside the key muscles is" in words
        not_entered = app.screen.visit.paper.partition("NOT ENTERED: UNKNOWN, NOT NORMAL\n")[2]
        assert not_entered.strip().startswith("right movement outside the key muscles")
        assert named(app.screen.state.cell) == "lowest movement outside the key muscles, right"
        await pilot.press("0", "t")
        assert named(app.screen.state.cell) == "lowest movement outside the key muscles, left"
        await pilot.press("0", "t")
        assert "scale B sensory incomplete" in " ".join(" ".join(dump(app)).split())
        assert "No result depends on a score that is not known." in dump(app)[-2]


async def test_a_refused_line_stays_as_typed_with_what_is_wrong(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", *keys("\r2t13,0\r"))
        lines = dump(app)
        assert lines[-3].startswith("! there is no segment 't13' here")
        assert lines[-2].startswith("right light touch: 2t13,0")
        assert app.screen.visit.untouched
        await pilot.press("escape")
        assert app.screen.asking is False


async def test_the_examination_below_is_taken_over_by_one_key_with_what_is_missing(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    app.ward.admit(Patient(id="patient1", bed="A3", name="Otto Brandt", admitted=NOW), "x")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "1", "slash", *"elbow flexion", "enter", "3", "4")
        assert len(app.visit.examination.findings) == 2
        await pilot.press("J", "p")
        screen = app.screen
        assert isinstance(screen, InjuryScreen)
        assert screen.visit.sheet.motor.right == {"C5": "3"}
        assert screen.visit.sheet.motor.left == {"C5": "4"}
        said = "\n".join(dump(app))
        assert "Taken over: 2 scores. Missing still:" in said
        words = " ".join(" ".join(line[31:] for line in dump(app)[2:-2]).split())
        assert (
            "Not entered: both light touch: C2 to S4-5; both pinprick: C2 to S4-5; both motor: C6, C7, C8, T1, L2, L3, L4, L5, S1; voluntary anal"
            in words
        )
        await pilot.press("y")
        assert "Taken over: from the examination being entered" in "\n".join(dump(app))
        await pilot.press("p")  # a second time there is nothing left to take
        assert "Nothing is there to take over that is not here already" in dump(app)[-2]


async def test_what_was_entered_here_is_not_written_over_by_what_is_taken(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    app.ward.admit(Patient(id="patient1", bed="A3", name="Otto Brandt", admitted=NOW), "x")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "1", "slash", *"elbow flexion", "enter", "3", "4")
        await pilot.press("J", *["tab"] * 4, "5", "p")
        assert app.screen.visit.sheet.motor.right["C5"] == "5"
        assert app.screen.visit.sheet.motor.left["C5"] == "4"


async def test_scores_go_into_the_examination_below_and_are_undone_as_one(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    app.ward.admit(Patient(id="patient1", bed="A3", name="Otto Brandt", admitted=NOW), "x")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "1", "J", *keys("\r2t4,0\r"), "G")
        await pilot.pause(0.05)
        assert isinstance(app.screen, ExamineScreen)
        found = {(f.sign, f.side): f.answer for f in app.visit.examination.findings}
        assert len(found) == 28
        assert (found["touch_T4", "right"], found["touch_T5", "right"]) == ("normal", "absent")
        assert "28 signs" in dump(app)[-2]
        assert len(app.ward.sheet_drafts.infos()) == 1  # the sheet itself is kept as well
        await pilot.press("u")
        assert app.visit.examination.findings == ()


async def test_what_is_graded_otherwise_there_is_written_over_only_when_told(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    app.ward.admit(Patient(id="patient1", bed="A3", name="Otto Brandt", admitted=NOW), "x")

    def grade():
        (right,) = (f for f in app.visit.examination.findings if f.side == "right")
        return right.answer

    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "1", "slash", *"elbow flexion", "enter", "4", "minus")
        before = len(app.visit.examination.findings)
        await pilot.press("J", *["tab"] * 4, "4", "G")
        await pilot.pause(0.05)
        assert "The sheet has no score that is not graded here" in dump(app)[-2]  # 4 is 4
        await pilot.press("J", *["tab"] * 4, "2", "G")
        await pilot.pause(0.05)
        assert "4 -> 2" in "\n".join(dump(app))
        await pilot.press("enter")
        assert grade() == "4"
        await pilot.press("J", "G")
        await pilot.pause(0.05)
        await pilot.press(*"over", "enter")
        assert grade() == "2"
        assert len(app.visit.examination.findings) == before


async def test_from_the_ward_the_scores_open_the_examination(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", *keys("\r2t4,0\r"), "G")
        await pilot.pause(0.1)
        assert isinstance(app.screen, ExamineScreen)
        assert len(app.visit.examination.findings) == 28


async def test_from_a_new_sheet_the_saved_ones_are_turned_to_and_amended(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        patient = app.ward.beds()[0].patient_id
        await pilot.press("J", "n", "left")
        assert "No earlier sheet is saved." in dump(app)[-2]
        await pilot.press("q", *keys("\r2t4,0\r"), "s", "q", "J")
        assert "n, then left, shows those saved." in dump(app)[-2]
        await pilot.press(*keys("\r2t9,0\r"), "s", "q", "J", "n", "left")
        assert "sheet 2 of 2" in dump(app)[0]
        await pilot.press("left")
        assert "sheet 1 of 2" in dump(app)[0]
        await pilot.press("M")
        assert "AMENDING sheet 1" in dump(app)[0]
        await pilot.press("1", "s", *"typing", "enter")
        saved = app.ward.file(patient).sheets
        assert [(s.id == saved[0].id, s.revision) for s in saved] == [
            (True, 1),
            (False, 1),
            (True, 2),
        ]
        assert app.ward.sheet_drafts.infos() == ()
        await pilot.press("q")
        assert isinstance(app.screen, WardScreen)


async def test_amending_a_saved_sheet_keeps_the_draft_of_the_one_under_way(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", *keys("\r2t4,0\r"), "s", "q", "J", *keys("\r2t9,0\r"))
        await sheet_kept(pilot)
        await pilot.press("n", "left", "M")
        assert "AMENDING sheet 1" in dump(app)[0]
        await pilot.press("q")
        assert isinstance(app.screen, WardScreen)
        await pilot.press("J")
        assert "sheet 2" in dump(app)[0]
        assert app.screen.visit.sheet == read_typed("right light touch: 2 to T9, 0")


async def test_a_saved_sheet_is_given_to_an_examination_from_its_worksheet(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", *keys("\r2t4,0\r"), "s", "M", "G")
        await pilot.pause(0.1)
        assert isinstance(app.screen, ExamineScreen)
        assert len(app.visit.examination.findings) == 28


async def test_a_saved_sheet_shows_its_worksheet_and_is_amended_from_there(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        patient = app.ward.beds()[0].patient_id
        await pilot.press("J", *keys("\r2t4,0\r"), "s")
        (first,) = app.ward.file(patient).sheets
        assert (first.examiner, first.saved_by, first.revision) == ("Dr Test", "Dr Test", 1)
        assert dump(app)[2] == "SPINAL CORD INJURY: NEUROLOGICAL CLASSIFICATION"
        assert (
            dump(app)[-2].rstrip().endswith("hear of it once M, then G gives it to an examination.")
        )
        assert "NOT IN THE URGENCY" in "\n".join(dump(app))
        assert app.ward.sheet_drafts.infos() == ()
        await pilot.press("M", "1", "s")
        assert dump(app)[-2].startswith("Why is it amended?")
        await pilot.press("enter")
        assert "needs a reason" in "\n".join(dump(app))
        await pilot.press(*"typing", "enter")
        _, second = app.ward.file(patient).sheets
        assert (second.revision, second.amendment.why) == (2, "typing")
        assert "revision 2 of 2" in dump(app)[0]
        await pilot.press("left")
        assert "revision 1 of 2" in dump(app)[0]


async def test_a_sheet_that_is_left_is_offered_at_the_next_start_and_gone_on_with(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    app.ward.admit(Patient(id="patient1", bed="A3", name="Otto Brandt", admitted=NOW), "x")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", "2", "1")
        await sheet_kept(pilot)
        await pilot.press("q")
        assert isinstance(app.screen, WardScreen)
    again = demo_app(tmp_path / "ward", empty=True)
    async with again.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert dump(again)[-2].startswith("Sheet: A3 by Dr Test")
        assert dump(again)[-2].endswith("2 entries. J resumes.")
        await pilot.press("J")
        assert again.screen.visit.sheet.light_touch.right == {"C2": "2", "C3": "1"}
        await pilot.press("T", "y")
        assert isinstance(again.screen, WardScreen)
        assert again.ward.sheet_drafts.infos() == ()


async def test_the_last_sheet_stands_beside_the_new_one_with_a_fall_first(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    app.ward.admit(Patient(id="patient1", bed="A3", name="Otto Brandt", admitted=NOW), "x")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", *keys("\r2t8,0/2t8,0\r\r=\r"), "s", "q", "J")
        await pilot.press(*keys("\r2t4,0/2t8,0\r"))
        words = " ".join(" ".join(line[31:] for line in dump(app)).split())
        assert "WORSE: " in words
        assert "right light touch T5 2 -> 0" in words


async def test_marks_movement_questions_and_comment_are_entered_by_keys(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", "x", "0", "up", "asterisk")
        sheet = app.screen.visit.sheet
        assert sheet.light_touch.right == {"C2": "NT", "C3": "0*"}
        assert "counts by the level" in dump(app)[-2]
        await pilot.press(*["tab"] * 6, "1", "0", *keys("\rl4\r0"), "1")
        sheet = app.screen.visit.sheet
        assert (sheet.anal_contraction, sheet.anal_pressure) == ("yes", "no")
        assert (sheet.movements.right, sheet.movements.left) == ("L4", "none")
        assert sheet.earlier_deficit == "yes"
        await pilot.press("c", *"seen twice", "enter")
        assert app.screen.visit.sheet.comment == "seen twice"
        await pilot.press("u", "u")
        assert app.screen.visit.sheet.earlier_deficit is None
        await pilot.press("n")
        assert dump(app)[0].startswith("Worksheet, not saved")


async def test_the_key_of_what_would_settle_most_goes_to_it(tmp_path):
    app = demo_app(tmp_path / "ward")
    text = "\r2t9,0/2t9,0\r\r=\r\r5t1,0/5t1,0\r0"
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", "t")
        assert "Too much is unknown" in dump(app)[-2]
        await pilot.press(*keys(text), "t")
        assert app.screen.state.cell.row == "anal_pressure"


async def test_too_small_a_terminal_takes_no_score(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("J")
        await pilot.resize_terminal(60, 20)
        await pilot.press("2")
        assert app.screen.visit.untouched


async def test_a_sheet_saved_over_an_examination_goes_back_to_it_as_it_was(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    app.ward.admit(Patient(id="patient1", bed="A3", name="Otto Brandt", admitted=NOW), "x")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "1", "2", "J", "0", "s", "q")
        assert isinstance(app.screen, ExamineScreen)
        assert len(app.visit.examination.findings) == 1
        assert app.sheet is None
        await pilot.press("2", "s")
        assert len(app.ward.examinations("patient1")) == 1
        assert len(app.ward.file("patient1").sheets) == 1
