"""Patients' files read for counting, each verified by its checksum (`wardexam.records.light_file`)."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from wardexam.errors import RecordsError
from wardexam.records.audit import LONGEST_LINE
from wardexam.records.durable_files import open_regular
from wardexam.records.light_file import Event, LightExamination, LightFile, event_of
from wardexam.records.patient_tables import first, records_of
from wardexam.records.schemas import read_tables
from wardexam.records.stored_record import GONE, REMEDY, DamagedFileError, Tables


@dataclass(frozen=True, slots=True)
class FileStay:
    """A stay in a folder's file."""

    path: Path

    @property
    def name(self) -> str:
        """Whose."""
        return self.path.stem

    def read(self) -> LightFile:
        """The patient's file."""
        return read_light(self.path)


def read_light(path: Path) -> LightFile:
    """A patient's file.

    Raises:
        RecordsError: It cannot be read, is damaged, or is of a newer program.
    """
    tables = read_tables(path)
    if tables is None:
        raise RecordsError(f"{GONE}: {path.name} is not there", where=str(path))
    return light_of(tables, str(path))


def light_of(tables: Tables, where: str) -> LightFile:
    """The same of tables that are read and verified.

    Raises:
        DamagedFileError: A record is not as this program writes it.
    """
    revisions: dict[str, list[LightExamination]] = {}
    try:
        for record in records_of(tables, "examinations"):
            made = LightExamination(record)
            revisions.setdefault(made.fields["id"], []).append(made)
        for each in revisions.values():
            each.sort(key=lambda e: int(e.fields["revision"]))
        # What was entered in error is in no figure.
        latest = tuple(each[-1] for each in revisions.values())
        counts = {e.fields["id"] for e in latest if not e.fields.get("in_error")}
        stay = latest if len(counts) < len(latest) else ()
        revisions = {name: each for name, each in revisions.items() if name in counts}
        outcomes = [dict(record) for record in records_of(tables, "outcomes")]
        last = max(outcomes, key=lambda o: int(o["revision"]), default=None)
        patient = dict(first(tables, "patient"))
        if not isinstance(patient["id"], str):
            raise ValueError
    except (ValueError, KeyError, TypeError, AttributeError):
        raise DamagedFileError("a record cannot be read", where, REMEDY) from None
    return LightFile(patient, revisions, last, stay)


def trail_events(path: Path) -> Iterator[Event]:
    """The events of a trail in order; ends at a line that cannot be read, which `check` names.

    Raises:
        RecordsError: The trail cannot be opened.
    """
    import os

    try:
        handle = open_regular(path, os.O_RDONLY)
    except FileNotFoundError:
        return
    except OSError as error:
        raise RecordsError(f"the trail cannot be read: {error.strerror}", str(path)) from None
    with os.fdopen(handle, "rb") as file:
        number = 0
        while line := file.readline(LONGEST_LINE + 1):
            number += 1
            try:
                yield event_of(line, number)
            except (ValueError, KeyError, TypeError):
                return
