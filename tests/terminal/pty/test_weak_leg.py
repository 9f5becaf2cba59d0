"""A weak leg examined in the real terminal: reflexes, power, sensation, sphincters and flags, by counted keys."""

import pytest

from tests.terminal.admitting import admission
from tests.terminal.pty.harness import environ, running, wardexam
from wardexam.exam.row_sets import row_sets
from wardexam.reasoning.rules.asking import order
from wardexam.records.ward import open_ward

MORE_THAN_ONE_A_FINDING = 12  # keys allowed beyond one for each finding

# The rows of the set, each with the keys for right and left (or the midline) and what they mean.
GRADED = {
    "knee": ("33", "3+ 3+"),
    "medial_hamstring": ("33", "3+ 3+"),
    "ankle": ("33", "3+ 3+"),
    "plantar": ("33", "extensor extensor"),
    "clonus_ankle": ("20", "sustained none"),
    "triceps": ("22", "2+ 2+"),
    "tone_leg": ("32", "spastic normal"),
    "hip_flexion": ("3-", "3 4-"),
    "hip_abduction": ("44", "4 4"),
    "knee_extension": ("4++", "4 4+"),  # behind a 4 the plus is asked about
    "knee_flexion": ("3-", "3 4-"),
    "ankle_dorsiflexion": ("24", "2 4"),
    "ankle_inversion": ("34", "3 4"),
    "ankle_eversion": ("34", "3 4"),
    "great_toe_extension": ("24", "2 4"),
    "ankle_plantarflexion": ("44", "4 4"),
    "hip_adduction": ("44", "4 4"),
    "pin_L2": ("11", "reduced reduced"),
    "pin_L3": ("11", "reduced reduced"),
    "pin_L4": ("11", "reduced reduced"),
    "pin_L5": ("11", "reduced reduced"),
    "pin_S1": ("10", "reduced absent"),
    "level_pin": ("b10\r", "T10 T10"),
    "vibration_leg": ("01", "absent reduced"),
    "saddle": ("22", "normal normal"),
    "anal_tone": ("1", "reduced"),
    "bladder": ("2", "retention"),
    "post_void_residual": ("420\r", "measured"),
    "gait": ("2", "spastic"),
}
FLAGS = "100011100001000"


@pytest.mark.long
@pytest.mark.parametrize("level", ["b10\r", "00"], ids=["a level on both sides", "no level"])
def test_one_key_a_finding_and_twelve_more_at_most(tmp_path, level):
    env = environ(tmp_path, WARDEXAM_DB=str(tmp_path / "ward"))
    rows = {name: keys for name, (keys, _) in GRADED.items()} | {"level_pin": level}
    assert list(rows) == [s.id for s in row_sets()["weak_leg"].signs]
    with running(wardexam(), env) as session:
        session.wait("The ward is empty")
        session.type(admission("B7", "Mo Invented", "40-1", "50"))
        session.wait("Admitted")
        # Open, when it began, choose the set, grade it, the flags, save.
        keys = ["\r", "4", "m5", *rows.values(), "f", FLAGS, "s"]
        session.type("".join(keys))
        session.wait("NEUROLOGICAL EXAMINATION")
        session.send("qq")
        assert session.ended() == 0
    ward = open_ward(tmp_path / "ward")
    (saved,) = ward.examinations(ward.beds()[0].patient_id)
    found = {name: [f.answer for f in saved.findings if f.sign == name] for name in rows}
    wanted = {name: said.split() for name, (_, said) in GRADED.items()}
    if level == "00":
        wanted["level_pin"] = ["none", "none"]
    assert found == wanted
    residual = saved.finding("post_void_residual", "midline")
    assert residual
    assert residual.amount == 420
    answers = ["yes" if key == "1" else "no" for key in FLAGS]
    told = saved.model_copy(update={"flags": {}})
    asked = order(told, ())[: len(FLAGS)]  # a doctor stops where the patient is clear
    assert saved.flags == dict(zip(asked, answers, strict=True))
    findings = len(saved.findings) + len(saved.flags)
    spent = len("".join(keys)) - findings
    print(f"{findings} findings, {spent} keys more")
    assert spent <= MORE_THAN_ONE_A_FINDING
