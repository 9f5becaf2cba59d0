"""A server and a network that fail: short versions of `tests/bench/faults_postgres.py`, which raises at any loss or double."""

import os
import time
from datetime import timedelta

import pytest

from tests.bench import faults_postgres as faults
from tests.bench.bench_postgres import run as measured
from tests.records.conftest import AT
from tests.records.postgres.proxy import Proxy
from wardexam.records.postgres.ward import open_server
from wardexam.records.repository import OutageError


@pytest.fixture(autouse=True)
def _only_with_a_server(server):
    """Each run has a server of its own; where none is installed it is left out as all others."""


def quiet(*_):
    pass


def test_an_answer_that_is_lost_at_any_packet_of_a_save_doubles_nothing():
    assert faults.statements(("save",), ("answer lost",), quiet) > 5


@pytest.mark.long
def test_a_server_killed_at_any_packet_of_a_save_loses_nothing():
    assert faults.statements(("save",), ("killed after",), quiet) > 5


@pytest.mark.long
def test_every_operation_fails_at_every_packet_in_every_way():
    assert faults.statements(say=quiet) > 400


def test_sessions_over_a_network_that_is_cut_lose_and_double_nothing():
    assert faults.network(2, quiet) > 5


@pytest.mark.long
def test_sessions_over_a_server_that_is_killed_lose_and_double_nothing():
    assert faults.kills(3, quiet) > 5


@pytest.mark.long
def test_a_copy_that_takes_the_place_of_a_dead_server_has_all_that_was_saved():
    assert faults.failover(1, quiet) > 5


def test_two_hosts_that_change_one_patient_at_once_are_told_of_each_other():
    assert faults.hosts(6, quiet) == 12


@pytest.mark.skipif(os.geteuid() != 0, reason="a file system of its own needs root")
@pytest.mark.long
def test_a_full_disk_is_one_line_and_nothing_is_lost():
    assert faults.disk(quiet) > 10


def test_many_doctors_save_at_the_same_moment_and_each_is_counted():
    together, _ = measured(320, 2, 0, 10, processes=2)
    assert together > 0


# --- the clock, and a network that comes and goes


def test_the_servers_clock_says_when_whatever_the_hosts_says(server_ward, patient, monkeypatch):
    real = time.time
    monkeypatch.setattr(time, "time", lambda: real() + 3600)
    server_ward.admit(patient, "x")
    ((at,),) = server_ward.server.rows(
        "select extract(epoch from at::timestamptz)::float8 from trail"
    )
    assert abs(at - real()) < 60


def test_an_examination_of_a_clock_an_hour_behind_calms_nothing(server_ward, patient, examination):
    server_ward.admit(patient, "x")
    server_ward.save(examination, "x", faults.SUMMARY)
    behind = examination.model_copy(update={"id": "exam0002", "at": AT - timedelta(hours=1)})
    server_ward.save(behind, "x", None)
    assert server_ward.beds()[0].summary == faults.SUMMARY


@pytest.fixture
def network(server, server_ward, monkeypatch):
    import psycopg

    with psycopg.connect(server.url("ward"), autocommit=True) as connection:
        connection.execute("alter role owner password 'pw'")
    monkeypatch.setenv("PGPASSWORD", "pw")
    proxy = Proxy(server.port)
    yield proxy
    proxy.close()


def test_a_watch_is_told_after_the_network_came_back(server, network, server_ward, patient):
    import threading

    ward = open_server(server.network("ward", "owner", port=network.port))
    told = threading.Event()
    watch = ward.watch(told.set)
    network.down = True
    network.cut()
    server_ward.admit(patient, "x")  # from another host: this one cannot hear of it
    assert not told.wait(0.5)
    with pytest.raises(OutageError, match="cannot be reached"):
        ward.beds()
    network.down = False
    assert told.wait(10)
    assert [b.patient_id for b in ward.beds()] == [patient.id]
    watch.close()
    ward.close()


def test_keys_go_on_while_the_server_is_away_and_arrive_once(server, network, server_ward, patient, examination, knee):  # fmt: skip
    from wardexam.exam.entry import Change, apply

    server_ward.admit(patient, "x")
    ward = open_server(server.network("ward", "owner", port=network.port))
    draft = ward.start_draft(examination, "Dr Ash")
    draft.append(knee)
    assert draft.flush(10)
    network.down = True
    network.cut()
    draft.append(Change("comment", "", "while it was away"))
    draft.flush(10)
    assert "cannot be reached; kept in" in draft.problem
    assert (draft.sent, draft.kept) == (2, 2)
    assert (ward.spool / f"{examination.id}.draft").exists()
    made = apply(apply(examination, knee), Change("comment", "", "while it was away"))
    with pytest.raises(OutageError):
        ward.save(made, "Dr Ash")
    network.down = False
    end = time.monotonic() + 10
    while draft.problem:
        assert time.monotonic() < end
        time.sleep(0.05)
    assert not (ward.spool / f"{examination.id}.draft").exists()
    (info,) = server_ward.drafts()
    assert info.keys == 2
    saved = ward.save(made, "Dr Ash")
    ward.drop_draft(draft)
    assert server_ward.examinations(patient.id) == (saved,)
    assert server_ward.drafts() == ()
    assert server_ward.check(repair=False, by="x").sound
    ward.close()


def test_an_answer_that_never_comes_is_not_waited_for_for_ever(server, network, server_ward):
    ward = open_server(server.network("ward", "owner", port=network.port))
    ward.server.longest_call = 0.3
    ward.beds()
    network.plan(1, after=lambda: None)
    begun = time.monotonic()
    assert ward.beds() == ()  # asked again on another connection
    assert time.monotonic() - begun < 5
    ward.close()
