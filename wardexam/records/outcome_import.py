"""Outcomes of many patients at once, all or none: written aside first, then recorded one by one.

A crash before the mark ``complete`` leaves nothing of them; after it, the next start records the rest.
"""

import os
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from wardexam.errors import RecordsError, WardexamError
from wardexam.records.bulk_import import BY
from wardexam.records.durable_files import read_bounded, reason, sync_folder, write_new, write_whole
from wardexam.records.layout import COMPLETE, Layout
from wardexam.records.repository import ConcludedMeanwhileError
from wardexam.records.schemas import LONGEST
from wardexam.records.stored_record import REMEDY, DamagedFileError

if TYPE_CHECKING:
    from wardexam.exam.outcome import Outcome

LINES = "outcomes.jsonl"


def stage(layout: Layout, outcomes: "Sequence[Outcome]", by: str) -> Path:
    """Write outcomes aside, flushed and marked complete; gives the folder.

    Raises:
        RecordsError: It could not be written; nothing was recorded.
    """
    folder = layout.staging / f"{os.getpid()}.{os.urandom(6).hex()}.outcomes"
    try:
        folder.mkdir(0o700)
        write_new(folder / LINES, map(_line_of, outcomes), layout.file_mode)
        write_new(folder / BY, [by.encode()], layout.file_mode)
        sync_folder(folder)
        write_new(folder / COMPLETE, [], layout.file_mode)
        sync_folder(folder)
    except BaseException as error:
        shutil.rmtree(folder, ignore_errors=True)
        if isinstance(error, OSError):
            raise RecordsError(
                f"nothing was recorded: {reason(error)}", str(layout.folder), "give the file again"
            ) from None
        raise
    return folder


def left_over(layout: Layout) -> list[Path]:
    """Complete folders that are not recorded yet: by a session at work, or by one that has ended."""
    return [path for path in layout.staging.glob("*.outcomes") if (path / COMPLETE).exists()]


def settle(
    folder: Path,
    conclude: "Callable[[Outcome, str], Outcome]",
    progress: Callable[[int], None] | None = None,
) -> int:
    """Record every outcome of a complete folder; gives how many.

    One whose patient has another by now is recorded as a further revision: both stay. One that cannot be
    recorded, as where the patient's file is gone, stays in the folder; the others are recorded.

    Args:
        folder: Where they lie.
        conclude: Records one, by whom.
        progress: Told how many are recorded.

    Raises:
        RecordsError: It could not be finished; the next start does it.
    """
    from wardexam.exam.outcome import Outcome

    try:
        by = read_bounded(folder / BY, 1000).decode("utf-8", "replace")
        data = read_bounded(folder / LINES, LONGEST)
        outcomes = [Outcome.model_validate_json(line) for line in data.splitlines()]
    except (OSError, ValueError):
        raise DamagedFileError("outcomes under way cannot be read", str(folder), REMEDY) from None
    left: list[Outcome] = []
    why = ""
    try:
        for number, outcome in enumerate(outcomes, 1):
            try:
                _record(outcome, by, conclude)
            except WardexamError as error:
                left.append(outcome)
                why = why or error.what
            if progress:
                progress(number - len(left))
        if not left:
            (folder / COMPLETE).unlink()
            shutil.rmtree(folder, ignore_errors=True)
        elif len(left) < len(outcomes):  # what is recorded is not recorded again
            mode = (folder / LINES).stat().st_mode & 0o777
            write_whole(folder / LINES, map(_line_of, left), mode, folder)
    except OSError as error:
        why = reason(error)
    if left or why:
        whose = f", the first of patient {left[0].patient}" if left else ""
        raise RecordsError(
            f"not all outcomes are recorded yet{whose}: {why}",
            where=str(folder),
            remedy="opening the ward again completes it; 'wardexam check' says what hinders",
        )
    return len(outcomes)


def _record(outcome: "Outcome", by: str, conclude: "Callable[[Outcome, str], Outcome]") -> None:
    """Record one, as a further revision where another came meanwhile."""
    try:
        conclude(outcome, by)
    except ConcludedMeanwhileError as error:
        last = error.stored.revision if error.stored else 0
        conclude(outcome.model_copy(update={"revision": last + 1}), by)


def _line_of(outcome: "Outcome") -> bytes:
    """An outcome as it lies in the folder."""
    return outcome.model_dump_json().encode() + b"\n"
