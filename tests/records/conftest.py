from datetime import UTC, datetime

import pytest

from wardexam.exam.entry import Change
from wardexam.exam.examination import Examination, Patient
from wardexam.records.ward import open_ward

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)


@pytest.fixture
def ward(tmp_path):
    return open_ward(tmp_path / "ward")


@pytest.fixture
def patient():
    return Patient(id="patient1", bed="A1", name="Ana Invented", age=60, admitted=AT)


@pytest.fixture
def examination():
    return Examination(id="exam0001", patient="patient1", examiner="Dr Ash", at=AT)


@pytest.fixture
def knee():
    return Change(
        "finding",
        "knee right",
        {"sign": "knee", "side": "right", "answer": "0", "scale": "conventional"},
    )


def of_then(now, then):
    """What a document of today says in the fields that one of before had."""
    if isinstance(then, dict):
        return {k: of_then(v, then[k]) for k, v in now.items() if k in then}
    if isinstance(then, list):
        return [of_then(a, b) for a, b in zip(now, then, strict=True)]
    return now
