"""Make the demo ward anew: `python demo_db/make_demo.py [FOLDER]`.

The same seed gives the same bytes; a test holds the checked-in ward to that.
"""

import os
import random
import shutil
import string
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from scenario import ALL, REST, START, STAYS, Did  # type: ignore[import-not-found]  # stands beside this script

from wardexam.case import Case
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.raised import recorded
from wardexam.reasoning.rules.standing import standing

SEED = 20260302


def identifiers(seed: int) -> Iterator[str]:
    """Opaque identifiers, the same for the same seed."""
    source = random.Random(seed)
    while True:
        yield "".join(source.choices(string.ascii_lowercase + string.digits, k=16))


def acted(case: Case, did: tuple[Did, ...]) -> Examination:
    """The examination with what was done about its reasons, as it is saved."""
    for act in did:
        reasons = case.urgency(own=True).reasons
        rules = act.rules
        if act.rules in (ALL, REST):
            rules = tuple(r.rule for r in reasons if act.rules == ALL or not r.answered)
        made = case.acts(rules, act.kind, act.what, act.by, START + timedelta(hours=act.hours))
        acts = (*case.examination.acts, *made)
        case = replace(case, examination=case.examination.model_copy(update={"acts": acts}))
    return recorded(case.examination, case.urgency(own=True))


def documents(seed: int = SEED) -> Iterator[tuple[Patient, list[Examination]]]:
    """Every invented patient with the examinations, oldest first."""
    ids = identifiers(seed)
    for stay in STAYS:
        patient = Patient(
            id=next(ids),
            bed=stay.bed,
            name=stay.name,
            number=stay.number,
            born=stay.born,
            age=stay.age,
            sex=stay.sex,
            recheck_hours=stay.recheck,
            admitted=START,
            remark=stay.remark,
        )
        made: list[Examination] = []
        for visit in stay.visits:
            examination = Examination.of(
                read_line(visit.signs).spelled_out(),
                id=next(ids),
                patient=patient.id,
                examiner=visit.by,
                at=START + timedelta(hours=visit.hours),
            ).model_copy(update={"comment": visit.comment, "impression": visit.impression})
            made.append(acted(Case(patient, examination, standing(made), {}), visit.did))
        yield (
            patient,
            made,
        )


def make(folder: Path, seed: int = SEED) -> None:
    """Write the ward into an empty folder."""
    from wardexam.note.handover import headline_of
    from wardexam.records.audit import Audit
    from wardexam.records.repository import Arrival
    from wardexam.records.ward import open_ward

    ward = open_ward(folder)
    arrivals = []
    for stay, (patient, examinations) in zip(STAYS, documents(seed), strict=True):
        if stay.discharged is not None:
            left = START + timedelta(hours=stay.discharged)
            patient = Patient.model_validate(
                patient.model_dump(mode="json") | {"discharged": left.isoformat()}
            )
        arrivals.append(Arrival(patient, tuple(examinations), headline_of(examinations)))
    ward.take_in(arrivals, "demo")
    ward.rebuild_index()
    trail = folder / "audit.jsonl"
    trail.unlink()  # it names this login and this hour
    ward.audit = Audit(trail, 0o600, now=START.isoformat, by_login="demo")
    ward.take_over("demo", "invented patients")
    for name in ("drafts/aside", "drafts", "locks", "staging"):
        shutil.rmtree(folder / name)


if __name__ == "__main__":
    os.environ["XDG_STATE_HOME"] = tempfile.mkdtemp()  # nobody keeps the head of this trail
    here = Path(__file__).parent / "ward"
    if len(sys.argv) == 1:
        shutil.rmtree(here)
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else here)
