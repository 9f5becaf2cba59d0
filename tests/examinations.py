"""Examinations from typed lines, for tests and measurements."""

from datetime import datetime

from wardexam.exam.examination import Examination
from wardexam.exam.typed import read_line

NOBODY = "00000000"


def examined(line: str, at: datetime, **who: str) -> Examination:
    """What a typed line says, as the examination of somebody by somebody at a time."""
    whole = {"id": NOBODY, "patient": NOBODY, "examiner": ""} | who
    return Examination.of(read_line(line).spelled_out(), at=at, **whole)
