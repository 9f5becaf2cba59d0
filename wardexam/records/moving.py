"""A ward moved from one place to another, a folder or a server, by its backup; the place it leaves says where it went."""

import os
import tempfile
from collections.abc import Callable
from contextlib import AbstractContextManager, suppress
from pathlib import Path
from typing import BinaryIO, Protocol

from wardexam.errors import InputError, RecordsError
from wardexam.records.backup import Contents, Source, Written, contents_of, verified
from wardexam.records.draft_file import KINDS, draft_infos
from wardexam.records.outbox import Outbox

TRIES = 3

Progress = Callable[[str, int], object]


def kept_elsewhere(spool: Path) -> int:
    """How many drafts, and saves that wait for the ward, lie in this login's own folder."""
    drafts = sum(len(draft_infos(spool, kind=kind)) for kind in KINDS)
    return drafts + len(Outbox(spool).names())


class GoesOnError(RecordsError):
    """Somebody went on at the ward while it was moved; nothing was changed."""


class Standing(Source, Protocol):
    """A ward as it stands, with what of it is elsewhere or under way.

    Attributes:
        left_out: Files among the drafts that are none.
        spooled: How many drafts and saves lie in this login's own folder, and so not in the ward.
        under_way: Whose examinations are being entered now.
    """

    left_out: tuple[str, ...]
    spooled: int
    under_way: tuple[str, ...]


class Leaving(Protocol):
    """A ward that is about to be moved, in which nobody saves until it is.

    Attributes:
        source: The ward as it stands.
    """

    @property
    def source(self) -> Standing:
        """The ward as it stands."""
        ...

    def last_look(self) -> None:
        """Whether it stands still as it was read; from here on nobody adds to its trail.

        Raises:
            GoesOnError: It does not.
        """
        ...

    def mark(self, target: str) -> None:
        """Say where the ward went: nobody opens it here any more."""
        ...


class Home(Protocol):
    """A place where a ward is kept, or may be.

    Attributes:
        where: How a message names it.
        near: A folder in which as much can be kept as the ward takes; None where there is none.
    """

    @property
    def where(self) -> str:
        """How a message names it."""
        ...

    @property
    def near(self) -> Path | None:
        """A folder in which as much can be kept as the ward takes; None where there is none."""
        ...

    def snapshot(
        self, near: Path | None = None, *, progress: Progress = ...
    ) -> AbstractContextManager[Standing]:
        """The ward as it stands at one moment, while others write."""
        ...

    def reading(self, near: Path | None = None) -> AbstractContextManager[Standing]:
        """The same of a ward that nobody uses yet: it is not even opened."""
        ...

    def leaving(self, *, progress: Progress = ...) -> AbstractContextManager[Leaving]:
        """The ward as it stands, held until it is moved."""
        ...

    def is_empty(self) -> bool:
        """Whether a ward can be laid down here."""
        ...

    def restored_from(self) -> str:
        """The checksum of the backup that the ward here came from; empty where it came from none."""
        ...

    def lay_down(
        self, source: BinaryIO, contents: Contents, *, by: str, at: str, progress: Progress = ...,
        ready: Callable[[], object] = ...,
    ) -> None:  # fmt: skip
        """Restore a ward here, all of it or nothing; `ready` may refuse at the end."""
        ...


def stands_already(home: Home, contents: Contents) -> bool:
    """Whether the ward of a backup was restored here, and nothing was done in it since."""
    if home.is_empty() or home.restored_from() != contents.sha256:
        return False
    with home.reading() as source:
        return contents_of(source).sha256 == contents.anew


def move(
    source: Home, target: Home, *, by: str, at: str, progress: Progress = lambda *_: None
) -> Contents:
    """Move a ward; gives what it holds. Where it died on its way, the same again completes it.

    Args:
        source: Where it is; what is there stays, and says where it went.
        target: Where it goes: nothing stands there yet, or all of it by an earlier attempt.
        by: Who moves it.
        at: When, as ISO text.
        progress: Told what is done and how many patients.

    Raises:
        RecordsError: It cannot be read or written, somebody goes on at it, or something else stands there. The
            ward stays where it is.
    """
    if os.path.realpath(source.where) == os.path.realpath(target.where):
        raise InputError("is where it is already", target.where, "name another place")
    for _ in range(TRIES - 1):
        with suppress(GoesOnError):
            return _moved(source, target, by, at, progress)
    return _moved(source, target, by, at, progress)


def _moved(source: Home, target: Home, by: str, at: str, progress: Progress) -> Contents:
    near = source.near or target.near
    with (
        source.leaving(progress=progress) as leaving,
        tempfile.TemporaryFile(dir=near) as file,
        tempfile.TemporaryFile(dir=near) as second,
    ):
        standing = leaving.source
        if standing.under_way:
            raise RecordsError(
                f"being examined: {', '.join(standing.under_way[:3])}; nothing was moved",
                source.where,
                "have everybody leave the ward, then move it",
            )
        if standing.missing:
            raise RecordsError(
                f"the trail knows patient {standing.missing[0]}, of whom nothing is stored; nothing was moved",
                source.where,
                "'wardexam check --repair' looks for a copy; else back up and restore in the new place",
            )
        if standing.spooled:
            raise RecordsError(
                "drafts or saves of yours lie in your own folder and would stay behind; nothing was moved",
                source.where,
                "open the ward and resume each draft once, then move",
            )
        if standing.left_out:
            raise RecordsError("is no draft; nothing was moved", standing.left_out[0], "take it out of the ward")  # fmt: skip
        file.writelines(Written(standing))
        file.seek(0)
        contents = verified(file)
        fresh = target.is_empty()
        if fresh:
            target.lay_down(file, contents, by=by, at=at, progress=progress, ready=leaving.last_look)  # fmt: skip
        else:
            leaving.last_look()
        with target.reading(near) as there:
            second.writelines(Written(there))
        second.seek(0)
        file.seek(0)
        if not _same(file, second):
            what = (
                "is read back as something else" if fresh else "holds another ward, or part of one"
            )
            raise RecordsError(f"{what}; the ward stays in {source.where}", target.where, "name an empty place")  # fmt: skip
        try:
            leaving.last_look()
        except GoesOnError as error:
            raise RecordsError(f"{error.what}; {target.where} holds it without that", error.where, "empty that place, and move again") from None  # fmt: skip
        leaving.mark(target.where)
    return contents


def _same(one: BinaryIO, other: BinaryIO) -> bool:
    """Whether two files hold the same to the byte, from where they stand."""
    while True:
        piece = one.read(1 << 20)
        if piece != other.read(1 << 20):
            return False
        if not piece:
            return True
