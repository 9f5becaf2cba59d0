"""A ward's drafts: which there are, begun, resumed, set aside, taken away."""

import os
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from wardexam.errors import InputError, RecordsError
from wardexam.records.draft_file import draft_infos, replay, rows_of
from wardexam.records.draft_writer import Draft
from wardexam.records.durable_files import reason
from wardexam.records.layout import Layout
from wardexam.records.paths import draft_path
from wardexam.records.repository import DraftInfo, DraftWriter

if TYPE_CHECKING:
    from wardexam.exam.examination import Examination


def known(identifier: str) -> str:
    """The identifier, if it is one: it names a file.

    Raises:
        InputError: It is none.
    """
    fine = identifier.isascii() and identifier.isalnum() and identifier == identifier.lower()
    if not fine or not 8 <= len(identifier) <= 40:
        raise InputError(
            "not an identifier", where=identifier[:40], remedy="'wardexam beds' lists them"
        )
    return identifier


class DraftStore:
    """The drafts of a ward.

    Args:
        layout: The ward's folder.
        elsewhere: Where this user's drafts lie while the ward's folder cannot be written.
    """

    def __init__(self, layout: Layout, elsewhere: Path) -> None:
        self._folders = (layout.drafts, elsewhere)
        self._places = (layout.drafts, elsewhere, layout.staging, layout.file_mode)

    def _files(self, draft_id: str) -> tuple[Path, Path]:
        here, there = self._folders
        return draft_path(here, known(draft_id)), draft_path(there, draft_id)

    def infos(self) -> tuple[DraftInfo, ...]:
        """Every draft, oldest first."""
        return draft_infos(*self._folders)

    def sweep(self, is_saved: "Callable[[DraftInfo, Callable[[], Examination]], bool]") -> None:
        """Take away the drafts that nobody writes and whose examination is saved already."""
        for info in self.infos():
            if info.held or info.trouble:
                continue
            with suppress(RecordsError, InputError, OSError):
                drafted = partial(self._drafted, info.draft_id)
                if is_saved(info, drafted):
                    self._remove(info.draft_id)

    def _drafted(self, draft_id: str) -> "Examination":
        return replay(*rows_of(*self._files(draft_id)))

    def start(self, examination: "Examination", by: str) -> Draft:
        """A new draft."""
        return Draft.start(*self._places, examination, by)

    def resume(self, draft_id: str, by: str) -> "tuple[Draft, Examination]":
        """A draft that was left, with the examination as far as it got.

        Who resumes it without having entered any of it is put down in it.
        """
        from wardexam.exam.entry import Change, apply

        draft = Draft.resume(*self._places, known(draft_id))
        try:
            examination = draft.examination()
            if by and by not in (examination.examiner, *examination.entered_by):
                added = Change("entered_by", "", [*examination.entered_by, by[:120]][-20:])
                examination = apply(examination, added)
                draft.append(added)
            return draft, examination
        except BaseException:
            draft.close()
            raise

    def set_aside(self, draft_id: str) -> None:
        """Stop offering a draft; its file stays under ``aside``."""
        files = self._files(draft_id)
        if any(d.held for d in self.infos() if d.draft_id == draft_id):
            raise RecordsError("the draft is open in another session", where=draft_id)
        for path in files:
            try:
                if path.exists():
                    place = path.parent / "aside"
                    place.mkdir(0o700, exist_ok=True)
                    target = place / path.name
                    while os.path.lexists(target):  # what was set aside before stays
                        target = place / f"{path.name}.{os.urandom(4).hex()}"
                    path.rename(target)
            except OSError as error:
                raise RecordsError(f"cannot be set aside: {reason(error)}", str(path)) from None

    def drop(self, draft: DraftWriter) -> None:
        """Close a draft that is no longer needed and take it away."""
        draft.close()
        self._remove(draft.draft_id)

    def _remove(self, draft_id: str) -> None:
        for path in self._files(draft_id):
            with suppress(OSError):
                path.unlink(missing_ok=True)
