"""The ward list and the list of discharged patients, kept by index and true to the files.

A save appends one row to one index. Before a patient changes lists, a row without details is put on
both and flushed, so that a crash between cannot make anybody invisible. A reader compares the
mark (checksum and size) in a current patient's row with the one that stands in the file, and looks at the file
where they differ; a discharged patient's row is believed.
"""

from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path

from wardexam.errors import RecordsError
from wardexam.records.documents import row_of
from wardexam.records.files import reason
from wardexam.records.index import Index, IndexDamagedError, Row
from wardexam.records.kept import REMEDY, DamagedFileError
from wardexam.records.layout import Layout
from wardexam.records.repository import Bed
from wardexam.records.schemas import mark_in, read_tables

_UNKNOWN: Row = {
    "bed": "?", "age": None, "sex": "unknown", "last_at": None, "last_by": "", "examinations": 0,
    "summary": None, "recheck_hours": None, "discharged": None, "mark": "",
}  # fmt: skip


_MALFORMED = (KeyError, TypeError, ValueError, AttributeError)


def _bed(row: Row, trouble: str = "") -> Bed:
    return Bed.from_json({k: v for k, v in row.items() if k != "mark"}, trouble=trouble)


class Lists:
    """Both lists of a ward.

    Attributes:
        trouble: What is wrong with a file or an index, in one line; empty when nothing is.
    """

    def __init__(self, layout: Layout) -> None:
        self._layout, self.trouble = layout, ""
        self._index = {
            discharged: Index(layout.folder / "index" / name, layout.file_mode, layout.staging)
            for discharged, name in ((False, "current.jsonl"), (True, "discharged.jsonl"))
        }
        self._unwritten: dict[bool, dict[str, Row]] = {}

    @property
    def paths(self) -> list[Path]:
        """The index files."""
        return [index.path for index in self._index.values()]

    def announce(self, patient_ids: Iterable[str]) -> None:
        """Say on disk, before they change lists, that these patients' files must be looked at.

        Raises:
            RecordsError: It could not be written; nothing was changed.
        """
        rows = [{"patient_id": p} for p in patient_ids]
        if not all(index.begun for index in self._index.values()):
            self.rebuild()
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
        """Bring the lists up to date; where that fails, the next reader sees it and does it."""
        with suppress(OSError):
            self._index[bool(row["discharged"])].put(row)
            if moves:
                self._index[not row["discharged"]].drop(row["patient_id"])

    def look_at(self, patient_ids: Iterable[str]) -> None:
        """Bring many patients' rows up to date at once."""
        rows = [self._row(self._layout.patients / f"{p}.json") for p in patient_ids]
        with suppress(OSError):
            for discharged, index in self._index.items():
                index.put(*(
                    r if bool(r["discharged"]) == discharged else {"patient_id": r["patient_id"], "gone": True}
                    for r in rows
                ))  # fmt: skip

    def _row(self, path: Path) -> Row:
        """A patient's row, made from the file.

        Raises:
            RecordsError: The file cannot be read.
        """
        row = row_of(read_tables(path) or {}, mark_in(path), str(path))
        if row["patient_id"] != path.stem:
            raise DamagedFileError("the file speaks of another patient", str(path), REMEDY)
        return row

    def rebuild(self) -> list[str]:
        """Make both indexes anew from the patients' files; gives those that could not be read."""
        made: dict[bool, dict[str, Row]] = {False: {}, True: {}}
        damaged = []
        for path in self._layout.files():
            try:
                row = self._row(path)
            except RecordsError as error:
                damaged.append(str(error))
                row = {"patient_id": path.stem}
            made[bool(row.get("discharged"))][path.stem] = row
        try:
            for discharged, index in self._index.items():
                index.replace(made[discharged].values())
        except OSError as error:
            self.trouble = f"the ward list's index cannot be written: {reason(error)}"
            self._unwritten = made
        return damaged

    def _kept(self, *, discharged: bool) -> dict[str, Row]:
        try:
            return self._index[discharged].rows()
        except IndexDamagedError:
            self.rebuild()
        try:
            return self._index[discharged].rows()
        except IndexDamagedError:
            return self._unwritten.get(discharged, {})

    def beds(self, *, discharged: bool) -> Iterator[Bed]:
        """Every line of a list; one whose file cannot be read says so."""
        self.trouble = ""
        for row in self._kept(discharged=discharged).values():
            bed = None
            path = self._layout.patients / f"{row['patient_id']}.json"
            if row.get("mark") and (discharged or row["mark"] == mark_in(path)):
                with suppress(*_MALFORMED):
                    bed = _bed(row)
            bed = bed or self._looked_at(row, path)
            if bed and bool(bed.discharged) == discharged:
                yield bed

    def _looked_at(self, row: Row, path: Path) -> Bed | None:
        """A line that is true of the file as it now lies; None where there is no patient."""
        try:
            fresh = self._row(path)
        except RecordsError as error:
            if not path.exists() and "mark" not in row:
                return None  # an admission that was never finished
            self.trouble = error.line
            try:
                return _bed(row, trouble=str(error))
            except _MALFORMED:
                return _bed(
                    _UNKNOWN | {"patient_id": path.stem, "name": path.stem}, trouble=str(error)
                )
        self.put(fresh, moves=True)
        return _bed(fresh)
