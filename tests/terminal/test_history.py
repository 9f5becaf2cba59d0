"""Per patient: every examination and revision can be turned to, and the course says what changed when."""

from datetime import timedelta

import pytest

from tests.examinations import examined as made_at
from tests.records.memory import MemoryWard
from tests.terminal.screens import NOW, demo_app, dump
from wardexam.exam.acts import Act
from wardexam.exam.examination import Patient
from wardexam.injury.kept import KeptSheet
from wardexam.injury.typed import read_typed
from wardexam.note.differences import revised
from wardexam.note.handover import headline_of
from wardexam.reasoning.rules.own_alarm import OWN, rule_words
from wardexam.records.repository import Arrival
from wardexam.terminal.course import NAME, chart, course_text, done_with
from wardexam.terminal.examine.screen import ExamineScreen

VISITS = ["power_leg 5/5 knee 2/2", "power_leg 4/5 knee 2/2", "power_leg 2/5 knee 0/2 anal_tone 1"]


def examined(line, number, patient="patient1"):
    made = made_at(line, NOW - timedelta(hours=24 - 8 * number))
    return made.model_copy(
        update={"id": f"exam000{number}", "patient": patient, "examiner": "Dr Ash"}
    )


@pytest.fixture
def app(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    patient = Patient(
        id="patient1", bed="A1", name="Ana Invented", admitted=NOW - timedelta(days=2)
    )
    app.ward.admit(patient, "test")
    for number, line in enumerate(VISITS):
        made = examined(line, number)
        app.ward.save(made, "test", headline_of([made]))
    amended = examined("power_leg 4/5 knee 1/2", 1)
    app.ward.amend(amended, "Dr Bex", "knee graded again", NOW, headline_of([amended]))
    return app


def heading(app):
    return dump(app)[0]


async def test_every_examination_and_revision_is_turned_to_in_order(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n")
        assert "examination 3 of 3" in heading(app)
        await pilot.press("left")
        assert "examination 2 of 3, revision 2 of 2" in heading(app)
        assert any("amended" in line and "Dr Bex" in line for line in dump(app))
        await pilot.press("h")
        assert "examination 2 of 3, revision 1 of 2" in heading(app)
        await pilot.press("h")
        assert "examination 1 of 3" in heading(app)
        await pilot.press("h")
        assert "No earlier note." in dump(app)[-2]
        await pilot.press("right", "l", "l", "l")
        assert "examination 3 of 3" in heading(app)
        assert "No later note." in dump(app)[-2]
        await pilot.press("q")
        assert "1 patient," in heading(app)


async def test_an_earlier_revision_is_not_amended(app):
    async with app.run_test(size=(80, 24)) as pilot:
        (bed,) = app.ward.beds()
        before = app.ward.examinations(bed.patient_id)
        await pilot.press("n", "h", "h")
        shown = heading(app)
        assert "revision 1 of 2" in shown
        await pilot.press("M")
        assert "Only the last revision" in dump(app)[-2]
        assert heading(app) == shown
        assert not isinstance(app.screen, ExamineScreen)
        assert not app.ward.drafts()
        assert app.ward.examinations(bed.patient_id) == before


async def test_an_amendment_of_an_earlier_examination_is_held_against_the_one_before_it(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("n", "h", "M")
        assert isinstance(app.screen, ExamineScreen)
        assert app.screen.visit.previous.id == "exam0000"
        assert heading(app).startswith("A1 Ana Invented NO NUMBER  AMENDING 2 of 3 ")
        assert dump(app)[-2].startswith("What was saved stays. Saving makes a further revision")


async def test_an_amendment_that_changes_nothing_asks_whether_to_save_it(app):
    async with app.run_test(size=(80, 24)) as pilot:
        (bed,) = app.ward.beds()
        before = len(app.ward.revisions(bed.patient_id, "exam0002"))
        await pilot.press("n", "M", "b", "2", "u", "s")
        assert dump(app)[-2].startswith(
            "Nothing was changed. Save a further revision all the same?"
        )
        await pilot.press("y")
        assert dump(app)[-2].startswith("Why is it amended?")
        await pilot.press("escape")
        assert len(app.ward.revisions(bed.patient_id, "exam0002")) == before


def test_amending_an_earlier_examination_leaves_what_the_list_says_of_the_last(app):
    (bed,) = app.ward.beds()
    assert bed.summary == headline_of([examined(VISITS[2], 2)])
    assert bed.examinations == 3


def course(app):
    return course_text(app.ward.file("patient1"))


def test_the_course_lists_examinations_revisions_and_changes(app):
    text = course(app)
    said = " ".join(text.split())
    assert "revision 2, 2026-03-04 14:00 Dr Bex: knee graded again. Changed:" in said
    assert "right knee jerk: reduced (1+), added" not in said
    assert "right knee jerk: normal (2+) to reduced (1+)" in said
    assert (
        "Worse: hip flexion, knee extension, knee flexion, ankle dorsiflexion and ankle plantarflexion right 4 to 2"
        in said
    )
    assert "Worse, but by no more than two observers differ: knee jerk right 2+ to 1+." in said
    assert "Over the stay, 3 against the first look at each sign: " in said
    assert "ankle plantarflexion right 5 to 2" in said
    assert max(map(len, text.splitlines())) <= 80
    assert text.isascii()


def stay(*visits, apart=8):
    """A patient's file with these examinations, so many hours apart."""
    ward = MemoryWard()
    patient = Patient(id="patient1", bed="A1", name="Ana Invented", admitted=NOW)
    made = [
        made_at(line, NOW + timedelta(hours=apart * n)).model_copy(
            update={"id": f"exam{n:04}", "patient": "patient1", "examiner": "Dr Ash"}
        )
        for n, line in enumerate(visits)
    ]
    ward.take_in([Arrival(patient, tuple(made))], "x")
    return ward.file("patient1")


def chart_of(text):
    """The lines of the charts by what stands at their left."""
    lines = text.split("GRADES AT EACH EXAMINATION")[1].splitlines()[1:]
    return {line[:NAME].strip(): line[NAME + 1 :] for line in lines}


def test_a_chart_has_a_line_for_each_sign_with_its_grades_at_their_times():
    visits = ["hip_flexion 5/5 ankle 2/2", "hip_flexion 4/5 knee 2/2", "hip_flexion 2/5 ankle 0/2"]
    made = [made_at(v, NOW + timedelta(hours=h)) for v, h in zip(visits, (0, 8, 24), strict=True)]
    lines = chart(made, [("hip_flexion", "right"), ("ankle", "right")])
    numbers, hip, ankle = (line[NAME + 1 :] for line in lines)
    columns = [numbers.index(n) for n in "123"]
    assert [hip[c] for c in columns] == ["5", "4", "2"]
    assert [ankle[c : c + 2].strip(".") for c in columns] == ["2+", "-", "0"]
    # A third of the way along after 8 of 24 hours.
    assert (columns[1] - columns[0]) / (columns[2] - columns[0]) == pytest.approx(1 / 3, abs=0.05)


def test_signs_that_did_not_change_have_no_line_and_words_stand_whole():
    text = course_text(
        stay("knee 2/2 gait normal ankle 2/2", "knee 0/2 gait high_stepping ankle 2/2")
    )
    lines = chart_of(text)
    assert "right knee jerk" in lines
    assert not any("ankle jerk" in name or "left knee" in name for name in lines)
    assert "gait: 1 normal; 2 high-stepping" in text


def test_what_was_due_and_done_is_marked_among_the_dates(tmp_path):
    app = demo_app(tmp_path / "ward")
    bed = next(b for b in app.ward.beds() if b.bed == "A4")
    text = course_text(app.ward.file(bed.patient_id))
    said = " ".join(text.split())
    assert (
        "09:12 asked: CT and CTA of the head, Dr Cole (weakness, speech or sight lost: possible stroke;"
        in said
    )
    assert "10:00 due: weakness, speech or sight lost: possible stroke (now)" in said
    lines = chart_of(text)
    first, second = (lines[""].index(n) for n in "12")
    done, due = lines["done"], lines["due"]
    assert first < done.index("c") < done.index("a") < done.index("d") < second
    assert second < done.index("n")
    assert first < due.index("!") < second


def test_what_was_done_about_a_reason_names_it_as_every_other_paper_does():
    acts = [
        Act(rule=rule, kind="called", what="registrar", by="Dr Ash", at=NOW)
        for rule in (OWN, "cauda_equina", "of_another_version")
    ]
    made = made_at("knee 2/2", NOW).model_copy(update={"acts": tuple(acts)})
    names = ["the tool's own alarm", "possible cauda equina syndrome", "a rule of another version"]
    assert [rule_words(act.rule) for act in acts] == names
    assert done_with(made)[0][1].endswith("(the tool's own alarm; 2 more)")
    assert [
        line.partition(", called")[0] for line in revised(made_at("knee 2/2", NOW), made)
    ] == names


NEVER = [
    ("saddle 2/2", "saddle 1/2", "saddle sensation right was normal, now reduced"),
    ("anal_tone 2", "anal_tone 1", "anal tone was normal, now reduced"),
    ("perianal 1/1", "perianal 0/1", "perianal sensation right was reduced, now absent"),
    ("plantar down/down", "plantar up/down", "plantar right was flexor, now extensor"),
    ("level_pin none/none", "level_pin T10/none", "pinprick level right was none, now T10"),
    ("vibration_leg 1/1 gait spastic", "vibration_leg 0/0 gait spastic", "vibration (toe and ankle) was reduced, now absent on both sides"),
    ("knee 2/2 biceps 2/2 hip_flexion 4/4", "knee 1/1 biceps 1/1 hip_flexion 3/3", "biceps jerks 2+ to 1+ on both sides"),
]  # fmt: skip


@pytest.mark.parametrize(("before", "after", "said"), NEVER)
def test_what_is_grave_or_fires_a_rule_is_never_put_down_to_the_observer(before, after, said):
    text = " ".join(course_text(stay(before, after)).split())
    assert said in text
    assert "two observers differ" not in text


def test_a_look_at_other_signs_between_hides_nothing_and_the_change_is_dated():
    text = course_text(stay("hip_flexion 5/5 saddle 2/2", "knee 2/2", "hip_flexion 3/3 saddle 1/2 knee 0/2"))  # fmt: skip
    third = " ".join(text.split("\n3. ")[1].split("\nOver the stay")[0].split())
    assert "Worse since 4 Mar 14:00: saddle sensation right was normal, now reduced; hip flexion 5 to 3 on both sides." in third  # fmt: skip
    assert "Worse: knee jerk right 2+ to 0." in third
    over_stay = " ".join(text.split("\nOver the stay")[1].split())
    assert "knee jerk right 2+ to 0" in over_stay
    assert "right hip flexion" in chart_of(text)


def test_one_grade_of_a_reflex_alone_may_be_the_observer():
    text = " ".join(course_text(stay("biceps 2/2", "biceps 1/2")).split())
    assert "Worse, but by no more than two observers differ: biceps jerk right 2+ to 1+." in text


@pytest.mark.parametrize("bed", range(12))
def test_no_course_is_cut_or_speaks_in_codes(tmp_path, bed):
    app = demo_app(tmp_path / "ward")
    text = course_text(app.ward.file(app.ward.beds()[bed].patient_id))
    assert max(map(len, text.splitlines())) <= 80
    assert ".." not in text.split("GRADES AT")[0]
    for words in ("side joining", "found both times", "observer disagreement", "SUST", "UP", "_"):
        assert words not in text


def test_no_examination_has_a_course_in_words(app):
    app.ward.admit(app.ward.patient("patient1").model_copy(update={"id": "patient2"}), "x")
    text = course_text(app.ward.file("patient2"))
    assert text.startswith("COURSE OF ")
    assert text.endswith("No examination is saved yet.\n")


def test_of_a_long_stay_the_last_hundred_are_drawn_and_the_others_counted(app):
    for number in range(3, 130):
        app.ward.save(
            examined(VISITS[number % 3], number).model_copy(update={"id": f"exam{number:04}"}), "x"
        )
    text = course(app)
    assert "The last 100 of 130 examinations; the 30 before them stand in the notes." in text
    assert "\n31. " in text
    assert "\n130. " in text
    assert "\n30. " not in text
    assert "Over the stay, 130 against the first look at each sign:" in text
    assert max(map(len, text.splitlines())) <= 80


def test_cord_injury_sheets_stand_in_the_course_with_what_fell_first():
    ward = MemoryWard()
    ward.admit(Patient(id="patient1", bed="A3", name="Otto Brandt", number="4", admitted=NOW), "x")
    lines = ("sensation: 2c6,1\nmotor: 55300/00000\nvac no\ndap yes\nmovement both none", "sensation: 2c5,0\nmotor: 53000/00000\nvac no\ndap no")  # fmt: skip
    for number, text in enumerate(lines):
        kept = KeptSheet(
            id=f"sheet00{number}", patient="patient1", examiner="Dr Ash", at=NOW, sheet=read_typed(text)
        )  # fmt: skip
        ward.save_sheet(kept, "Dr Ash")
    text = course_text(ward.file("patient1"))
    assert max(map(len, text.splitlines())) <= 80
    words = " ".join(text.split())
    assert "1. 4 Mar 2026 14:00 Dr Ash: scale B; level C6; motor level right C7, left C7;" in words
    assert "2. 4 Mar 2026 14:00 Dr Ash: scale A; level C5;" in words
    assert "WORSE: scale B -> A; neurological level C6 -> C5; motor level both C7 -> C6" in words
