"""One way to lock: by name or on an open file, for one session at a time, released by its end."""

import os
import subprocess
import sys
import threading
from itertools import count

import pytest

from wardexam.errors import RecordsError
from wardexam.records import locks as locking
from wardexam.records.locks import BusyError, Locks, take

HOLDER = """
import sys, time
from pathlib import Path
from wardexam.records.locks import Locks
with Locks(Path(sys.argv[1]), 0o600).held(sys.argv[2]):
    print("held", flush=True)
    time.sleep(60)
"""


@pytest.fixture
def locks(tmp_path):
    made = Locks(tmp_path, 0o600)
    made.patience = 0.05
    return made


@pytest.fixture
def session(locks):
    """Another process that holds the lock for patient1."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(locks.folder), "patient1"],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout.readline() == "held\n"
    yield process
    process.kill()
    process.wait()


def test_who_holds_it_is_named_and_a_death_releases_it(locks, session):
    with pytest.raises(BusyError) as caught, locks.held("patient1"):
        pass
    assert caught.value.holder == f"{os.uname().nodename} process {session.pid}"
    session.kill()
    session.wait()
    with locks.held("patient1") as still_ours:
        still_ours()


def test_a_free_lock_is_not_waited_for_and_another_name_is_free(locks, session, monkeypatch):
    waited = []
    monkeypatch.setattr(locking.time, "sleep", waited.append)
    with locks.held("lists", 0), locks.held("arrivals"):
        assert waited == []
        with pytest.raises(BusyError), locks.held("patient1"):
            pass
    assert waited  # as for one that is held


def test_a_thread_holds_two_names_that_fall_on_one_lock(locks):
    names = (f"patient{n}" for n in count(2))
    with locks.held("patient1"):
        before = set(locks.folder.iterdir())
        for name in names:
            with locks.held(name):
                if set(locks.folder.iterdir()) == before:
                    break  # it fell on the lock that is held
                before = set(locks.folder.iterdir())
        with pytest.raises(BusyError), Locks(locks.folder, 0o600).held("patient1", 0):
            pass  # and letting go of the second has not let go of the first


def test_two_threads_of_a_session_exclude_each_other(locks):
    found = []

    def other():
        try:
            with locks.held("patient1", 0):
                found.append("held")
        except BusyError:
            found.append("busy")

    with locks.held("patient1"):
        thread = threading.Thread(target=other)
        thread.start()
        thread.join()
    other()
    assert found == ["busy", "held"]


def test_a_lock_whose_file_was_taken_away_is_no_longer_ours(locks):
    with locks.held("patient1") as still_ours:
        for path in locks.folder.glob("*.lock"):
            path.unlink()
        with Locks(locks.folder, 0o600).held("patient1"):  # as another session could
            pass
        with pytest.raises(RecordsError, match="taken away; nothing was saved"):
            still_ours()


def test_a_lock_files_rights_are_the_groups_where_they_shall_be(tmp_path):
    before = os.umask(0o077)
    try:
        with Locks(tmp_path, 0o660).held("lists"):
            pass
    finally:
        os.umask(before)
    assert (tmp_path / "lists.lock").stat().st_mode & 0o777 == 0o660


def test_an_open_file_is_locked_by_the_same_means(tmp_path):
    path = tmp_path / "file"
    path.touch()
    first, second = os.open(path, os.O_RDONLY), os.open(path, os.O_RDONLY)
    take(first, 0)
    with pytest.raises(TimeoutError):
        take(second, 0.01)
    os.close(first)
    take(second, 0)
    os.close(second)
