"""A patient taken out of a ward on a server for good, in one transaction with the line of the trail that says so.

Rows are only added to by those who examine: to take them out is the owner's. The trail names a patient by the
opaque identifier alone, and stays whole.
"""

from contextlib import suppress
from pathlib import Path

from wardexam.records import patient_tables
from wardexam.records.audit import ABSENT
from wardexam.records.draft_file import KINDS, draft_infos
from wardexam.records.paths import draft_path
from wardexam.records.postgres.server import Change, Server

ERASED = "erased"  # the event


def erase(server: Server, spool: Path, patient_id: str, by: str, why: str) -> None:
    """Take out all that is stored of a discharged patient, and what this login keeps of drafts.

    Raises:
        InputError: There is nothing to erase, no reason, or the patient is on the ward.
        RecordsError: Somebody examines the patient, or this login may not erase; nothing was changed.
    """

    def whole(change: Change) -> None:
        values = {"id": patient_id}
        found = change.do("select discharged from patients where id = %(id)s for update", values)
        row = found.fetchone()
        drafts = change.do("select until > clock_timestamp() from drafts where patient = %(id)s", values).fetchall()  # fmt: skip
        patient_tables.may_be_erased(
            why,
            known=row is not None or bool(drafts),
            here=row is not None and not row[0],
            held=any(held for (held,) in drafts),
            whose=patient_id,
        )
        change.do("delete from drafts where patient = %(id)s", values)
        change.do("delete from records where patient = %(id)s", values)
        change.do("delete from patients where id = %(id)s", values)
        change.do("delete from origin where patient = %(id)s", values)
        change.note(ERASED, patient_id, by, why.strip(), ABSENT)

    server.change(whole)
    for kind in KINDS:
        for info in draft_infos(spool, kind=kind):
            if info.patient_id == patient_id:
                with suppress(OSError):
                    draft_path(spool, info.draft_id, kind.ending).unlink()


def erased(server: Server) -> dict[str, str]:
    """Who was erased and not brought in again, with when, as an ISO text."""
    rows = server.rows(
        "select distinct on (patient) patient, event, at from trail"
        " where event in ('erased', 'admitted', 'imported') order by patient, n desc"
    )
    return {patient: at for patient, event, at in rows if event == ERASED}
