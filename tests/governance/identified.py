"""A ward in which every text that could name somebody is one that is known, so that it can be looked for."""

import re
from datetime import UTC, date, datetime, timedelta

from tests.examinations import examined
from wardexam.exam.acts import Act
from wardexam.exam.examination import Patient
from wardexam.exam.findings import RestNormal
from wardexam.exam.kept_reading import KeptReading, KeptSite
from wardexam.exam.outcome import Outcome
from wardexam.injury.kept import KeptSheet
from wardexam.injury.typed import read_typed
from wardexam.note.handover import headline_of
from wardexam.reasoning.rules.raised import recorded
from wardexam.reasoning.rules.urgency import assess

AT = datetime(2026, 3, 2, 8, 15, tzinfo=UTC)
OTTO = Patient(
    id="patient1", bed="SECRETBED1", name="Secretname Otto", number="SECRET-40-3317", born=date(1932, 5, 17),
    age=93, sex="male", admitted=AT - timedelta(hours=5), remark="SECRETREMARK since Monday",
)  # fmt: skip
ANA = Patient(
    id="patient2", bed="SECRETBED2", name="Secretname Ana", number="SECRET-2", age=40, sex="female",
    admitted=AT, discharged=AT + timedelta(days=3),
)  # fmt: skip
READING = KeptReading(
    sites=(KeptSite(id="cauda", site="cauda", side="midline", chance=0.61), KeptSite(id="root.left", site="root", side="left", chance=0.2)),
    program="0.0.9", tables="f" * 32,
)  # fmt: skip
# Whatever of this leaves names somebody.
SECRETS = ("secret", "1932", "17 may", "patient1", "patient2", "exam000", "dr ash", "dr bex")


def without_hashes(text):
    """A text in small letters without its hashes and random identifiers, which hold any four digits by chance."""
    return re.sub(r"\b(?=[0-9]*[a-f])[0-9a-f]{12,}\b", "", text.lower())


def visits():
    """Otto's two examinations, the first amended, with a free text in every field that takes one."""
    first = examined(
        "flag:saddle_numb=yes ankle 2/0 post_void_residual 1:320 pin_S1 2/1 onset=days pain=back",
        AT, id="exam0001", patient="patient1", examiner="Dr Ash SECRETDOCTOR",
    )  # fmt: skip
    findings = tuple(
        f.model_copy(update={"comment": "SECRETCOMMENT", "known": "SECRETKNOWN 2020" if n == 1 else ""})
        for n, f in enumerate(first.findings)
    )  # fmt: skip
    act = Act(rule="cauda_equina", kind="called", what="SECRETCALL", by="Dr Bex SECRET", at=AT + timedelta(minutes=20))  # fmt: skip
    first = first.model_copy(
        update={
            "findings": findings, "comment": "SECRETTEXT", "impression": "SECRETIMPRESSION",
            "suggestion": "SECRETSUGGESTION", "entered_by": ("Dr Bex SECRET",), "reading": READING, "acts": (act,),
            "rest_normal": (RestNormal(part="power", limb="right arm", by="Dr Ash SECRETDOCTOR", at=AT),),
        }
    )  # fmt: skip
    second = examined(
        "ankle 0/0 flag:saddle_numb=yes", AT + timedelta(hours=26), id="exam0002", patient="patient1",
        examiner="Dr Bex SECRET",
    )  # fmt: skip
    return [recorded(e, assess(e, None, None, own=True)) for e in (first, second)]


def fill(ward):
    """Put both patients into a ward, with all that can be kept of them."""
    for patient in (OTTO, ANA):
        ward.admit(patient.model_copy(update={"discharged": None}), "Dr Ash SECRETDOCTOR")
    first, second = visits()
    saved = ward.save(first, "Dr Ash SECRETDOCTOR", headline_of([first]))
    ward.amend(saved.model_copy(update={"comment": "SECRETTEXT more"}), "Dr Bex SECRET", "SECRETWHY", AT + timedelta(hours=1), headline_of([first]))  # fmt: skip
    ward.save(second, "Dr Bex SECRET", headline_of([second]))
    other = examined("knee 2/2", AT, id="exam0003", patient="patient2", examiner="Dr Ash SECRETDOCTOR")  # fmt: skip
    ward.save(other, "Dr Ash SECRETDOCTOR", headline_of([other]))
    sheet = read_typed("right light touch: 2 to T9, 1 to T12, 0\nvac no\ncomment: SECRETSHEET")
    ward.save_sheet(KeptSheet(id="sheet001", patient="patient1", examiner="Dr Ash SECRETDOCTOR", at=AT + timedelta(hours=2), sheet=sheet), "Dr Ash SECRETDOCTOR")  # fmt: skip
    ward.conclude(Outcome(patient="patient1", by="Dr SECRET", at=AT + timedelta(days=4), imaged=AT + timedelta(hours=3), image="SECRETIMAGE", positive="yes", site="cauda", side="midline", diagnosis="SECRETDIAGNOSIS"), "Dr Ash SECRETDOCTOR")  # fmt: skip
    ward.discharge(ward.patient("patient2"), ANA.discharged, "Dr Ash SECRETDOCTOR")
    return ward
