"""Nothing of the store is called where keys are handled: a store that hangs freezes no screen and reorders no key."""

import asyncio
import threading
import time
from dataclasses import replace

import pytest

from tests.records.memory import MemoryWard
from tests.records.wrapped import Wrapped
from tests.terminal.admitting import EDIT, answered, presses
from tests.terminal.screens import STORE, demo_app, dump, settled, status
from wardexam.exam.examination import Patient
from wardexam.terminal import store_calls
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.injury.screen import InjuryScreen
from wardexam.terminal.screens.text import TextScreen
from wardexam.terminal.screens.ward import WardScreen


class Gate:
    """Around each call of a store: who made it, and whether it hangs until it is let through."""

    def __init__(self):
        self.made, self.on_main, self.hanging = [], [], 0
        self._open = threading.Event()
        self._open.set()

    def __call__(self, name, call):
        self.made.append(name)
        if threading.current_thread() is threading.main_thread():
            self.on_main.append(name)
            raise AssertionError(f"{name} is called where keys are handled")
        self.hanging += 1
        self._open.wait(20)
        self.hanging -= 1
        return call()

    def shut(self):
        """From now on every call hangs."""
        self._open.clear()
        STORE.hangs = True

    def let_through(self):
        """Let all go on that hang."""
        self._open.set()
        STORE.hangs = False


@pytest.fixture
def gate(monkeypatch):
    monkeypatch.setattr(store_calls, "HELD", 0.05)
    made = Gate()
    yield made
    made.let_through()


@pytest.fixture(params=["folder", "memory", "server"])
def app(request, tmp_path, gate):
    app = demo_app(tmp_path / "ward")
    ward = app.ward
    if request.param != "folder":
        at_server = request.param == "server"
        ward = request.getfixturevalue("server_ward") if at_server else MemoryWard()
        for bed in app.ward.beds():
            ward.admit(app.ward.patient(bed.patient_id), "x")
            for examination in app.ward.examinations(bed.patient_id):
                ward.save(examination, "x", bed.summary)
    app.session = replace(app.session, ward=Wrapped(ward, gate))
    return app


def inner(app):
    """The ward itself, for the test's own thread."""
    return app.ward.inner


async def until(pilot, told, seconds=5.0):
    end = time.monotonic() + seconds
    while not told() and time.monotonic() < end:
        await pilot.pause(0.02)
    return told()


async def hangs(pilot, gate):
    """Wait until a call hangs."""
    assert await until(pilot, lambda: gate.hanging)


# Each from the list and back to it, through every screen and everything that they ask of the store.
ROUNDS = {
    "admission": presses("Z1", "Zo Invented", "77-1", "63 m", "headache"),
    "list": ["O", "O", "O", "O", "X", "X", "slash", "A", "1", "enter", "escape"],
    "note": ["n", "j", "z", "F", "R", "R", "C", "left", "right", "q"],
    "course": ["V", "q"],
    "handover": ["H", "q"],
    "reasons": ["exclamation_mark", "enter", "1", "enter", "q"],
    "draft": ["enter", "m", "1", "2", "0", "q", "enter", "q", "T", "y"],
    "save": ["enter", "m", "1", "2", "exclamation_mark", "enter", "1", "enter", "q", "s", "q"],
    "amendment": ["n", "M", "m", "1", "2", "s", *"why", "enter", "q"],
    "sheet": ["J", "2", "1", "n", "q", "s", "C", "M", "2", "s", *"why", "enter", "q"],
    "sheets": ["J", "2", "q", "J", "n", "left", "q", "q"],
    "sheet aside": ["J", "T", "enter"],
    "scores": ["J", "2", "G", "q"],
    "details": [EDIT, *["enter"] * 6],
    "outcome": ["L", "enter", "enter", *"disc", "enter", "enter"],
    "discharge": ["D", *"yes", "enter", "X", "D", *"yes", "enter", "X"],
}


async def test_every_screen_calls_the_store_from_another_thread(app, gate):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        for name, keys in ROUNDS.items():
            for key in keys:
                await pilot.press(key)
                assert gate.on_main == [], (name, key)
            assert isinstance(app.screen, WardScreen), (name, dump(app))
            assert not app.screen.asking, (name, dump(app))
    assert gate.on_main == []
    assert {
        "beds", "watch", "opened", "file", "papers", "patient", "admit", "update", "discharge", "restore", "save",
        "amend", "save_sheet", "drafts", "start_draft", "resume_draft", "set_aside", "drop_draft", "draft.close",
        "record", "verify", "settle", "sheet_drafts.infos", "sheet_drafts.start", "sheet_drafts.resume",
        "sheet_drafts.drop", "conclude",
    } <= {*gate.made}  # fmt: skip


async def test_keys_typed_while_an_examination_opens_wait_for_it_in_their_order(app, gate):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        gate.shut()
        await pilot.press("enter", "m", "1", *"012")
        assert isinstance(app.screen, WardScreen)
        assert await until(pilot, lambda: "Waiting for the ward's store. Escape" in status(app))
        await pilot.press("3")
        gate.let_through()
        assert await until(pilot, lambda: isinstance(app.screen, ExamineScreen))
        await pilot.press("q")
        assert "Waiting for" not in status(app)  # said no more, once it is there
        await pilot.press("enter")
        found = app.screen.visit.examination.findings
        assert [f.answer for f in found][:4] == ["0", "1+", "2+", "3+"]
        assert len(found) == 4


async def test_escape_goes_back_from_what_does_not_open_and_nothing_is_left_of_it(app, gate):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        before = inner(app).drafts()
        gate.shut()
        await pilot.press("enter")
        await until(pilot, lambda: "Waiting for" in status(app))
        await pilot.press("2", "escape")
        assert "Not opened" in status(app)
        await pilot.press("j")
        assert dump(app)[-2].strip() == ""  # the list goes on
        gate.let_through()
        await pilot.pause()
        assert isinstance(app.screen, WardScreen)
        assert await until(pilot, lambda: "drop_draft" in gate.made and not gate.hanging)
        assert await until(pilot, lambda: inner(app).drafts() == before)
        await pilot.press("k", "enter", "2")
        assert isinstance(app.screen, ExamineScreen)
        assert len(app.screen.visit.examination.findings) == 1


async def test_the_list_moves_while_it_is_read_again(app, gate):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        gate.shut()
        app.screen.reload()
        await hangs(pilot, gate)
        begun = dump(app)
        await pilot.press("j")
        assert dump(app) != begun
        gate.let_through()


async def test_keys_of_an_examination_are_drawn_while_the_store_hangs(app, gate):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "1")
        gate.shut()
        app.screen.ward_app.calls.behind(app.ward.drafts)
        await hangs(pilot, gate)
        for count in range(1, 6):
            await pilot.press("2")
            assert len(app.screen.visit.examination.findings) == count
            assert sum(line.count("2+") for line in app.screen.canvas("grades").text()) == count
        gate.let_through()


async def test_a_save_that_takes_long_lets_keys_go_on_and_is_there_once(app, gate):
    who = inner(app).beds()[0].patient_id
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "1", "2")
        await settled(pilot)
        count = len(inner(app).examinations(who))
        gate.shut()
        await pilot.press("s")
        assert await until(pilot, lambda: "Not saved yet: the ward's store is slow" in status(app))
        await pilot.press("0")  # entered after: it is not in what is being saved
        assert len(app.screen.visit.examination.findings) == 2
        gate.let_through()
        assert await until(pilot, lambda: "Saved as it stood then." in status(app))
        assert [f.answer for f in inner(app).examinations(who)[-1].findings] == ["2+"]
        await pilot.press("s", *"more found", "enter")
        assert await until(pilot, lambda: isinstance(app.screen, TextScreen))
    saved = inner(app).examinations(who)
    assert len(saved) == count + 1
    assert [f.answer for f in saved[-1].findings] == ["2+", "0"]
    assert saved[-1].amendment.why == "more found"
    assert inner(app).drafts() == ()


async def test_a_sheet_that_takes_long_to_save_goes_on_as_its_amendment(app, gate):
    who = inner(app).beds()[0].patient_id
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", "2")
        gate.shut()
        await pilot.press("s")
        assert await until(pilot, lambda: "Not saved yet: the ward's store is slow" in status(app))
        await pilot.press("1")
        gate.let_through()
        assert await until(pilot, lambda: "Saved as it stood then." in status(app))
        assert isinstance(app.screen, InjuryScreen)
        await pilot.press("s", *"more", "enter")
        assert await until(pilot, lambda: isinstance(app.screen, TextScreen))
    first, second = inner(app).file(who).sheets
    assert (first.id, first.revision, second.revision) == (second.id, 1, 2)
    assert len(second.sheet.light_touch.right) == 2


async def test_a_save_that_takes_long_and_is_waited_for_shows_its_note(app, gate):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "m", "1", "2")
        gate.shut()
        await pilot.press("s")
        await until(pilot, lambda: "Not saved yet" in status(app))
        gate.let_through()
        assert await until(pilot, lambda: dump(app)[-2].startswith("Saved."))
        assert isinstance(app.screen, TextScreen)


async def test_a_note_scrolls_while_the_trail_hangs(app, gate):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n")
        gate.shut()
        await pilot.press("C")
        assert dump(app)[-2].startswith("Sent to your terminal")
        await pilot.press("z")
        assert "scale" in status(app)
        gate.let_through()


async def test_keys_typed_while_an_admission_is_looked_up_keep_their_order(app, gate):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        gate.shut()
        await pilot.press(*presses("Z1", "Zo Invented", "77-1", "63 m", "headache"))
        assert inner(app).beds()[-1].bed != "Z1"
        gate.let_through()
        assert await until(pilot, lambda: dump(app)[-2].startswith("Admitted."))
        (zo,) = [b for b in inner(app).beds() if b.bed == "Z1"]
        made = inner(app).patient(zo.patient_id)
        assert (made.name, made.number, made.age, made.remark) == (
            "Zo Invented",
            "77-1",
            63,
            "headache",
        )


async def test_a_bed_that_is_taken_is_asked_again_with_what_was_typed(app, gate):
    bed = inner(app).beds()[0]
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(presses("x")[0], *bed.bed, "enter")
        assert f"{bed.bed} is {bed.name}'s already" in " ".join(dump(app)[-4:])
        assert dump(app)[-2].startswith(f"Bed: {bed.bed}")
        await pilot.press("enter", *"Zo", *["enter"] * (len(answered()) - 1))
        assert dump(app)[-2].startswith("Admitted")
    assert [b.name for b in inner(app).beds() if b.bed == bed.bed] == [bed.name, "Zo"]


async def test_another_list_read_meanwhile_does_not_change_whom_a_key_opens(app, gate):
    """The line that was chosen is what opens, though the list under the cursor is read anew meanwhile."""
    who = inner(app).beds()[2]
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j")
        gate.shut()
        app.screen.reload()
        await pilot.press("enter")
        first = inner(app).patient(who.patient_id)
        inner(app).admit(Patient(id="newcomer0", bed="A0", name="Al", admitted=first.admitted), "x")
        gate.let_through()
        assert await until(pilot, lambda: isinstance(app.screen, ExamineScreen))
        assert app.screen.visit.patient.id == who.patient_id


async def test_whose_details_change_while_the_examination_opens_is_not_opened(app, gate):
    who = inner(app).beds()[2]
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("j", "j")
        gate.shut()
        await pilot.press("enter")
        patient = inner(app).patient(who.patient_id)
        inner(app).update(patient.model_copy(update={"name": "Renamed"}), "x")
        gate.let_through()
        assert await until(pilot, lambda: "the list showed" in status(app))
        assert isinstance(app.screen, WardScreen)
        assert await until(pilot, lambda: any("Renamed" in line for line in dump(app)))
        await pilot.press("enter")
        assert await until(pilot, lambda: isinstance(app.screen, ExamineScreen))
        assert app.screen.visit.patient.name == "Renamed"


async def test_the_app_ends_while_a_call_is_under_way(app, gate):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        gate.shut()
        await pilot.press("enter")
        begun = time.monotonic()
        app.exit()
        await asyncio.sleep(0)
    assert time.monotonic() - begun < 3
    assert inner(app).drafts() == ()


async def test_an_idle_screen_is_not_hidden_under_what_is_opening(app, gate, monkeypatch):
    monkeypatch.setattr("wardexam.terminal.app.IDLE_SECONDS", -1.0)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        gate.shut()
        await pilot.press("enter")
        app._idle()
        assert isinstance(app.screen, WardScreen)
        gate.let_through()
        assert await until(pilot, lambda: isinstance(app.screen, ExamineScreen))


async def test_no_thread_is_left_by_what_was_given_up(app, gate):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        before = threading.active_count()
        for _ in range(4):
            gate.shut()
            await pilot.press("n")
            await until(pilot, lambda: "Waiting for" in status(app))
            await pilot.press("escape")
            gate.let_through()
            await pilot.press("j")
        assert await until(pilot, lambda: threading.active_count() <= before + 1)


async def test_a_list_that_takes_long_at_the_start_can_be_left_and_comes_all_the_same(app, gate):
    gate.shut()
    async with app.run_test(size=(80, 24)) as pilot:
        assert await until(pilot, lambda: "Waiting for the ward's store" in status(app))
        await pilot.press("j", "escape", "question_mark", "q")
        assert isinstance(app.screen, WardScreen)  # keys go on
        gate.let_through()
        assert await until(pilot, lambda: any("A1" in line for line in dump(app)[2:6]))
        await pilot.press("enter")
        assert isinstance(app.screen, ExamineScreen)
