"""One patient's record in a transaction: locked, looked at as far as is needed, added to, listed anew."""

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, LiteralString

from wardexam.errors import InputError
from wardexam.records import patient_tables
from wardexam.records.audit import FIRST
from wardexam.records.postgres.documents import (
    Row,
    chained,
    digest,
    given,
    kept,
    listed_of,
    mark_of,
    record_of,
)
from wardexam.records.stored_record import Record, Tables, encoded

if TYPE_CHECKING:
    from pydantic import BaseModel

    from wardexam.exam.examination import Patient
    from wardexam.records.postgres.server import Change

# What the mark must be by the trail's last line on a patient; another where that line came from another store.
TOLD: LiteralString = (
    "select coalesce((select o.stands from origin o where o.patient = t.patient and o.record = t.record), t.record)"
    " from trail t where t.patient = %(id)s and t.record <> '' order by t.n desc limit 1"
)
LAST_SAVED: LiteralString = (
    "select r.id from records r where r.patient = %(id)s and r.kind = 'examination' and r.revision = 1"
    " and (select coalesce(l.document ->> 'in_error', 'false') from records l where l.patient = r.patient"
    " and l.kind = r.kind and l.id = r.id order by l.revision desc limit 1) = 'false'"
    " order by r.seq desc limit 1"
)
COLUMNS: LiteralString = "seq, kind, id, revision, document::text, digest"


def nobody(patient_id: str) -> InputError:
    """That there is no such patient."""
    return InputError("no such patient", where=patient_id, remedy="'wardexam beds' lists them")


class PatientRecord:
    """A patient's record, locked until the transaction ends.

    Attributes:
        patient_id: Whose.
        listed: The line of the ward list.
        what: What the trail shall say more.
        stood: Whether all of it was there before, so that there is no event.
        last_saved: The examination saved last of those that count, whichever has been amended since; empty before the first.
    """

    def __init__(self, change: "Change", patient_id: str) -> None:
        self.patient_id, self.what, self.stood, self.last_saved = patient_id, "", False, ""
        self.listed: dict[str, Any] = {}
        self._change, self._seq, self._state = change, 0, FIRST
        self._mark = self._stood = ""
        self._digests: list[str] = []
        self._fresh = False
        self._found_changed = False

    @classmethod
    def held(cls, change: "Change", patient_id: str) -> "PatientRecord":
        """The record of a patient who is there.

        Raises:
            InputError: There is no such patient.
            DamagedFileError: The line of the ward list is not as it was written.
            BusyError: Another session changes it all the time.
        """
        line = change.do(
            "select listed::text, seq, state, mark from patients where id = %(id)s for no key update",
            {"id": patient_id},
        )
        # A statement of its own, after the record is held: in one, who waited would see the trail of before.
        trail = change.do(
            "select (" + TOLD + "), (" + LAST_SAVED + ")",
            {"id": patient_id},
        )
        row = line.fetchone()
        if row is None:
            raise nobody(patient_id)
        made = cls(change, patient_id)
        listed, made._seq, made._state, made._mark = row
        made._stood = made._mark
        made.listed = listed_of(listed, made._state, made._mark, patient_id)
        told, last_saved = trail.fetchone() or (None, None)
        made._found_changed = told is not None and told != made._mark
        made.last_saved = last_saved or ""
        return made

    @classmethod
    def begun(cls, change: "Change", patient_id: str) -> "PatientRecord":
        """The record of a patient who arrives.

        Raises:
            InputError: The identifier is taken.
        """
        made = cls(change, patient_id)
        made._fresh = True
        taken = change.do(
            "insert into patients (id, discharged, listed, seq, state, mark)"
            " values (%(id)s, false, '{}', 0, '', '') on conflict do nothing returning id",
            {"id": patient_id},
        )
        if taken.fetchone() is None:
            raise InputError("is on the ward already", where=patient_id)
        return made

    # --- what is stored

    def _rows(self, condition: LiteralString, values: Mapping[str, Any]) -> list[Record]:
        query: LiteralString = (
            "select " + COLUMNS + " from records where patient = %(patient)s and "
        )
        found = self._change.do(
            query + condition + " order by seq", {**values, "patient": self.patient_id}
        )
        return [record_of(Row(*row), self.patient_id) for row in found.fetchall()]

    def all_of(self, kind: str) -> dict[str, Record]:
        """Every record of a kind, as a table."""
        found = self._rows("kind = %(kind)s", {"kind": kind})
        return {str(n): record for n, record in enumerate(found, 1)}

    def all_with(self, kind: str, name: str) -> dict[str, Record]:
        """Every record of a kind with an identifier, as a table."""
        found = self._rows("kind = %(kind)s and id = %(id)s", {"kind": kind, "id": name})
        return {str(n): record for n, record in enumerate(found, 1)}

    def tables(self) -> "Tables":
        """All that stands of the patient now, as the tables of a file."""
        tables: Tables = {"patient": {"1": self.patient().model_dump(mode="json")}}
        kinds = {"examinations": "examination", "sheets": "sheet", "outcomes": "outcome"}
        return tables | {name: self.all_of(kind) for name, kind in kinds.items()}

    def patient(self) -> "Patient":
        """The details as they stand."""
        found = self._rows(
            "kind = 'patient' and seq = (select max(seq) from records"
            " where patient = %(patient)s and kind = 'patient')",
            {},
        )
        return patient_tables.patient_of({"patient": {"1": found[0]} if found else {}})

    # --- what is added

    def add(self, kind: str, documents: "Iterable[BaseModel]") -> None:
        """Add documents, each read back as any later reader will.

        Raises:
            InputError: One holds what the server does not give back as it was.
        """
        sent = []
        for document in documents:
            fields = document.model_dump(mode="json")
            safe, text = kept(fields)
            self._seq += 1
            row = {
                "patient": self.patient_id, "seq": self._seq, "kind": kind, "id": fields.get("id", self.patient_id),
                "revision": fields["revision"], "document": safe, "digest": digest(text),
            }  # fmt: skip
            back = self._change.do(
                "insert into records (patient, seq, kind, id, revision, document, digest) values"
                " (%(patient)s, %(seq)s, %(kind)s, %(id)s, %(revision)s, %(document)s::jsonb, %(digest)s)"
                " returning document::text",
                row,
            )
            sent.append((back, text, str(row["id"])))
            self._digests.append(digest(text))
        for back, text, name in sent:
            found = back.fetchone()
            if found is None or encoded(given(found[0])) != text:
                raise InputError("is read back as something else; nothing was changed", name)

    def list_anew(self, *, patient: "Patient | None" = None, meta: Mapping[str, Any] | None = None) -> None:  # fmt: skip
        """Have the ward list say other details, or something else of the examinations."""
        seen = (
            {field: self.listed[field] for field in patient_tables.META} if meta is None else meta
        )
        if patient is not None:
            tables: dict[str, dict[str, Record]] = {
                "patient": {"1": patient.model_dump(mode="json")},
                "meta": {"1": seen},
            }
            self.listed = patient_tables.row_of(tables, where=self.patient_id)
            del self.listed["mark"]
        else:
            self.listed = {**self.listed, **seen}

    def write(self) -> None:
        """Write the line of the ward list, where anything was added."""
        if not (self._digests or self._fresh):
            return
        self._state = chained(self._state, self._digests)
        self._stood, self._mark = self._mark, mark_of(self.listed, self._state)
        write_line(self._change, self.patient_id, self.listed, self._seq, self._state, self._mark)
        self._digests, self._fresh = [], False

    def note(self, event: str, by: str) -> None:
        """The event in the trail, with the mark as it leaves the record; comes last of all that is done."""
        if self._found_changed:
            self._change.note("found changed", self.patient_id, "wardexam", "outside this program", self._stood)  # fmt: skip
            self._found_changed = False
        if not self.stood:
            self._change.note(event, self.patient_id, by, self.what, self._mark)


def write_line(
    change: "Change", patient_id: str, listed: Mapping[str, Any], seq: int, state: str, mark: str
) -> None:
    """Write a patient's line of the ward list."""
    row = {
        "id": patient_id, "discharged": listed["discharged"] is not None, "listed": kept(listed)[0],
        "seq": seq, "state": state, "mark": mark,
    }  # fmt: skip
    change.do(
        "update patients set discharged = %(discharged)s, listed = %(listed)s::jsonb, seq = %(seq)s,"
        " state = %(state)s, mark = %(mark)s where id = %(id)s",
        row,
    )
