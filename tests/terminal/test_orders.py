"""The ward list by bed, by urgency, by worsening, by the next examination."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from tests.examinations import examined
from tests.terminal.screens import NOW, demo_app, dump
from wardexam.exam.entry import Change
from wardexam.exam.examination import Examination, Patient
from wardexam.note.handover import headline_of
from wardexam.records.repository import Arrival
from wardexam.records.ward import open_ward

# bed, re-examine every so many hours, examinations as (hours ago, typed line)
PATIENTS = [
    ("C3", 2, [(5, "power_leg 5/5"), (1, "power_leg 5/5")]),  # due in 1 h
    ("B2", 4, [(9, "knee 2/2"), (6, "flag:saddle_numb=yes")]),  # NOW; 2 h late
    (
        "A1",
        None,
        [(30, "hip_flexion 5/5 onset=longer"), (3, "hip_flexion 2/5 onset=longer")],
    ),  # today, worse; no schedule
    ("B4", 4, [(9, "plantar down/up")]),  # today; 5 h late
    ("A5", 12, []),  # never examined, though due
    ("B1", None, []),  # never examined
]
ORDERS = {
    "bed": ["A1", "A5", "B1", "B2", "B4", "C3"],
    "urgency": ["B2", "A5", "B1", "B4", "A1", "C3"],
    "worsening": ["A1", "B2", "A5", "B1", "B4", "C3"],
    "next examination": ["A5", "B4", "B2", "C3", "A1", "B1"],
}


@pytest.fixture
def app(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    for number, (bed, hours, visits) in enumerate(PATIENTS):
        patient = Patient(
            id=f"patient{number}", bed=bed, name=f"Invented {bed}", admitted=NOW - timedelta(days=2),
            recheck_hours=hours,
        )  # fmt: skip
        made: list[Examination] = [
            examined(line, at(ago)).model_copy(
                update={"id": f"exam{number}00{n}", "patient": patient.id}
            )
            for n, (ago, line) in enumerate(visits)
        ]
        app.ward.take_in([Arrival(patient, tuple(made), headline_of(made))], "test")
    return app


def at(hours_ago: float) -> datetime:
    return NOW - timedelta(hours=hours_ago)


def beds(app):
    return [line[1:].split()[0] for line in dump(app)[2:] if "Invented" in line]


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_each_order_puts_first_whom_it_names(app, size):
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        for name, order in ORDERS.items():
            assert f"by {name}" in dump(app)[0]
            assert beds(app) == order, name
            await pilot.press("O")


async def test_bed_urgency_worsening_and_due_stand_on_one_line_and_why_below_it(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        shown = dump(app)[2:]
        lines = {line[1:].split()[0]: line for line in shown if "Invented" in line}
        below = {
            line[1:].split()[0]: shown[n + 1] for n, line in enumerate(shown) if "Invented" in line
        }
        assert "NOW" in lines["B2"]
        assert "LATE 2h" in lines["B2"]
        assert "TODAY ! worse" in lines["A1"]
        assert "in 1h" in lines["C3"]
        assert "FIRST" in lines["A5"]
        assert below["B1"].strip() == "not examined"


async def test_an_order_crosses_the_change_of_clocks(app):
    # 01:30 +00:00 is before 02:15 +01:00 as text, and after it as time.
    first, second = app.ward.patient("patient0"), app.ward.patient("patient3")
    early = examined("knee 2/2", datetime.fromisoformat("2026-03-29T02:15+01:00"))
    late = examined("knee 2/2", datetime.fromisoformat("2026-03-29T01:30+00:00"))
    for patient, made in ((first, late), (second, early)):
        app.ward.save(
            made.model_copy(update={"id": f"{patient.id}x", "patient": patient.id}), "test"
        )
        app.ward.update(patient.model_copy(update={"recheck_hours": 4}), "test")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("O", "O", "O")
        order = beds(app)
        assert order.index(second.bed) < order.index(first.bed)


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_the_clock_that_runs_stands_in_the_list_and_what_it_runs_for_below(tmp_path, size):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=size) as pilot:
        await pilot.press("j")
        lines = dump(app)
        waited = next(t for t in lines if "Idris" in t)
        assert "due 15:00" in waited
        assert "NOW     worse" in waited  # answered: no mark of a new alarm
        assert any("NOW !" in t for t in lines if "Kwabena" in t)
        assert any("OVERDUE 46 h" in t for t in lines if "Kwabena" in t)
        text = " ".join(" ".join(lines).split())
        assert "possible cauda equina syndrome" in text  # whole, and what is waited for with it
        assert "MRI of the lumbosacral spine asked 12:30" in text
        # Passed meanwhile: drawn again, it says so though nobody has saved anything.
        app.session = replace(app.session, now=lambda: NOW + timedelta(hours=5))
        await pilot.press("k")
        late = next(t for t in dump(app) if "Idris" in t)
        assert "OVERDUE 4 h" in late


async def test_of_those_as_urgent_the_first_are_those_about_whom_nothing_was_done(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("O")
        lines = [line for line in dump(app)[2:] if " NOW" in line[:34]]
        waiting = [" !" in line[:34] for line in lines]
        assert waiting == sorted(waiting, reverse=True)
        assert "OVERDUE" in lines[0]


@pytest.fixture
def full(tmp_path):
    """A ward of forty patients, whom nobody has examined; the last is unconscious."""
    app = demo_app(tmp_path / "ward", empty=True)
    for number in range(1, 41):
        patient = Patient(
            id=f"patient{number:02}", bed=f"A{number}", name=f"Invented {number}", age=60,
            remark="unconscious" if number == 40 else "back pain", admitted=NOW,
        )  # fmt: skip
        app.ward.admit(patient, "test")
    return app


def chosen(app):
    return app.screen._bed.bed


async def test_an_order_is_shown_from_its_top_and_pages_go_through_it(full):
    async with full.run_test(size=(80, 24)) as pilot:
        await pilot.press("end")
        assert chosen(full) == "A40"
        await pilot.press("home")
        assert chosen(full) == "A1"
        await pilot.press("pagedown")
        assert chosen(full) not in ("A1", "A2", "A40")
        await pilot.press("O")
        assert chosen(full) == "A40"
        assert "A40" in dump(full)[2]
        await pilot.press("pagedown", "pageup")
        assert chosen(full) == "A40"


async def test_who_is_not_examined_stands_as_urgent_as_what_was_told_at_admission(full):
    async with full.run_test(size=(80, 24)) as pilot:
        await pilot.press("O")
        row = dump(full)[2]
        assert "NOW" in row
        assert "not examined: not awake" in row
        assert " ? " in dump(full)[3]  # back pain says nothing by itself
        assert "back pain" in dump(full)[3]
        await pilot.press("H")
        sheet = dump(full)
        assert "NOW" in sheet[2]
        assert "not awake" in sheet[2]
        assert "unconscious; nothing examined, no flag asked" in sheet[3]
        assert "back pain; nothing examined, no flag asked" in sheet[5]


async def test_what_was_told_of_less_than_now_is_no_more_than_that(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    for bed, name, why in (("A1", "Ana", "fit"), ("A2", "Ben", "numb feet"), ("A3", "Cyn", "other things")):  # fmt: skip
        app.ward.admit(
            Patient(
                id=f"patient{bed.lower()}",
                bed=bed,
                name=f"{name} Invented",
                remark=why,
                admitted=NOW,
            ),
            "test",
        )
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        lines = [line for line in dump(app) if "Invented" in line]
        assert [line[24:33].strip() for line in lines] == ["12 h? !", "days? !", "?"]
        await pilot.press("O")
        assert beds(app) == [
            "A1",
            "A2",
            "A3",
        ]  # it may be graver: none stands below an examined one


async def test_what_a_colleague_is_entering_stands_in_the_list(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    app.ward.admit(Patient(id="patient1", bed="A3", name="Ana Invented", admitted=NOW), "test")
    made = Examination(id="theirs01", patient="patient1", examiner="Dr Ash", at=NOW)
    theirs = open_ward(tmp_path / "ward").start_draft(made, "Dr Ash")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "?" in next(line for line in dump(app) if "Ana" in line)
        theirs.append(Change("flag", "saddle_numb", "yes"))
        theirs.flush(5.0)
        app.verify()
        for _ in range(200):
            await pilot.pause(0.02)
            if "NOT SAVED: possible cauda equina" in "\n".join(dump(app)):
                break
        assert "NOW" in next(line for line in dump(app) if "Ana" in line)
        assert "NOT SAVED: possible cauda equina" in "\n".join(dump(app))
    theirs.close()
