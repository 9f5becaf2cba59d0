"""A patient's file read once: what of a long stay still stands is what stands of all of it."""

from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.examinations import examined
from tests.records.conftest import AT
from wardexam.exam.examination import Examination, Patient
from wardexam.reasoning.rules.standing import standing, still_open
from wardexam.reasoning.rules.stay import Stay
from wardexam.records.repository import Arrival, Bed
from wardexam.records.ward import open_ward

LINES = [
    "knee 2/0", "knee -/2 ankle 0/0", "knee nt:pain/nt:cast", "power_leg 4/5", "hip_flexion 5/3 knee 3/-",
    "rest=power:right_leg", "rest=reflexes:all", "flag:cancer=yes", "flag:cancer=no flag:trauma=yes",
    "onset=sudden complaint=weak_leg", "onset=days pain=back", "bladder retention anal_tone 1", "plantar down/up", "",
]  # fmt: skip
PATIENT = Patient(id="patient1", bed="A1", name="Ana Invented", admitted=AT)


def examination(number: int, line: str) -> Examination:
    made = examined(line, AT + timedelta(hours=number), id=f"exam{number:04}", patient="patient1")
    return made.model_copy(update={"comment": '"flags": {"x'})


def first_answers(examinations):
    """Each sign's first answer in a stay, with when."""
    stay = Stay(tuple(examinations))
    return {f.key: (f, stay.began(f.key)) for f in stay.first.findings if f.answer is not None}


@pytest.mark.slow
@settings(
    max_examples=settings.default.max_examples * 3 // 5,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(st.sampled_from(LINES), min_size=1, max_size=9))
def test_what_tells_of_a_stay_stands_as_all_of_it_does(tmp_path_factory, lines):
    ward = open_ward(tmp_path_factory.mktemp("stay") / "ward")
    made = tuple(examination(n, line) for n, line in enumerate(lines))
    ward.take_in([Arrival(PATIENT, made)], "x")
    file = ward.file("patient1")
    assert tuple(file.examinations) == made
    for until in ("", *(e.id for e in made)):
        chosen = file.telling(until)
        whole = [e for n, e in enumerate(made) if not until or n < int(until[4:])]
        found, wanted = standing(chosen), standing(whole)
        assert (found is None) == (wanted is None)
        if found and wanted:
            assert {f.key: f for f in found.findings} == {f.key: f for f in wanted.findings}
            assert (found.flags, found.context) == (wanted.flags, wanted.context)
            assert {(s.part, s.limb) for s in found.rest_normal} == {(s.part, s.limb) for s in wanted.rest_normal}  # fmt: skip
            assert first_answers(chosen) == first_answers(whole)
            heard, all_heard = still_open(chosen), still_open(whole)
            assert {f.key: f for f in heard.found.findings} == {f.key: f for f in all_heard.found.findings}  # fmt: skip
            assert heard.found.flags == all_heard.found.flags
            assert {f.key: f for f in heard.undated.findings} == {f.key: f for f in all_heard.undated.findings}  # fmt: skip
            assert heard.undated.flags == all_heard.undated.flags
            assert (set(heard.stories), heard.stories[-1], heard.onset) == (set(all_heard.stories), all_heard.stories[-1], all_heard.onset)  # fmt: skip


def test_of_a_long_stay_few_examinations_are_made(ward):
    ward.take_in(
        [Arrival(PATIENT, tuple(examination(n, "knee 2/0 ankle 0/0") for n in range(50)))], "x"
    )
    first, last = ward.file("patient1").telling()
    assert (first.id, last.id) == ("exam0000", "exam0049")


ROW = {
    "patient_id": "patient1", "bed": "A1", "name": "Ana Invented", "age": 60, "sex": "female",
    "last_at": "2026-03-02T08:00:00+00:00", "last_by": "Dr Ash", "examinations": 1, "recheck_hours": None,
    "discharged": None,
}  # fmt: skip
OLD = {"urgency": 3, "urgency_word": "now", "worse": False, "headline": "possible stroke"}


def test_a_row_of_before_reads_without_a_clock_and_one_of_today_with_it():
    old = Bed.from_json({**ROW, "summary": OLD}).summary
    assert (old.due_at, old.step, old.new) == (None, "", True)
    due = "2026-03-02T12:00:00+00:00"
    new = Bed.from_json(
        {**ROW, "summary": {**OLD, "due": due, "step": "MRI", "new": False}}
    ).summary
    assert (new.due_at.isoformat(), new.step, new.new) == (due, "MRI", False)


@pytest.mark.parametrize(
    "more", [{"due": "soon"}, {"due": "2026-03-02T12:00:00"}, {"step": 3}, {"new": 1}]
)
def test_a_row_whose_clock_is_none_is_no_row(more):
    with pytest.raises((ValueError, TypeError)):
        Bed.from_json({**ROW, "summary": {**OLD, **more}})
