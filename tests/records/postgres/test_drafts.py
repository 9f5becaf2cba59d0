"""Drafts at a server: numbered rows that come once, a lease that runs out, an older holder that writes no more."""

import time

import psycopg
import pytest

from wardexam.errors import RecordsError
from wardexam.exam.entry import Change, apply
from wardexam.records.draft_file import EXAMINATION, line_of
from wardexam.records.postgres import draft_place
from wardexam.records.postgres.draft_place import ServerPlace
from wardexam.records.postgres.ward import open_server
from wardexam.records.repository import FencedError


@pytest.fixture
def ward(server_ward, patient):
    server_ward.admit(patient, "x")
    return server_ward


@pytest.fixture
def other_host(ward, ward_url, tmp_path, monkeypatch):
    """The same ward from another host: with a state folder of its own."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "other-host"))
    made = open_server(ward_url)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "other-host"))
    yield made
    made.close()


@pytest.fixture
def owner(ward_url):
    with psycopg.connect(
        ward_url, autocommit=True, options="-c search_path=wardexam"
    ) as connection:
        yield connection


def rows(owner):
    return owner.execute("select number, line::text from draft_lines order by id, number").fetchall()  # fmt: skip


def spooled(ward):
    return ward.spool / "exam0001.draft"


def place(ward, name="exam0001"):
    head = {"patient": "patient1", "by": "x", "started": "2026-03-02T08:00:00Z"}
    return ServerPlace(ward.server, EXAMINATION, name, head)


ROWS = [line_of({"examination": {"n": 0}, "by": "x"}), *(line_of({"n": n}) for n in range(1, 5))]


def test_rows_come_by_number_and_once(ward, owner):
    here = place(ward)
    here.bring(ROWS[:2])
    here.bring(ROWS[:4])
    here.bring(ROWS[:4])
    here.stands([])  # as after an answer that was lost
    here.bring(ROWS)
    assert [f"{line}\n".encode() for _, line in rows(owner)] == ROWS
    assert [number for number, _ in rows(owner)] == [0, 1, 2, 3, 4]


def test_a_lease_that_ran_out_is_taken_over_and_the_old_holder_writes_no_more(ward, owner, monkeypatch):  # fmt: skip
    monkeypatch.setattr(draft_place, "LEASE", 0.2)
    old, new = place(ward), place(ward)
    old.bring(ROWS[:2])
    with pytest.raises(RecordsError, match="open in another session"):
        new.hold()
    time.sleep(0.3)
    new.hold()
    for refused in (lambda: old.bring(ROWS[:3]), old.hold):
        with pytest.raises(FencedError, match="taken the draft over"):
            refused()
    old.let_go()  # takes nothing from the new holder
    old.remove()
    new.stands(ROWS[:2])
    new.bring(ROWS)
    assert len(rows(owner)) == 5


def test_a_lease_that_ran_out_and_that_nobody_took_is_held_on(ward, owner, monkeypatch):
    monkeypatch.setattr(draft_place, "LEASE", 0.1)
    here = place(ward)
    here.bring(ROWS[:2])
    time.sleep(0.2)
    here.bring(ROWS[:3])
    assert len(rows(owner)) == 3


def test_the_lease_is_the_servers_clock_whatever_the_hosts_say(ward, monkeypatch):
    here = place(ward)
    here.bring(ROWS[:1])
    real = time.time
    monkeypatch.setattr(time, "time", lambda: real() + 7200)
    with pytest.raises(RecordsError, match="another session"):
        place(ward).hold()
    (info,) = ward.drafts()
    assert info.held


def test_a_writer_that_lost_its_lease_keeps_its_keys_in_the_spool_and_says_so(
    ward, other_host, examination, knee, monkeypatch
):
    monkeypatch.setattr(draft_place, "LEASE", 0.2)
    monkeypatch.setattr(draft_place.ServerPlace, "renew", None)  # as a host that was asleep
    draft = ward.start_draft(examination, "Dr Ash")
    assert draft.flush(5)
    time.sleep(0.3)
    taken, _ = other_host.resume_draft(examination.id, "Dr Bex")
    taken.append(Change("comment", "", "theirs"))
    assert taken.flush(5)
    draft.append(knee)
    draft.flush(5)
    assert "taken the draft over; kept in" in draft.problem
    assert (draft.sent, draft.kept) == (1, 1)
    taken.close()
    draft.close()
    # On their own host the key is still there, and nothing of the other's went under.
    assert [i.keys for i in other_host.drafts()] == [2]
    assert spooled(ward).exists()
    assert not spooled(other_host).exists()


def test_what_was_left_in_the_spool_goes_to_the_server_when_the_draft_is_resumed(
    ward, examination, knee, owner, monkeypatch
):
    draft = ward.start_draft(examination, "Dr Ash")
    assert draft.flush(5)

    def gone(self, rows):
        raise RecordsError("the server cannot be reached")

    with monkeypatch.context() as patch:
        patch.setattr(ServerPlace, "bring", gone)
        draft.append(knee)
        draft.flush(5)
        assert "kept in" in draft.problem
        draft.close()
    assert len(rows(owner)) == 1
    (info,) = ward.drafts()
    assert (info.keys, info.held) == (1, False)
    again, found = ward.resume_draft(examination.id, "Dr Ash")
    assert found == apply(examination, knee)
    assert len(rows(owner)) == 2
    assert not spooled(ward).exists()
    again.close()


def test_of_two_copies_that_parted_the_longer_goes_on_and_the_other_stays(
    ward, other_host, examination, knee, owner, monkeypatch
):
    draft = ward.start_draft(examination, "Dr Ash")
    assert draft.flush(5)
    owner.execute("update drafts set until = '-infinity', fence = 9")
    theirs, _ = other_host.resume_draft(examination.id)
    theirs.append(Change("comment", "", "theirs"))
    theirs.close()
    draft.append(knee)
    draft.append(Change("comment", "", "mine"))
    draft.flush(5)
    draft.close()
    again, found = ward.resume_draft(examination.id)
    assert found.comment == "mine"
    assert again.flush(5)
    again.close()
    aside = owner.execute("select id from drafts where aside").fetchall()
    assert len(aside) == 1
    kept = owner.execute("select count(*) from draft_lines where id = %s", aside[0]).fetchone()
    assert kept == (2,)
    assert other_host.resume_draft(examination.id)[1].comment == "mine"


def test_a_draft_of_what_is_saved_is_swept_at_the_next_start(ward, ward_url, examination):
    ward.start_draft(examination, "x").close()
    other = examination.model_copy(update={"id": "exam0002"})
    ward.start_draft(other, "x").close()
    ward.save(examination, "x")
    again = open_server(ward_url)
    assert [d.draft_id for d in again.drafts()] == ["exam0002"]
    again.close()


def test_a_draft_of_what_was_saved_otherwise_stays(ward, ward_url, examination):
    ward.start_draft(examination, "x").close()
    ward.save(examination.model_copy(update={"comment": "other"}), "x")
    again = open_server(ward_url)
    assert [d.draft_id for d in again.drafts()] == [examination.id]
    again.close()


def test_a_draft_set_aside_can_be_begun_anew(ward, examination, owner):
    for _ in range(2):
        ward.start_draft(examination, "x").close()
        ward.set_aside(examination.id, "Dr Ash")
    assert ward.drafts() == ()
    assert owner.execute("select count(*) from drafts where aside").fetchone() == (2,)
    report = ward.check(repair=False, by="x")
    assert "set aside: 2 drafts" in report.lines


def test_a_damaged_row_is_told_and_not_guessed_at(ward, examination, knee, owner):
    draft = ward.start_draft(examination, "x")
    draft.append(knee)
    draft.close()
    owner.execute("update draft_lines set line = replace(line::text, 'knee', 'ankle')::json where number = 1")  # fmt: skip
    with pytest.raises(RecordsError, match="line 2 of the draft is damaged"):
        ward.resume_draft(examination.id)
    report = ward.check(repair=False, by="x")
    assert any("damaged draft" in line for line in report.lines)
    assert not ward.drafts()[0].held  # who could not resume it does not hold it
