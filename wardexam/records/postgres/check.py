"""Verify a ward on a server: every row, each against the others, the ward list and the trail.

Nothing is changed without being told to. A line of the ward list is made anew from sound records; a record that
was changed is never mended from what is left: a backup has it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from psycopg import Connection

from wardexam.errors import InputError, RecordsError, WardexamError
from wardexam.exam.text import counted
from wardexam.records import patient_tables
from wardexam.records.audit import Head, Trail
from wardexam.records.check import Said, owner_of
from wardexam.records.draft_file import (
    EXAMINATION,
    INJURY,
    KINDS,
    Kind,
    draft_infos,
    replay,
    replay_sheet,
    whole_rows,
)
from wardexam.records.origin import Restored
from wardexam.records.paths import draft_path
from wardexam.records.postgres import trail as trails
from wardexam.records.postgres.documents import CHANGED, Row, given, listed_of, mark_of, tables_of
from wardexam.records.postgres.patient_record import COLUMNS, TOLD, write_line
from wardexam.records.postgres.server import Change, Server
from wardexam.records.postgres.server import Row as Columns
from wardexam.records.repository import Report
from wardexam.records.stored_record import Tables

BACKUP = "  left as it is: it cannot be mended from what is left; restore from a backup"


@dataclass(frozen=True, slots=True)
class _Patient:
    """A patient as everything that is stored of them stood at one moment."""

    listed: str
    state: str
    mark: str
    rows: list[Row]
    told: str


def checked(
    server: Server,
    spool: Path,
    *,
    repair: bool,
    by: str,
    heads: Sequence[Head],
    progress: Callable[[int], None],
) -> Report:
    """Check every patient, the drafts and the trail.

    Args:
        server: Where the ward is.
        spool: Where this login keeps drafts beside it.
        repair: Whether to mend what can be mended.
        by: Who repairs, for the trail.
        heads: Heads of the trail kept elsewhere.
        progress: Told how many patients are read.
    """
    found = Said()
    names = {row[0] for row in server.rows("select id from patients")}
    trail = trails.verify(server, heads)
    if names and not trail.lines:
        trail.faults.append("the audit trail is empty, though there are patients")
    for fault in trail.faults:
        found.wrong(fault)
    for name in sorted(trail.known - names):
        found.wrong(f"missing: {name}: the trail knows this patient, and no record is there")
        found.lines += [BACKUP] if repair else []
    strays = {row[0] for row in server.rows("select distinct patient from records")} - names
    for name in sorted(strays):
        found.wrong(f"records of nobody: {name}")
    for number, name in enumerate(sorted(names), 1):
        _check_patient(server, name, trail, found, by if repair else "")
        progress(number)
    for name in sorted(trail.erased.keys() & names):
        line = trail.erased[name]
        found.wrong(f"erased by audit line {line}, and there again, as from a backup: {name}")
    for name, line in trail.changed.items():
        found.wrong(f"patient {name} had been changed outside this program by audit line {line}, and nobody has accepted it")  # fmt: skip
        if repair:
            _accept(server, name, by, f"the change found by line {line}", found)
    _check_drafts(server, spool, found)
    for row in server.rows("select at, by, sha256, lines from restored"):
        found.lines.append(Restored(*row).line)
    if trail.lines:
        found.lines.append(f"audit trail: {trail.lines} lines, the last is {trail.last[:16]}")
    if repair:
        server.change(lambda change: change.note("repaired", "", by))
    found.lines.append(
        f"{counted(len(names), 'patient')} checked: "
        + ("all sound" if found.sound else "see above")
    )
    return Report(tuple(found.lines), found.sound)


def _read(connection: Connection[Columns], name: str) -> _Patient | None:
    values = {"id": name}
    row = connection.execute("select listed::text, state, mark from patients where id = %(id)s", values).fetchone()  # fmt: skip
    if row is None:
        return None
    rows = connection.execute("select " + COLUMNS + " from records where patient = %(id)s order by seq", values).fetchall()  # fmt: skip
    told = connection.execute(TOLD, values).fetchone()
    listed, state, mark = row
    stored = [Row(*each) for each in rows]
    return _Patient(listed, state, mark, stored, told[0] if told else "")


def _check_patient(server: Server, name: str, trail: Trail, found: Said, by: str) -> None:
    """One patient; mended where `by` says who repairs."""
    patient = server.read(lambda c: _read(c, name), snapshot=True)
    if patient is None:
        return found.wrong(f"missing: {name}: taken away while it was checked")
    try:
        tables = tables_of(patient.rows, patient.state, name)
        patient_tables.of_patient(tables, name, name)
        owner_of(tables, name)
    except WardexamError as error:
        found.wrong(f"damaged: {error}")
        found.lines += [BACKUP] if by else []
        return None
    said = _list_fault(patient, tables, name)
    if said:
        found.wrong(f"{name}: the line of the ward list {said}")
    elif patient.told != patient.mark:
        number = trail.records.get(name, (0, ""))[0]
        said = (
            f"{CHANGED} since audit line {number}" if patient.told else "is not known to the audit trail"
        )  # fmt: skip
        found.wrong(f"{name}: {said}")
    if said and by:
        _mend(server, name, by, found)
        trail.changed.pop(name, None)
    return None


def _list_fault(patient: _Patient, tables: Tables, name: str) -> str:
    """What is wrong with the line of the ward list, or nothing."""
    try:
        listed = listed_of(patient.listed, patient.state, patient.mark, name)
    except RecordsError:
        return CHANGED
    return "" if listed == _listed_anew(listed, tables, name) else "says something else than the records"  # fmt: skip


def _listed_anew(listed: dict[str, Any], tables: Tables, name: str) -> dict[str, Any]:
    """The line of the ward list as the records have it; the urgency as it stood, which they do not have."""
    stored = patient_tables.all_revisions(tables)
    meta = {**patient_tables.fresh_meta(stored, listed.get("summary"))}
    seen = {field: listed.get(field) for field in patient_tables.META}
    errors = {e.id for e in {e.id: e for e in stored}.values() if e.in_error}
    first = [e for e in stored if e.revision == 1 and e.id not in errors]
    if first:  # amending changes neither when it was nor by whom
        meta |= {"last_at": first[-1].at.isoformat(), "last_by": first[-1].examiner}
    if (
        len(first) != meta["examinations"]
    ):  # as it came from elsewhere, without every first revision
        meta |= {"last_at": seen["last_at"], "last_by": seen["last_by"]}
    row = patient_tables.row_of({"patient": tables["patient"], "meta": {"1": meta}}, where=name)
    del row["mark"]
    return row


def _mend(server: Server, name: str, by: str, found: Said) -> None:
    """Write the line of the ward list anew from the records, and put down who accepts how they stand."""

    def whole(change: Change) -> None:
        connection = change.connection
        change.do("select 1 from patients where id = %(id)s for no key update", {"id": name})
        patient = _read(connection, name)
        if patient is None:
            raise InputError("no such patient", where=name)
        tables = tables_of(patient.rows, patient.state, name)
        try:
            before = given(patient.listed)
            listed = _listed_anew(before, tables, name)
        except (ValueError, WardexamError):
            listed = _listed_anew({}, tables, name)
        mark = mark_of(listed, patient.state)
        write_line(change, name, listed, patient.rows[-1].seq, patient.state, mark)
        change.note("accepted", name, by, "as found by check --repair", mark)

    try:
        server.change(whole)
        found.lines.append("  the list made anew from the records, and accepted; the trail says by whom")  # fmt: skip
    except WardexamError as error:
        found.lines.append(f"  not repaired, left as it is: {error}")


def _accept(server: Server, name: str, by: str, what: str, found: Said) -> None:
    try:
        server.change(lambda change: change.note("accepted", name, by, what))
        found.lines.append("  accepted; the trail says by whom")
    except RecordsError as error:
        found.lines.append(f"  not accepted: {error}")


def _check_drafts(server: Server, spool: Path, found: Said) -> None:
    """Whether each draft can be resumed, at the server and in this login's own folder."""
    lines: dict[tuple[str, str], list[bytes]] = {}
    for kind, name, line in server.rows(
        "select l.kind, l.id, l.line::text from draft_lines l join drafts d using (kind, id)"
        " where not d.aside order by l.kind, l.id, l.number"
    ):
        lines.setdefault((kind, name), []).append(f"{line}\n".encode())
    for kind in KINDS:
        for (ending, name), rows in lines.items():
            if ending == kind.ending:
                _check_draft(rows, kind, Path(name), found)
        for info in draft_infos(spool, kind=kind):
            path = draft_path(spool, info.draft_id, kind.ending)
            if info.trouble:
                found.wrong(f"damaged draft: {info.trouble}")
            else:
                _check_draft(whole_rows(path), kind, path, found)
    aside = server.rows("select count(*) from drafts where aside")[0][0]
    aside += len([*(spool / "aside").glob("*")])
    if aside:
        found.wrong(f"set aside: {counted(aside, 'draft')}")


def _check_draft(rows: list[bytes], kind: Kind, where: Path, found: Said) -> None:
    try:
        {EXAMINATION: replay, INJURY: replay_sheet}[kind](rows, where)
    except (RecordsError, InputError) as error:
        found.wrong(f"damaged draft: {error}")
