"""A draft's rows are brought by number: once each, whatever the place does, and from the spool when it takes them again."""

import queue
import threading
import time

import pytest

from tests.records.conftest import AT
from wardexam.errors import InputError, RecordsError
from wardexam.exam.entry import Change
from wardexam.exam.examination import Examination
from wardexam.records import draft_writer
from wardexam.records.draft_file import EXAMINATION, FilePlace, line_of, replay, whole_rows
from wardexam.records.draft_writer import Draft
from wardexam.records.repository import FencedError, OutageError, UncertainError


class Numbered:
    """A place that takes rows by number, as a table with a primary key does, and fails when told to.

    `fails` raises before a row is taken, `lost` after; each once for every number in it.
    """

    renew = None

    def __init__(self, fails=(), lost=()):
        self.rows, self.doubled, self.held, self.renewed = {}, [], False, 0
        self.fails, self.lost, self.gone = {*fails}, {*lost}, None

    def bring(self, rows):
        for number, row in enumerate(rows):
            if self.gone:
                raise self.gone
            if number in self.fails:
                self.fails.remove(number)
                raise OutageError("the store cannot be reached")
            if self.rows.setdefault(number, row) != row:
                self.doubled.append(number)
            if number in self.lost:
                self.lost.remove(number)
                raise UncertainError("the store was lost while it wrote")
        self.held = True

    def hold(self):
        if self.gone:
            raise self.gone
        self.renewed += 1

    def let_go(self):
        self.held = False

    def remove(self):
        self.rows.clear()


@pytest.fixture(autouse=True)
def soon(monkeypatch):
    monkeypatch.setattr(draft_writer, "RETRY_SECONDS", 0.02)


@pytest.fixture
def begun(tmp_path):
    examination = Examination(id="exam0001", patient="patient1", examiner="Dr Ash", at=AT)
    head = line_of({EXAMINATION.holds: examination.model_dump(mode="json"), "by": "Dr Ash"})
    spool = FilePlace(tmp_path / "spool" / "exam0001.draft", 0o600, tmp_path / "spool")

    def begin(place):
        return Draft("exam0001", [head], place, spool)

    begin.spool = spool.path
    return begin


def until(told, seconds=5.0):
    end = time.monotonic() + seconds
    while not told() and time.monotonic() < end:
        time.sleep(0.005)
    return told()


COUNT = 6


@pytest.mark.parametrize("how", ["fails", "lost"])
@pytest.mark.parametrize("number", range(COUNT + 1))
def test_a_place_lost_at_any_row_has_each_once_in_the_end(begun, how, number):
    place = Numbered(**{how: {number}})
    draft = begun(place)
    for n in range(COUNT):
        draft.append(Change("comment", "", f"words {n}"))
    assert until(lambda: draft.kept == COUNT and draft.problem == "")
    draft.close()
    assert sorted(place.rows) == [*range(COUNT + 1)]
    assert place.doubled == []
    assert not begun.spool.exists()
    rows = [place.rows[n] for n in sorted(place.rows)]
    assert replay(rows, begun.spool).comment == f"words {COUNT - 1}"


def test_while_the_place_is_gone_keys_are_in_the_spool_and_said_so(begun):
    place = Numbered()
    draft = begun(place)
    draft.append(Change("comment", "", "before"))
    assert draft.flush(5)
    place.gone = OutageError("the store cannot be reached")
    draft.append(Change("comment", "", "meanwhile"))
    assert draft.flush(5)
    assert draft.kept == 2
    assert draft.problem.startswith("the store cannot be reached; kept in ")
    rows = whole_rows(begun.spool)
    assert (len(rows), len(place.rows)) == (3, 2)
    assert replay(rows, begun.spool).comment == "meanwhile"
    place.gone = None
    assert until(lambda: draft.problem == "")
    assert [*place.rows.values()] == rows
    draft.close()
    assert not begun.spool.exists()


def test_a_draft_taken_over_writes_no_more_there_and_keeps_its_keys(begun):
    place = Numbered()
    draft = begun(place)
    place.gone = FencedError("another session has taken the draft over")
    draft.append(Change("comment", "", "mine"))
    assert draft.flush(5)
    assert "another session has taken the draft over; kept in " in draft.problem
    draft.close()
    assert len(place.rows) == 1
    assert replay(whole_rows(begun.spool), begun.spool).comment == "mine"


def test_a_hold_that_runs_out_is_renewed_and_its_loss_is_said_without_a_key(begun):
    place = Numbered()
    place.renew = 0.02
    draft = begun(place)
    told = threading.Event()
    assert until(lambda: place.renewed > 2)
    draft.settled = told.set
    place.gone = FencedError("another session has taken the draft over")
    assert until(lambda: "taken the draft over" in draft.problem)
    assert told.wait(1.0)
    draft.close()


def test_a_place_that_cannot_let_go_hinders_nobody_from_leaving(begun):
    place = Numbered()
    place.let_go = lambda: (_ for _ in ()).throw(RecordsError("gone"))
    draft = begun(place)
    draft.append(Change("comment", "", "words"))
    draft.close()
    assert len(place.rows) == 2


@pytest.mark.parametrize("fault", [InputError("not an identifier"), RecordsError("gone")])
def test_whatever_the_place_refuses_later_keys_are_kept_and_the_reason_is_said(begun, fault):
    place = Numbered()
    draft = begun(place)
    place.gone = fault
    for word in ("one", "two"):
        draft.append(Change("comment", "", word))
        assert draft.flush(5)
    assert draft.problem.startswith(f"{fault.what}; kept in ")
    assert replay(whole_rows(begun.spool), begun.spool).comment == "two"
    place.gone = None
    assert until(lambda: draft.problem == "")
    draft.close()
    assert len(place.rows) == 3


def test_a_key_that_is_queued_just_as_the_one_before_is_kept_is_waited_for(begun, monkeypatch):
    gate, kept = threading.Event(), threading.Event()

    class Late(queue.SimpleQueue):
        before = staticmethod(lambda: None)

        def put(self, item):
            self.before()
            super().put(item)

    class Slow(Numbered):
        def bring(self, rows):
            if len(rows) == 2:
                gate.wait(5)
            elif len(rows) == 3:
                time.sleep(0.05)
            super().bring(rows)

    monkeypatch.setattr(draft_writer.queue, "SimpleQueue", Late)
    draft = begun(Slow())
    draft.settled = kept.set
    draft.append(Change("comment", "", "one"))
    Late.before = staticmethod(lambda: (gate.set(), kept.wait(5)))
    draft.append(Change("comment", "", "two"))
    assert draft.flush(5)
    draft.close()
