"""What was found stands by itself; an examination adds who, when and of whom."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from pydantic import ValidationError

from tests.examinations import examined
from wardexam import ready
from wardexam.exam.examination import Examination, Findings
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.asymmetry import asymmetries
from wardexam.reasoning.rules.change import compare
from wardexam.reasoning.rules.standing import standing
from wardexam.reasoning.rules.sum_score import sum_score
from wardexam.reasoning.rules.urgency import assess

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
LINE = "knee 2/0 ankle 2/2 hip_flexion 4/5 flag:cancer=yes onset=days rest=reflexes:right_arm"


def test_a_question_needs_no_patient_no_examiner_and_no_time():
    found, asked = read_line(LINE).spelled_out(), examined(LINE, AT)
    assert not isinstance(found, Examination)
    before = read_line("knee 2/2 hip_flexion 5/5").spelled_out()
    assert ready.engine().read(found) == ready.engine().read(asked)
    untimed, timed = assess(found, before, None), assess(asked, before, None)
    assert all(r.since == AT and r.due for r in timed.reasons)
    assert untimed.reasons == tuple(replace(r, since=None, due=None) for r in timed.reasons)
    assert replace(untimed, reasons=(), within=()) == replace(timed, reasons=(), within=())
    assert compare(before, found) == compare(before, asked)
    assert asymmetries(found) == asymmetries(asked)
    assert sum_score(found) is None
    assert standing([before, found]).finding("hip_flexion", "right").answer == "4"


def test_findings_in_their_examination_are_the_same_findings():
    found = read_line(LINE).spelled_out()
    made = Examination.of(found, id="exam0001", patient="patient1", examiner="Dr Ash", at=AT)
    for name in Findings.model_fields:
        assert getattr(made, name) == getattr(found, name)
    assert (made.id, made.revision, made.at) == ("exam0001", 1, AT)


def test_the_same_sign_and_side_twice_is_refused_with_and_without_an_examination():
    knee = {"sign": "knee", "side": "right", "answer": "2+", "scale": "conventional"}
    with pytest.raises(ValidationError, match="knee right is given twice"):
        Findings.model_validate({"findings": [knee, knee]})
    who = {"id": "exam0001", "patient": "patient1", "examiner": "Dr Ash", "at": AT}
    with pytest.raises(ValidationError, match="knee right is given twice"):
        Examination.model_validate({**who, "findings": [knee, knee]})


def test_an_unknown_flag_is_refused():
    with pytest.raises(ValidationError, match="unknown red flag 'shoe_size'"):
        Findings.model_validate({"flags": {"shoe_size": "yes"}})
