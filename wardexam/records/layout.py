"""The folder of a ward: made, marked, held safe, and what an earlier version left in it.

Where in it everything lies stands in `wardexam.records.paths`.
"""

import json
import os
import re
import shutil
import stat
from contextlib import suppress
from pathlib import Path

from wardexam.errors import RecordsError
from wardexam.records.audit import kept_head
from wardexam.records.durable_files import alive, read_bounded, reason, sync_folder, write_whole
from wardexam.records.paths import FOLDERS, MARK, TRAIL, WardPaths, kept_trail

# 3 differs from 2 in nothing but that patients' files may have schema 4, which a program of layout 2 would
# call damaged and set aside when told to repair: it must refuse the whole folder.
LAYOUT = 3
DERIVED_1 = ("index.jsonl", "index-discharged.jsonl")  # the lists of layout 1
NAME = re.compile("[a-z0-9]{8,40}")  # what a patient's file may be called
COMPLETE = "complete"  # the mark in a folder under ``staging/`` that is whole


def modes(*, shared: bool) -> tuple[int, int]:
    """The permissions of a ward's files and of its folders."""
    return (0o660, 0o2770) if shared else (0o600, 0o700)


class Layout(WardPaths):
    """A ward's folder, ready to be used.

    Args:
        folder: The ward's folder; made if it is not there.
        shared: Whether it belongs to a ward account and its group.
        begin: Whether a ward is begun where none stands.

    Attributes:
        migrated: Whether files of an earlier layout were found.
        left: Files of an earlier layout that hold what the ward does not, and were left where they are.

    Raises:
        RecordsError: The folder cannot be used, others can write to it, or none stands there to read.
    """

    def __init__(self, folder: Path, *, shared: bool = False, begin: bool = True) -> None:
        super().__init__(folder)
        self.file_mode, self.folder_mode = modes(shared=shared)
        self._shared = shared
        self.left: list[str] = []
        self.migrated = False
        try:
            if not folder.exists():
                self._still_new(begin=begin)
                self._make(folder)
            self._safe(folder)
            self.still_here()
            above = folder.resolve().parent.stat().st_mode
            if above & stat.S_IWOTH and not above & stat.S_ISVTX:
                raise RecordsError(
                    "others can put another folder in its place",
                    where=str(folder),
                    remedy="choose another with --db",
                )
            version = self._version()
            if version == 1 or self._left_over():
                from wardexam.records import migration

                self.migrated = True
                self.left = migration.migrate(self) if version == 1 else migration.put_away(self)
            self._behind = version == 2
            with suppress(RecordsError):  # it can be read all the same
                self.raise_mark()
            if version is None:
                self._still_new(begin=begin)
            self.make_folders()
            if version is None:
                self.mark()
            for name in FOLDERS:
                self._safe(folder / name)
        except OSError as error:
            raise RecordsError(
                f"cannot be used: {reason(error)}", str(folder), "choose another with --db"
            ) from None

    def still_here(self) -> None:
        """Whether the ward is here still.

        Raises:
            RecordsError: It was moved; says where to.
        """
        try:
            found = read_bounded(self.moved_file, 4096)
        except FileNotFoundError:
            return
        except OSError:
            found = b""
        where = "elsewhere"
        with suppress(ValueError, KeyError, TypeError, RecursionError):
            where = f"to {json.loads(found)['to']}"
        raise RecordsError(
            f"the ward was moved {where}, and nobody goes on here",
            str(self.folder),
            "open it there; to go on here after all, remove the file 'moved'",
        )

    def _make(self, folder: Path) -> None:
        """Make a folder and those above it that are missing, whatever the umask."""
        missing = [p for p in (folder, *folder.parents) if not p.exists()]
        for place in reversed(missing):
            with suppress(FileExistsError):
                place.mkdir(0o700)
                place.chmod(self.folder_mode if place == folder else 0o700)

    def _still_new(self, *, begin: bool) -> None:
        """Refuse to begin a ward where this login knows one to have stood: its disk may be missing.

        Raises:
            RecordsError: A ward stood here, or none did and none is to be begun.
        """
        own = kept_trail(self.folder)
        if head := kept_head(own):
            raise RecordsError(
                f"a ward stood here, whose audit trail had {head.line} lines, and is not here now",
                where=str(self.folder),
                remedy=f"bring its disk or its backup back; to begin anew on purpose, remove {own}",
            )
        if not begin:
            raise RecordsError(
                "there is no ward here, and nothing was made",
                where=str(self.folder),
                remedy="name the ward's folder with --db; 'wardexam --db FOLDER' begins a new one",
            )

    def names(self) -> tuple[set[str], list[str]]:
        """The identifiers of the patients' files, and what else ends in ``.json`` beside them."""
        found, strays = set(), []
        for entry in os.scandir(self.patients):
            name, ending = os.path.splitext(entry.name)
            if ending == ".json":
                if NAME.fullmatch(name):
                    found.add(name)
                else:
                    strays.append(entry.name)
        return found, sorted(strays)

    def files(self) -> list[Path]:
        """The patients' files, by name."""
        return [self.file(name) for name in sorted(self.names()[0])]

    def _safe(self, folder: Path) -> None:
        found = folder.stat()
        mode = f"{self.folder_mode:o}"
        if not stat.S_ISDIR(found.st_mode):
            raise RecordsError("is not a folder", where=str(folder))
        if not self._shared and found.st_uid not in (os.geteuid(), 0) and os.geteuid() != 0:
            raise RecordsError(
                "belongs to another user",
                where=str(folder),
                remedy="say --shared if it is a ward account's",
            )
        if found.st_mode & (stat.S_IWOTH if self._shared else stat.S_IWOTH | stat.S_IWGRP):
            raise RecordsError(
                "others can write here",
                where=str(folder),
                remedy=f"chmod {mode} the folder, or say --shared if it is a ward account's",
            )

    def _version(self) -> int | None:
        """The layout that is there; None for a new folder.

        Raises:
            RecordsError: The folder is no ward, or one that this program must not touch.
        """
        try:
            version = json.loads(read_bounded(self.mark_file, 4096))["layout"]
        except FileNotFoundError:
            try:
                return self._unmarked()
            except RecordsError:
                if self.mark_file.exists():  # another session's first start
                    return self._version()
                raise
        except (ValueError, KeyError, TypeError, RecursionError):
            raise RecordsError(
                "the ward's mark is damaged",
                where=str(self.mark_file),
                remedy=f'write {{"layout": {LAYOUT}}} into it',
            ) from None
        if version not in (2, LAYOUT):
            raise RecordsError(
                f"layout {version} is not known to this program; nothing was changed",
                where=str(self.folder),
                remedy="update wardexam",
            )
        return int(version)

    def _unmarked(self) -> int | None:
        """What a folder without a mark is: 1 for the earlier layout, None for a new one."""
        names = {path.name for path in self.folder.iterdir()}
        inner = [self.folder / name for name in ("patients", "drafts", "index", "layout-1")]
        if any(n.endswith((".json", ".draft")) or n in DERIVED_1 for n in names):
            return 1
        if any(place.is_dir() and any(p.is_file() for p in place.iterdir()) for place in inner):
            raise RecordsError(
                "holds a ward, but its mark ward.json is missing; nothing was changed",
                where=str(self.folder),
                remedy=f"look that all is there, then 'wardexam check --repair' writes the mark, or write {{\"layout\": {LAYOUT}}} into ward.json",
            )
        if TRAIL in names:
            if "patients" not in names:
                return 1
            raise RecordsError(
                "holds an audit trail, but no patients and no mark ward.json; nothing was changed",
                where=str(self.folder),
                remedy="bring the patients back from a backup",
            )
        if names - {name.partition("/")[0] for name in FOLDERS}:
            raise RecordsError(
                "holds other things and is no ward",
                where=str(self.folder),
                remedy="name a new folder with --db",
            )
        return None

    def _left_over(self) -> bool:
        """Whether files of layout 1 lie beside the present ones."""
        names = (path.name for path in self.folder.iterdir())
        return any(n.endswith((".json", ".draft")) and n != MARK for n in names)

    def make_folders(self) -> None:
        """Make the folders that are missing."""
        for name in FOLDERS:
            place = self.folder / name
            with suppress(FileExistsError):
                place.mkdir(0o700)
                place.chmod(self.folder_mode)

    def mark(self) -> None:
        """Say that the folder is complete."""
        data = json.dumps({"layout": LAYOUT}).encode() + b"\n"
        write_whole(self.mark_file, [data], self.file_mode, self.staging)
        sync_folder(self.folder)

    def raise_mark(self) -> None:
        """Make a ward of layout 2 one of today's, before the first file of today's schema is in it.

        Raises:
            RecordsError: The mark could not be written; nothing was changed.
        """
        if not self._behind:
            return
        try:
            self.mark()
        except OSError as error:
            raise RecordsError(
                f"could not be saved: {reason(error)}", str(self.folder), "nothing was changed"
            ) from None
        self._behind = False

    def strays(self) -> list[Path]:
        """What sessions that have died left under way in ``staging/``, but for complete arrivals."""
        found = []
        with suppress(OSError):
            for entry in os.scandir(self.staging):
                pid = entry.name.partition(".")[0]
                if not pid.isdecimal() or alive(int(pid)):
                    continue
                if entry.is_dir(follow_symlinks=False) and os.path.exists(
                    os.path.join(entry.path, COMPLETE)
                ):
                    continue
                found.append(Path(entry.path))
        return found

    def sweep(self) -> None:
        """Take the strays away: a file that never took its place holds nothing that was said to be kept."""
        for stray in self.strays():
            with suppress(OSError):
                if stray.is_dir():
                    shutil.rmtree(stray)
                else:
                    stray.unlink()


def mark_again(folder: Path, *, shared: bool = False) -> bool:
    """Write the mark of a ward that has lost it, where its patients' files can be read; whether it was.

    Raises:
        RecordsError: The mark could not be written, or no patient's file can be read.
    """
    from wardexam.records.schemas import read_tables

    places = WardPaths(folder)
    if places.mark_file.exists() or not places.patients.is_dir():
        return False
    if not any(
        NAME.fullmatch(path.stem) and read_tables(path)
        for path in sorted(places.patients.glob("*.json"))
    ):
        raise RecordsError("no patient's file can be read here; no mark was written", str(folder))
    try:
        data = json.dumps({"layout": LAYOUT}).encode() + b"\n"
        write_whole(places.mark_file, [data], modes(shared=shared)[0], folder)
    except OSError as error:
        raise RecordsError(f"the mark cannot be written: {reason(error)}", str(folder)) from None
    return True
