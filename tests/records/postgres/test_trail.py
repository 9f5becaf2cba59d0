"""The trail of a ward on a server: chained, in the transaction of what it tells, and told where it was changed."""

import json
import time
from functools import partial

import psycopg
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.at_once import at_once
from tests.records.conftest import AT
from wardexam.errors import InputError, RecordsError
from wardexam.exam.outcome import Outcome
from wardexam.records.audit import FIRST, Head, link
from wardexam.records.postgres import trail
from wardexam.records.postgres.documents import given as read_back
from wardexam.records.postgres.documents import kept
from wardexam.records.postgres.ward import open_server


@pytest.fixture
def owner(ward_url):
    with psycopg.connect(
        ward_url, autocommit=True, options="-c search_path=wardexam"
    ) as connection:
        yield connection


def lines(ward):
    return [json.loads(line) for line in trail.lines(ward.server)]


def check(ward, **more):
    return ward.check(repair=False, by="x", **more)


def test_each_line_is_chained_to_the_one_before_as_in_a_folder(server_ward, patient, examination):
    server_ward.admit(patient, "Dr Ash")
    server_ward.save(examination, 'Dr Béla "B" \\ \x7f \U0001f600\n')
    server_ward.record("viewed", patient.id, "Dr Ash", "note")
    before = FIRST
    for number, line in enumerate(lines(server_ward), 1):
        said = line.pop("hash")
        assert (line["n"], link(before, line)) == (number, said)
        before = said
    assert trail.verify(server_ward.server).faults == []


@settings(max_examples=150, deadline=None)
@given(text=st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=40))
def test_the_server_writes_a_text_as_the_program_does(made_ward, text):
    with psycopg.connect(made_ward) as connection:
        found = connection.execute(
            "select coalesce(wardexam.in_ascii(to_json(%s::text)::text), '')", [text]
        ).fetchone()
    assert found == (json.dumps(text),)


def test_a_save_that_is_undone_leaves_no_line(server_ward, patient, examination, owner):
    server_ward.admit(patient, "x")
    owner.execute("alter table trail add constraint none check (event <> 'saved') not valid")
    try:
        with pytest.raises(RecordsError):
            server_ward.save(examination, "x")
    finally:
        owner.execute("alter table trail drop constraint none")
    assert server_ward.examinations(patient.id) == ()
    assert [line["event"] for line in lines(server_ward)] == ["admitted"]
    assert check(server_ward).sound


def test_views_that_waited_are_written_once_each_whoever_settles_at_once(
    server_ward, patient, monkeypatch
):
    server_ward.admit(patient, "x")
    real = server_ward.server.change
    monkeypatch.setattr(server_ward.server, "change", _refused)
    for number in range(8):
        server_ward.record("viewed", patient.id, "x", str(number))
    assert "cannot be written" in server_ward.problem

    def slow(work):
        made = real(work)
        time.sleep(0.01)  # the line is written, and the other thread looks what waits
        return made

    monkeypatch.setattr(server_ward.server, "change", slow)
    at_once([server_ward.settle] * 3)
    assert not server_ward.problem
    assert [x["what"] for x in lines(server_ward) if x["event"] == "viewed"] == list("01234567")


def _refused(work):
    raise RecordsError("the server is away")


def test_many_write_at_once_and_the_chain_holds(server_ward, patient, ward_url):
    wards = [open_server(ward_url) for _ in range(4)]

    def view(ward):
        for number in range(20):
            ward.record("copied", patient.id, "x", str(number))

    at_once([partial(view, ward) for ward in wards])
    for ward in wards:
        ward.close()
    found = trail.verify(server_ward.server)
    assert (found.lines, found.faults) == (80, [])


CHANGES = {
    "a line changed": ("update trail set \"by\" = 'someone else' where n = 2", "line 2 does not follow"),
    "a line moved": ("update trail set n = 9 where n = 2", "says that it is line"),
    "a line taken away": ("delete from trail where n = 2", "does not follow"),
    "the last line taken away": ("delete from trail where n = 3", "was cut short: it has 2 lines"),
    "all taken away": ("delete from trail", "empty, though there are patients"),
}  # fmt: skip


@pytest.mark.parametrize(("statement", "said"), CHANGES.values(), ids=CHANGES)
def test_what_its_owner_did_to_the_trail_is_told(server_ward, patient, examination, owner, statement, said):  # fmt: skip
    server_ward.admit(patient, "x")
    server_ward.save(examination, "x")
    server_ward.record("copied", patient.id, "x")
    owner.execute(statement)
    report = check(server_ward)
    assert not report.sound
    assert any(said in line for line in report.lines), report.lines


def test_a_trail_written_anew_disagrees_with_the_head_that_was_printed(server_ward, patient, owner):
    server_ward.admit(patient, "x")
    head = server_ward.papers().head
    line, _, digest = head.partition(":")
    owner.execute("delete from trail")
    server_ward.record("copied", patient.id, "x")
    report = check(server_ward, heads=[Head(int(line), digest)])
    assert any("written anew" in said for said in report.lines)


def test_two_revisions_of_one_outcome_recorded_together_are_chained(server_ward, patient):
    server_ward.admit(patient, "x")
    made = [Outcome(patient=patient.id, by="x", at=AT, site="cauda", revision=n, diagnosis=str(n)) for n in (1, 2)]  # fmt: skip
    assert server_ward.conclude_all(made, "Dr Ash") == 2
    assert server_ward.outcomes(patient.id) == tuple(made)
    assert check(server_ward).sound


# --- records changed behind the tool's back


def peopled(ward, patient, examination):
    ward.admit(patient, "x")
    ward.save(examination, "x")
    ward.save(examination.model_copy(update={"id": "exam0002"}), "x")


TAMPERED = {
    "a document": "update records set document = document || '{\"comment\": \"normal\"}' where kind = 'examination' and seq = 2",
    "a document and its checksum": "update records set document = document || '{\"comment\": \"normal\"}', digest = repeat('a', 64) where seq = 2",
    "a record taken away": "delete from records where seq = 2",
    "a record put before another": "update records set seq = 9 where seq = 2",
    "a record doubled": "insert into records select patient, 9, kind, 'exam0009', revision, document, digest from records where seq = 2",
    "the details": "update records set document = jsonb_set(document, '{name}', '\"Eve\"') where kind = 'patient'",
    "the ward list": "update patients set listed = jsonb_set(listed, '{bed}', '\"Z9\"')",
    "the end of the chain": "update patients set state = repeat('0', 64)",
}  # fmt: skip


@pytest.mark.parametrize("statement", TAMPERED.values(), ids=TAMPERED)
def test_a_record_changed_by_hand_is_told_wherever_it_is_read(server_ward, patient, examination, owner, statement):  # fmt: skip
    peopled(server_ward, patient, examination)
    owner.execute(statement)
    with pytest.raises(RecordsError, match="changed outside this program"):
        server_ward.file(patient.id)
    if "'examination' and" not in statement:  # of the details nothing else is read
        with pytest.raises(RecordsError, match="changed outside this program"):
            server_ward.patient(patient.id)
    papers = server_ward.papers()
    assert (papers.rows, [b.patient_id for b in papers.left_out]) == ((), [patient.id])
    report = check(server_ward)
    assert not report.sound
    assert any(patient.id in line for line in report.lines)


def test_a_line_of_the_list_changed_by_hand_is_in_trouble_and_made_anew(server_ward, patient, examination, owner):  # fmt: skip
    peopled(server_ward, patient, examination)
    before = server_ward.beds()
    owner.execute(TAMPERED["the ward list"])
    (bed,) = server_ward.beds()
    assert "changed outside" in bed.trouble
    with pytest.raises(RecordsError, match="changed outside"):
        server_ward.save(examination.model_copy(update={"id": "exam0003"}), "x")
    report = server_ward.check(repair=True, by="Dr Fix")
    assert any("made anew" in line for line in report.lines)
    assert server_ward.beds() == before
    assert check(server_ward).sound
    assert [line["by"] for line in lines(server_ward) if line["event"] == "accepted"] == ["Dr Fix"]


def test_a_changed_document_is_never_mended_from_what_is_left(server_ward, patient, examination, owner):  # fmt: skip
    peopled(server_ward, patient, examination)
    owner.execute(TAMPERED["a document"])
    report = server_ward.check(repair=True, by="x")
    assert any("restore from a backup" in line for line in report.lines)
    with pytest.raises(RecordsError):
        server_ward.file(patient.id)


def test_a_whole_record_rewritten_with_its_checksums_disagrees_with_the_trail(
    server_ward, patient, examination, owner
):
    """As one would who knows the form: the old rows put back after a save."""
    server_ward.admit(patient, "x")
    row = owner.execute("select listed, seq, state, mark from patients").fetchone()
    server_ward.save(examination, "x")
    owner.execute("delete from records where kind = 'examination'")
    owner.execute("update patients set listed = %s, seq = %s, state = %s, mark = %s", [json.dumps(row[0]), *row[1:]])  # fmt: skip
    assert server_ward.file(patient.id).patient == patient  # it fits in itself
    report = check(server_ward)
    assert any("since audit line 2" in line for line in report.lines)
    server_ward.save(examination, "x")
    events = [line["event"] for line in lines(server_ward)]
    assert events == ["admitted", "saved", "found changed", "saved"]


def test_a_patient_taken_away_is_missed(server_ward, patient, owner):
    server_ward.admit(patient, "x")
    owner.execute("delete from records")
    owner.execute("delete from patients")
    report = check(server_ward)
    assert any("missing: patient1" in line for line in report.lines)


# --- what the form of the server does to a document


@settings(max_examples=60, deadline=None)
@given(text=st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=60))
def test_a_text_comes_back_to_the_character(made_ward, text):
    safe, _ = kept({"comment": text, f"k{text}": [text]})
    with psycopg.connect(made_ward) as connection:
        back = connection.execute("select %s::jsonb::text", [safe]).fetchone()
    assert read_back(back[0]) == {"comment": text, f"k{text}": [text]}


def test_half_of_a_pair_of_characters_is_refused():
    with pytest.raises(InputError, match="cannot be kept"):
        kept({"comment": "\ud800"})


@pytest.mark.parametrize("comment", ["a\0b", "\uffff", "\uffff0\0", "\\u0000", "Ünï \U0001f9e0"])
def test_an_examination_with_such_a_comment_is_kept(server_ward, patient, examination, comment):
    server_ward.admit(patient, "x")
    saved = server_ward.save(examination.model_copy(update={"comment": comment}), "x")
    assert server_ward.examinations(patient.id) == (saved,)
    assert server_ward.save(examination.model_copy(update={"comment": comment}), "y") == saved
    assert check(server_ward).sound
