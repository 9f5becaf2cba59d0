"""The ward list and the list of discharged patients, kept by index and true to the files.

A save appends one row to one index. Before a patient changes lists, a row without details is put on
both and flushed, so that a crash between cannot make anybody invisible. A reader compares the mark
(checksum and size) in a current patient's row with the one that stands in the file, and looks at the
file where they differ. A file whose bytes are not those of its checksum is found by `verify`. At
every opening, and whenever the folder has changed, the lists are held against the files in it, both
ways. Whatever moves rows between the lists, or makes them anew, holds the lock ``lists``.
"""

from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import suppress
from pathlib import Path

from wardexam.errors import RecordsError
from wardexam.records.durable_files import reason
from wardexam.records.layout import NAME, Layout
from wardexam.records.locks import BusyError, Locks
from wardexam.records.patient_tables import row_of
from wardexam.records.repository import Bed
from wardexam.records.schemas import mark_in, read_tables
from wardexam.records.stored_record import GONE, REMEDY, DamagedFileError
from wardexam.records.ward_list_file import ListDamagedError, Row, WardListFile

_UNKNOWN: Row = {
    "bed": "?", "age": None, "sex": "unknown", "last_at": None, "last_by": "", "examinations": 0,
    "summary": None, "recheck_hours": None, "discharged": None, "mark": "",
}  # fmt: skip


_MALFORMED = (KeyError, TypeError, ValueError, AttributeError)
Signature = tuple[int, int, int]  # when a file was changed, its size, its inode


def _bed(row: Row, trouble: str = "") -> Bed:
    return Bed.from_json({k: v for k, v in row.items() if k != "mark"}, trouble=trouble)


def _signature(path: Path) -> Signature | None:
    try:
        found = path.stat(follow_symlinks=False)
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino


class WardLists:
    """Both lists of a ward.

    Args:
        layout: The ward's folder.
        locks: Its locks.
        known: Gives every patient of whom something else than the lists knows.

    Attributes:
        trouble: What is wrong with a file or an index, in one line; empty when nothing is.
        strays: Files that lie among the patients' and are nobody's, by name.
    """

    def __init__(
        self, layout: Layout, locks: Locks, known: Callable[[], Collection[str]] = tuple
    ) -> None:
        self._layout, self._locks, self.trouble = layout, locks, ""
        self._known = known
        self.strays: list[str] = []
        self._index = {
            discharged: WardListFile(
                layout.ward_list(discharged=discharged), layout.file_mode, layout.staging
            )
            for discharged in (False, True)
        }
        self._unwritten: dict[bool, dict[str, Row]] = {}
        self._names: set[str] = set()
        self._compared: int | None = None  # when the folder was last changed, as compared
        self._verified: dict[
            str, tuple[Signature, str]
        ] = {}  # the fault of a file, empty when sound

    @property
    def paths(self) -> list[Path]:
        """The index files."""
        return [index.path for index in self._index.values()]

    @property
    def patience(self) -> float:
        """Seconds that an index waits for another session."""
        return self._index[False].patience

    @patience.setter
    def patience(self, seconds: float) -> None:
        for index in self._index.values():
            index.patience = seconds

    def announce(self, patient_ids: Iterable[str]) -> None:
        """Say on disk, before they change lists, that these patients' files must be looked at.

        To be called with the lock ``lists`` held until the rows are put.

        Raises:
            RecordsError: It could not be written; nothing was changed.
        """
        rows = [{"patient_id": p} for p in patient_ids]
        if not all(index.begun for index in self._index.values()):
            self._rebuild()
        try:
            for index in self._index.values():
                index.put(*rows, sync=True)
        except OSError as error:
            raise RecordsError(
                f"could not be saved: {reason(error)}",
                where=str(self._layout.folder),
                remedy="nothing was changed",
            ) from None

    def put(self, row: Row, *, moves: bool) -> None:
        """Bring the lists up to date; where that fails, the next reader sees it and does it.

        With `moves`, to be called with the lock ``lists`` held.
        """
        with suppress(OSError):
            self._index[bool(row["discharged"])].put(row)
            if moves:
                self._index[not row["discharged"]].drop(row["patient_id"])

    def look_at(self, patient_ids: Iterable[str]) -> None:
        """Bring many patients' rows up to date at once; with the lock ``lists`` held."""
        rows = []
        for patient_id in patient_ids:
            try:
                rows.append(self._row(self._layout.file(patient_id)))
            except RecordsError:
                rows.append({"patient_id": patient_id})
        if not rows:
            return
        with suppress(OSError):
            for discharged, index in self._index.items():
                index.put(*(
                    r if "mark" not in r or bool(r["discharged"]) == discharged else {"patient_id": r["patient_id"], "gone": True}
                    for r in rows
                ))  # fmt: skip

    def _row(self, path: Path) -> Row:
        """A patient's row, made from the file.

        Raises:
            RecordsError: The file cannot be read.
        """
        tables = read_tables(path)
        if tables is None:
            raise DamagedFileError(GONE, str(path), REMEDY)
        row = row_of(tables, mark_in(path), str(path))
        if row["patient_id"] != path.stem:
            raise DamagedFileError("the file speaks of another patient", str(path), REMEDY)
        return row

    # --- made anew

    def rebuild(self) -> list[str]:
        """Make both indexes anew from the patients' files; gives those that could not be read.

        Raises:
            BusyError: Another session changes the lists all the while.
        """
        with self._locks.held("lists"):
            return self._rebuild()

    def _rebuild(self) -> list[str]:
        made: dict[bool, dict[str, Row]] = {False: {}, True: {}}
        damaged = []
        kept = self.known_rows()
        for name in self._known():
            if "mark" not in kept.get(name, {}):
                kept[name] = {"patient_id": name, "mark": ""}
        for name in sorted({*self._layout.names()[0], *kept, *self._left_behind()}):
            try:
                row = self._row(self._layout.file(name))
            except RecordsError as error:
                row = kept.get(name, {"patient_id": name})
                if GONE in str(error) and "mark" not in row and name not in self._left_behind():
                    continue  # an admission that was never finished
                damaged.append(str(error))
            made[bool(row.get("discharged"))][name] = row
        self._unwritten = made
        try:
            for discharged, index in self._index.items():
                index.make_way()
                index.replace(made[discharged].values())
        except OSError as error:
            self.trouble = f"the ward list's index cannot be written: {reason(error)}"
        return damaged

    def forget(self, patient_id: str) -> None:
        """Make both indexes anew without a patient whose files are gone; with the lock ``lists`` held.

        Raises:
            OSError: An index cannot be written.
        """
        for index in self._index.values():
            with suppress(FileNotFoundError):
                index.drop(patient_id)
        self._verified.pop(patient_id, None)
        self._rebuild()

    def known_rows(self) -> dict[str, Row]:
        """The rows of both lists by patient, as far as they can be read."""
        rows: dict[str, Row] = {}
        for index in self._index.values():
            with suppress(ListDamagedError):
                for name, row in index.rows().items():
                    if "mark" in row or name not in rows:
                        rows[name] = row
        return rows

    def seen(self) -> set[str]:
        """Every patient of whom a row was made, or of whom only the version before is left."""
        return {n for n, row in self.known_rows().items() if "mark" in row} | self._left_behind()

    def _left_behind(self) -> set[str]:
        """Patients of whom only the version before is left."""
        names = (path.name.removesuffix(".json.before") for path in self._layout.patients.glob("*.json.before"))  # fmt: skip
        return {n for n in names if NAME.fullmatch(n) and not self._layout.file(n).exists()}

    def _kept(self, *, discharged: bool) -> dict[str, Row]:
        try:
            return self._of(discharged=discharged)
        except ListDamagedError:
            try:
                with self._locks.held("lists"):
                    try:
                        return self._of(
                            discharged=discharged
                        )  # another session has made it meanwhile
                    except ListDamagedError:
                        self._rebuild()
            except BusyError as error:
                self.trouble = error.line
                return self._scanned(discharged=discharged)
            except RecordsError as error:  # locks do not work here, or nothing can be written
                self.trouble = error.line
                return self._scanned(discharged=discharged)
        try:
            return self._of(discharged=discharged)
        except ListDamagedError:
            self.trouble = self.trouble or "the ward list's index cannot be read"
            return self._unwritten.get(discharged, {})

    def _of(self, *, discharged: bool) -> dict[str, Row]:
        """The rows of an index.

        Raises:
            ListDamagedError: It cannot be read, or it is the other list's: its rows would be on neither.
        """
        rows = self._index[discharged].rows()
        if any("mark" in r and bool(r.get("discharged")) != discharged for r in rows.values()):
            raise ListDamagedError
        return rows

    def _scanned(self, *, discharged: bool) -> dict[str, Row]:
        """The rows made from the files, where no index can be had."""
        rows: dict[str, Row] = {}
        for name in self._layout.names()[0]:
            try:
                rows[name] = self._row(self._layout.file(name))
            except RecordsError:
                rows[name] = {"patient_id": name}
        return {n: r for n, r in rows.items() if bool(r.get("discharged")) == discharged}

    # --- true to the folder

    def compare(self) -> None:
        """Hold the lists against the folder, where it has changed since: who is on none is put on one."""
        with suppress(OSError):
            changed = self._layout.patients.stat().st_mtime_ns
            if changed == self._compared:
                return
            names, self.strays = self._layout.names()
            self._names = names
            listed: set[str] = set()
            for discharged in (False, True):
                listed |= set(self._kept(discharged=discharged))
            missing = names - listed
            if missing:
                try:
                    with self._locks.held("lists"):
                        self.look_at(sorted(missing))
                except RecordsError as error:
                    self.trouble = error.line
                    return
            self._compared = changed

    def verify(self) -> bool:
        """Read every current patient's file that has changed since it was last verified.

        Gives whether a file was found damaged, or sound again, that the list said otherwise of.
        """
        told = False
        for name in self._kept(discharged=False):
            path = self._layout.file(name)
            signature = _signature(path)
            known = self._verified.get(name)
            if signature is None or (known and known[0] == signature):
                continue
            fault = ""
            try:
                self._row(path)
            except RecordsError as error:
                fault = str(error)
            told |= fault != (known[1] if known else "")
            self._verified[name] = signature, fault
        return told

    def beds(self, *, discharged: bool) -> Iterator[Bed]:
        """Every line of a list; one whose file cannot be read says so."""
        self.trouble = ""
        self.compare()
        if self.strays:
            more = f" and {len(self.strays) - 1} more" if len(self.strays) > 1 else ""
            self.trouble = (
                f"not a patient's file, passed over: {self.strays[0]}{more} (run 'wardexam check')"
            )
        for row in self._kept(discharged=discharged).values():
            bed = None
            path = self._layout.file(row["patient_id"])
            true = path.stem in self._names if discharged else row.get("mark") == mark_in(path)
            if row.get("mark") and true:
                verified = self._verified.get(row["patient_id"])
                fault = verified[1] if verified and verified[0] == _signature(path) else ""
                if fault:
                    self.trouble = fault
                with suppress(*_MALFORMED):
                    bed = _bed(row, trouble=fault)
            bed = bed or self._looked_at(row, path)
            if bed and bool(bed.discharged) == discharged:
                yield bed

    def _looked_at(self, row: Row, path: Path) -> Bed | None:
        """A line that is true of the file as it now lies; None where there is no patient."""
        try:
            fresh = self._row(path)
        except RecordsError as error:
            if not path.exists() and "mark" not in row and path.stem not in self._left_behind():
                return None  # an admission that was never finished
            self.trouble = error.line
            try:
                return _bed(row, trouble=str(error))
            except _MALFORMED:
                return _bed(
                    _UNKNOWN | {"patient_id": path.stem, "name": path.stem}, trouble=str(error)
                )
        with suppress(RecordsError), self._locks.held("lists", 0.05):
            fresh = self._row(path)
            self.put(fresh, moves=True)
        return _bed(fresh)
