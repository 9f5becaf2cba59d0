"""What is damaged on a server is told in one line, or left out by name; here without asking one."""

import pytest

from tests.records.conftest import AT
from wardexam.errors import RecordsError
from wardexam.records.postgres import server, trail
from wardexam.records.postgres.ward import PostgresWard
from wardexam.records.repository import Bed, OutageError


class Empty:
    """A connection to tables that hold nothing."""

    def execute(self, *_):
        return self

    def fetchone(self):
        return None

    def __iter__(self):
        return iter(())

    def infos_by(self, _):
        return ()


@pytest.fixture
def unconnected():
    ward = object.__new__(PostgresWard)
    ward.server, ward._drafts = None, Empty()
    return ward


@pytest.mark.parametrize("damaged", [b"{", b"[1]", b"\xff", b"[" * 4000])
def test_a_line_of_the_trail_that_cannot_be_read_is_named(unconnected, monkeypatch, damaged):
    whole = b'{"event": "viewed", "patient": "patient1", "hash": "ab"}'
    monkeypatch.setattr(trail, "lines", lambda *_: iter((whole, damaged, whole)))
    read = unconnected.trail()
    assert next(read).event == "viewed"
    with pytest.raises(RecordsError) as refused:
        next(read)
    assert str(refused.value) == "audit line 2: is not readable (run 'wardexam check')"


def test_a_patient_without_a_record_is_left_out_of_the_papers_by_name(unconnected, monkeypatch):
    bed = Bed("patient1", "A1", "Ana Invented", 60, "unknown", AT.isoformat(), "", 0, None, None, None)  # fmt: skip
    monkeypatch.setattr(PostgresWard, "_beds", lambda *_, **__: (bed,))
    papers = unconnected._papers(Empty())
    assert papers.rows == ()
    (out,) = papers.left_out
    assert out.patient_id == "patient1"
    assert "changed outside this program: one is missing" in out.trouble


def test_a_server_that_nobody_asked_is_said_not_to_answer(monkeypatch):
    monkeypatch.setattr(server, "TRIES", 0)
    unasked = object.__new__(server.Server)
    unasked.where, unasked.patience = "ward", 1.0
    for ask in (unasked.read, unasked.change):
        with pytest.raises(OutageError, match=r"ward: the server does not answer \(try again"):
            ask(lambda _: None)
