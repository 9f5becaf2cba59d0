"""What the tool raised, worked out again for patients who came without it: a bundle holds no suggestion of the tool's.

Without it the tool's own alarm would be silent, and a patient calmer here than where the bundle was written.
"""

from collections.abc import Callable
from dataclasses import replace

from wardexam.case import Case
from wardexam.exam.examination import Examination, Findings
from wardexam.reasoning.reading import Reading
from wardexam.reasoning.rules.raised import recorded
from wardexam.reasoning.rules.standing import standing, still_open
from wardexam.reasoning.rules.stay import Stay
from wardexam.records.repository import Arrival


def raised_anew(arrival: Arrival, read: Callable[[Findings], Reading]) -> Arrival:
    """A patient with what is raised by each examination in its last revision, as when it is saved.

    What was found and what was done stay as they came, and no reading is kept: what the tool would say today is
    not what it suggested then.

    Args:
        arrival: The patient.
        read: Gives the tool's reading of findings.
    """
    last = {e.id: e for e in arrival.examinations}
    raised: dict[str, Examination] = {}
    for name, examination in last.items():
        if examination.in_error:  # it raises nothing
            continue
        before = tuple(raised.values())
        case = Case(
            arrival.patient,
            examination,
            standing(before),
            {},
            still_open(before),
            stay=Stay(before),
        )
        urgency = case.urgency(read(examination), own=True)
        found = recorded(examination, urgency).raised
        raised[name] = examination.model_copy(update={"raised": found})
    examinations = (raised.get(e.id, e) if e is last[e.id] else e for e in arrival.examinations)
    return replace(arrival, examinations=tuple(examinations))
