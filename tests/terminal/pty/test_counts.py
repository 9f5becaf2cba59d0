"""What usual work costs, in keys counted through the real terminal.

A number that is typed is one answer however many digits it has; its Enter is counted. A typed word is
not counted, its Enter is.
"""

import re

import pytest

from tests.terminal.pty.harness import ADMITTING, DETAILS, kept
from wardexam.exam.row_sets import row_sets
from wardexam.reasoning.rules.asking import order
from wardexam.records.ward import open_ward


def saved(tmp_path):
    store = open_ward(tmp_path / "ward")
    return store.examinations(store.beds()[0].patient_id)


def spent(keys):
    """How many keys: a typed number counts as one."""
    return len(re.sub(r"\d+(?=\r)", "0", keys))


@pytest.mark.long
def test_an_admission_costs_six_keys_and_its_words(ward, tmp_path):
    keys = ADMITTING
    (bed,) = open_ward(tmp_path / "ward").beds()
    assert (bed.bed, bed.name, bed.age, bed.sex) == ("B7", "Mo Invented", 52, "female")
    assert len(keys) - sum(map(len, DETAILS)) <= 6


@pytest.mark.long
def test_a_core_examination_costs_its_fourteen_findings_and_three(ward, tmp_path):
    keys = "\r" + "4" + "22222222221100" + "s"
    ward.type(keys)
    ward.wait("NEUROLOGICAL EXAMINATION")
    (examination,) = saved(tmp_path)
    assert len(examination.findings) == 14
    assert len(keys) <= 14 + 3


CAUDA = {
    "knee": "22", "medial_hamstring": "22", "ankle": "00", "plantar": "11", "straight_leg_raise": "11",
    "crossed_leg_raise": "00", "femoral_stretch": "00", "spine_tender": "0", "hip_flexion": "55", "knee_extension": "55",
    "ankle_dorsiflexion": "55", "great_toe_extension": "44", "ankle_plantarflexion": "43",
    "pin_L2": "22", "pin_L3": "22", "pin_L4": "22", "pin_L5": "22", "pin_S1": "11", "saddle": "11", "perianal": "11",
    "anal_tone": "1", "anal_squeeze": "1", "bladder": "2", "bowel": "0", "post_void_residual": "420\r",
    "level_pin": "00", "gait": "0",
}  # fmt: skip


def test_a_suspected_cauda_equina_whole_costs_its_signs_its_questions_and_six(ward, tmp_path):
    assert list(CAUDA) == [s.id for s in row_sets()["back_pain"].signs]
    questions = "111100"
    keys = "\r" + "4" + "m6" + "".join(CAUDA.values()) + "f" + questions + "s"
    ward.type(keys)
    ward.wait("NEUROLOGICAL EXAMINATION")
    (examination,) = saved(tmp_path)
    assert {f.sign for f in examination.findings} == set(CAUDA)
    first = order(examination.model_copy(update={"flags": {}}), ())[: len(questions)]
    assert set(examination.flags) == set(first)  # those that it asks first
    asked = len(examination.flags) + 1  # and when it began
    assert spent(keys) <= len(examination.findings) + asked + 6


@pytest.mark.long
@pytest.mark.parametrize("before", ["4", "4f", "4\t\t", "4m8", "4mb"])
def test_a_numb_s1_costs_eight_keys_from_anywhere(ward, before):
    ward.type("\r" + before)
    ward.wait(kept(1))
    keys = "/s1\r1"
    ward.type(keys)
    ward.wait("right light touch S1")
    ward.wait(kept(2))
    assert len(keys) <= 8


@pytest.mark.long
def test_a_one_sided_weakness_is_now_within_twelve_keys(ward):
    keys = "\r" + "1" + "ma" + "53" + "55" + "53"
    ward.type(keys)
    ward.wait(lambda s: s.lines[1].startswith(" NOW "))
    assert len(keys) <= 12


@pytest.mark.long
def test_what_was_abnormal_costs_its_findings_and_six_again(ward, tmp_path):
    ward.type("\r" + "4" + "22222222220000" + "s")
    ward.wait("NEUROLOGICAL EXAMINATION")
    ward.send("q")
    ward.wait("1 patient")
    keys = "\r" + "," * 4 + "s"  # both plantars and both ankle clonus
    ward.send("\r")
    ward.wait("Last time")
    ward.type(keys[1:])
    ward.wait("NEUROLOGICAL EXAMINATION")
    _, again = saved(tmp_path)
    assert len(again.findings) == 4
    assert len(keys) <= 4 + 6
