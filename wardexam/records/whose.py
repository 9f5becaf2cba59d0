"""Who of a ward has a bed or a hospital's number, however it is typed; and that in words."""

from collections.abc import Iterable, Iterator

from wardexam.errors import InputError, WardexamError
from wardexam.exam.identity import in_one_form
from wardexam.exam.text import clean
from wardexam.records.repository import Bed, Repository


def compared(text: str) -> str:
    """A number or bed as it is compared: without regard to case and blanks."""
    try:
        return "".join(in_one_form(text).split()).casefold()
    except InputError:
        return text.casefold()


def numbered(ward: Repository, beds: Iterable[Bed], wanted: str) -> Iterator[tuple[str, Bed]]:
    """Those with this number, as it is compared; a record that cannot be read has none."""
    for bed in beds:
        try:
            number = ward.patient(bed.patient_id).number
        except WardexamError:
            continue
        if number and compared(number) == wanted:
            yield bed.patient_id, bed


def other_with(ward: Repository, field: str, text: str, but: str = "") -> Bed | None:
    """Who lies in the ward with this bed or number already; None where nobody does, or the list cannot be read.

    Args:
        ward: Where the ward is kept.
        field: ``bed`` or ``number``; no other detail is one patient's alone.
        text: It as typed.
        but: The patient who may have it.
    """
    wanted = compared(text)
    if field not in ("bed", "number") or not wanted:
        return None
    try:
        others = [bed for bed in ward.beds() if bed.patient_id != but]
    except WardexamError:
        return None
    if field == "bed":
        return next((bed for bed in others if compared(bed.bed) == wanted), None)
    return next((bed for _, bed in numbered(ward, others, wanted)), None)


def stayed_before(ward: Repository, name: str, number: str) -> Bed | None:
    """Who of the discharged has this name and number; None where nobody does, or the list cannot be read."""
    wanted = compared(number)
    if not wanted:
        return None
    try:
        found = [b for b in ward.beds(discharged=True) if compared(b.name) == compared(name)]
    except WardexamError:
        return None
    return next((bed for _, bed in numbered(ward, found, wanted)), None)


def number_words(number: str, other: Bed) -> str:
    """That a number is another patient's."""
    return f"{number} is {clean(other.name)}'s, in bed {clean(other.bed)}"


def bed_words(bed: str, other: Bed) -> str:
    """That another patient lies in a bed."""
    return f"{bed} is {clean(other.name)}'s already"


def stayed_words(before: Bed) -> str:
    """That a patient was here before, under the same number."""
    return f"{clean(before.name)} with this number was discharged from bed {clean(before.bed)}"
