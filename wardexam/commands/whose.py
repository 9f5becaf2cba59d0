"""Which patient a command means: by identifier, by the hospital's number, or by the bed."""

from typing import TYPE_CHECKING

from wardexam.errors import InputError
from wardexam.records.whose import compared, numbered

if TYPE_CHECKING:
    from wardexam.records.repository import Repository


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
    wanted = compared(given)
    for found in (
        {bed.patient_id: bed for bed in here if compared(bed.bed) == wanted}
        | dict(numbered(ward, here, wanted)),
        dict(numbered(ward, gone, wanted)),
    ):
        if len(found) > 1:
            those = ", ".join(f"{one} in bed {bed.bed}" for one, bed in found.items())
            raise InputError(
                f"{len(found)} patients have this number or bed", given, f"give one of {those}"
            )
        if found:
            return next(iter(found))
    return given


def also_discharged(ward: "Repository", given: str) -> str:
    """As `identifier`, for what is asked of discharged patients too: these are not meant by the bed they lay in.

    Raises:
        InputError: Several patients are meant, or the bed is only that of a discharged one.
    """
    found = identifier(ward, given)
    if found == given:
        gone, wanted = ward.beds(discharged=True), compared(given)
        if all(bed.patient_id != given for bed in gone) and any(
            compared(bed.bed) == wanted for bed in gone
        ):
            raise InputError(
                "nobody lies in this bed", given, "'wardexam beds --discharged' lists who did"
            )
    return found
