"""The handover sheet: its order, what it says of change and of what was not asked, its size."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.examinations import examined
from wardexam.exam.examination import Patient
from wardexam.exam.flags import flag_names
from wardexam.note import handover, note, referral
from wardexam.note.charted import Charted
from wardexam.note.limits import late_words
from wardexam.reasoning.rules.urgency import assess
from wardexam.records.repository import Summary

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
NOW = AT + timedelta(hours=12)


def row(bed, *visits, stored=None, **more):
    """A patient of the sheet; each visit a typed line, four hours apart."""
    patient = Patient(id=f"patient{bed.lower()}", bed=bed, name="Ana Invented", admitted=AT, **more)
    made = [
        examined(line, AT + timedelta(hours=4 * n)).model_copy(
            update={"id": f"exam000{n}", "patient": patient.id, "examiner": "Dr Ash"}
        )
        for n, line in enumerate(visits)
    ]
    return patient, made, stored


def sheet(*rows):
    return handover.render(rows, now=NOW)


def beds(text):
    overview = text.split(handover.WHOLE_HEAD)[0]
    return [
        line.split()[0]
        for line in overview.splitlines()
        if line[:1] in "AB" and line[1:2].isdigit()
    ]


def entry(text, bed):
    lines = text.splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith(f"{bed} "))
    return lines[at], lines[at + 1]


def test_sickest_come_first_then_the_worse_then_those_with_most_change():
    rows = [
        row("A1", "knee 2/2"),
        row("A2"),
        row("A3", "plantar down/up"),
        row("A4", "flag:saddle_numb=yes"),
        row("A5", "hip_flexion 5/5", "hip_flexion 3/3 flag:saddle_numb=yes"),
        row("A6", "power_leg 5/5", "power_leg 2/2 flag:saddle_numb=yes"),
        row("A7", "knee 2/2 hip_flexion 4/5", "knee 2/2 hip_flexion 5/5"),
    ]
    # NOW and worse by much, by less, NOW and not worse, never examined, today, nothing fires.
    assert beds(sheet(*rows)) == ["A6", "A5", "A4", "A2", "A3", "A1", "A7"]


def test_the_order_does_not_depend_on_the_order_of_the_rows():
    rows = [row("A1", "knee 2/2"), row("A2", "flag:saddle_numb=yes"), row("A3", "knee 2/2")]
    assert sheet(*rows) == sheet(*reversed(rows))


def test_change_and_who_examined_when_are_said():
    text = sheet(row("A1", "knee 2/2", "knee 0/2 flag:bladder_bowel=no"))
    first, second = entry(text, "A1")
    assert "12 h WORSE" in first  # today, due after midnight
    assert "right knee jerk 2+ to 0" in second
    assert "; examined 12:00 Dr Ash; " in second


def test_a_change_that_is_not_worse_is_said_to_be_one_where_there_is_no_room_for_how():
    visits = ("ankle 2/2", "ankle 2/3 saddle 1/1")
    _, made, _ = row("A1", *visits)
    told = handover.told_of(made)
    assert told.change.signs
    assert not told.change.worse
    said = handover._changed(told.change)
    assert said[0].startswith("left ankle jerk 2+ to 3")
    assert "changed: left ankle jerk; 1 new" in said
    assert not any(way.startswith("left ankle jerk;") for way in said)


def test_a_slow_slide_is_told_in_the_overview_and_with_what_was_found():
    text = sheet(row("A1", *(f"dorsiflexion 5/{g}" for g in ("5", "4+", "4-"))))
    first, second = entry(text, "A1")
    assert "WORSE" in first
    assert "worse over the stay" in second
    assert "  Worse over the stay: left ankle dorsiflexion 5 (2 Mar 08:00) to 4-.\n" in text


def test_a_first_examination_is_no_change_and_silence_is_no_answer():
    _, second = entry(sheet(row("A1", "knee 2/2")), "A1")
    assert "first examination" in second
    assert "37 flags not asked" in second


def test_a_yes_of_earlier_in_the_stay_is_none_of_those_that_were_not_asked():
    visits = ("flag:cancer=yes", "knee 2/2")
    first, _ = entry(sheet(row("A1", *visits)), "A1")
    assert "36 flags not asked" in first
    _, second = entry(sheet(row("A1", "knee 2/2 flag:cancer=yes", "knee 2/2")), "A1")
    assert "36 flags not asked" in second
    every = " ".join(f"flag:{name}=no" for name in flag_names() if name != "cancer")
    first, second = entry(sheet(row("A1", visits[0], every)), "A1")
    assert "1 flag not asked again" in first
    assert "all flags asked" not in second
    patient, made, _ = row("A1", *visits)
    charted = Charted(patient, made[1], previous=made[0], urgency=assess(made[1], made[0], None))
    assert "Urgency: UNKNOWN, not low: 36 flags not asked." in " ".join(
        note.render(charted).split()
    )
    assert "36 flags not asked" in " ".join(referral.render(charted).split())


def test_every_flag_asked_is_said():
    every = " ".join(f"flag:{name}=no" for name in flag_names())
    assert "all flags asked" in entry(sheet(row("A1", every)), "A1")[1]


def test_a_flag_answered_yes_shows_though_no_rule_fires():
    assert "flag yes: cancer" in entry(sheet(row("A1", "flag:cancer=yes")), "A1")[0]


@pytest.mark.parametrize(
    ("hours", "said"), [(4, "8 h late"), (11, "1 h late"), (24, "exam 12 h"), (None, "")]
)
def test_the_time_of_the_next_examination_is_said(hours, said):
    first, _ = entry(sheet(row("A1", "knee 2/2", recheck_hours=hours)), "A1")
    assert first.endswith(said) if said else "due" not in first and "late" not in first


def test_a_limit_and_an_examination_that_are_as_late_are_said_to_be_as_late_and_never_less():
    due = NOW - timedelta(hours=4)
    for minutes, said in (
        (60, "1 h"),
        (61, "2 h"),
        (90, "2 h"),
        (150, "3 h"),
        (99 * 60 + 1, "5 d"),
    ):
        now = due + timedelta(minutes=minutes)
        examined_at = due - timedelta(hours=4)
        last = examined("knee 2/2", examined_at)
        patient = Patient(id="patient1", bed="A1", name="x", admitted=AT, recheck_hours=4)
        assert late_words(now - due) == f"OVERDUE {said}"
        assert handover.due_in(patient, last, now).replace("5d", "5 d") == f"{said} late"
        assert handover.due_in(patient, last, due - timedelta(minutes=90)) == "exam 1 h"


def test_a_patient_with_a_schedule_never_examined_is_late_since_admission():
    first, second = entry(sheet(row("A1", recheck_hours=4)), "A1")
    assert "not yet" in first
    assert first.endswith("12 h late")
    assert "nothing examined, no flag asked" in second


def test_urgency_raised_by_the_site_when_it_was_saved_is_kept_and_never_lowers():
    raised = Summary(2, "today", False, "signs may mean: thoracic cord")
    assert "today       signs may mean: thoracic cord" in sheet(
        row("A1", "knee 3/3", stored=raised)
    )
    calm = Summary(0, "none raised", False, "no rule fired")
    assert "NOW" in entry(sheet(row("A1", "flag:saddle_numb=yes", stored=calm)), "A1")[0]


def test_ten_patients_are_a_screen_and_every_line_fits():
    rows = [
        row(f"B{n:02}", *["power_leg 5/5 knee 2/2", f"power_leg {n % 5}/4 knee 0/0 onset=days"])
        for n in range(25)
    ]
    text = sheet(
        *[
            (p.model_copy(update={"name": "Wolfeschlegelsteinhausenbergerdorff"}), e, s)
            for p, e, s in rows
        ]
    )
    pages = text.split("\n\n")
    assert [len(p.strip().splitlines()) for p in (*pages[:3], pages[-1])] == [21, 21, 11, 3]
    assert (len(pages), pages[3].splitlines()[0]) == (5, handover.WHOLE_HEAD)
    assert handover.PAGE_LINES == 22
    assert max(map(len, text.splitlines())) <= 80
    assert text.isascii()
    assert len(beds(text)) == 25


def test_an_empty_ward_has_a_sheet_too():
    text = sheet()
    assert "0 of 0" in text


def test_no_change_is_claimed_of_signs_that_were_found_both_times_alone():
    assert (
        "no sign was examined both times"
        in entry(sheet(row("A1", "knee 2/2", "ankle 2/2")), "A1")[1]
    )
    assert "no change in 1 sign" in entry(sheet(row("A1", "knee 2/2", "knee 2/2")), "A1")[1]


def test_what_was_not_examined_before_is_new_and_never_no_change():
    text = sheet(row("A1", "knee 2/2", "knee 2/2 saddle 1/1"))
    assert "; 1 new; " in entry(text, "A1")[1]
    assert "no change" not in text.split(handover.WHOLE_HEAD)[0]
    assert "New, not examined before: saddle sensation reduced on both sides." in " ".join(
        text.split()
    )


def test_what_was_abnormal_and_was_not_examined_again_stands_in_place_of_no_change():
    before, now = "knee 2/2 hip_flexion 4/4 knee_extension 4/4", "knee 2/2"
    assert "; 2 not redone; " in entry(sheet(row("A1", before, now)), "A1")[1]
    open_bed = entry(sheet(row("A1", f"{before} onset=longer", f"{now} onset=longer")), "A1")[1]
    assert "; 1 same, 2 not redone; " in open_bed
