"""Whether a weakness is shown to be of one nerve or root: full movements outside of it show it, anything beyond ends that."""

import pytest

from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.confined import numb_beyond, unconfined

FOOT_DROP = "ankle_dorsiflexion 5/2 ankle_inversion 5/5 hip_abduction 5/5 knee_flexion 5/5 knee_extension 5/5"


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("ankle_dorsiflexion 5/2", True),  # nothing outside of it was looked at
        (FOOT_DROP, False),
        (f"{FOOT_DROP} pin_L5 2/1", False),
        (f"{FOOT_DROP} pin_S2 2/1", True),  # a loss that the same nerve does not give
        (f"{FOOT_DROP} power_arm 5/4", True),
        (f"{FOOT_DROP} plantar down/up", True),
        (f"{FOOT_DROP} level_pin T10/T10", True),
        (f"{FOOT_DROP} level_pin none/none", False),
        (FOOT_DROP.replace("inversion 5/5", "inversion 5/3").replace("abduction 5/5", "abduction 5/3"), False),  # L5
        ("complaint=weak_leg knee 2/2", True),  # told, and no movement was graded
        ("knee 2/2", False),
    ],
)  # fmt: skip
def test_weakness_of_one_nerve_or_root(line, expected):
    found = read_line(line).spelled_out()
    assert unconfined(found.findings, found.context) is expected


@pytest.mark.parametrize(
    ("line", "expected"),
    [("pin_L5 2/1", False), ("pin_L5 2/1 pin_S2 2/1", True), ("pin_L5 1/1", True), ("ankle_dorsiflexion 5/2", False)],
)  # fmt: skip
def test_numbness_beyond_one_nerve_or_root(line, expected):
    assert numb_beyond(read_line(line).spelled_out().findings) is expected
