"""A ward's drafts, of examinations and of cord injury sheets: begun, resumed, set aside, taken away."""

from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Generic, TypeVar

from wardexam.errors import InputError, RecordsError
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
    rows_of,
    whole_rows,
)
from wardexam.records.draft_writer import Draft
from wardexam.records.durable_files import reason
from wardexam.records.layout import Layout
from wardexam.records.paths import draft_path
from wardexam.records.repository import DraftInfo, DraftWriter

if TYPE_CHECKING:
    from wardexam.exam.examination import Examination
    from wardexam.injury.kept import KeptSheet

Held = TypeVar("Held")


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


def begin(
    here: FilePlace, there: FilePlace, begun: "Examination | KeptSheet", by: str, kind: Kind = EXAMINATION
) -> Draft:  # fmt: skip
    """A new draft whose first row is the examination, or the sheet, as it stands.

    Raises:
        RecordsError: There is a draft of it already.
    """
    if here.path.exists() or there.path.exists():
        raise RecordsError("there is a draft of this examination already", where=str(here.path))
    head = {kind.holds: begun.model_dump(mode="json"), "by": by}
    return Draft(begun.id, [line_of(head)], here, there)


class _Drafts(Generic[Held]):
    """The drafts of one kind.

    Args:
        layout: The ward's folder.
        elsewhere: Where this user's drafts lie while the ward's folder cannot be written.
    """

    KIND: Kind

    def __init__(self, layout: Layout, elsewhere: Path) -> None:
        self._layout = layout
        self._folders = (layout.drafts, elsewhere)

    def _replayed(self, rows: list[bytes], path: Path) -> Held:
        """What the lines of a draft come to."""
        raise NotImplementedError  # each kind of draft has its own

    def _files(self, draft_id: str) -> tuple[Path, Path]:
        here, there = self._folders
        ending = self.KIND.ending
        return draft_path(here, known(draft_id), ending), draft_path(there, draft_id, ending)

    def _places(self, draft_id: str) -> tuple[FilePlace, FilePlace]:
        """The draft's file in the ward's folder, and in the spool."""
        here, there = self._files(draft_id)
        layout = self._layout
        return (
            FilePlace(here, layout.file_mode, layout.staging),
            FilePlace(there, 0o600, there.parent),
        )

    def infos(self) -> tuple[DraftInfo, ...]:
        """Every draft, oldest first."""
        return draft_infos(*self._folders, kind=self.KIND)

    def sweep(self, is_saved: Callable[[DraftInfo, Callable[[], Held]], bool]) -> None:
        """Take away the drafts that nobody writes and that are saved already."""
        for info in self.infos():
            if info.held or info.trouble:
                continue
            with suppress(RecordsError, InputError, OSError):
                drafted = partial(self.drafted, info.draft_id)
                if is_saved(info, drafted):
                    self._remove(info.draft_id)

    def drafted(self, draft_id: str) -> Held:
        """What a draft holds as far as it got; nothing is held for reading it.

        Raises:
            RecordsError: There is none, or it cannot be read.
        """
        return self._replayed(*rows_of(*self._files(draft_id)))

    def _begun(self, begun: "Examination | KeptSheet", by: str) -> Draft:
        """A new draft."""
        self._layout.still_here()
        return begin(*self._places(begun.id), begun, by, self.KIND)

    def _resumed(self, draft_id: str) -> tuple[Draft, Held]:
        """A draft that was left, from the place that has more of it, with what it holds.

        Where the two parted, what the other place has is set aside.
        """
        self._layout.still_here()
        here, there = self._places(draft_id)
        try:
            for place in (here, there):
                if place.path.exists():
                    place.hold()
            rows, _ = rows_of(here.path, there.path)
            held = self._replayed(rows, here.path)
            for place in (here, there):
                stands = whole_rows(place.path) if place.path.exists() else []
                if rows[: len(stands)] != stands:  # the copies parted: the longer one goes on
                    place.let_go()
                    move_aside(place.path)
                    stands = []
                place.stands(stands)
            return Draft(draft_id, rows, here, there), held
        except OSError as error:
            _let_go(here, there)
            raise RecordsError(reason(error), where=draft_id) from None
        except BaseException:
            _let_go(here, there)
            raise

    def set_aside(self, draft_id: str) -> None:
        """Stop offering a draft; its file stays under ``aside``."""
        files = self._files(draft_id)
        if any(d.held for d in self.infos() if d.draft_id == draft_id):
            raise RecordsError(OPEN, where=draft_id)
        for path in files:
            move_aside(path)

    def drop(self, draft: DraftWriter) -> None:
        """Close a draft that is no longer needed and take it away."""
        draft.close()
        self._remove(draft.draft_id)

    def _remove(self, draft_id: str) -> None:
        for path in self._files(draft_id):
            with suppress(OSError):
                path.unlink(missing_ok=True)


def _let_go(*places: FilePlace) -> None:
    for place in places:
        place.let_go()


def entered_too(draft: DraftWriter, examination: "Examination", by: str) -> "Examination":
    """The examination of a draft that was resumed, with who resumes it put down, who entered none of it yet.

    Where that cannot be, the draft is closed.
    """
    from wardexam.exam.entry import Change, apply

    try:
        if by and by not in (examination.examiner, *examination.entered_by):
            added = Change("entered_by", "", [*examination.entered_by, by[:120]][-20:])
            examination = apply(examination, added)
            draft.append(added)
        return examination
    except BaseException:
        draft.close()
        raise


class DraftStore(_Drafts["Examination"]):
    """The drafts of a ward's examinations."""

    KIND = EXAMINATION

    def _replayed(self, rows: list[bytes], path: Path) -> "Examination":
        return replay(rows, path)

    def start(self, examination: "Examination", by: str) -> Draft:
        """A new draft."""
        return self._begun(examination, by)

    def resume(self, draft_id: str, by: str) -> "tuple[Draft, Examination]":
        """A draft that was left, with the examination as far as it got.

        Who resumes it without having entered any of it is put down in it.
        """
        draft, examination = self._resumed(draft_id)
        return draft, entered_too(draft, examination, by)


class SheetDraftStore(_Drafts["KeptSheet"]):
    """The drafts of a ward's cord injury sheets.

    Args:
        layout: The ward's folder.
        elsewhere: Where this user's drafts lie while the ward's folder cannot be written.
        note: Puts an event into the audit trail: what, of whom, by whom, which.
    """

    KIND = INJURY

    def __init__(
        self, layout: Layout, elsewhere: Path, note: Callable[[str, str, str, str], object]
    ) -> None:
        super().__init__(layout, elsewhere)
        self._note = note

    def _replayed(self, rows: list[bytes], path: Path) -> "KeptSheet":
        return replay_sheet(rows, path)

    def start(self, kept: "KeptSheet", by: str) -> Draft:
        """A new draft."""
        return self._begun(kept, by)

    def resume(self, draft_id: str) -> "tuple[Draft, KeptSheet]":
        """A draft that was left, with the sheet as far as it got."""
        return self._resumed(draft_id)

    def put_aside(self, draft_id: str, by: str) -> None:
        """Stop offering a draft; its file stays under ``aside``, and the trail says so."""
        self.set_aside(draft_id)
        self._note("draft set aside", "", by, draft_id)
