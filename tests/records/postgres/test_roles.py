"""What each login may do on the server, and no more."""

import psycopg
import pytest

from tests.records.conftest import AT
from wardexam.errors import RecordsError
from wardexam.exam.entry import apply
from wardexam.records.postgres.ward import open_server
from wardexam.records.repository import Summary


@pytest.fixture
def logins(server, ward_url):
    """The URL of the ward for a doctor, for one who looks back, and for a login without a role."""
    with psycopg.connect(ward_url, autocommit=True) as connection:
        for name, role in (("ash", "ward_doctor"), ("eye", "ward_reader"), ("nob", None)):
            if not connection.execute(
                "select 1 from pg_roles where rolname = %s", [name]
            ).fetchone():
                connection.execute(f"create role {name} login password 'pw-{name}'")
            if role:
                connection.execute(f"grant {role} to {name}")
    return {name: server.url("ward", user=name) for name in ("ash", "eye", "nob")}


@pytest.fixture
def doctors(logins):
    ward = open_server(logins["ash"])
    yield ward
    ward.close()


def test_a_doctor_can_do_all_that_the_program_does(doctors, patient, examination, knee):
    doctors.admit(patient, "Dr Ash")
    saved = doctors.save(apply(examination, knee), "Dr Ash", Summary(3, "now", False, "a line"))
    doctors.amend(saved, "Dr Ash", "why", AT)
    patient = doctors.update(patient.model_copy(update={"bed": "B2"}), "Dr Ash")
    doctors.record("viewed", patient.id, "Dr Ash")
    assert [b.bed for b in doctors.beds()] == ["B2"]


@pytest.mark.parametrize(
    "statement",
    [
        "update records set digest = 'x'",
        "update records set document = '{}'",
        "delete from records",
        "truncate records cascade",
        "update trail set by = 'someone else'",
        "delete from trail",
        "truncate trail",
        "insert into trail (n, event, patient, by, what, record) values (7, 'viewed', '', 'x', '', '')",
        "insert into trail (at, event, patient, by, what, record) values ('1999', 'viewed', '', 'x', '', '')",
        "insert into trail (login, event, patient, by, what, record) values ('eve', 'viewed', '', 'x', '', '')",
        "insert into trail (hash, event, patient, by, what, record) values ('0', 'viewed', '', 'x', '', '')",
        "delete from patients",
        "update patients set id = 'patient9'",
        "update ward set id = 'x'",
        "insert into schema_version values (2, 'x', 'x')",
        "update draft_lines set line = '{}'",
        "delete from draft_lines",
        "create table mine ()",
        "drop table records",
        "alter table trail disable trigger all",
        "drop trigger trail_next on trail",
        "alter function trail_next() owner to current_user",
        "create function trail_next() returns trigger language plpgsql as 'begin return new; end'",
        "set session authorization owner",
        "set role owner",
        "create role other",
        "create schema other",
        "copy trail to program 'cat'",
        "select pg_read_file('/etc/passwd')",
        "select setval('x', 1)",
    ],
)
def test_a_doctor_can_change_nothing_that_is_written(logins, server_ward, patient, statement):
    server_ward.admit(patient, "x")
    with psycopg.connect(logins["ash"], options="-c search_path=wardexam") as connection:
        with pytest.raises((psycopg.errors.InsufficientPrivilege, psycopg.errors.UndefinedTable)):
            connection.execute(statement)
        connection.rollback()
    assert server_ward.patient(patient.id) == patient


def test_whoever_looks_back_reads_and_puts_that_down_and_changes_nothing(logins, server_ward, patient):  # fmt: skip
    server_ward.admit(patient, "x")
    ward = open_server(logins["eye"])
    assert ward.file(patient.id).patient == patient
    ward.record("exported", "ward", "Dr Eye")
    for refused in (
        lambda: ward.admit(patient.model_copy(update={"id": "patient2"}), "x"),
        lambda: ward.update(patient, "x"),
        lambda: ward.record("saved", patient.id, "x"),
    ):
        with pytest.raises(RecordsError, match="may not do that"):
            refused()
    ward.close()
    assert [line[0] for line in events(server_ward)] == ["admitted", "exported"]


def events(ward):
    return ward.server.rows("select event, login, at from trail order by n")


def test_a_login_without_a_role_sees_no_ward(logins):
    with pytest.raises(RecordsError, match=r"may not do that|may not see it|no ward stands"):
        open_server(logins["nob"])


def test_the_author_is_the_login_whatever_the_doctor_calls_themself(doctors, patient):
    doctors.admit(patient, "Dr Somebody Else")
    ((event, login, _),) = events(doctors)
    assert (event, login) == ("admitted", "ash")


def test_a_role_taken_on_does_not_hide_the_login(server, logins, server_ward, patient):
    with psycopg.connect(logins["ash"], options="-c search_path=wardexam") as connection:
        connection.execute("set role ward_doctor")
        connection.execute(
            "insert into trail (event, patient, by, what, record) values ('viewed', '', 'x', '', '')"
        )
    assert [line[1] for line in events(server_ward)] == ["ash"]


def test_a_wrong_password_is_one_line_that_does_not_quote_it(server, logins, monkeypatch):
    monkeypatch.setenv("PGPASSWORD", "guess-me")
    with pytest.raises(RecordsError) as refused:
        open_server(server.network("ward", "ash"))
    assert "refuses the login" in str(refused.value)
    assert "guess-me" not in str(refused.value)


def test_the_password_comes_from_its_usual_file(server, logins, tmp_path, monkeypatch):
    file = tmp_path / "pgpass"
    file.write_text(f"127.0.0.1:{server.port}:ward:ash:pw-ash\n")
    file.chmod(0o600)
    monkeypatch.setenv("PGPASSFILE", str(file))
    ward = open_server(server.network("ward", "ash"), on_command_line=True)
    assert ward.beds() == ()
    ward.close()


def test_the_service_file_says_all_of_it(server, logins, tmp_path, monkeypatch):
    file = tmp_path / "pg_service.conf"
    file.write_text(f"[bay]\nhost=127.0.0.1\nport={server.port}\ndbname=ward\nuser=ash\npassword=pw-ash\n")  # fmt: skip
    monkeypatch.setenv("PGSERVICEFILE", str(file))
    ward = open_server("service=bay", on_command_line=True)
    assert ward.beds() == ()
    ward.close()


def test_a_server_without_a_certificate_is_refused_where_one_is_asked_for(server, logins):
    with pytest.raises(RecordsError, match="certificate"):
        open_server(server.network("ward", "ash", sslmode="verify-full"))
