"""Saves that the store could not take: kept in the spool by the identifier of what is saved, sent once it can.

A save that may have been written or not is sent again like any other: the same again is no fault, so that
each arrives once. Its draft stays until then; a save that is refused for good leaves the draft to the doctor.
"""

import os
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from wardexam.errors import RecordsError, WardexamError
from wardexam.records.draft_file import hold, line_of, read_rows, whole_rows
from wardexam.records.durable_files import write_whole
from wardexam.records.locks import BusyError
from wardexam.records.patient_tables import unsigned
from wardexam.records.repository import OutageError, Summary

if TYPE_CHECKING:
    from wardexam.exam.examination import Examination
    from wardexam.injury.kept import KeptSheet
    from wardexam.records.repository import Repository

ENDING = "save"


@dataclass(frozen=True, slots=True)
class Unsent:
    """A save that waits for the store.

    Attributes:
        saved: The examination or cord injury sheet.
        by: Who saves it.
        at: When it was to be saved.
        why: The reason, for an amendment of an examination; empty for a new one.
        summary: What the ward list shows of an examination.
    """

    saved: "Examination | KeptSheet"
    by: str
    at: datetime
    why: str = ""
    summary: Summary | None = None

    @property
    def kind(self) -> Literal["sheet", "amend", "save"]:
        """Which operation it is."""
        from wardexam.exam.examination import Examination

        if not isinstance(self.saved, Examination):
            return "sheet"
        return "amend" if self.why else "save"

    def send(self, ward: "Repository") -> "Examination | KeptSheet":
        """Save it; the same again is no fault.

        Raises:
            OutageError: The store cannot be reached, or was lost meanwhile.
            WardexamError: It is refused.
        """
        from wardexam.exam.examination import Examination

        if not isinstance(self.saved, Examination):
            return ward.save_sheet(self.saved, self.by)
        if self.why:
            return ward.amend(self.saved, self.by, self.why, self.at, self.summary)
        return ward.save(self.saved, self.by, self.summary)

    def to_json(self) -> dict[str, Any]:
        """As a JSON object."""
        return {
            self.kind: self.saved.model_dump(mode="json"), "by": self.by, "at": self.at.isoformat(), "why": self.why,
            "summary": asdict(self.summary) if self.summary else None,
        }  # fmt: skip

    @classmethod
    def from_json(cls, row: dict[str, Any]) -> "Unsent":
        """From such an object.

        Raises:
            ValueError, TypeError, KeyError: It is none.
        """
        from wardexam.exam.examination import Examination
        from wardexam.injury.kept import KeptSheet

        made: Examination | KeptSheet
        if "sheet" in row:
            made = KeptSheet.model_validate(row["sheet"])
        else:
            made = Examination.model_validate(row["amend"] if row["why"] else row["save"])
        summary = Summary(**row["summary"]) if row["summary"] else None
        return cls(
            made, str(row["by"]), datetime.fromisoformat(row["at"]), str(row["why"]), summary
        )


@dataclass(frozen=True, slots=True)
class Sent:
    """What became of a save that had waited: what was stored, or why it was refused for good."""

    unsent: Unsent
    stored: "Examination | KeptSheet | None" = None
    refused: "WardexamError | None" = None

    @property
    def told(self) -> str:
        """What became of it, as a sentence."""
        what = "A cord injury sheet" if self.unsent.kind == "sheet" else "An examination"
        if self.refused:
            return f"{what} that waited was not saved, its draft is kept: {self.refused.line}."
        return f"{what} that waited for the ward's store is saved."


class Outbox:
    """The saves that wait for a ward's store.

    Args:
        spool: Where they are kept; None where they are in memory only, and gone with this process.
    """

    def __init__(self, spool: Path | None) -> None:
        self._spool = spool
        self._own: dict[str, Unsent] = {}  # what this process put here

    def _path(self, name: str) -> Path | None:
        return self._spool / f"{name}.{ENDING}" if self._spool else None

    def put(self, unsent: Unsent) -> None:
        """Keep a save until it is sent, in the place of an earlier one of the same.

        Where even the spool cannot be written it is kept in memory: the draft is kept elsewhere all the same.
        """
        self._own[unsent.saved.id] = unsent
        path = self._path(unsent.saved.id)
        if path is not None:
            with suppress(OSError):
                path.parent.mkdir(0o700, parents=True, exist_ok=True)
                write_whole(path, [line_of(unsent.to_json())], 0o600, path.parent)

    def withdraw(self, name: str) -> None:
        """Send this one no more."""
        self._own.pop(name, None)
        path = self._path(name)
        if path is not None:
            with suppress(OSError):
                path.unlink(missing_ok=True)

    def names(self) -> list[str]:
        """What waits, by the identifiers of examinations and sheets; also what other sessions of this login left."""
        found = {*self._own}
        if self._spool is not None:
            found |= {path.stem for path in self._spool.glob(f"*.{ENDING}")}
        return sorted(found)

    def send(
        self, ward: "Repository", wanted: Callable[[str], bool] = lambda _: True
    ) -> tuple[Sent, ...]:
        """Send what waits, as far as the store takes it; gives what became of it.

        Args:
            ward: Where to.
            wanted: Whether one is wanted still, by its identifier; it is withdrawn where it is not.
        """
        found = []
        for name in self.names():
            if not wanted(name):
                self.withdraw(name)
                continue
            try:
                sent = self._send(ward, name)
            except (OutageError, BusyError):
                break  # the others wait as well
            if sent is not None:
                found.append(sent)
        return tuple(found)

    def _send(self, ward: "Repository", name: str) -> Sent | None:
        """Send one; None where another session sends it, or has sent it."""
        path, handle = self._path(name), -1
        try:
            if path is not None and path.exists():
                handle = hold(path, 0)
                if not path.exists():  # another session of this login has sent it meanwhile
                    self._own.pop(name, None)
                    return None
            elif name not in self._own:
                return None
            unsent = self._own.get(name) or self._left(path)
            try:
                stored = unsent.send(ward)
            except (OutageError, BusyError):
                raise
            except WardexamError as error:
                self.withdraw(name)
                return Sent(unsent, refused=error)
            self.withdraw(name)
            self._drop_draft(ward, unsent)
            return Sent(unsent, stored)
        except OSError:
            return None  # another session sends it, or it cannot be read: it is looked at again
        finally:
            if handle >= 0:
                os.close(handle)

    @staticmethod
    def _left(path: Path | None) -> Unsent:
        """What another session left.

        Raises:
            OSError: It cannot be read; it is then put aside, its draft is what is left.
        """
        assert path is not None
        try:
            return Unsent.from_json(read_rows(whole_rows(path), path)[0])
        except (RecordsError, ValueError, TypeError, KeyError) as error:
            with suppress(OSError):
                path.rename(path.with_suffix(f".{ENDING}-damaged"))
            raise OSError(f"damaged: {error}") from None

    @staticmethod
    def _drop_draft(ward: "Repository", unsent: Unsent) -> None:
        """Take the draft away that nobody writes any more and that says what is saved now, and no more."""
        from wardexam.exam.examination import Examination

        saved = unsent.saved
        with suppress(
            WardexamError
        ):  # it is written, or gone, or offered once more and saved the same again
            if isinstance(saved, Examination):
                draft, left = ward.resume_draft(saved.id)
                same, drop = unsigned(left) == unsigned(saved), ward.drop_draft
            else:
                draft, kept = ward.sheet_drafts.resume(saved.id)
                same, drop = kept.sheet == saved.sheet, ward.sheet_drafts.drop
            try:
                if same:
                    drop(draft)
            finally:
                draft.close()
