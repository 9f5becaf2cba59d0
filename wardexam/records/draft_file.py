"""The files of drafts: who holds one, what stands in it, and how it is brought up to date.

Line 1 is the examination, or the cord injury sheet, as it stood and who began; every further line is one
change. A line begins with the checksum of the rest of it; lines of an earlier version have none.
"""

import errno
import json
import os
import re
import zlib
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from wardexam.errors import InputError, RecordsError
from wardexam.records.durable_files import (
    append_at,
    open_regular,
    read_bounded,
    reason,
    write_whole,
)
from wardexam.records.locks import take
from wardexam.records.paths import DRAFT
from wardexam.records.repository import DraftInfo
from wardexam.records.stored_record import strict_loads

if TYPE_CHECKING:
    from pydantic import BaseModel

    from wardexam.exam.examination import Examination
    from wardexam.injury.kept import KeptSheet

    Held = TypeVar("Held", bound=BaseModel)

LONGEST = 8_000_000  # bytes
OPEN = "the draft is open in another session"


@dataclass(frozen=True, slots=True)
class Kind:
    """What a draft is a draft of.

    Attributes:
        ending: How the name of its file ends.
        holds: What its first line calls it.
    """

    ending: str
    holds: str


EXAMINATION = Kind(DRAFT, "examination")
INJURY = Kind("sheet", "injury")
KINDS = (EXAMINATION, INJURY)


def hold(path: Path, seconds: float = 0.2) -> int:
    """A handle that holds the draft for this session until it is closed or its process dies.

    It waits a little for the moment in which another session only looks whether it is held.

    Raises:
        OSError: It cannot be opened; EBUSY while another session writes it.
    """
    handle = open_regular(path, os.O_RDONLY)
    try:
        take(handle, seconds)
    except TimeoutError:
        os.close(handle)
        raise OSError(errno.EBUSY, OPEN) from None
    except OSError:
        pass  # no locks here: the draft is written all the same; saving says what is wrong
    return handle


def is_held(path: Path) -> bool:
    """Whether a living session writes a draft."""
    try:
        os.close(hold(path, 0))
    except OSError as error:
        return error.errno == errno.EBUSY
    return False


def move_aside(path: Path) -> None:
    """Move the file of a draft, if it is there, under ``aside`` beside it; what was set aside before stays.

    Raises:
        RecordsError: It cannot be moved.
    """
    if not path.exists():
        return
    place = path.parent / "aside"
    target = place / path.name
    try:
        place.mkdir(0o700, exist_ok=True)
        while os.path.lexists(target):
            target = place / f"{path.name}.{os.urandom(4).hex()}"
        path.rename(target)
    except OSError as error:
        raise RecordsError(f"cannot be set aside: {reason(error)}", str(path)) from None


def whole_rows(path: Path) -> list[bytes]:
    """The whole lines of a draft, each with its end; a torn last line is the key in flight."""
    try:
        data = read_bounded(path, LONGEST)
    except OSError as error:
        raise RecordsError(f"cannot be read: {reason(error)}", where=str(path)) from None
    if len(data) > LONGEST:
        raise RecordsError(f"the draft is longer than {LONGEST} bytes", where=str(path))
    return data[: data.rfind(b"\n") + 1].splitlines(keepends=True)


_CRC = re.compile(rb'\{"crc": "([0-9a-f]{8})", ')


def line_of(row: dict[str, Any]) -> bytes:
    """A line of a draft, with its end."""
    rest = json.dumps(row).encode()[1:] + b"\n"
    return b'{"crc": "%08x", %b' % (zlib.crc32(rest), rest)


def _whole(row: bytes) -> bool:
    """Whether a line is as it was written, as far as it says how that was."""
    said = _CRC.match(row)
    return said is None or said[1] == b"%08x" % zlib.crc32(row[said.end() :])


def read_rows(rows: list[bytes], path: Path) -> list[dict[str, Any]]:
    """The rows as `line_of` was given them.

    Raises:
        RecordsError: There is none, or one is not as it was written.
    """
    found = []
    for number, row in enumerate(rows, 1):
        try:
            line = strict_loads(row) if _whole(row) else None
        except ValueError:
            line = None
        if not isinstance(line, dict):
            raise RecordsError(f"line {number} of the draft is damaged", where=str(path))
        line.pop("crc", None)
        found.append(line)
    if not found:
        raise RecordsError("the draft is empty", where=str(path))
    return found


_PATIENT = re.compile(rb'"patient": "([a-z0-9]{8,40})"')


def draft_infos(*folders: Path, kind: Kind = EXAMINATION) -> tuple[DraftInfo, ...]:
    """The drafts of a kind in the folders, oldest first; one that cannot be read says why.

    A draft in two folders is given once, as the one with more keys that can be read.
    """
    found: dict[str, DraftInfo] = {}
    for path in (p for folder in folders for p in sorted(folder.glob(f"*.{kind.ending}"))):
        made = _info(path, kind)
        if made is None:
            continue
        other = found.get(path.stem, made)
        better = max(made, other, key=lambda info: (not info.trouble, info.keys))
        found[path.stem] = replace(better, held=made.held or other.held)
    return tuple(sorted(found.values(), key=lambda d: d.last))


def _info(path: Path, kind: Kind) -> DraftInfo | None:
    """What is known of a draft; None where it is gone meanwhile."""
    try:
        last = path.stat().st_mtime
    except OSError:
        return None
    rows: list[bytes] = []
    try:
        rows = whole_rows(path)
        head = read_rows(rows[:1], path)[0]
        return DraftInfo(
            path.stem, str(head[kind.holds]["patient"]), str(head["by"]), str(head[kind.holds]["at"]),
            last, len(rows) - 1, is_held(path),
        )  # fmt: skip
    except (RecordsError, OSError, LookupError, TypeError) as error:
        if not path.exists():
            return None
        why = (
            str(error) if isinstance(error, RecordsError) else f"{path}: its first line is damaged"
        )
        named = _PATIENT.search(rows[0]) if rows else None
        return DraftInfo(
            path.stem, named[1].decode() if named else "", "unknown", "", last, max(0, len(rows) - 1),
            is_held(path), why,
        )  # fmt: skip


def rows_of(here: Path, there: Path) -> tuple[list[bytes], Path]:
    """The lines of a draft and their file: of two copies, the one with more."""
    both = [(whole_rows(path), path) for path in (here, there) if path.exists()]
    if not both:
        raise RecordsError("there is no such draft", where=here.stem)
    return max(both, key=lambda found: len(found[0]))


def replay(rows: list[bytes], path: Path) -> "Examination":
    """The examination as far as the lines of a draft go.

    Raises:
        RecordsError: A whole line cannot be read or accepted.
    """
    from wardexam.exam.entry import Change, apply
    from wardexam.exam.examination import Examination

    def changed(examination: Examination, line: dict[str, Any]) -> Examination:
        return apply(examination, Change.from_json(line))

    return _replayed(rows, path, EXAMINATION, Examination, changed)


def replay_sheet(rows: list[bytes], path: Path) -> "KeptSheet":
    """The cord injury sheet as far as the lines of a draft go.

    Raises:
        RecordsError: A whole line cannot be read or accepted.
    """
    from wardexam.injury.entry import SheetChange, apply
    from wardexam.injury.kept import KeptSheet

    def changed(kept: KeptSheet, line: dict[str, Any]) -> KeptSheet:
        sheet = apply(kept.sheet, SheetChange.from_json(line))
        return kept.model_copy(update={"sheet": sheet})

    return _replayed(rows, path, INJURY, KeptSheet, changed)


def _replayed(
    rows: list[bytes], path: Path, kind: Kind, model: "type[Held]", changed: "Callable[[Held, dict[str, Any]], Held]"
) -> "Held":  # fmt: skip
    from pydantic import ValidationError

    from wardexam.exam.entry import first_fault

    lines = read_rows(rows, path)
    number = 1
    try:
        held = model.model_validate(lines[0][kind.holds])
        for line in lines[1:]:
            number += 1
            held = changed(held, line)
    except ValidationError as error:
        raise RecordsError(f"the draft is damaged: {first_fault(error)}", where=str(path)) from None
    except (InputError, KeyError, TypeError, AttributeError) as error:
        raise RecordsError(
            f"line {number} of the draft is damaged: {error}", where=str(path)
        ) from None
    return held


class FilePlace:
    """A draft's file: how much of the draft is in it, and whether this session holds it.

    Args:
        path: The file.
        mode: Its permissions.
        staging: Where it is written until it is whole.
    """

    renew: float | None = None

    def __init__(self, path: Path, mode: int, staging: Path) -> None:
        self.path, self.mode, self.staging = path, mode, staging
        self._held = -1
        self._count = self._size = 0

    @property
    def filled(self) -> bool:
        """Whether anything was brought here."""
        return self._count > 0

    def stands(self, rows: Sequence[bytes]) -> None:
        """The file holds these rows already."""
        self._count, self._size = len(rows), sum(map(len, rows))

    def bring(self, rows: Sequence[bytes]) -> None:
        """Bring the file up to all rows, flushed and held.

        Raises:
            OSError: It could not be done; the next attempt begins where the last good one ended.
        """
        if not self.path.exists():
            self.path.parent.mkdir(0o700, parents=True, exist_ok=True)
            write_whole(self.path, rows, self.mode, self.staging)
            self.stands(rows)
            self.hold()
            return
        self.hold()
        handle = open_regular(self.path, os.O_WRONLY | os.O_APPEND)
        try:
            if os.fstat(handle).st_size < self._size:  # cut by someone
                self._count = self._size = 0
            data = b"".join(rows[self._count :])
            append_at(handle, self._size, data)
            os.fdatasync(handle)
        finally:
            os.close(handle)
        self._count, self._size = len(rows), self._size + len(data)
        self.hold()

    def hold(self) -> None:
        """Hold the file that lies at the path now."""
        if self._held >= 0:
            if os.path.samestat(os.fstat(self._held), os.stat(self.path)):
                return
            self.let_go()
        self._held = hold(self.path)
        self._show()

    def let_go(self) -> None:
        """Hold it no longer."""
        if self._held >= 0:
            held, self._held = self._held, -1
            os.close(held)
            self._show()

    def _show(self) -> None:
        """Have who watches the ward look again: a hold by itself changes nothing that can be seen."""
        with suppress(OSError):
            os.utime(self.path.parent)

    def remove(self) -> None:
        """Take the file away, if it is there."""
        with suppress(OSError):
            os.unlink(self.path)
        self.let_go()
        self._count = self._size = 0
