"""What a tired hand enters by mistake: digits where none belong, a limb that is not there called normal."""

import pytest

from tests.terminal.screens import NOW, demo_app, dump, found, one_patient, status
from wardexam.exam.admission import context_of
from wardexam.exam.entry import Change
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.row_sets import set_for
from wardexam.records.repository import Summary
from wardexam.terminal.examine.state import FLAGS

WHO = "patient1"


@pytest.fixture
def app(tmp_path):
    return one_patient(tmp_path / "ward")


def shown(app) -> str:
    return " ".join(" ".join(dump(app)).split())


@pytest.mark.parametrize("typed", ["800", "8001", "300", "2000"])
async def test_a_number_typed_at_a_question_answers_nothing(app, typed):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "f", "y", "y", "y")
        answered = dict(app.screen.state.examination.flags)
        await pilot.press("up", "up", *typed)
        assert app.screen.state.page == FLAGS
        assert dict(app.screen.state.examination.flags) == answered
        assert "nothing was answered" in shown(app)
        await pilot.press("up", "0")  # another key ends the number
        assert list(app.screen.state.examination.flags.values()).count("no") == 1


@pytest.mark.parametrize(
    ("sign", "reason", "at", "asks"),
    [
        ("knee", "a", "ankle", True),  # of the limb that is gone, the same part
        ("knee", "a", "hip_flexion", True),  # and every other part of it
        ("knee", "p", "ankle", True),  # pain: of the same part
        ("knee", "p", "straight_leg_raise", False),
        ("biceps", "a", "ankle", False),
    ],
)
async def test_the_rest_of_a_limb_that_could_not_be_tested_is_stated_normal_only_after_a_yes(
    app, sign, reason, at, asks
):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go(sign, "left")
        await pilot.press("x", reason)
        app.screen.go(at, "left")
        await pilot.press("e")
        assert ("Not testable: left knee" in shown(app)) == asks
        assert len(app.screen.state.examination.rest_normal) == (not asks)
        if asks:
            await pilot.press("y")
            assert [s.limb for s in app.screen.state.examination.rest_normal] == ["left leg"]


async def read(app, pilot):
    """Wait until what is entered has been read."""
    for _ in range(500):
        if app.screen.reader.current and app.screen.reader.reading:
            return
        await pilot.pause(0.02)
    raise AssertionError("no reading came")


async def test_the_proposed_sign_is_gone_to_on_the_side_that_is_said_and_of_equal_ones_on_the_right(
    app,
):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        for key in ("4", "2", "2", "4", "2"):
            await pilot.press(key)
        for _ in range(4):
            await read(app, pilot)
            await pilot.press("t")
            reading = app.screen.reader.reading
            state, first = app.screen.state, reading.next_signs[0]
            assert (state.row.id, state.side) == reading.proposed.key
            other = next((s for s in reading.next_signs if s.key == (state.row.id, "right")), None)
            if other and other.bits == first.bits:
                assert state.side == "right"
            await pilot.press("0")


def draft(app, *, saved: bool):
    """An examination with saddle sensation lost, left unsaved; before it, where `saved`, one that was saved."""
    if saved:
        app.ward.save(Examination(id="earlier1", patient=WHO, examiner="Dr Ash", at=NOW), "Dr Ash")
    made = Examination(id="leftdraft1", patient=WHO, examiner="Dr Ash", at=NOW)
    left = app.ward.start_draft(made, "Dr Ash")
    left.append(Change("flag", "saddle_numb", "yes"))
    left.close()


@pytest.mark.parametrize("saved", [False, True])
@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_an_emergency_that_is_not_saved_shows_in_the_list_as_what_it_is(app, saved, size):
    draft(app, saved=saved)
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        row = next(line for line in dump(app) if "Ana Invented" in line)
        assert "NOW" in row
        assert "NOT SAVED: possible cauda equina" in shown(app)


async def test_a_draft_that_is_no_graver_is_said_beside_what_is_saved(app):
    made = Examination(
        id="earlier1", patient=WHO, examiner="Dr Ash", at=NOW, flags={"saddle_numb": "yes"}
    )
    alarm = Summary(3, "now", False, "possible cauda equina syndrome")
    app.ward.save(made, "Dr Ash", alarm)
    left = app.ward.start_draft(made.model_copy(update={"id": "leftdraft1", "flags": {}}), "Dr Ash")
    left.append(Change("flag", "cancer", "no"))
    left.close()
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        assert "possible cauda equina syndrome; NOT SAVED yet: open it" in shown(app)


@pytest.mark.parametrize("saved", [False, True])
async def test_the_handover_says_that_an_examination_is_not_saved(app, saved):
    draft(app, saved=saved)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("H")
        text = shown(app)
        assert "NOT SAVED: NOW possible cauda equina syndrome, 1 entry by Dr Ash" in text
        assert "nothing examined" not in text


async def test_the_referral_opens_at_its_top_and_by_its_name_and_a_page_is_a_screen(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n", "pagedown")
        assert "Note" in dump(app)[0]
        before = shown(app)
        await pilot.press("R")
        assert "Referral" in dump(app)[0]
        assert "1-" in dump(app)[0]
        await pilot.press("R", "N")
        assert shown(app) == before
        await pilot.press("B")
        assert "1-" in dump(app)[0]


async def test_a_list_that_is_longer_than_the_screen_says_which_of_it_shows(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    for number in range(30):
        who = Patient(id=f"patient{number:02}", bed=f"A{number:02}", name=f"Zo Invented {number}", admitted=NOW)  # fmt: skip
        app.ward.admit(who, "test")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert " of 30 patients, by bed" in dump(app)[0]
        assert "  1-" in dump(app)[0]
        await pilot.press(*["j"] * 29)
        assert "-30 of 30 patients" in dump(app)[0]


async def test_what_cannot_be_tested_goes_on_down_the_same_side(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("knee", "left")
        await pilot.press("x", "a")
        state = app.screen.state
        assert (state.row.id, state.side) == ("ankle", "left")
        await pilot.press("x", "a")
        assert [f.key for f in state.examination.findings] == [("knee", "left"), ("ankle", "left")]


async def test_the_same_key_twice_says_it_of_all_of_the_limb_that_is_not_filled(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "3")
        app.screen.go("knee", "left")
        await pilot.press("2")
        app.screen.go("ankle", "left")
        await pilot.press("x")
        assert "x whole limb, then why" in shown(app)
        await pilot.press("x")
        assert "Nothing of the left leg here testable" in shown(app)
        await pilot.press("a")
        state = app.screen.state
        of_limb = [s for s in state.signs if s.limb == "leg" and s.sides == "each"]
        untested = [f for f in state.examination.findings if f.not_testable == "amputation"]
        assert {f.key for f in untested} == {(s.id, "left") for s in of_limb} - {("knee", "left")}
        assert f"{len(untested)} signs here" in shown(app)
        await pilot.press("x", "x", "a")
        assert "is filled. Nothing was changed" in shown(app)
        await pilot.press("u")  # one key takes all of it back
        assert [f.key for f in state.examination.findings] == [("knee", "left")]


async def test_an_examination_is_resumed_on_the_rows_where_it_was_left(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "a")
        begun = app.screen.state
        page, rows = begun.page, begun.rows
        assert page != begun.first_page
        app.screen.go("shoulder_abduction", "right")
        await pilot.press("3", "5")
        assert begun.page == page
        await pilot.press("q", "enter")
        state = app.screen.state
        assert (state.page, state.rows) == (page, rows)
        assert (state.row.id, state.side) == ("elbow_extension", "right")


async def test_a_sign_that_stands_in_no_set_is_resumed_on_its_part(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("oculomotor", "right")
        await pilot.press("1", "q", "enter")
        state = app.screen.state
        assert state.page == "cranial"
        assert (state.row.id, state.side) == ("oculomotor", "left")


@pytest.mark.parametrize(
    ("complaint", "page"),
    [("speech", "one_sided"), ("dizzy", "dizzy"), ("numb_hands", "numb_hands")],
)
def test_a_complaint_opens_on_the_signs_that_tell_of_it(complaint, page):
    assert set_for(complaint) == page


@pytest.mark.parametrize(
    ("typed", "right", "left"),
    [
        (("4", "minus"), "4", None),  # 4- as everyone writes it: for one side or the other
        (("4", "minus", "minus"), "4", "4-"),
        (("4", "minus", "u", "minus"), "4-", None),
        (("4", "plus", "plus"), "4", "4+"),
        (("4", "left", "minus"), "4-", None),  # the cursor was put there
        (("b", "4", "minus", "u", "b", "minus"), "4-", "4-"),
        (("4", "minus", "5"), "4", None),  # what is typed on lands nowhere else
        (("4", "plus", "minus", "5", "u", "plus", "5"), "4+", "5"),
        (("4", "minus", "right", "5"), "4", "5"),
        (("5", "minus"), "5", "4-"),
    ],
)
async def test_a_minus_behind_a_four_grades_no_side_until_it_is_clear_which(
    app, typed, right, left
):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("thumb_abduction", "right")
        await pilot.press(*typed)
        graded = found(app)
        assert graded.get(("thumb_abduction", "right")) == right
        assert graded.get(("thumb_abduction", "left")) == left
        if typed == ("4", "minus"):
            assert "- not entered: u - makes the 4 a 4-; - again grades at the cursor." in status(
                app
            )


@pytest.mark.parametrize("reason", ["a", "c", "s"])  # accept, comment, save
async def test_a_reason_typed_twice_is_no_key_of_the_grid(app, reason):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "down", "x", reason, reason)
        assert f"the whole limb is x x {reason}, not {reason} {reason}" in status(app)
        assert len(app.screen.state.examination.findings) == 1
        assert not app.screen.asking
        assert not app.ward.file(WHO).examinations
        await pilot.press(reason)  # from then on it is one again
        assert "Nothing done" not in status(app)


async def test_a_statement_of_many_signs_says_how_many_and_is_made_only_after_a_yes(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        state = app.screen.state
        app.screen.go("ptosis", "right")
        await pilot.press("1", "e")
        assert "34 signs at once: Cortex and cranial nerves, head" in shown(app)
        await pilot.press("n")
        assert state.examination.rest_normal == ()
        await pilot.press("e", "y")
        assert "Stated normal: rest of head cranial, 34 signs. e withdraws." in status(app)
        await pilot.press("u")
        assert state.examination.rest_normal == ()
        app.screen.go("cortical_sensation", "right")
        await pilot.press("e")  # of few signs it is stated at once
        assert "Stated normal: rest of right arm cranial, 2 signs. e withdraws." in status(app)


async def test_a_level_typed_without_its_letter_is_taken_where_there_is_one_alone(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("level_pin", "right")
        await pilot.press("enter", *"10", "enter")
        assert found(app) == {("level_pin", "right"): "T10"}
        await pilot.press("enter", "4", "enter")  # of the left
        assert "4 is C4, T4, L4 or S4: with its letter." in shown(app)
        assert len(found(app)) == 1


async def test_a_flag_is_not_answered_against_what_the_story_says(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.state.visit.change(Change("context", "onset", "sudden"), "")
        await pilot.press("slash", *"sudden onset", "enter", "0")
        assert "Not answered: the story says when it began: sudden" in status(app)
        assert "sudden" not in app.screen.state.examination.flags
        await pilot.press("1")
        assert app.screen.state.examination.flags["sudden"] == "yes"


async def test_the_earlier_grade_beside_the_grid_has_its_quality_as_it_is_entered_again(app):
    value = {"sign": "knee", "side": "right", "answer": "0", "scale": "conventional",
             "qualities": ["inverted"]}  # fmt: skip
    app.ward.save(
        Examination(id="earlier1", patient=WHO, examiner="Dr Ash", at=NOW, findings=(value,)),
        "Dr Ash",
    )
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("knee", "right")
        app.screen.redraw()
        row = next(line for line in dump(app) if line.startswith(">knee"))
        assert "0i/." in row


async def test_how_a_reflex_came_is_offered_at_reflexes_alone(app):
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.press("enter", "down")
        assert "r reinforced" in dump(app)[-1]
        app.screen.go("field_loss", "right")
        app.screen.redraw()
        assert "quality" not in dump(app)[-1]
        assert "reinforced" not in dump(app)[-1]


async def test_a_search_of_the_ward_that_finds_nobody_says_the_way_out(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("slash", *"zz", "enter")
        assert "Nobody has this bed, name or number. Escape shows all." in shown(app)
        await pilot.press("escape")
        assert "Ana Invented" in shown(app)


@pytest.mark.parametrize("why", ["fall", "head injury, fell at home", "headache after a fall"])
async def test_an_injury_told_at_admission_is_known_as_one(app, why):
    patient = app.ward.patient(WHO)
    app.ward.update(patient.model_copy(update={"remark": why, "age": 70}), "test")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        assert app.screen.state.examination.context.trauma == "yes"


def test_words_that_tell_an_injury_are_one():
    for why in (
        "head trauma",
        "stab wound",
        "stabbed in the back",
        "whiplash on Monday",
        "weak leg after falling",
    ):
        assert context_of(why, 70, "male").trauma == "yes", why


def test_words_that_tell_no_injury_are_none():
    for why in (
        "fall risk",
        "no fall",
        "recurrent falls",
        "trauma clinic",
        "weak leg",
        "stabbing pain",
        "flu shot",
    ):
        assert context_of(why, 70, "male").trauma is None


async def test_pages_of_a_long_list_of_signs_are_gone_through_and_grade_nothing(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "4", "end")
        state = app.screen.state
        assert state.row_at == len(state.rows) - 1
        await pilot.press("home")
        assert state.row_at == 0
        await pilot.press("pagedown")
        assert state.row_at == state.window(24)[0]
        await pilot.press("pageup", "pageup")
        assert state.row_at == 0
        assert found(app) == {}
