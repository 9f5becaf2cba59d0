from datetime import UTC, date, datetime, timedelta

import pytest

from wardexam.exam.acts import Act, Raised
from wardexam.exam.examination import Context, Examination, Patient
from wardexam.exam.findings import Finding, RestNormal
from wardexam.exam.kept_reading import KeptReading, KeptSite
from wardexam.exam.outcome import Outcome
from wardexam.injury.kept import KeptSheet
from wardexam.injury.sheet import InjurySheet
from wardexam.records.paths import copy_demo
from wardexam.records.ward import open_ward

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
LATER = AT + timedelta(hours=3)
# What stands nowhere but in what the tool suggested.
SUGGESTED = ("brachial_plexus.tool", "alarm-of-the-tool", "tables-of-the-tool")


@pytest.fixture
def folder(tmp_path):
    return copy_demo(tmp_path / "demo")


@pytest.fixture
def demo(folder):
    return open_ward(folder)


@pytest.fixture
def empty(tmp_path):
    return open_ward(tmp_path / "empty")


@pytest.fixture
def patient():
    return Patient(
        id="patient1", bed="A1", name="Ana Ïnvented", number="H 12/3", born=date(1961, 2, 3), age=65, sex="female",
        recheck_hours=4, admitted=AT, remark="weak leg, since Monday",
    )  # fmt: skip


@pytest.fixture
def examination():
    """One of everything that an examination holds, and what the tool suggested of it."""
    return Examination(
        id="exam0001", patient="patient1", examiner="Dr Ash", at=AT, scale="ninds",
        context=Context(age=65, sex="female", onset="days", complaint="weak_leg", complaint_side="right", trauma="no"),
        findings=[
            Finding(sign="knee", side="right", answer="1", scale="ninds", qualities=["reinforced"], comment="after a rest"),
            Finding(sign="ankle", side="left", not_testable="cast"),
            Finding(sign="pin_L4", side="right", answer="reduced", known="letter of 2024"),
            Finding(sign="post_void_residual", side="midline", answer="measured", amount=350),
            Finding(sign="level_pin", side="right", answer="T4"),
        ],
        rest_normal=[RestNormal(part="power", limb="left leg", by="Dr Ash", at=AT), RestNormal(part="power", limb="left arm")],
        flags={"bladder_bowel": "yes", "cancer": "no"},
        acts=[
            Act(rule="cauda_equina", kind="asked", what="MRI lumbosacral", by="Dr Ash", at=AT),
            Act(rule="cauda_equina", kind="not_needed", what="known since 2019", by="Dr Cole", at=AT, on=["knee right: 1"]),
        ],
        comment="in pain", impression="root, or cauda", entered_by=["Dr Cole"],
        raised=[Raised(rule="inferred_site", since=AT, level=3, text=SUGGESTED[1])],
        reading=KeptReading(
            sites=[KeptSite(id=SUGGESTED[0], site="plexus", side="right", chance=0.4)], program="1", tables=SUGGESTED[2]
        ),
    )  # fmt: skip


@pytest.fixture
def full(tmp_path, patient, examination):
    """A ward with a patient of whom everything is kept, each thing amended once, and one who has left."""
    ward = open_ward(tmp_path / "full")
    ward.admit(patient, "Dr Ash")
    saved = ward.save(examination, "Dr Bell")
    less = {"findings": saved.findings[1:], "rest_normal": saved.rest_normal[1:], "acts": saved.acts[1:]}  # fmt: skip
    ward.amend(saved.model_copy(update=less), "Dr Bell", "the other knee", LATER)
    sheet = InjurySheet(
        light_touch={"right": {"C2": "2", "C3": "1"}, "left": {"C2": "NT"}}, motor={"right": {"L2": "0*"}},
        anal_contraction="no", anal_pressure="NT", movements={"right": "none"}, earlier_deficit="yes", comment="at night",
        rated=[{"side": "right", "test": "motor", "segment": "L2", "counts": "normal", "why": "fracture"}],
    )  # fmt: skip
    kept = KeptSheet(id="sheet0001", patient="patient1", examiner="Dr Ash", at=AT, sheet=sheet)
    stored = ward.save_sheet(kept, "Dr Ash")
    amended = {"by": "Dr Cole", "at": LATER.isoformat(), "why": "again"}
    again = stored.model_dump(mode="json") | {"revision": 2, "amendment": amended}
    ward.save_sheet(KeptSheet.model_validate(again), "Dr Cole")
    first = Outcome(patient="patient1", imaged=AT, image="disc at L4/5", positive="yes", by="Dr Ray", at=LATER)  # fmt: skip
    ward.conclude(first, "Dr Ash")
    told = {"revision": 2, "site": "cauda", "side": "both", "diagnosis": "disc", "why": "read again"}  # fmt: skip
    ward.conclude(first.model_copy(update=told), "Dr Ash")
    gone = Patient(id="patient2", bed="A2", name="Bo Invented", admitted=AT)
    ward.admit(gone, "Dr Ash")
    ward.discharge(ward.patient("patient2"), LATER, "Dr Ash")
    ward.record("viewed", "patient1", "Dr Cole")
    return ward
