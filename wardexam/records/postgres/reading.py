"""A patient's record read as a whole."""

from typing import TYPE_CHECKING, LiteralString

from psycopg import Connection

from wardexam.records import patient_tables
from wardexam.records.postgres.documents import Row, listed_of, record_of, tables_of, unbroken
from wardexam.records.postgres.patient_record import COLUMNS, nobody
from wardexam.records.postgres.server import Row as Columns
from wardexam.records.stored_record import Tables

if TYPE_CHECKING:
    from wardexam.exam.examination import Patient


def patient_tables_of(connection: Connection[Columns], patient_id: str) -> Tables:
    """A patient's tables, every row verified.

    Raises:
        InputError: There is no such patient.
        DamagedFileError: A row is not as it was written.
    """
    state = _state_of(connection, patient_id)
    query: LiteralString = "select " + COLUMNS + " from records where patient = %(id)s order by seq"
    rows = connection.execute(query, {"id": patient_id}).fetchall()
    tables = tables_of([Row(*row) for row in rows], state, patient_id)
    return patient_tables.of_patient(tables, patient_id, patient_id)


def details_of(connection: Connection[Columns], patient_id: str) -> "Patient":
    """A patient's details as they stand, verified as part of the whole record; no other document is read.

    Raises:
        InputError: There is no such patient.
        DamagedFileError: The details are not as they were written, or a row is missing or another.
    """
    state = _state_of(connection, patient_id)
    rows = connection.execute(
        "select seq, kind, id, revision, case when kind = 'patient' then document::text else '' end, digest"
        " from records where patient = %(id)s order by seq",
        {"id": patient_id},
    ).fetchall()
    stored = [Row(*row) for row in rows]
    unbroken(stored, state, patient_id)
    last = [record_of(row, patient_id) for row in stored if row.kind == "patient"][-1:]
    tables: Tables = {"patient": dict(zip("1", last, strict=False))}
    return patient_tables.patient_of(patient_tables.of_patient(tables, patient_id, patient_id))


def _state_of(connection: Connection[Columns], patient_id: str) -> str:
    """The end of the chain of a patient's rows, as the line of the ward list has it, verified."""
    line = connection.execute(
        "select listed::text, state, mark from patients where id = %(id)s", {"id": patient_id}
    ).fetchone()
    if line is None:
        raise nobody(patient_id)
    listed, state, mark = line
    listed_of(listed, state, mark, patient_id)
    return str(state)
