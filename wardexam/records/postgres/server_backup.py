"""A ward on a server as it stands at one moment, while others write; and one laid down from a backup.

A backup is one transaction that sees the ward as it stood when it began. A restore is one transaction, read back
before it is committed: a server or a session that dies meanwhile leaves nothing of it.
"""

import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any, BinaryIO, LiteralString

from psycopg import Connection, Error

from wardexam.errors import InputError, RecordsError
from wardexam.records import patient_tables
from wardexam.records.audit import ABSENT, FIRST, WRITING, Following
from wardexam.records.backup import (
    OUT,
    Contents,
    Held,
    KeptDraft,
    Reading,
    contents_of,
    follow,
    held_of,
    micros,
    moment,
)
from wardexam.records.draft_file import KINDS
from wardexam.records.moving import kept_elsewhere
from wardexam.records.paths import elsewhere_of
from wardexam.records.postgres import schema, trail
from wardexam.records.postgres.documents import (
    Row,
    chained,
    digest,
    kept,
    listed_of,
    mark_of,
    record_of,
    tables_of,
)
from wardexam.records.postgres.drafts import head_of
from wardexam.records.postgres.faults import moved_to, refused
from wardexam.records.postgres.patient_record import COLUMNS
from wardexam.records.postgres.server import Row as Columns
from wardexam.records.postgres.server import connect
from wardexam.records.postgres.url import said
from wardexam.records.stored_record import DamagedFileError

Progress = Callable[[str, int], object]
_KINDS = {kind.ending: kind for kind in KINDS}
HOLD: LiteralString = (
    "lock table patients, records, trail, drafts, draft_lines in share row exclusive mode"
)
AT_ONCE = 500  # lines of the trail sent together


class ServerSource:
    """A ward as one transaction sees it.

    Args:
        connection: In a transaction that sees one moment.
        progress: Told how many patients are read.

    Attributes:
        changed: Patients whose mark is not what the trail says of it.
        missing: Patients whom the trail knows and who are not there.
        left_out: Nothing is.
        spooled: How many drafts lie in this login's own folder, and so not on the server.
        under_way: Whose examinations are being entered now.
    """

    left_out: tuple[str, ...] = ()

    def __init__(self, connection: Connection[Columns], progress: Progress = lambda *_: None) -> None:  # fmt: skip
        self._connection, self._progress = connection, progress
        self.changed: tuple[str, ...] = tuple(
            row[0]
            for row in connection.execute(
                "select p.id from patients p, lateral (select coalesce("
                "(select o.stands from origin o where o.patient = t.patient and o.record = t.record), t.record) as told"
                " from trail t where t.patient = p.id and t.record <> '' order by t.n desc limit 1) last"
                " where last.told <> p.mark order by p.id"
            )
        )
        self.missing = self._missing()
        open_now = connection.execute("select patient, \"by\" from drafts where until > clock_timestamp() and not aside order by 1, 2").fetchall()  # fmt: skip
        self.under_way = tuple(f"patient {patient} by {by}" for patient, by in open_now)
        named = connection.execute("select id from ward").fetchone()
        self.spooled = kept_elsewhere(elsewhere_of(named[0])) if named else 0

    def _missing(self) -> tuple[str, ...]:
        rows = self._connection.execute(
            "select patient from (select distinct on (patient) patient, record from trail"
            " where event = any(%(events)s) and patient <> '' order by patient, n desc) known"
            " where record <> %(absent)s and patient not in (select id from patients)",
            {"events": sorted(WRITING), "absent": ABSENT},
        )
        return tuple(sorted(row[0] for row in rows))

    def patients(self) -> Iterator[bytes]:
        """The lines of every patient, by identifier."""
        names = self._connection.execute('select id from patients order by id collate "C"').fetchall()  # fmt: skip
        for number, (name,) in enumerate(names, 1):
            yield from self._held(name).lines()
            self._progress("read", number)

    def _held(self, name: str) -> Held:
        values = {"id": name}
        line = self._connection.execute("select listed::text, state, mark from patients where id = %(id)s", values).fetchone()  # fmt: skip
        query: LiteralString = "select " + COLUMNS + " from records where patient = %(id)s order by seq"  # fmt: skip
        rows = [Row(*row) for row in self._connection.execute(query, values).fetchall()]
        listed, state, mark = line or ("", "", "")
        seen = listed_of(listed, state, mark, name)
        tables = patient_tables.of_patient(tables_of(rows, state, name), name, name)
        former = [record_of(row, name) for row in rows if row.kind == "patient"][:-1]
        tables[patient_tables.FORMER] = {str(n): record for n, record in enumerate(former, 1)}
        tables["meta"] = {"1": {field: seen[field] for field in patient_tables.META}}
        return held_of(tables, name)

    def trail(self) -> Iterator[bytes]:
        """The lines of the trail."""
        return trail.lines_by(self._connection)

    def drafts(self) -> Iterator[KeptDraft]:
        """The drafts."""
        heads = self._connection.execute(
            "select kind, id, aside, (extract(epoch from last) * 1000000)::bigint from drafts"
        ).fetchall()
        found = []
        for kind, name, aside, last in heads:
            rows = self._connection.execute(
                "select line::text from draft_lines where kind = %(kind)s and id = %(id)s order by number",
                {"kind": kind, "id": name},
            ).fetchall()
            plain, _, suffix = name.partition(".")  # one set aside has a dot in its name here
            lines = tuple(row[0].encode() for row in rows)
            found.append(KeptDraft(kind, plain, aside, suffix, moment(last), lines))
        return iter(sorted(found, key=lambda draft: draft.order))


@contextmanager
def _transaction(
    parameters: Mapping[str, str], *, one_moment: bool = False
) -> Iterator[Connection[Columns]]:
    """A connection in a transaction that may take long; what the server refuses is said in our words."""
    try:
        with connect(parameters) as connection, connection.transaction():
            if one_moment:
                connection.execute("set transaction isolation level repeatable read")
            # No question yet: what the transaction sees is settled by its first.
            connection.execute("set local statement_timeout = 0")
            connection.execute("set local idle_in_transaction_session_timeout = 0")
            yield connection
    except Error as error:
        raise refused(error, said(parameters)) from None


def _recognised(connection: Connection[Columns], where: str) -> None:
    """Whether a ward of this program's form stands there, and was not moved.

    Raises:
        RecordsError: None does, or it was.
    """
    if fault := schema.fault_of(connection, where):
        raise fault
    if moved := connection.execute("select target from moved").fetchone():
        raise moved_to(moved[0], where)


class ServerLeaving:
    """A ward on a server that is about to be moved; nobody else writes.

    Attributes:
        source: The ward as it stands.
    """

    def __init__(self, connection: Connection[Columns], source: ServerSource) -> None:
        self._connection, self.source = connection, source

    def last_look(self) -> None:
        """It stands as it was read: nobody could write."""

    def mark(self, target: str) -> None:
        """Say where the ward went; it holds once the block ends."""
        self._connection.execute("insert into moved (target) values (%(target)s)", {"target": target})  # fmt: skip


class ServerHome:
    """A server on which a ward is, or may be.

    Args:
        parameters: How it is reached (`wardexam.records.postgres.url.read_url`).

    Attributes:
        where: How a message names it.
        near: No folder is near a server.
    """

    near: Path | None = None

    def __init__(self, parameters: Mapping[str, str]) -> None:
        self._parameters, self.where = dict(parameters), said(parameters)

    @contextmanager
    def snapshot(
        self, near: Path | None = None, *, progress: Progress = lambda *_: None
    ) -> Iterator[ServerSource]:
        """The ward as it stands at one moment, while others write.

        Raises:
            RecordsError: It cannot be read, or no ward stands there.
        """
        with _transaction(self._parameters, one_moment=True) as connection:
            connection.execute("set transaction read only")
            _recognised(connection, self.where)
            yield ServerSource(connection, progress)

    def reading(self, near: Path | None = None) -> AbstractContextManager[ServerSource]:
        """The same."""
        return self.snapshot()

    @contextmanager
    def leaving(self, *, progress: Progress = lambda *_: None) -> Iterator[ServerLeaving]:
        """The ward as it stands; nobody writes until the block ends. As its owner.

        Raises:
            RecordsError: It cannot be read, no ward stands there, or this login may not hold it.
            BusyError: Another session writes all the time.
        """
        with _transaction(self._parameters, one_moment=True) as connection:
            connection.execute(HOLD)
            _recognised(connection, self.where)
            yield ServerLeaving(connection, ServerSource(connection, progress))

    def is_empty(self) -> bool:
        """Whether a ward can be laid down here.

        Raises:
            RecordsError: It cannot be asked, or no ward was made there.
        """
        with _transaction(self._parameters) as connection:
            _recognised(connection, self.where)
            return _holds_nothing(connection)

    def restored_from(self) -> str:
        """The checksum of the backup that the ward here came from; empty where it came from none."""
        with _transaction(self._parameters) as connection:
            _recognised(connection, self.where)
            row = connection.execute("select sha256 from restored").fetchone()
            return str(row[0]) if row else ""

    def lay_down(
        self, source: BinaryIO, contents: Contents, *, by: str, at: str, progress: Progress = lambda *_: None,
        ready: Callable[[], object] = lambda: None,
    ) -> None:  # fmt: skip
        """Restore a ward here, all of it or nothing."""
        lay_down(self._parameters, source, contents, by=by, at=at, progress=progress, ready=ready)


# --- laid down


def _holds_nothing(connection: Connection[Columns]) -> bool:
    row = connection.execute(
        "select exists (select from patients) or exists (select from records) or exists (select from trail)"
        " or exists (select from drafts)"
    ).fetchone()
    return row is not None and not row[0]


def lay_down(
    parameters: Mapping[str, str], source: BinaryIO, contents: Contents, *, by: str, at: str,
    progress: Progress = lambda *_: None, ready: Callable[[], object] = lambda: None,
) -> None:  # fmt: skip
    """Restore a ward into a server's tables that hold nothing yet: all of it or nothing; as their owner.

    Args:
        parameters: Which server (`wardexam.records.postgres.url.read_url`).
        source: The backup, at its beginning.
        contents: What it holds, verified.
        by: Who restores it.
        at: When, as ISO text.
        progress: Told "restored" and how many patients.
        ready: Called when all is verified, just before it is committed; may refuse by an error.

    Raises:
        RecordsError: Something stands there, this login may not, or it is read back as something else.
    """
    where = said(parameters)
    with _transaction(parameters) as connection:
        _recognised(connection, where)
        connection.execute(HOLD)
        if not _holds_nothing(connection):
            raise RecordsError(f"is not empty; {OUT}", where, "name a ward that 'wardexam store create' has just made")  # fmt: skip
        # It numbers and dates each line; these have their numbers and dates.
        connection.execute("alter table trail disable trigger trail_next")
        marks, following = _put_all(connection, source, progress)
        connection.execute("alter table trail enable trigger trail_next")
        records = following.trail.records
        _many(
            connection,
            "insert into origin (patient, record, stands) values (%(patient)s, %(record)s, %(stands)s)",
            [
                {"patient": name, "record": records[name][1], "stands": mark}
                for name, mark in marks.items()
                if name in records and name not in contents.changed
            ],
        )
        connection.execute(
            'insert into restored (at, "by", sha256, lines) values (%(at)s, %(by)s, %(sha256)s, %(lines)s)',
            {"at": at, "by": _plain(by), "sha256": contents.sha256, "lines": following.trail.lines},
        )
        _read_back(connection, contents, where)
        ready()


def _plain(text: str) -> str:
    return text[:200].replace("\0", "?")


def _many(connection: Connection[Columns], query: LiteralString, rows: list[dict[str, Any]]) -> None:  # fmt: skip
    if rows:
        with connection.cursor() as cursor:
            cursor.executemany(query, rows)


def _put_all(
    connection: Connection[Columns], source: BinaryIO, progress: Progress
) -> tuple[dict[str, str], Following]:
    """Every part of a backup; gives each patient's mark, and the trail as far as it was followed."""
    marks: dict[str, str] = {}
    following = Following()
    lines: list[dict[str, Any]] = []
    for part in Reading(source).parts():
        if isinstance(part, Held):
            marks[part.id] = _put(connection, part)
            progress("restored", len(marks))
        elif isinstance(part, bytes):
            follow(following, part)
            lines.append(_trail_row(part, following.trail.lines))
            if len(lines) >= AT_ONCE:
                _put_lines(connection, lines)
                lines = []
        else:
            _put_draft(connection, part)
    _put_lines(connection, lines)
    return marks, following


def _put_lines(connection: Connection[Columns], lines: list[dict[str, Any]]) -> None:
    _many(
        connection,
        'insert into trail (n, at, event, patient, "by", login, what, record, hash, line) values (%(n)s, %(at)s,'
        " %(event)s, %(patient)s, %(by)s, %(login)s, %(what)s, %(record)s, %(hash)s, %(line)s)",
        lines,
    )


def _trail_row(raw: bytes, number: int) -> dict[str, Any]:
    """A line of the trail as a row.

    Raises:
        RecordsError: It is no text that a server can hold.
    """
    columns = trail.columns_of(raw, number)
    row: dict[str, Any] = dict(zip(trail.FIELDS, columns, strict=True))
    if trail.raw_of((*columns, None)) == raw:
        return {**row, "line": None}
    return {**row, "line": _text(raw, f"audit line {number}")}


def _text(raw: bytes, where: str) -> str:
    try:
        text = raw.decode()
        if "\0" in text:
            raise ValueError
    except ValueError:
        raise RecordsError(f"is damaged, and a server cannot keep it as it is; {OUT}", where) from None  # fmt: skip
    return text


def _put(connection: Connection[Columns], held: Held) -> str:
    """A patient's line and rows; gives the mark."""
    rows: list[dict[str, Any]] = []
    try:
        for kind, documents in (
            ("patient", held.details), ("examination", held.examinations), ("sheet", held.sheets), ("outcome", held.outcomes),
        ):  # fmt: skip
            for document in documents:
                fields = document.model_dump(mode="json")
                safe, text = kept(fields)
                rows.append({
                    "patient": held.id, "seq": len(rows) + 1, "kind": kind, "id": fields.get("id", held.id),
                    "revision": fields["revision"], "document": safe, "digest": digest(text),
                })  # fmt: skip
        listed = patient_tables.row_of(held.tables(), where=held.id)
        del listed["mark"]
        line = kept(listed)[0]
    except InputError as error:
        raise InputError(f"holds what cannot be kept; {OUT}", held.id) from error
    state = chained(FIRST, (row["digest"] for row in rows))
    mark = mark_of(listed, state)
    connection.execute(
        "insert into patients (id, discharged, listed, seq, state, mark) values"
        " (%(id)s, %(discharged)s, %(listed)s::jsonb, %(seq)s, %(state)s, %(mark)s)",
        {
            "id": held.id, "discharged": listed["discharged"] is not None, "listed": line, "seq": len(rows),
            "state": state, "mark": mark,
        },
    )  # fmt: skip
    _many(
        connection,
        "insert into records (patient, seq, kind, id, revision, document, digest) values"
        " (%(patient)s, %(seq)s, %(kind)s, %(id)s, %(revision)s, %(document)s::jsonb, %(digest)s)",
        rows,
    )
    return mark


def _put_draft(connection: Connection[Columns], draft: KeptDraft) -> None:
    """A draft's rows, as old as it was."""
    name = f"{draft.id}.{draft.suffix}" if draft.aside else draft.id
    where = f"draft {draft.id}"
    lines = [_text(row, where) for row in draft.rows]
    try:
        for line in lines:
            json.loads(line)
    except (ValueError, RecursionError):
        raise RecordsError(
            f"is damaged, and a server cannot keep it as it is; {OUT}",
            where,
            "take its file out of the ward's folder drafts, and back up again",
        ) from None
    try:
        head = head_of(draft.rows[0] if draft.rows else b"", _KINDS[draft.kind])
    except RecordsError:
        head = {"patient": "", "by": "", "started": ""}
    connection.execute(
        'insert into drafts (kind, id, patient, "by", started, last, aside) values (%(kind)s, %(id)s, %(patient)s,'
        " %(by)s, %(started)s, to_timestamp(0) + make_interval(secs => %(seconds)s) + %(micros)s * interval '1 microsecond',"
        " %(aside)s)",
        {
            "kind": draft.kind, "id": name, "aside": draft.aside, "seconds": micros(draft.last) // 1_000_000,
            "micros": micros(draft.last) % 1_000_000, **{field: _plain(text) for field, text in head.items()},
        },
    )  # fmt: skip
    _many(
        connection,
        "insert into draft_lines (kind, id, number, line) values (%(kind)s, %(id)s, %(number)s, %(line)s)",
        [
            {"kind": draft.kind, "id": name, "number": number, "line": line}
            for number, line in enumerate(lines)
        ],
    )


def _read_back(connection: Connection[Columns], contents: Contents, where: str) -> None:
    """Whether the ward holds what the backup does, before it is committed.

    Raises:
        RecordsError: It does not.
    """
    try:
        found = contents_of(ServerSource(connection))
    except DamagedFileError as error:
        raise RecordsError(f"cannot be read back: {error.what}; {OUT}", error.where) from None
    if (found.anew, found.counts) != (contents.anew, contents.counts):
        raise RecordsError(f"is read back as something else; {OUT}", where)
