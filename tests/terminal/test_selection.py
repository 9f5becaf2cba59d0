"""The cursor stands on a patient, not on a line: whatever the list does, a key acts on whom it shows."""

from datetime import timedelta

import pytest

from tests.terminal.screens import NOW, demo_app, dump, one_patient, status
from wardexam.exam.examination import Examination, Patient
from wardexam.records.repository import Arrival, Summary
from wardexam.records.ward import open_ward
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.examine.state import FLAGS
from wardexam.terminal.screens.text import TextScreen


def patient(number, bed, **more):
    return Patient(id=f"patient{number}", bed=bed, name=f"Invented {bed}", admitted=NOW - timedelta(days=1), **more)  # fmt: skip


def examination(number, hours=3):
    return Examination(
        id=f"exam000{number}", patient=f"patient{number}", examiner="Dr Ash", at=NOW - timedelta(hours=hours)
    )  # fmt: skip


@pytest.fixture
def app(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    app.ward.take_in(
        [Arrival(patient(n, f"A{n}"), (examination(n),), Summary(0, "x", False, "y")) for n in (1, 2, 3, 4)], "x"
    )  # fmt: skip
    return app


@pytest.fixture
def other(app):
    return open_ward(app.ward.folder)


def cursor_line(app):
    """The line that the reader of the screen sees marked."""
    for canvas_line in app.screen.canvas("body")._lines:
        if any(style == "cursor" for _, style in canvas_line):
            return "".join(text for text, _ in canvas_line)
    return ""


def opened(app):
    """Whose examination or note is open, by the title."""
    return dump(app)[0]


def admit_before(other):
    other.admit(patient(0, "A0"), "Dr Bex")


def discharge_before(other):
    other.discharge(other.patient("patient1"), NOW, "Dr Bex")


def move_the_chosen(other):
    other.update(other.patient("patient3").model_copy(update={"bed": "A0"}), "Dr Bex")


def grow_urgent(other):
    other.save(
        examination(4, 0).model_copy(update={"id": "exam0099"}), "x", Summary(3, "now", True, "z")
    )


CHANGES = [admit_before, discharge_before, move_the_chosen, grow_urgent]


@pytest.mark.parametrize("change", CHANGES)
@pytest.mark.parametrize("order", [0, 1, 2, 3])
@pytest.mark.parametrize("key", ["enter", "n", "V", "E", "D"])
async def test_a_key_acts_on_whom_the_cursor_shows_whatever_another_session_does(
    app, other, change, order, key
):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*["O"] * order)
        while "A3" not in cursor_line(app):
            await pilot.press("j")
        change(other)
        app.screen.reload()
        await pilot.pause()
        assert "A3" in cursor_line(app)
        await pilot.press(key)
        await pilot.pause()
        bed = other.patient("patient3").bed
        shown = {
            "enter": lambda: opened(app),
            "n": lambda: opened(app),
            "V": lambda: opened(app),
            "E": lambda: dump(app)[-2],
            "D": lambda: dump(app)[-2],
        }[key]()
        if change is move_the_chosen and key in ("enter", "n", "V"):
            assert "A3" in shown or bed in shown
            assert "A1" not in shown
        else:
            assert bed in shown
        if isinstance(app.screen, ExamineScreen):
            assert app.screen.visit.patient.id == "patient3"


async def test_a_key_typed_before_the_change_is_seen_acts_on_whom_it_was_typed_at(app, other):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j")
        admit_before(other)  # nobody has read the list again yet
        await pilot.press("enter")
        assert app.screen.visit.patient.id == "patient3"


async def test_who_has_left_the_list_is_said_and_nobody_is_chosen_instead(app, other):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j")
        other.discharge(other.patient("patient3"), NOW, "Dr Bex")
        app.screen.reload()
        await pilot.pause()
        assert "A3 Invented A3 is not on this list any more. Nobody is chosen." in dump(app)[-2]
        await pilot.press("enter")
        assert "Nobody is chosen. Choose a patient with the arrows." in dump(app)[-2]
        assert not isinstance(app.screen, ExamineScreen)


async def test_what_opens_is_held_against_what_the_list_showed(app, other):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j")
        other.update(other.patient("patient3").model_copy(update={"name": "Renamed"}), "Dr Bex")
        await pilot.press("enter")
        assert "the list showed A3 Invented A3, the record says A3 Renamed" in status(app)
        assert not isinstance(app.screen, ExamineScreen)
        await pilot.press("enter")  # now that the list says so
        assert app.screen.visit.patient.name == "Renamed"


async def test_a_discharge_discharges_whom_the_question_names(app, other):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j", "D")
        assert "Discharge A3 Invented A3 NO NUMBER? Type yes:" in dump(app)[-2]
        admit_before(other)
        await pilot.press(*"yes", "enter")
    assert [b.bed for b in other.beds(discharged=True)] == ["A3"]


async def test_the_search_and_the_list_of_the_discharged_choose_patients_too(app, other):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "slash", *"A3", "enter")
        assert "A3" in cursor_line(app)
        admit_before(other)
        app.screen.reload()
        await pilot.press("slash", *["backspace"] * 2, "enter")
        assert "A3" in cursor_line(app)
        for gone in ("patient1", "patient2"):
            other.discharge(other.patient(gone), NOW, "Dr Bex")
        await pilot.press("X", "j")
        assert "A2" in cursor_line(app)
        other.discharge(other.patient("patient0"), NOW, "Dr Bex")
        app.screen.reload()
        await pilot.pause()
        assert "A2" in cursor_line(app)
        await pilot.press("n")
        assert isinstance(app.screen, TextScreen)
        assert "A2" in opened(app)


async def test_notes_turned_to_are_one_patients_whatever_is_admitted_meanwhile(app, other):
    other.save(examination(3, 1).model_copy(update={"id": "exam0088"}), "x")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j", "n")
        admit_before(other)
        await pilot.press("h")
        assert "A3" in opened(app)
        assert "examination 1 of 2" in opened(app)


async def test_the_draft_named_at_the_start_is_that_of_the_patient_under_the_cursor(app, other):
    other.start_draft(examination(3).model_copy(update={"id": "draft0001"}), "Dr Bex").close()
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "Draft: A3 by Dr Bex" in dump(app)[-2]
        assert "A3" in cursor_line(app)
        await pilot.press("enter")
        assert app.screen.visit.patient.id == "patient3"


async def test_a_time_still_to_come_is_flagged_with_its_year_and_is_due(app):
    ahead = examination(2).model_copy(update={"id": "exam0077", "at": NOW + timedelta(days=366)})
    app.ward.save(ahead, "x", Summary(0, "none", False, "calm"))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        shown = dump(app)
        (at,) = (n for n, t in enumerate(shown) if "A2" in t)
        assert "2027?" in shown[at]
        assert "CLOCK" in shown[at]
        assert "dated 05 Mar 2027, still to come; calm" in shown[at + 1]
        now = examination(2, 0).model_copy(update={"id": "exam0078"})
        app.ward.save(now, "x", Summary(3, "now", False, "an emergency"))
        app.screen.reload()
        await pilot.pause()
        (line,) = (t for t in dump(app) if "A2" in t)
        assert "NOW" in line
        assert "2027" not in line


async def test_the_flags_key_goes_back_to_the_rows_that_showed_before(tmp_path):
    app = one_patient(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "6", "f")
        assert app.screen.state.page == FLAGS
        await pilot.press("f")
        assert app.screen.state.title == "Back or leg pain"
