"""Which patient a command means: by identifier, by the hospital's number, or by the bed."""

from typing import TYPE_CHECKING

from wardexam.errors import InputError, WardexamError
from wardexam.exam.identity import read_number

if TYPE_CHECKING:
    from collections.abc import Iterator

    from wardexam.records.repository import Bed, Repository


def identifier(ward: "Repository", given: str) -> str:
    """The identifier of the one patient who is meant; what was given where nobody is found by it.

    An identifier is taken as it is. A bed means who lies in it now; a number means anybody of the
    ward, discharged patients after those who are in it.

    Raises:
        InputError: Several patients are meant; names their identifiers and beds, and no name.
    """
    here, gone = ward.beds(), ward.beds(discharged=True)
    if any(given == bed.patient_id for bed in (*here, *gone)):
        return given
    wanted = _form(given)
    for found in (
        {bed.patient_id: bed for bed in here if _form(bed.bed) == wanted}
        | dict(_numbered(ward, here, wanted)),
        dict(_numbered(ward, gone, wanted)),
    ):
        if len(found) > 1:
            those = ", ".join(f"{one} in bed {bed.bed}" for one, bed in found.items())
            raise InputError(
                f"{len(found)} patients have this number or bed", given, f"give one of {those}"
            )
        if found:
            return next(iter(found))
    return given


def _form(text: str) -> str:
    """A number or bed as it is compared: without regard to case and blanks."""
    try:
        return "".join(read_number(text).split()).casefold()
    except InputError:
        return text.casefold()


def _numbered(
    ward: "Repository", beds: "tuple[Bed, ...]", wanted: str
) -> "Iterator[tuple[str, Bed]]":
    """Those with this number; a record that cannot be read has none."""
    for bed in beds:
        try:
            number = ward.patient(bed.patient_id).number
        except WardexamError:
            continue
        if number and _form(number) == wanted:
            yield bed.patient_id, bed
