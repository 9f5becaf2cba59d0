"""An emergency is on the screen, and answered, within fifteen keys of opening the patient."""

import pytest

from tests.terminal.screens import NOW, demo_app, urgent
from wardexam.exam.examination import Patient
from wardexam.note.reasons import steps

KEYS = 15
# What a doctor types after enter: when it began, then the one sign or flag; what stands in the line above the grid, and beside it.
CASES = {
    "saddle": (["4", "slash", *"sad", "enter", "enter", "1"], "NOW due 18:00 possible cauda equina", "within 4 h"),
    "retention": (["4", "slash", *"reten", "enter", "2"], "NOW due 18:00 possible cauda equina", "within 4 h"),
    "breath": (["4", "slash", *"breath", "enter", "1"], "NOW due 14:15 weak breathing", "or swallowing"),
    "one-sided": (["1", "slash", *"ili", "enter", "3"], "NOW due 15:00 possible stroke", "within 1 h"),
    "speech": (["2", "slash", *"apha", "enter", "2"], "NOW due 15:00 possible stroke", "within 1 h"),
    "pupil": (["2", "slash", *"blown", "enter", "1"], "NOW due 15:00 third nerve or large pupil", "within 1 h"),
    "headache": (["1", "slash", *"thund", "enter", "1"], "NOW due 15:00 sudden worst headache", "within 1 h"),
    "cold limb": (["2", "slash", *"cold", "enter", "1"], "NOW due 14:15 ", "cold"),
}  # fmt: skip


@pytest.mark.parametrize("case", list(CASES))
async def test_it_is_recognised_and_answered_within_fifteen_keys(tmp_path, case):
    entered, head, limit = CASES[case]
    keys = ["enter", *entered, "exclamation_mark", "enter", "1", "enter"]
    assert len(keys) <= KEYS
    app = demo_app(tmp_path / "ward", empty=True)
    app.ward.admit(Patient(id="patient1", bed="A3", name="Ana Invented", admitted=NOW), "test")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", *entered)
        said = urgent(app)
        assert said.startswith(head)
        assert limit in said.lower()
        first = app.screen.reader.urgency.reasons[0]
        for step in steps(first).split("; "):
            assert step.replace("- ", "-").lower() in said.replace("- ", "-").lower()
        await pilot.press("exclamation_mark", "enter", "1", "enter", "q")
        (act,) = app.screen.visit.examination.acts
        assert (act.kind, act.by) == ("called", "Dr Test")
        assert act.what
