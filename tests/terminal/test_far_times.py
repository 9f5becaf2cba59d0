"""Records from the ends of the calendar are listed, opened and drawn like others."""

import pytest

from tests.commands.test_edges import FAR
from tests.examinations import examined
from tests.terminal.screens import NOW, dump
from wardexam.exam.examination import Examination, Patient
from wardexam.records.repository import Arrival, Summary
from wardexam.records.ward import open_ward
from wardexam.session import Session
from wardexam.terminal.app import WardApp
from wardexam.terminal.environment import Terminal


@pytest.mark.parametrize("at", FAR, ids=str)
async def test_a_time_beyond_bounds_is_shown_on_every_screen(tmp_path, at):
    ward = open_ward(tmp_path / "ward")
    patient = Patient(id="patient1", bed="A1", name="Ana Invented", admitted=at, recheck_hours=168)
    made = examined("knee 2/0 ankle 2/2", at).model_dump(mode="json")
    made |= {"id": "exam0001", "patient": "patient1", "examiner": "Dr Ash"}
    first = Examination.model_validate(made)
    later = [
        first.model_copy(update={"id": f"exam000{n}", "at": t}) for n, t in ((2, NOW), (3, at))
    ]
    ward.take_in([Arrival(patient, (first, *later), Summary(0, "none", False, "a line"))], "x")
    app = WardApp(
        Session(ward, "Dr Test", lambda: NOW, lambda: "fresh001"),
        terminal=Terminal(term="xterm", colours=0, ascii=True),
    )  # fmt: skip
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert any("Ana Invented" in line for line in dump(app))
        for key in (
            "O",
            "O",
            "O",
            "O",
            "n",
            "left",
            "R",
            "q",
            "V",
            "q",
            "H",
            "q",
            "enter",
            "2",  # when it began
            "2",
            "s",
            "q",
        ):
            await pilot.press(key)
            await pilot.pause()
        assert any("Ana Invented" in line for line in dump(app))
    assert len(ward.examinations("patient1")) == 4
