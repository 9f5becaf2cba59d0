"""Who was discharged long ago, and what there is to say of a patient who is to be erased."""

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from wardexam.errors import InputError, RecordsError
from wardexam.exam.identity import day_words
from wardexam.exam.text import counted
from wardexam.records.whose import compared

if TYPE_CHECKING:
    from wardexam.records.light_file import Event
    from wardexam.records.repository import Bed, Repository

YEAR = 365.25  # days
WIDTH = 80  # columns
SHORTEST = 3  # letters of a word that may be anything
# What no erasure here can reach.
BEYOND = (
    "Not reached from here: backups, prints, what was pasted elsewhere, drafts that other logins keep in their "
    "own folders, and what the disk has not overwritten. An archive that still holds the patient is told at import."
)


def discharged_before(beds: "Iterable[Bed]", then: datetime) -> "tuple[Bed, ...]":
    """The discharged patients who left before a time, who left first before."""
    found = [b for b in beds if b.discharged and datetime.fromisoformat(b.discharged) < then]
    return tuple(
        sorted(found, key=lambda b: (datetime.fromisoformat(b.discharged or ""), b.patient_id))
    )


def line(bed: "Bed", now: datetime) -> str:
    """A discharged patient by the opaque identifier: since when, how long, how many examinations."""
    left = datetime.fromisoformat(bed.discharged or now.isoformat())
    days = (now - left).days
    span = f"{days / YEAR:.1f} years" if days >= YEAR else counted(days, "day")
    held = counted(bed.examinations, "examination")
    return f"{bed.patient_id}  discharged {left:%Y-%m-%d}, {span} ago, {held}"


@dataclass(frozen=True, slots=True)
class Identity:
    """What tells whether a patient is the one who is meant.

    Attributes:
        words: Who it is, as papers say it.
        kind: What has to be told again: ``the number``, ``the birth date``, ``the name`` or ``the identifier``.
        wanted: What it is.
        names: What names the patient: the words of the name, the number, the birth date.
    """

    words: str
    kind: str
    wanted: str
    names: tuple[str, ...] = ()


def identity_of(ward: "Repository", patient_id: str) -> Identity:
    """Who a patient is; of a record that cannot be read the identifier alone.

    Raises:
        InputError: There is no such patient.
    """
    try:
        patient = ward.patient(patient_id)
    except (InputError, RecordsError) as error:
        beds = (*ward.beds(), *ward.beds(discharged=True))
        if isinstance(error, InputError) and all(b.patient_id != patient_id for b in beds):
            raise
        return Identity(f"{patient_id}: the record cannot be read", "the identifier", patient_id)
    words = f"{patient.identity}, bed {patient.bed}"
    born = day_words(patient.born) if patient.born else ""
    names = (*patient.name.split(), patient.number, born)
    if patient.number:
        return Identity(words, "the number", patient.number, names)
    if born:
        return Identity(words, "the birth date", born, names)
    return Identity(words, "the name", patient.name, names)


def is_meant(identity: Identity, told: str) -> bool:
    """Whether what was told again is what the record says."""
    return compared(told) == compared(identity.wanted)


def names_in(why: str, identity: Identity) -> bool:
    """Whether a reason names the patient: the audit trail keeps it, and nothing there is ever erased."""
    said = compared(why)
    return any(part in said for part in map(compared, identity.names) if len(part) > SHORTEST)


def stored_words(ward: "Repository", patient_id: str) -> str:
    """How much is stored of a patient, in one line."""
    try:
        file = ward.file(patient_id)
    except (InputError, RecordsError):
        return "What is stored cannot be read."
    drafts = [d for d in (*ward.drafts(), *ward.sheet_drafts.infos()) if d.patient_id == patient_id]
    return "Stored: " + ", ".join((
        counted(len(file.with_errors), "examination"),
        counted(len({s.id for s in file.sheets}), "cord injury sheet"),
        counted(len(file.outcomes), "outcome"), counted(len(drafts), "draft"),
    )) + "."  # fmt: skip


def beyond_reach(events: "Iterable[Event]", patient_id: str) -> list[str]:
    """What left the ward with this patient in it, as far as the trail knows, and what cannot be reached; 80 columns."""
    own: list[str] = []
    ward: list[str] = []
    there = False
    for event in events:
        there = there or event.patient == patient_id
        if event.event == "exported" and event.patient == patient_id:
            own.append(event.at[:10])
        elif event.event == "exported" and event.patient == "ward" and there:
            ward.append(event.at[:10])
    said = [
        f"{what} {counted(len(days), 'time')} since, last on {days[-1]}"
        for what, days in (("this patient's papers were exported", own), ("the whole ward was exported", ward))
        if days
    ]  # fmt: skip
    text = f"By the audit trail {' and '.join(said)}." if said else ""
    return [piece for part in (text, BEYOND) if part for piece in textwrap.wrap(part, WIDTH)]
