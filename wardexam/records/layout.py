"""The folder of a ward: what lies where, who may read it, what an earlier version left.

- ``ward.json``: the layout's version; written last, so that a folder with it is complete
- ``patients/``: a document file for each patient, the version before beside it as ``.before``
- ``drafts/``: examinations under way; set-aside ones under ``drafts/aside``
- ``index/``: the ward list, derived: ``current.jsonl`` and ``discharged.jsonl``
- ``locks/``: 64 lock files
- ``staging/``: files until they are whole
- ``audit.jsonl``: who did what
"""

import json
import os
import shutil
import stat
from contextlib import suppress
from pathlib import Path

from wardexam.errors import RecordsError
from wardexam.records.files import alive, reason, sync_folder, write_whole

LAYOUT = 2
FOLDERS = ("patients", "drafts", "drafts/aside", "index", "locks", "staging")
OF_LAYOUT_1 = ("index.jsonl", "index-discharged.jsonl", "audit.jsonl")


class Layout:
    """The places in a ward's folder.

    Args:
        folder: The ward's folder; made if it is not there.
        shared: Whether it belongs to a ward account and its group.

    Raises:
        RecordsError: The folder cannot be used, or others can write to it.
    """

    def __init__(self, folder: Path, *, shared: bool = False) -> None:
        self.folder = folder
        self.file_mode = 0o660 if shared else 0o600
        self.folder_mode = 0o2770 if shared else 0o700
        self._shared = shared
        try:
            if not folder.exists():
                folder.mkdir(0o700, parents=True)
                folder.chmod(self.folder_mode)
            self._safe(folder)
            above = folder.resolve().parent.stat().st_mode
            if above & stat.S_IWOTH and not above & stat.S_ISVTX:
                raise RecordsError(
                    "others can put another folder in its place",
                    where=str(folder),
                    remedy="choose another with --db",
                )
            version = self._version()
            if version == 1 or self._left_over():
                from wardexam.records import migrate

                migrate.put_away(self) if version == LAYOUT else migrate.migrate(self)
            self.make_folders()
            if version is None:
                self.mark()
            for name in FOLDERS:
                self._safe(folder / name)
        except OSError as error:
            raise RecordsError(
                f"cannot be used: {reason(error)}", str(folder), "choose another with --db"
            ) from None
        self.sweep()

    @property
    def patients(self) -> Path:
        """Where the patients' files lie."""
        return self.folder / "patients"

    @property
    def drafts(self) -> Path:
        """Where the drafts lie."""
        return self.folder / "drafts"

    @property
    def staging(self) -> Path:
        """Where files lie until they are whole."""
        return self.folder / "staging"

    def files(self) -> list[Path]:
        """The patients' files, by name."""
        return sorted(
            self.patients / e.name for e in os.scandir(self.patients) if e.name.endswith(".json")
        )

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
        """The layout that is there; None for a new folder."""
        try:
            version = json.loads((self.folder / "ward.json").read_bytes()[:4096])["layout"]
        except FileNotFoundError:
            names = {path.name for path in self.folder.iterdir()}
            if any(n.endswith((".json", ".draft")) or n in OF_LAYOUT_1 for n in names):
                return 1
            if names - {name.partition("/")[0] for name in FOLDERS}:
                raise RecordsError(
                    "holds other things and is no ward",
                    where=str(self.folder),
                    remedy="name a new folder with --db",
                ) from None
            return None
        except (ValueError, KeyError, TypeError):
            raise RecordsError(
                "the ward's mark is damaged",
                where=str(self.folder / "ward.json"),
                remedy=f'write {{"layout": {LAYOUT}}} into it',
            ) from None
        if version != LAYOUT:
            raise RecordsError(
                f"layout {version} is not known to this program; nothing was changed",
                where=str(self.folder),
                remedy="update wardexam",
            )
        return LAYOUT

    def _left_over(self) -> bool:
        """Whether files of layout 1 lie beside the present ones."""
        names = (path.name for path in self.folder.iterdir())
        return any(n.endswith((".json", ".draft")) and n != "ward.json" for n in names)

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
        write_whole(self.folder / "ward.json", [data], self.file_mode, self.staging)
        sync_folder(self.folder)

    def sweep(self) -> None:
        """Take away what sessions that have died left under way."""
        with suppress(OSError):
            for stray in os.scandir(self.staging):
                pid = stray.name.partition(".")[0]
                if not pid.isdecimal() or alive(int(pid)):
                    continue
                with suppress(OSError):
                    if stray.is_dir(follow_symlinks=False):
                        if not os.path.exists(os.path.join(stray.path, "complete")):
                            shutil.rmtree(stray.path)
                    else:
                        os.unlink(stray.path)
