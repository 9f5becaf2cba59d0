"""The drafts of one kind at the server: begun, resumed, set aside, taken away; their spool is this login's own."""

import os
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, LiteralString, TypeVar

from psycopg import Connection

from wardexam.errors import InputError, RecordsError, WardexamError
from wardexam.records.draft_file import (
    EXAMINATION,
    INJURY,
    OPEN,
    FilePlace,
    Kind,
    draft_infos,
    line_of,
    move_aside,
    replay,
    replay_sheet,
    whole_rows,
)
from wardexam.records.draft_store import entered_too, known
from wardexam.records.draft_writer import Draft
from wardexam.records.durable_files import reason
from wardexam.records.paths import draft_path
from wardexam.records.postgres.draft_place import ServerPlace
from wardexam.records.postgres.server import Change, Row, Server
from wardexam.records.repository import DraftInfo, DraftWriter

if TYPE_CHECKING:
    from wardexam.exam.examination import Examination
    from wardexam.injury.kept import KeptSheet

Held = TypeVar("Held")
INFOS: LiteralString = """
    select d.id, d.patient, d."by", d.started, extract(epoch from d.last)::float8,
        (select count(*) from draft_lines l where l.kind = d.kind and l.id = d.id)::int - 1,
        d.until > clock_timestamp()
    from drafts d where d.kind = %(kind)s and not d.aside order by d.last"""


class ServerDrafts(Generic[Held]):
    """The drafts of one kind.

    Args:
        server: The connections to it.
        spool: Where this login keeps them while the server cannot take them.
    """

    KIND: Kind

    def __init__(self, server: Server, spool: Path) -> None:
        self._server, self._spool_folder = server, spool

    def _replayed(self, rows: list[bytes], path: Path) -> Held:
        """What the rows of a draft come to."""
        raise NotImplementedError  # each kind of draft has its own

    def _spool(self, draft_id: str) -> FilePlace:
        folder = self._spool_folder
        return FilePlace(draft_path(folder, known(draft_id), self.KIND.ending), 0o600, folder)

    def _place(self, draft_id: str, head: Mapping[str, str] | None = None) -> ServerPlace:
        return ServerPlace(self._server, self.KIND, known(draft_id), dict(head or {}))

    def infos(self) -> tuple[DraftInfo, ...]:
        """Every draft, oldest first; what lies in the spool and has more counts."""
        return self._server.read(self.infos_by)

    def infos_by(self, connection: Connection[Row]) -> tuple[DraftInfo, ...]:
        """The same, asked on this connection."""
        rows = connection.execute(INFOS, {"kind": self.KIND.ending}).fetchall()
        found = {row[0]: DraftInfo(*row) for row in rows}
        for info in draft_infos(self._spool_folder, kind=self.KIND):
            other = found.get(info.draft_id, info)
            better = max(other, info, key=lambda each: (not each.trouble, each.keys))
            found[info.draft_id] = replace(better, held=info.held or other.held)
        return tuple(sorted(found.values(), key=lambda info: info.last))

    def _rows(self, draft_id: str) -> list[bytes]:
        query: LiteralString = "select line::text from draft_lines where kind = %(kind)s and id = %(id)s order by number"  # fmt: skip
        found = self._server.rows(query, {"kind": self.KIND.ending, "id": draft_id})
        return [f"{row[0]}\n".encode() for row in found]

    # --- begun and resumed

    def start(self, begun: "Examination | KeptSheet", by: str) -> Draft:
        """A new draft, whose first row is the examination, or the sheet, as it stands.

        Raises:
            RecordsError: There is a draft of it already.
        """
        spool = self._spool(begun.id)
        known_there = False
        with suppress(WardexamError):  # what cannot be asked now is found when it can
            known_there = bool(self._rows(begun.id))
        if spool.path.exists() or known_there:
            raise RecordsError("there is a draft of this examination already", where=begun.id)
        fields = begun.model_dump(mode="json")
        head = {"patient": begun.patient, "by": by[:200], "started": fields["at"]}
        rows = [line_of({self.KIND.holds: fields, "by": by})]
        return Draft(begun.id, rows, self._place(begun.id, head), spool)

    def _resumed(self, draft_id: str) -> tuple[Draft, Held]:
        """A draft that was left, from the place that has more of it, with what it holds."""
        spool = self._spool(draft_id)
        spooled = self._held_spool(spool)
        place = self._place(draft_id)
        try:
            stands = self._rows(draft_id)
            if not stands and not spooled:
                raise RecordsError("there is no such draft", where=draft_id)
            rows = max(stands, spooled, key=len)
            held = self._replayed(rows, spool.path)
            if stands:
                place.hold()
                stands = self._rows(draft_id)  # nobody else writes it from here on
                rows = max(stands, spooled, key=len)
                held = self._replayed(rows, spool.path)
            if rows[: len(stands)] != stands:
                self._part(draft_id)
                place, stands = self._place(draft_id), []
            if rows[: len(spooled)] != spooled:
                spool.let_go()
                move_aside(spool.path)
                spooled = []
            if not stands:
                place = self._place(draft_id, head_of(rows[0], self.KIND))
            place.stands(stands)
            spool.stands(spooled)
            return Draft(draft_id, rows, place, spool), held
        except BaseException:
            spool.let_go()
            with suppress(RecordsError):
                place.let_go()
            raise

    def _held_spool(self, spool: FilePlace) -> list[bytes]:
        if not spool.path.exists():
            return []
        try:
            spool.hold()
        except OSError as error:
            raise RecordsError(reason(error), where=spool.path.stem) from None
        return whole_rows(spool.path)

    def _part(self, draft_id: str) -> None:
        """Set aside the server's rows of a draft of which the spool has other and more."""
        self._server.change(partial(self._rename, draft_id))

    def _rename(self, draft_id: str, change: Change) -> bool:
        values = {"kind": self.KIND.ending, "id": draft_id, "new": f"{draft_id}.{os.urandom(4).hex()}"}  # fmt: skip
        done = change.do(
            "update drafts set id = %(new)s, aside = true, until = '-infinity', fence = fence + 1"
            " where kind = %(kind)s and id = %(id)s returning 1",
            values,
        )
        return done.fetchone() is not None

    # --- left and taken away

    def set_aside(self, draft_id: str, by: str) -> None:
        """Stop offering a draft; its rows stay, and the trail says who set it aside."""
        name = known(draft_id)
        if any(d.held for d in self.infos() if d.draft_id == name):
            raise RecordsError(OPEN, where=name)

        def whole(change: Change) -> None:
            if self._rename(name, change):
                change.note("draft set aside", "", by, name)

        self._server.change(whole)
        move_aside(draft_path(self._spool_folder, name, self.KIND.ending))

    def drop(self, draft: DraftWriter) -> None:
        """Close a draft that is no longer needed and take it away."""
        draft.close()
        self._remove(draft.draft_id)

    def drafted(self, draft_id: str) -> Held:
        """What a draft holds as far as it got; nothing is held for reading it.

        Raises:
            RecordsError: There is none, or it cannot be read.
        """
        path = self._spool(draft_id).path
        spooled = whole_rows(path) if path.exists() else []
        rows = max(self._rows(draft_id), spooled, key=len)
        if not rows:
            raise RecordsError("there is no such draft", where=draft_id)
        return self._replayed(rows, path)

    def _remove(self, draft_id: str) -> None:
        spool = self._spool(draft_id)
        spool.remove()
        with suppress(RecordsError):  # the next start takes away what is saved
            self._place(draft_id).remove()

    def sweep(self, is_saved: Callable[[Held], bool]) -> None:
        """Take away the drafts that nobody writes and that are saved already, as after a crash just after a save."""
        kind: dict[str, Any] = {"kind": self.KIND.ending, "record": self.RECORD}
        query: LiteralString = (
            "select d.id from drafts d where d.kind = %(kind)s and not d.aside and d.until <= clock_timestamp()"
            " and exists (select from records r where r.patient = d.patient and r.kind = %(record)s and r.id = d.id)"
        )
        for (draft_id,) in self._server.rows(query, kind):
            with suppress(RecordsError, InputError, OSError):
                if is_saved(self.drafted(draft_id)):
                    self._remove(draft_id)

    RECORD: str


def head_of(row: bytes, kind: Kind) -> dict[str, str]:
    """Whose a draft is, by whom and when it was begun, off its first row."""
    import json

    try:
        found = json.loads(row)
        begun = found[kind.holds]
        return {"patient": str(begun["patient"]), "by": str(found["by"])[:200], "started": str(begun["at"])}  # fmt: skip
    except (ValueError, KeyError, TypeError):
        raise RecordsError("the first line of the draft is damaged") from None


class ExaminationDrafts(ServerDrafts["Examination"]):
    """The drafts of a ward's examinations."""

    KIND, RECORD = EXAMINATION, "examination"

    def _replayed(self, rows: list[bytes], path: Path) -> "Examination":
        return replay(rows, path)

    def resume(self, draft_id: str, by: str) -> "tuple[Draft, Examination]":
        """A draft that was left, with the examination as far as it got; who resumes it is put down."""
        draft, examination = self._resumed(draft_id)
        return draft, entered_too(draft, examination, by)


class SheetDrafts(ServerDrafts["KeptSheet"]):
    """The drafts of a ward's cord injury sheets."""

    KIND, RECORD = INJURY, "sheet"

    def _replayed(self, rows: list[bytes], path: Path) -> "KeptSheet":
        return replay_sheet(rows, path)

    def resume(self, draft_id: str) -> "tuple[Draft, KeptSheet]":
        """A draft that was left, with the sheet as far as it got."""
        return self._resumed(draft_id)

    def put_aside(self, draft_id: str, by: str) -> None:
        """Stop offering a draft; its rows stay, and the trail says so."""
        self.set_aside(draft_id, by)
