"""What goes wrong around a ward is said in one clear line, and nothing is lost over it."""

import errno
import fcntl
import os
import subprocess
import sys
import threading
from datetime import timedelta

import pytest

from tests.records.checking import check_store
from wardexam.errors import RecordsError
from wardexam.records import patient_tables
from wardexam.records.repository import clock_line
from wardexam.records.ward import open_ward


def failing(monkeypatch, names, number, only=lambda given: True):
    for name in names:
        real = getattr(os, name)

        def call(*given, real=real, **options):
            if only(given):
                raise OSError(number, os.strerror(number))
            return real(*given, **options)

        monkeypatch.setattr(os, name, call)


def one_line(caught):
    said = str(caught.value)
    assert "\n" not in said
    assert "Errno" not in said
    return said


WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT


@pytest.fixture
def read_only(ward, patient, examination, monkeypatch):
    """The ward's folder as a reader without the right to write sees it."""
    ward.admit(patient, "x")
    ward.save(examination, "x")

    def go():
        failing(monkeypatch, ["open"], errno.EROFS, lambda g: g[1] & WRITING and str(ward.folder) in str(g[0]))  # fmt: skip
        failing(monkeypatch, ["replace", "rename", "link", "unlink"], errno.EROFS, lambda g: str(ward.folder) in str(g[0]))  # fmt: skip

    return go


def test_a_read_only_folder_is_read_and_says_so_on_saving(
    ward, patient, examination, knee, read_only, monkeypatch
):
    read_only()
    again = open_ward(ward.folder)
    assert len(again.beds()) == 1
    assert [e.id for e in again.examinations(patient.id)] == [examination.id]
    again.record("viewed", patient.id, "x")  # a view is not refused; it waits for the trail
    assert again.problem == "the audit trail cannot be written: Read-only file system"
    draft = again.start_draft(examination.model_copy(update={"id": "exam0002"}), "x")
    draft.append(knee)
    assert draft.flush(5)
    assert "Read-only file system; kept in" in draft.problem
    with pytest.raises(RecordsError) as caught:
        again.save(examination.model_copy(update={"id": "exam0002"}), "x")
    assert "Read-only file system (make the folder writable)" in one_line(caught)
    monkeypatch.undo()
    again.save(examination.model_copy(update={"id": "exam0002"}), "x")
    assert again.problem == ""  # the view went in with it
    draft.close()


def test_what_leaves_the_ward_must_be_in_the_trail(ward, patient, read_only):
    read_only()
    with pytest.raises(RecordsError, match="audit trail cannot be written"):
        ward.record("exported", patient.id, "x")


@pytest.mark.skipif(os.getuid() == 0, reason="root may write everywhere")
def test_a_folder_without_the_right_to_write(ward, patient, examination):
    ward.admit(patient, "x")
    for folder in (ward.folder, *(p for p in ward.folder.rglob("*") if p.is_dir())):
        folder.chmod(0o500)
    assert len(open_ward(ward.folder).beds()) == 1
    with pytest.raises(RecordsError):
        ward.save(examination, "x")


def test_a_full_disk_leaves_the_old_version_and_saves_when_it_can(
    ward, patient, examination, monkeypatch
):
    ward.admit(patient, "x")
    failing(monkeypatch, ["fsync"], errno.ENOSPC)
    with pytest.raises(RecordsError) as caught:
        ward.save(examination, "x")
    assert "could not be saved: No space left on device" in one_line(caught)
    monkeypatch.undo()
    assert ward.examinations(patient.id) == ()
    saved = ward.save(examination, "x")
    assert ward.examinations(patient.id) == (saved,)


def test_a_save_is_told_as_saved_even_where_the_trail_is_full(
    ward, patient, examination, monkeypatch
):
    ward.admit(patient, "x")
    failing(monkeypatch, ["open"], errno.ENOSPC, lambda g: "audit" in str(g[0]))
    ward.save(examination, "x")
    assert "audit trail cannot be written: No space left on device" in ward.problem
    monkeypatch.undo()
    ward.record("viewed", patient.id, "x")
    assert ward.problem == ""
    report = check_store(ward.folder, repair=False, by="x")
    assert report.sound
    assert any("audit trail: 3 lines" in line for line in report.lines)


@pytest.mark.parametrize("number", [errno.ENOLCK, errno.EOPNOTSUPP, errno.ENOSYS])
def test_a_network_folder_without_locks_is_named_and_nothing_is_saved_in_it(
    ward, patient, examination, monkeypatch, number, recwarn
):
    ward.admit(patient, "x")
    real = fcntl.flock

    def no_locks(handle, how):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(fcntl, "flock", no_locks)
    with pytest.raises(RecordsError) as caught:
        ward.save(examination, "x")
    said = one_line(caught)
    assert "no working locks in this folder" in said
    assert "keep the ward on a local disk" in said
    assert not recwarn.list
    assert ward.beds()[0].examinations == 0
    monkeypatch.setattr(fcntl, "flock", real)
    ward.save(examination, "x")


def test_a_stolen_lock_is_noticed_before_anything_is_written(
    ward, patient, examination, monkeypatch
):
    ward.admit(patient, "x")
    real = patient_tables.insert

    def meanwhile(*given):
        for path in (ward.folder / "locks").glob("*.lock"):
            path.unlink()
        real(*given)

    monkeypatch.setattr(patient_tables, "insert", meanwhile)
    with pytest.raises(RecordsError) as caught:
        ward.save(examination, "x")
    monkeypatch.undo()
    assert ward.examinations(patient.id) == ()
    assert "the lock was taken away; nothing was saved (save again)" in one_line(caught)
    ward.save(examination, "x")
    assert len(ward.examinations(patient.id)) == 1


def test_who_holds_a_lock_is_named(ward, patient, examination, monkeypatch):
    ward.admit(patient, "x")
    script = (
        "import sys, time; from pathlib import Path; from wardexam.records.ward import open_ward\n"
        "with open_ward(Path(sys.argv[1])).hold('patient1'): print('held', flush=True); time.sleep(60)"
    )
    session = subprocess.Popen(
        [sys.executable, "-c", script, str(ward.folder)], stdout=subprocess.PIPE, text=True
    )
    try:
        assert session.stdout.readline() == "held\n"
        ward.patience = 0.1
        with pytest.raises(RecordsError) as caught:
            ward.save(examination, "x")
        assert f"is being saved by {os.uname().nodename} process {session.pid}" in one_line(caught)
    finally:
        session.kill()
        session.wait()
    ward.save(examination, "x")  # death has released it


def test_a_clock_that_jumped_back_is_said_and_loses_nothing(ward, patient, examination):
    ward.admit(patient, "x")
    ward.save(examination, "x")
    early = examination.model_copy(
        update={"id": "exam0002", "at": examination.at - timedelta(hours=3)}
    )
    assert clock_line(examination.at, examination.at) == ""
    said = clock_line(early.at, examination.at)
    assert (
        said == "The clock says 2 Mar 05:00, before the last examination (2 Mar 08:00): check it."
    )
    ward.save(early, "x")
    assert {e.id for e in ward.examinations(patient.id)} == {"exam0001", "exam0002"}


def told(ward):
    """A watch over the ward, and what is set once it tells of a change."""
    rung = threading.Event()
    return ward.watch(rung.set), rung


def test_a_change_is_told_although_the_clock_goes_back(ward, patient):
    ward.admit(patient, "x")
    watch, rung = told(ward)
    path = ward.folder / "index" / "current.jsonl"
    ward.update(ward.patient(patient.id).model_copy(update={"bed": "B1"}), "x")
    os.utime(path, (0, 0))
    assert rung.wait(1.0)
    watch.close()


def test_another_sessions_change_is_told(ward, patient):
    watch, rung = told(ward)
    assert not rung.wait(0.7)  # nothing has happened yet
    open_ward(ward.folder).admit(patient, "x")
    assert rung.wait(1.0)
    assert len(ward.beds()) == 1
    watch.close()
