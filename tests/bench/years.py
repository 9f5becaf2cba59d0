"""An invented ward of any size: patients on it, and those discharged over years."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from demo_db.scenario import STAYS
from tests.examinations import examined
from wardexam.exam.examination import Examination, Patient
from wardexam.note.handover import headline_of
from wardexam.records.repository import Arrival
from wardexam.records.ward import Ward


def stays(
    number: int, now: datetime, *, discharged: bool
) -> Iterator[tuple[Patient, list[Examination]]]:
    """Invented patients with their examinations; those discharged left over the five years before."""
    kind = "gone" if discharged else "here"
    for n in range(number):
        stay = STAYS[n % len(STAYS)]
        days = 1 + n * 5 * 365 // max(1, number) if discharged else 0
        start = now - timedelta(days=days + 2)
        patient = Patient(
            id=f"{kind}{n:06}", bed=f"{'ABCD'[n % 4]}{n % 40 + 1}", name=f"{stay.name} {n}", age=stay.age,
            sex=stay.sex, recheck_hours=stay.recheck, admitted=start,
            discharged=now - timedelta(days=days) if discharged else None,
        )  # fmt: skip
        made = [
            examined(visit.signs, start + timedelta(hours=visit.hours % 40)).model_copy(
                update={"id": f"{kind}{n:06}{v}", "patient": patient.id, "examiner": visit.by}
            )
            for v, visit in enumerate(stay.visits)
        ]
        yield patient, sorted(made, key=lambda e: e.at)


def fill(ward: Ward, here: int, gone: int, now: datetime) -> None:
    """Put so many patients on the ward and among the discharged."""
    everyone = (*stays(gone, now, discharged=True), *stays(here, now, discharged=False))
    ward.take_in((Arrival(p, tuple(made), headline_of(made)) for p, made in everyone), "bench")
