"""A patient's record read as a whole."""

from typing import LiteralString

from psycopg import Connection

from wardexam.records import patient_tables
from wardexam.records.postgres.documents import Row, listed_of, tables_of
from wardexam.records.postgres.patient_record import COLUMNS, nobody
from wardexam.records.postgres.server import Row as Columns
from wardexam.records.stored_record import Tables


def patient_tables_of(connection: Connection[Columns], patient_id: str) -> Tables:
    """A patient's tables, every row verified.

    Raises:
        InputError: There is no such patient.
        DamagedFileError: A row is not as it was written.
    """
    values = {"id": patient_id}
    line = connection.execute(
        "select listed::text, state, mark from patients where id = %(id)s", values
    ).fetchone()
    if line is None:
        raise nobody(patient_id)
    listed_of(line[0], line[1], line[2], patient_id)
    query: LiteralString = "select " + COLUMNS + " from records where patient = %(id)s order by seq"
    rows = connection.execute(query, values).fetchall()
    return patient_tables.of_patient(
        tables_of([Row(*row) for row in rows], line[1], patient_id), patient_id, patient_id
    )
