"""What examinations say that were begun and are not saved, and what was told at admission of who was never examined: no alarm is missed for that."""

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING

from wardexam.errors import WardexamError
from wardexam.note.headline import of_admission, summarise
from wardexam.note.sentences import count_open
from wardexam.reasoning.rules.change import compare
from wardexam.reasoning.rules.standing import standing, still_open
from wardexam.reasoning.rules.stay import Stay
from wardexam.reasoning.rules.urgency import assess
from wardexam.records.repository import Bed, DraftInfo, Repository, Summary
from wardexam.records.whose import writer_of

if TYPE_CHECKING:
    from wardexam.reasoning.rules.wording import Wording


def said_by(ward: Repository, draft: DraftInfo, wording: "Wording") -> Summary | None:
    """The headline of a draft with what stands from before, as when it is saved; None where it cannot be read, or amends an examination entered in error.

    Of a patient whose record cannot be read it goes by its own findings and answers alone.
    """
    if draft.trouble:
        return None
    try:
        drafted = ward.drafted(draft.draft_id)
    except WardexamError:
        return None
    try:
        file = ward.file(draft.patient_id)
    except WardexamError:
        file = None
    if file and file.in_error(drafted.id):
        return None
    told = file.telling(drafted.id) if file else ()
    previous, stay = standing(told), Stay(told)
    change = compare(previous, drafted) if previous else None
    urgency = assess(drafted, previous, None, wording, own=True, still=still_open(told), stay=stay)
    return summarise(
        urgency, change, None, stay.slides(drafted, change), count_open(drafted, previous)
    )


def begun(ward: Repository, drafts: Iterable[DraftInfo], wording: "Wording") -> dict[str, Summary]:
    """What drafts say with what stands from before, by the draft's identifier, where they can be read."""
    said = {draft.draft_id: said_by(ward, draft, wording) for draft in drafts}
    return {name: summary for name, summary in said.items() if summary is not None}


def told(
    ward: Repository, beds: tuple[Bed, ...], drafts: Iterable[DraftInfo], wording: "Wording"
) -> tuple[Bed, ...]:
    """The lines of a list, each with what its gravest draft says, whoever writes it, and what was told at admission of who was never examined.

    Args:
        ward: Where they lie.
        beds: The lines.
        drafts: What was begun in the ward.
        wording: The hospital's own words for urgency, and which rules are switched off here.
    """
    listed = {b.patient_id for b in beds}
    whose = {d.draft_id: d for d in drafts if d.patient_id in listed}
    said = dict[str, Summary]()
    for name, summary in begun(ward, whose.values(), wording).items():
        patient = whose[name].patient_id
        said[patient] = max(said.get(patient, summary), summary, key=lambda s: (s.urgency, s.worse))
    open_now = {d.patient_id: writer_of(ward, d) for d in whose.values() if d.held}
    return tuple(
        replace(
            b,
            draft=said.get(b.patient_id),
            told=None if b.last_at else at_admission(ward, b, wording),
            writing=open_now.get(b.patient_id, ""),
        )
        for b in beds
    )


def at_admission(ward: Repository, bed: Bed, wording: "Wording") -> Summary | None:
    """What was told at admission of who was never examined, with the limits that run since; None where it raises nothing.

    Of a record that cannot be read no admission is known: then none runs.
    """
    said = of_admission(bed.reason, bed.age, bed.sex, wording)
    if said is None:
        return None
    with suppress(WardexamError):
        admitted = ward.patient(bed.patient_id).admitted
        return of_admission(bed.reason, bed.age, bed.sex, wording, admitted)
    return said
