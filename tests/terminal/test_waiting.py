"""Another session in the way never freezes the screen, and nothing entered is lost by it."""

import gc
import re
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from dataclasses import replace

import pytest

from tests.terminal.admitting import presses
from tests.terminal.screens import NOW, demo_app, dump, status
from tests.terminal.test_trouble import broken, until
from wardexam.exam.entry import Change
from wardexam.records.locks import SECONDS
from wardexam.records.ward import open_ward
from wardexam.terminal.examine.edits import Edit
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.injury.screen import InjuryScreen
from wardexam.terminal.screens.text import TextScreen

HOLDER = """
import fcntl, sys, time
from contextlib import ExitStack
from pathlib import Path
from wardexam.records.ward import open_ward
ward = open_ward(Path(sys.argv[1]))
with ExitStack() as held:
    for name in sys.argv[2:]:
        if name == "trail":
            fcntl.flock(held.enter_context(ward.audit.path.open("rb")), fcntl.LOCK_EX)
        else:
            held.enter_context(ward.locks.held(name))
    print("held", flush=True)
    time.sleep(60)
"""


@contextmanager
def held_elsewhere(folder, *names):
    """Locks held by another process that does nothing, as one that was stopped."""
    session = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(folder), *names], stdout=subprocess.PIPE, text=True
    )
    try:
        assert session.stdout.readline() == "held\n"
        yield session
    finally:
        session.kill()
        session.wait()


def first(app):
    return app.ward.beds()[0]


async def test_a_save_held_up_says_by_whom_goes_on_by_itself_and_the_screen_lives(app):
    before = first(app)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2")
        with held_elsewhere(app.ward.folder, before.patient_id) as session:
            begun = time.monotonic()
            await pilot.press("s")
            # What the key brings is waited for to its end, further tries too: less than one wait of a command.
            assert time.monotonic() - begun < SECONDS
            assert f"process {session.pid}" in dump(app)[-2]
            await pilot.press("j")
            assert isinstance(app.screen, ExamineScreen)
        assert await until(pilot, lambda: isinstance(app.screen, TextScreen))
    assert first(app).examinations == before.examinations + 1


async def test_who_grades_on_while_a_save_waits_has_not_saved_that(app):
    before = first(app)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2")
        with held_elsewhere(app.ward.folder, before.patient_id):
            await pilot.press("s", "0")
        await pilot.pause(0.8)
        assert isinstance(app.screen, ExamineScreen)
        await pilot.press("s")
    found = app.ward.examinations(before.patient_id)[-1]
    assert [f.answer for f in found.findings] == ["2+", "0"]


async def test_who_leaves_while_a_save_waits_keeps_the_draft(app):
    before = first(app)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2")
        with held_elsewhere(app.ward.folder, before.patient_id):
            await pilot.press("s", "q")
            assert "Ward" in dump(app)[0]
        await pilot.pause(0.8)
    assert first(app).examinations == before.examinations
    assert [d.keys for d in app.ward.drafts()] == [1]


@pytest.mark.parametrize("names", [("lists",), ("trail",)])
async def test_an_admission_held_up_is_carried_out_when_that_ends(app, names):
    async with app.run_test(size=(80, 24)) as pilot:
        with held_elsewhere(app.ward.folder, *names):
            begun = time.monotonic()
            await pilot.press(*presses("Z1", "Zo"))
            assert time.monotonic() - begun < 3
        assert await until(pilot, lambda: any(b.bed == "Z1" for b in app.ward.beds()))
        await until(pilot, lambda: app.ward.problem == "")
        app.ward.settle()
        assert app.ward.problem == ""


@pytest.mark.long
async def test_a_held_trail_holds_up_no_key(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2")
        with held_elsewhere(app.ward.folder, "trail"):
            begun = time.monotonic()
            await pilot.press("s", "q", "n", "q")
            assert time.monotonic() - begun < 2.5


@pytest.fixture
def everywhere(own_state_folder):
    """Where the ward's folder and the doctor's own both lie."""
    return own_state_folder.parents[1]


async def test_leaving_says_what_is_in_memory_only_and_asks(app, monkeypatch, everywhere):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2")
        await until(pilot, lambda: app.screen.visit.draft.kept == 1)
        mend = broken(monkeypatch, everywhere, 28)
        await pilot.press("2", "2")
        assert await until(pilot, lambda: "kept in memory only" in dump(app)[-2])
        for key in ("q", "escape"):
            await pilot.press(key)
            # Two answers, and that the urgency rose where that was seen by then.
            assert re.search("[23] entries in memory only would be lost.", " ".join(dump(app)[-3:]))
            assert "kept" not in dump(app)[0]
            await pilot.press("enter")
            assert isinstance(app.screen, ExamineScreen)
            assert len(app.screen.state.examination.findings) == 3
        mend()
        draft = app.screen.visit.draft
        assert await until(pilot, lambda: draft.kept == draft.sent >= 3)
        await pilot.press("q")
        assert "Ward" in dump(app)[0]
    assert [d.keys for d in app.ward.drafts()] == [draft.sent]


async def test_leaving_what_cannot_be_kept_takes_the_word_lose(app, monkeypatch, everywhere):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2")
        await until(pilot, lambda: app.screen.visit.draft.kept == 1)
        broken(monkeypatch, everywhere, 28)
        await pilot.press("2")
        await until(pilot, lambda: "kept in memory only" in dump(app)[-2])
        await pilot.press("q", *"lose", "enter")
        assert "Ward" in dump(app)[0]


# --- two who amend


async def test_the_second_to_amend_is_shown_both_and_may_save_after_the_first(app):
    other, bed = open_ward(app.ward.folder), first(app)
    last = app.ward.examinations(bed.patient_id)[-1]
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n", "M")
        assert isinstance(app.screen, ExamineScreen)
        app.screen.change(Edit(Change("comment", "", "mine"), "kept"))
        other.amend(last.model_copy(update={"comment": "theirs"}), "Dr Bex", "their reason", NOW)
        await pilot.press("s", *"my reason", "enter")
        assert isinstance(app.screen, TextScreen)
        shown = " ".join(app.screen.shown.split())
        assert "Dr Bex" in shown
        assert "their reason" in shown
        assert "comment: theirs theirs; yours mine" in shown
        assert len(other.revisions(bed.patient_id, last.id)) == 2
        await pilot.press("q", "s", *"my reason", "enter")
        assert "revision 3 of 3" in dump(app)[0]
    found = [e.comment for e in other.revisions(bed.patient_id, last.id)]
    assert found[1:] == ["theirs", "mine"]


async def test_who_amends_what_another_is_amending_is_told_so(app):
    bed = first(app)
    last = app.ward.examinations(bed.patient_id)[-1]
    draft = open_ward(app.ward.folder).start_draft(last, "Dr Bex")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n", "M")
        await pilot.pause()
        assert "Ward" in dump(app)[0]
        assert "there is a draft of this examination already" in status(app)
    draft.close()


# --- what stays behind


@pytest.mark.long
async def test_no_thread_is_left_by_an_examination(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2", "q", "enter", "q")
        before = threading.active_count()
        for _ in range(8):
            await pilot.press("enter", "2", "q")
        await until(pilot, lambda: threading.active_count() <= before)
        assert threading.active_count() <= before


@pytest.mark.long
async def test_no_drawn_line_is_left_by_an_examination(app):
    from textual.strip import Strip

    def drawn():
        gc.collect()
        return sum(isinstance(o, Strip) for o in gc.get_objects())

    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2", "q", "enter", "2", "q")
        before = drawn()
        for _ in range(6):
            await pilot.press("enter", "2", "q")
        # A screen that was left goes in its own turn.
        assert await until(pilot, lambda: drawn() <= before * 1.1)


# --- what only looking into the file shows


async def test_a_flipped_byte_is_on_the_list_once_the_files_are_looked_at(app):
    path = app.ward.layout.file(first(app).patient_id)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))
    async with app.run_test(size=(80, 24)) as pilot:
        app.verify()
        assert await until(pilot, lambda: any("RECORD UNREADABLE" in t for t in dump(app)))
        await pilot.press("H")
        assert app.screen.shown.startswith("NOT ON THIS SHEET, their record cannot be read: bed A1")


async def test_an_unreadable_file_never_ends_the_screen(app):
    path = app.ward.layout.file(first(app).patient_id)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        data = bytearray(path.read_bytes())
        data[-300] ^= 1
        path.write_bytes(bytes(data))
        for key in ("enter", "n", "V", "E", "H", "q"):
            await pilot.press(key)
        assert "Ward" in dump(app)[0]


async def test_a_draft_whose_first_line_is_damaged_is_offered_as_damaged(app):
    bed = first(app)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2", "q")
    (path,) = app.ward.layout.drafts.glob("*.draft")
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(lines[0].replace(b'"by"', b'"b~', 1) + b"".join(lines[1:]))
    (info,) = app.ward.drafts()
    assert (info.patient_id, info.keys) == (bed.patient_id, 1)
    again = demo_app(app.ward.folder, empty=True)
    again.session = replace(again.session, new_id=lambda: "another01")
    async with again.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "A draft is damaged" in status(again)
        await pilot.press("enter")
        assert "damaged and was not resumed" in status(again)
        await pilot.press("q", "T", "y")
        assert "set aside" in dump(again)[-2]
    assert again.ward.drafts() == ()


@pytest.mark.long
async def test_a_sheet_held_up_goes_on_by_itself_and_is_saved_once(app):
    whose = first(app).patient_id
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", "2")
        with held_elsewhere(app.ward.folder, whose) as session:
            await pilot.press("s")
            said = dump(app)[-2]
            assert f"process {session.pid}" in said
            assert "it follows by itself.  " in said  # whole
            await pilot.press("j")
            assert isinstance(app.screen, InjuryScreen)
        assert await until(pilot, lambda: isinstance(app.screen, TextScreen))
        (kept,) = app.ward.file(whose).sheets
        assert kept.sheet.light_touch.right == {"C2": "2"}
        assert app.ward.sheet_drafts.infos() == ()


async def test_a_sheet_in_memory_only_is_said_and_takes_the_word_lose_to_leave(
    app, monkeypatch, everywhere
):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("J", "2")
        await until(pilot, lambda: app.screen.visit.draft.kept == 1)
        mend = broken(monkeypatch, everywhere, 28)
        await pilot.press("1")
        assert await until(pilot, lambda: "kept in memory only" in dump(app)[-2])
        await pilot.press("q")
        assert "Type lose to leave" in "\n".join(dump(app)[-4:])
        await pilot.press("enter")
        assert isinstance(app.screen, InjuryScreen)
        await pilot.press("G")
        assert isinstance(app.screen, InjuryScreen)
        mend()
        assert await until(pilot, lambda: app.screen.visit.draft.kept == 2)
        await pilot.press("q")
    assert [d.keys for d in app.ward.sheet_drafts.infos()] == [2]
