"""Who of a ward has a bed or a hospital's number, however it is typed; and that in words."""

import re
from collections.abc import Iterable, Iterator
from contextlib import suppress

from wardexam.errors import InputError, WardexamError
from wardexam.exam.identity import in_one_form
from wardexam.exam.text import clean, plain_letters
from wardexam.records.repository import Bed, DraftInfo, Repository


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


def with_part_of_number(ward: Repository, beds: Iterable[Bed], part: str) -> frozenset[str]:
    """Who of these has a number with these digits in it; nobody where there are none in `part`."""
    wanted = compared(part)
    if not any(map(str.isdecimal, wanted)):
        return frozenset()
    found = set()
    for bed in beds:
        with suppress(WardexamError):  # a record that cannot be read has no number
            if wanted in compared(ward.patient(bed.patient_id).number):
                found.add(bed.patient_id)
    return frozenset(found)


def _words(name: str) -> frozenset[str]:
    return frozenset(re.findall(r"[^\W_]+", plain_letters(name)))


def _alike(one: frozenset[str], other: frozenset[str]) -> bool:
    """Whether one name holds all the words of the other, and both have some."""
    return bool(one and other) and (one <= other or other <= one)


def _listed(ward: Repository, *, discharged: bool = False) -> tuple[Bed, ...]:
    """The list; empty where it cannot be read."""
    try:
        return ward.beds(discharged=discharged)
    except WardexamError:
        return ()


def namesakes(beds: Iterable[Bed]) -> dict[str, Bed]:
    """Those who have another of the same name beside them, each with that other: one name holds all the words of the other."""
    listed = [(bed, words) for bed in beds if (words := _words(bed.name))]
    having: dict[str, list[tuple[Bed, frozenset[str]]]] = {}
    for row in listed:
        for word in row[1]:
            having.setdefault(word, []).append(row)
    found: dict[str, Bed] = {}
    for bed, words in listed:
        for other, theirs in (row for word in words for row in having[word]):
            if other is not bed and _alike(words, theirs):
                found[bed.patient_id] = other
                break
    return found


def namesake(ward: Repository, name: str, but: str = "") -> Bed | None:
    """Who lies in the ward under the same name; None where nobody does, or the list cannot be read."""
    words = _words(name)
    others = (bed for bed in _listed(ward) if bed.patient_id != but)
    return next((bed for bed in others if _alike(words, _words(bed.name))), None)


def name_words(other: Bed) -> str:
    """That another patient has the name, or part of it."""
    return f"{clean(other.bed)} is {clean(other.name)} too: number or birth date tells them apart"


def writer_of(ward: Repository, draft: DraftInfo) -> str:
    """Who enters what is not saved yet: who resumed it last, else who began it; the latter where no more can be read."""
    try:
        drafted = ward.drafted(draft.draft_id)
    except WardexamError:
        return draft.by
    return (drafted.examiner, *drafted.entered_by)[-1]


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
    others = [bed for bed in _listed(ward) if bed.patient_id != but]
    if field == "bed":
        return next((bed for bed in others if compared(bed.bed) == wanted), None)
    return next((bed for _, bed in numbered(ward, others, wanted)), None)


def stayed_before(ward: Repository, name: str, number: str) -> Bed | None:
    """Who of the discharged has this name and number; None where nobody does, or the list cannot be read."""
    wanted = compared(number)
    if not wanted:
        return None
    listed = _listed(ward, discharged=True)
    found = [b for b in listed if compared(b.name) == compared(name)]
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
