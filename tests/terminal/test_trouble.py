"""What a doctor sees when the ward's folder, the clock, or a colleague gets in the way."""

import errno
import fcntl
import os
import stat
import tempfile
import threading
import time
from dataclasses import replace
from datetime import timedelta

import pytest

from tests.records.memory import MemoryWard
from tests.terminal.screens import NOW, dump, status
from wardexam.exam.entry import Change
from wardexam.exam.examination import Examination
from wardexam.records import private_file
from wardexam.records.archive import read_archive, write_archive
from wardexam.records.ward import open_ward
from wardexam.terminal.examine.screen import ExamineScreen
from wardexam.terminal.screens.text import TextScreen


def first_bed(app):
    return app.ward.beds()[0]


def leave_draft(app, *, minutes=12, by="Dr Ash"):
    """A draft of the first patient, left by someone some minutes ago."""
    bed = first_bed(app)
    made = Examination(id="leftdraft1", patient=bed.patient_id, examiner=by, at=NOW)
    draft = app.ward.start_draft(made, by)
    draft.append(Change("flag", "cancer", "yes"))
    draft.close()
    then = (NOW - timedelta(minutes=minutes)).timestamp()
    os.utime(app.ward.layout.drafts / f"{draft.draft_id}.draft", (then, then))


async def until(pilot, told, seconds=5.0):
    end = time.monotonic() + seconds
    while not told() and time.monotonic() < end:
        await pilot.pause(0.05)
    return told()


def broken(monkeypatch, folder, number):
    """From now on nothing can be written in the folder; gives what mends it."""
    real = os.open

    def open_(path, flags, *more, **options):
        if flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT) and str(folder) in str(path):
            raise OSError(number, os.strerror(number))
        return real(path, flags, *more, **options)

    monkeypatch.setattr(os, "open", open_)
    return lambda: monkeypatch.setattr(os, "open", real)


# --- drafts


async def test_a_draft_is_offered_with_age_and_author(app):
    leave_draft(app)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "Draft: A1 by Dr Ash, 12 min old, 1 entry. enter resumes, T sets aside." in status(
            app
        )


async def test_a_draft_is_resumed_and_saved(app):
    leave_draft(app)
    before = first_bed(app).examinations
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        assert "Draft resumed: A1 by Dr Ash, 12 min old, 1 entry." in status(app)
        await pilot.press("s")
        assert isinstance(app.screen, TextScreen)
    assert first_bed(app).examinations == before + 1
    assert app.ward.examinations(first_bed(app).patient_id)[-1].flags == {"cancer": "yes"}
    assert app.ward.drafts() == ()


async def test_a_draft_is_set_aside_and_kept(app):
    leave_draft(app)
    async with app.run_test(size=(80, 24)) as pilot:
        for no in ("escape", "enter"):  # Enter is also the key that goes on with it
            await pilot.press("T", no)
            assert app.ward.drafts()
        await pilot.press("T", "y")
        assert "set aside" in status(app)
    assert app.ward.drafts() == ()
    assert list(app.ward.layout.drafts.glob("aside/*.draft"))


async def test_a_doctor_who_pulls_the_plug_finds_every_answered_key(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", *"2222")
        assert await until(pilot, lambda: "kept 14:00" in status(app), seconds=1.0)
        bed = first_bed(app).patient_id
        power_cut = (
            app.ward.layout.drafts / f"{app.screen.visit.draft.draft_id}.draft"
        ).read_bytes()
    left = app.ward.layout.drafts / "powercut1.draft"
    left.write_bytes(power_cut)
    found = open_ward(app.ward.folder).resume_draft("powercut1")[1]
    assert [f.answer for f in found.findings] == ["2+"] * 4
    assert found.patient == bed


# --- another keeper


@pytest.mark.long
async def test_the_screens_work_on_any_keeper_of_a_ward(app, tmp_path):
    ward = MemoryWard()
    with (tmp_path / "archive").open("w+b") as file:
        file.write("".join(write_archive(app.ward)).encode())
        file.seek(0)
        read_archive(ward, file, by="x")
    app.session = replace(app.session, ward=ward)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", *"22222222201100", "s")
        assert "knee and ankle jerks" in " ".join(app.screen.shown.split())
        await pilot.press("q", "V")
        assert isinstance(app.screen, TextScreen)
    assert ward.drafts() == ()
    assert [e[0] for e in ward.events[-3:]] == ["saved", "viewed", "viewed"]


# --- a paper written to a file


def full_for(monkeypatch, target):
    """From now on the disk takes half of what is written to a file."""
    real = {"write": os.write, "writev": os.writev}

    def here(handle):
        return target.exists() and os.path.samestat(os.fstat(handle), target.stat())

    def write(handle, data):
        if not here(handle):
            return real["write"](handle, data)
        if os.fstat(handle).st_size:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return real["write"](handle, bytes(data)[: len(data) // 2])

    def writev(handle, pieces):
        return write(handle, b"".join(pieces)) if here(handle) else real["writev"](handle, pieces)

    monkeypatch.setattr(os, "write", write)
    monkeypatch.setattr(os, "writev", writev)


async def test_a_paper_that_a_full_disk_cuts_leaves_no_file_and_may_be_written_elsewhere(
    app, tmp_path, monkeypatch
):
    target, other = tmp_path / "paper", tmp_path / "other"
    full_for(monkeypatch, target)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("H", "W", *str(target), "enter")
        assert "No space left" in "\n".join(dump(app))
        assert not target.exists()
        await pilot.press("ctrl+u", *str(other), "enter")
        said = status(app).replace(" ", "")  # a long path is broken where a line ends
        assert said == f"Written to {other}; only you can read it.".replace(" ", "")
        assert other.read_text().startswith("HANDOVER")
        assert stat.S_IMODE(other.stat().st_mode) == 0o600


async def test_a_paper_is_never_written_over_a_file_and_not_where_keys_are_handled(
    app, tmp_path, monkeypatch
):
    target, threads, real = tmp_path / "paper", [], private_file.write_new

    def write_new(*given):
        threads.append(threading.current_thread())
        return real(*given)

    monkeypatch.setattr(private_file, "write_new", write_new)
    target.write_text("mine")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("H", "W", *str(target), "enter")
        assert "is there already (choose another name)" in " ".join("\n".join(dump(app)).split())
        await pilot.press("escape")
    assert target.read_text() == "mine"
    assert threads
    assert threading.main_thread() not in threads


# --- colleagues


async def test_another_sessions_change_shows_within_two_seconds(app):
    other = open_ward(app.ward.folder)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        patient = other.patient(first_bed(app).patient_id)
        other.update(patient.model_copy(update={"name": "Renamed Elsewhere"}), "Dr Bex")
        assert await until(pilot, lambda: any("Renamed" in line for line in dump(app)), seconds=2.0)


async def test_details_edited_twice_the_second_is_shown_the_difference(app):
    other = open_ward(app.ward.folder)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("E")
        patient = other.patient(first_bed(app).patient_id)
        other.update(patient.model_copy(update={"bed": "Z9"}), "Dr Bex")
        await pilot.press("backspace", "backspace", *"B7", *["enter"] * 6)
        assert "Changed by someone else meanwhile. bed: theirs 'Z9', yours 'B7'" in status(app)
    assert other.patient(patient.id).bed == "Z9"


async def test_two_doctors_at_one_patient_both_keep_their_examination(app):
    other = open_ward(app.ward.folder)
    bed = first_bed(app)
    theirs = Examination(id="theirs0001", patient=bed.patient_id, examiner="Dr Bex", at=NOW)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2")
        draft = other.start_draft(theirs, "Dr Bex")
        other.save(theirs, "Dr Bex")
        other.drop_draft(draft)
        await pilot.press("s")
    assert first_bed(app).examinations == bed.examinations + 2


# --- the folder


@pytest.mark.parametrize(
    ("number", "words"),
    [(errno.EROFS, "Read-only file system"), (errno.ENOSPC, "No space left on device")],
)
async def test_a_folder_that_cannot_be_written_is_said_and_everything_saved_when_it_can(
    app, monkeypatch, number, words
):
    before = first_bed(app).examinations
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2")
        await until(pilot, lambda: app.screen.visit.draft.kept == 1)
        mend = broken(monkeypatch, app.ward.folder, number)
        await pilot.press("2")
        assert await until(pilot, lambda: f"{words}; kept in " in status(app))
        await pilot.press("3")
        await pilot.press("s")
        assert words in status(app)
        assert isinstance(app.screen, ExamineScreen)  # nothing was closed, all is there still
        mend()
        assert await until(pilot, lambda: "kept 14:00" in status(app))
        await pilot.press("s")
        assert isinstance(app.screen, TextScreen)
    assert first_bed(app).examinations == before + 1
    found = app.ward.examinations(first_bed(app).patient_id)[-1]
    assert [f.answer for f in found.findings] == ["2+", "2+", "3+"]


async def test_a_new_examination_begins_where_nothing_can_be_written(app, monkeypatch):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        mend = broken(monkeypatch, app.ward.folder, errno.EROFS)
        await pilot.press("enter", "2")
        assert await until(pilot, lambda: "Read-only file system; kept in" in status(app))
        mend()
        assert await until(pilot, lambda: "kept 14:00" in status(app))


async def test_a_network_folder_without_locks_says_so_and_keeps_the_draft(app, monkeypatch):
    real = fcntl.flock

    def no_locks(handle, how):
        raise OSError(errno.ENOLCK, os.strerror(errno.ENOLCK))

    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2")
        monkeypatch.setattr(fcntl, "flock", no_locks)
        await pilot.press("s")
        assert "no working locks" in status(app)
        monkeypatch.setattr(fcntl, "flock", real)
        await pilot.press("s")
        assert isinstance(app.screen, TextScreen)


async def test_a_damaged_record_stays_on_the_list_and_the_others_open(app):
    path = app.ward.layout.patients / f"{first_bed(app).patient_id}.json"
    path.write_bytes(path.read_bytes()[:200])
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert any("A1" in line and "RECORD UNREADABLE" in line for line in dump(app))
        await pilot.press("enter")
        assert "run 'wardexam check'" in " ".join(dump(app))
        await pilot.press("j", "enter", "2", "s")
        assert isinstance(app.screen, TextScreen)
        await pilot.press("q", "H")
        sheet = "\n".join(app.screen.shown.splitlines())
        assert "NOT ON THIS SHEET, their record cannot be read: bed A1" in sheet


# --- the clock


async def test_a_clock_that_went_back_is_said(app):
    app.session = replace(app.session, now=lambda: NOW - timedelta(days=30))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        assert "The clock says 2 Feb 14:00, before the last examination" in status(app)


# --- eyes that should not see


async def test_the_screen_hides_after_idle_minutes_and_shows_again_on_a_key(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "2")
        app._last_key -= 301
        app._idle()
        await pilot.pause()
        text = "\n".join(dump(app))
        assert "Hidden. Any key shows the ward again." in text
        assert "This is no lock: lock the terminal itself." in text
        assert first_bed(app).name.split()[0] not in text
        await pilot.press("3")
        assert isinstance(app.screen, ExamineScreen)
        assert len(app.screen.state.examination.findings) == 1  # that key did nothing else


async def test_no_patient_is_in_the_terminals_title_or_the_hosts_temporary_folder(
    app, tmp_path, monkeypatch
):
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setenv("TMPDIR", str(scratch))
    monkeypatch.setattr(tempfile, "tempdir", None)
    async with app.run_test(size=(80, 24)) as pilot:
        for keys in ("enter", "q", "n", "q", "H"):
            await pilot.press(keys)
            shown = f"{app.title} {app.sub_title} {app.screen.title} {app.screen.sub_title}"
            assert not any(b.name.split()[0] in shown for b in app.ward.beds())
    assert list(scratch.iterdir()) == []
