"""Every accepted key is on disk, here or elsewhere, and comes back."""

import fcntl
import json
import os
import subprocess
import sys
import threading
import time

import pytest

from tests.records.checking import check_store
from wardexam.errors import RecordsError
from wardexam.exam.entry import Change, apply
from wardexam.records import draft_writer as module
from wardexam.records.draft_file import line_of, replay, rows_of, whole_rows
from wardexam.records.ward import open_ward

WORDS = Change("comment", "", "words")


def file_of(ward):
    """The file of the draft that these tests write."""
    return ward.layout.drafts / "exam0001.draft"


def start(ward, patient, examination):
    ward.admit(patient, "x")
    return ward.start_draft(examination, "Dr Ash")


def until(told, seconds=5.0):
    end = time.monotonic() + seconds
    while not told() and time.monotonic() < end:
        time.sleep(0.02)
    return told()


@pytest.fixture
def disk(monkeypatch):
    """A disk whose ward folder, or everything, can be made to fail."""

    class Disk:
        broken: tuple[str, ...] = ()
        error = (28, "No space left on device")

    real = {"open": os.open, "fdatasync": os.fdatasync, "fsync": os.fsync}
    paths: dict[int, str] = {}

    def open_(path, flags, *more, **options):
        if flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT) and any(
            b in str(path) for b in Disk.broken
        ):
            raise OSError(*Disk.error)
        handle = real["open"](path, flags, *more, **options)
        paths[handle] = str(path)
        return handle

    monkeypatch.setattr(os, "open", open_)
    return Disk


def test_appending_never_waits_for_the_disk(ward, patient, examination, knee, monkeypatch):
    draft = start(ward, patient, examination)
    gate, real = threading.Event(), os.fdatasync
    monkeypatch.setattr(os, "fdatasync", lambda handle: (gate.wait(5), real(handle)))
    began = time.perf_counter()
    for _ in range(50):
        draft.append(knee)
    assert time.perf_counter() - began < 0.2
    assert draft.kept < draft.sent
    gate.set()
    assert draft.flush(5)


def test_a_key_is_on_disk_within_a_second(ward, patient, examination, knee):
    draft = start(ward, patient, examination)
    draft.append(knee)
    assert until(lambda: draft.kept == 1, seconds=1.0)
    assert len(file_of(ward).read_bytes().splitlines()) == 2


def test_a_draft_cut_at_any_byte_loses_at_most_the_key_in_flight(ward, patient, examination, knee):
    draft = start(ward, patient, examination)
    draft.append(knee)
    draft.append(WORDS)
    draft.close()
    whole = file_of(ward).read_bytes()
    ends = [n for n, byte in enumerate(whole) if byte == 10]
    for cut in range(ends[0] + 1, len(whole)):
        file_of(ward).write_bytes(whole[:cut])
        again, found = ward.resume_draft(examination.id)
        assert (found.finding("knee", "right") is not None) == (cut > ends[1])
        again.append(WORDS)
        again.close()
        again, found = ward.resume_draft(examination.id)
        again.close()
        assert found.comment == "words"


def test_a_damaged_line_before_the_last_is_reported_with_its_path(ward, patient, examination, knee):
    draft = start(ward, patient, examination)
    draft.append(knee)
    draft.append(WORDS)
    draft.close()
    lines = file_of(ward).read_bytes().splitlines(keepends=True)
    file_of(ward).write_bytes(lines[0] + b"{torn\n" + lines[2])
    assert len(ward.drafts()) == 1
    with pytest.raises(RecordsError, match=r"exam0001\.draft: line 2 of the draft is damaged"):
        ward.resume_draft(examination.id)
    assert file_of(ward).read_bytes() == lines[0] + b"{torn\n" + lines[2]


def test_on_a_full_disk_the_draft_goes_elsewhere_says_where_and_comes_back(
    ward, patient, examination, knee, disk, own_state_folder
):
    draft = start(ward, patient, examination)
    disk.broken = (str(ward.folder),)
    draft.append(knee)
    assert draft.flush(5)  # kept, elsewhere
    assert draft.problem.startswith("No space left on device; kept in ")
    place = draft.problem.rsplit(" ", 1)[1]
    (copy,) = own_state_folder.rglob("*.draft")
    assert str(copy.parent) == place
    assert copy.stat().st_mode & 0o777 == 0o600
    disk.broken = ()
    assert until(lambda: draft.problem == "")  # by itself, without a further key
    assert not copy.exists()
    draft.close()
    assert ward.resume_draft(examination.id)[1] == apply(examination, knee)


def test_where_nothing_can_be_written_it_is_kept_in_memory_and_saved_when_it_can(
    ward, patient, examination, knee, disk, tmp_path, own_state_folder
):
    draft = start(ward, patient, examination)
    disk.broken = (str(tmp_path), str(own_state_folder))
    draft.append(knee)
    assert not draft.flush(5)
    assert draft.problem == "No space left on device; kept in memory only, not on disk"
    disk.broken = ()
    assert until(lambda: draft.kept == 1)
    assert draft.problem == ""


def test_a_draft_left_elsewhere_is_offered_and_resumed_in_the_ward(
    ward, patient, examination, knee, disk, own_state_folder
):
    draft = start(ward, patient, examination)
    disk.broken = (str(ward.folder),)
    draft.append(knee)
    draft.flush(5)
    draft.close()
    disk.broken = ()
    (info,) = open_ward(ward.folder).drafts()
    assert info.keys == 1
    again, found = ward.resume_draft(info.draft_id)
    assert found == apply(examination, knee)
    again.close()
    assert not list(own_state_folder.rglob("*.draft"))
    assert ward.resume_draft(info.draft_id)[1] == found


def test_a_sync_that_fails_writes_no_key_twice(ward, patient, examination, monkeypatch):
    draft = start(ward, patient, examination)
    real = os.fdatasync
    monkeypatch.setattr(module, "RETRY_SECONDS", 0.05)

    def fails(handle):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(os, "fdatasync", fails)
    monkeypatch.setattr(os, "fsync", fails)
    draft.append(WORDS)
    draft.flush(5)
    assert "Input/output error" in draft.problem
    monkeypatch.setattr(os, "fdatasync", real)
    assert until(lambda: draft.problem == "")
    draft.close()
    assert len(file_of(ward).read_bytes().splitlines()) == 2


def test_a_draft_that_someone_removes_is_written_whole_again(ward, patient, examination, knee):
    draft = start(ward, patient, examination)
    draft.append(knee)
    draft.flush(5)
    file_of(ward).unlink()
    draft.append(WORDS)
    assert draft.flush(5)
    draft.close()
    assert ward.resume_draft(examination.id)[1] == apply(apply(examination, knee), WORDS)


def test_a_folder_without_locks_still_keeps_drafts(ward, patient, examination, knee, monkeypatch):
    ward.admit(patient, "x")

    def no_locks(handle, how):
        raise OSError(37, "No locks available")

    monkeypatch.setattr(fcntl, "flock", no_locks)
    draft = ward.start_draft(examination, "x")
    draft.append(knee)
    assert draft.flush(5)
    draft.close()
    assert ward.drafts()[0].keys == 1


def test_a_session_that_dies_lets_go_of_its_draft(ward, patient, examination):
    start(ward, patient, examination).close()
    script = (
        "import sys, time; from pathlib import Path; from wardexam.records.ward import open_ward\n"
        "d = open_ward(Path(sys.argv[1])).resume_draft('exam0001'); print('held', flush=True); time.sleep(60)"
    )
    session = subprocess.Popen(
        [sys.executable, "-c", script, str(ward.folder)], stdout=subprocess.PIPE, text=True
    )
    assert session.stdout.readline() == "held\n"
    assert ward.drafts()[0].held
    session.kill()
    session.wait()
    assert not ward.drafts()[0].held


def test_a_crash_between_saving_and_dropping_the_draft_offers_nothing_twice(
    ward, patient, examination, knee
):
    draft = start(ward, patient, examination)
    draft.append(knee)
    draft.close()
    ward.save(apply(examination, knee), "x")
    assert open_ward(ward.folder).drafts() == ()


def test_a_draft_of_an_amendment_stays_until_it_is_saved(ward, patient, examination, knee):
    ward.admit(patient, "x")
    ward.save(examination, "x")
    draft = ward.start_draft(examination, "x")
    draft.append(knee)
    draft.close()
    assert len(open_ward(ward.folder).drafts()) == 1
    ward.amend(apply(examination, knee), "x", "why", examination.at)
    assert open_ward(ward.folder).drafts() == ()


def test_a_draft_set_aside_stays_in_the_folder(ward, patient, examination):
    start(ward, patient, examination).close()
    ward.set_aside(examination.id, "x")
    assert ward.drafts() == ()
    assert (ward.layout.drafts / "aside" / "exam0001.draft").exists()


@pytest.mark.parametrize("longer", ["here", "there"])
def test_of_two_copies_that_parted_the_longer_goes_on_and_the_other_is_set_aside(
    ward, patient, examination, knee, longer
):
    start(ward, patient, examination).close()
    here, there = file_of(ward), ward.spool / file_of(ward).name
    there.parent.mkdir(parents=True)
    head = here.read_bytes()
    more, less = (there, here) if longer == "there" else (here, there)
    more.write_bytes(head + line_of(knee.to_json()) + line_of(WORDS.to_json()))
    parted = head + line_of(Change("comment", "", "another's").to_json())
    less.write_bytes(parted)
    draft, found = ward.resume_draft(examination.id)
    assert found.comment == "words"
    assert draft.flush(5)
    assert (less.parent / "aside" / less.name).read_bytes() == parted
    ward.drop_draft(draft)  # as after a save
    assert (less.parent / "aside" / less.name).read_bytes() == parted
    assert not here.exists()
    assert not there.exists()


def test_a_copy_that_is_only_behind_goes_on_and_nothing_is_set_aside(
    ward, patient, examination, knee
):
    start(ward, patient, examination).close()
    there = ward.spool / file_of(ward).name
    there.parent.mkdir(parents=True)
    there.write_bytes(file_of(ward).read_bytes() + line_of(knee.to_json()))
    ward.resume_draft(examination.id)[0].close()
    assert whole_rows(file_of(ward))[1:] == [line_of(knee.to_json())]
    assert not there.exists()
    assert list(ward.layout.drafts_aside.iterdir()) == []


@pytest.mark.long
def test_a_refused_resume_takes_nothing_from_the_session_that_writes(
    ward, patient, examination, knee
):
    draft = start(ward, patient, examination)
    for number in range(30):
        draft.append(Change("comment", "", f"words {number}"))
        with pytest.raises(RecordsError, match="another session"):
            ward.resume_draft(examination.id)
    draft.append(knee)
    assert draft.flush(5)
    assert len(file_of(ward).read_bytes().splitlines()) == 32
    draft.close()
    assert ward.resume_draft(examination.id)[1].comment == "words 29"


def test_a_draft_kept_elsewhere_is_held_in_both_places(
    ward, patient, examination, knee, disk, own_state_folder
):
    draft = start(ward, patient, examination)
    disk.broken = (str(ward.folder),)
    draft.append(knee)
    draft.flush(5)
    disk.broken = ()
    assert ward.drafts()[0].held
    with pytest.raises(RecordsError, match="another session"):
        ward.resume_draft(examination.id)


def test_a_flipped_byte_in_a_draft_is_never_read_as_something_else(
    ward, examination, knee, patient
):
    draft = start(ward, patient, examination.model_copy(update={"comment": "words"}))
    draft.append(knee)
    draft.flush(5)
    draft.close()
    data = file_of(ward).read_bytes()
    was = replay(*rows_of(file_of(ward), file_of(ward)))
    refused = 0
    for place in range(len(data)):
        for bit in (1, 4, 16):
            mutant = bytearray(data)
            mutant[place] ^= bit
            file_of(ward).write_bytes(bytes(mutant))
            try:
                found = replay(*rows_of(file_of(ward), file_of(ward)))
            except RecordsError:
                refused += 1
            else:
                assert found == was or data[place] == 10  # the last line's end: a key in flight
    assert refused > len(data) * 2


def test_a_draft_of_an_earlier_version_without_checksums_is_read(ward, examination, knee, patient):
    ward.admit(patient, "x")
    head = {"examination": examination.model_dump(mode="json"), "by": "x"}
    path = ward.layout.drafts / f"{examination.id}.draft"
    path.write_text("".join(json.dumps(row) + "\n" for row in (head, knee.to_json())))
    draft, found = ward.resume_draft(examination.id)
    draft.append(knee)
    draft.close()
    assert [f.answer for f in found.findings] == ["0"]
    assert check_store(ward.folder, repair=False, by="x").sound


def test_that_a_draft_is_taken_up_and_left_is_told_to_who_watches_the_ward(
    ward, patient, examination
):
    draft = start(ward, patient, examination)
    heard = []
    watch = ward.watch(lambda: heard.append(1))
    time.sleep(0.05)  # a clock of the folder may be coarse
    draft.close()
    assert until(lambda: heard)
    heard.clear()
    again, _ = ward.resume_draft(examination.id, "Dr Bex")
    assert until(lambda: heard)
    again.close()
    watch.close()
