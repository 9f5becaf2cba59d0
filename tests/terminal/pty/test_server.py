"""A real screen on a real server that goes away in the middle of an examination and comes back."""

import re

import pytest

from tests.records.postgres.server import Server
from tests.terminal.admitting import ADMIT, admission
from tests.terminal.pty.harness import OPEN_NEW, environ, running, wardexam
from wardexam.records.postgres.schema import create
from wardexam.records.postgres.url import read_url
from wardexam.records.postgres.ward import open_server


@pytest.fixture
def own_server(server):
    """A server that may be stopped."""
    made = Server()
    create(read_url(made.url("ward")))
    yield made
    made.close()


def said(session, pattern):
    """Wait until the screen shows a text, wherever its lines break."""
    wanted = re.compile(pattern)
    session.wait(lambda s: wanted.search(" ".join(s.text.split())))


def test_keys_go_on_while_the_server_is_away_and_what_is_saved_then_arrives_once(own_server, tmp_path):  # fmt: skip
    url = own_server.url("ward")
    env = environ(tmp_path, WARDEXAM_DB=url)
    with running(wardexam(), env) as session:
        session.wait("The ward is empty")
        session.press(ADMIT, "Bed:")
        session.type(admission("B7", "Mo Invented", "40-1", "50").removeprefix(ADMIT))
        session.wait("Admitted")
        session.press(OPEN_NEW, "Reflexes and more: core")
        session.type("20")
        said(session, r"kept \d\d:\d\d")
        own_server.stop("kill")
        session.type("12")
        said(session, r"cannot be reached.*kept in ~")
        session.send("s")
        said(session, "Not saved yet: the server cannot be reached")
        own_server.start()
        said(session, "Saved|NEUROLOGICAL EXAMINATION")
        session.kill(15)
        session.ended()
    ward = open_server(url)
    (bed,) = ward.beds()
    (saved,) = ward.examinations(bed.patient_id)
    assert [(f.sign, f.side, f.answer) for f in saved.findings] == [
        ("biceps", "right", "2+"), ("biceps", "left", "0"),
        ("brachioradialis", "right", "1+"), ("brachioradialis", "left", "2+"),
    ]  # fmt: skip
    assert ward.drafts() == ()
    assert len(ward.revisions(bed.patient_id, saved.id)) == 1
    assert ward.check(repair=False, by="x").sound
    ward.close()


def test_the_list_of_one_screen_follows_what_another_host_does(server_ward, ward_url, patient, tmp_path):  # fmt: skip
    with running(wardexam(), environ(tmp_path, WARDEXAM_DB=ward_url)) as session:
        session.wait("The ward is empty")
        server_ward.admit(patient.model_copy(update={"name": "Ana Elsewhere"}), "Dr Far")
        session.wait("Ana Elsewhere", timeout=5)
        session.send("q")
        assert session.ended() == 0


@pytest.fixture
def patient():
    from tests.records.conftest import AT
    from wardexam.exam.examination import Patient

    return Patient(id="patient1", bed="A1", name="Ana Invented", age=60, admitted=AT)
