"""An emergency is on the screen, and answered, within fifteen keys of opening the patient."""

import pytest

from tests.terminal.screens import NOW, demo_app, dump
from wardexam.exam.examination import Patient
from wardexam.note.reasons import steps

KEYS = 15
# What a doctor types after enter: when it began, then the one sign or flag; what stands in the headline.
CASES = {
    "saddle": (["4", "slash", *"sad", "enter", "enter", "1"], "NOW, WITHIN 4 H: possible cauda equina", "due 18:00"),
    "retention": (["4", "slash", *"bladder", "enter", "2"], "NOW, WITHIN 4 H: possible cauda equina", "due 18:00"),
    "breath": (["4", "slash", *"breath", "enter", "1"], "NOW, WITHIN MINUTES: weak breathing", "due 14:"),
    "one-sided": (["1", "slash", *"ili", "enter", "3"], "NOW, WITHIN 1 H: one-sided or cortical sign", "due 15:00"),
    "speech": (["2", "slash", *"apha", "enter", "2"], "NOW, WITHIN 1 H: one-sided or cortical sign", "due 15:00"),
    "pupil": (["2", "slash", *"blown", "enter", "1"], "NOW, WITHIN 1 H: third nerve or large pupil", "due 15:00"),
    "headache": (["1", "slash", *"thund", "enter", "1"], "NOW, WITHIN 1 H: sudden headache, worst within", "due 15:00"),
    "cold limb": (["2", "slash", *"cold", "enter", "1"], "NOW, WITHIN MINUTES: ", "due 14:15"),
}  # fmt: skip


@pytest.mark.parametrize("case", list(CASES))
async def test_it_is_recognised_and_answered_within_fifteen_keys(tmp_path, case):
    entered, head, due = CASES[case]
    keys = ["enter", *entered, "exclamation_mark", "c", "enter"]
    assert len(keys) <= KEYS
    app = demo_app(tmp_path / "ward", empty=True)
    app.ward.admit(Patient(id="patient1", bed="A3", name="Ana Invented", admitted=NOW), "test")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", *entered)
        panel = " ".join(" ".join(line[47:] for line in dump(app)[1:-2]).split())
        assert panel.startswith(head)
        assert due in panel
        first = app.screen.reader.urgency.reasons[0]
        assert steps(first).replace("- ", "-") in panel.replace("- ", "-")
        await pilot.press("exclamation_mark", "c", "enter", "q")
        (act,) = app.screen.visit.examination.acts
        assert (act.kind, act.by) == ("called", "Dr Test")
        assert act.what
