"""The note of each demo patient, read as the registrar at 3 a.m. reads it."""

import re
import shutil
from datetime import UTC, datetime

import pytest

from tests.note.test_note import PATIENT, made
from tests.note.test_sentences import CODES
from tests.terminal.screens import ROOT
from wardexam.exam.flags import flags
from wardexam.note import note
from wardexam.note.charted import Charted
from wardexam.note.limits import until
from wardexam.note.note import FIRST
from wardexam.note.page import WIDTH
from wardexam.note.reasons import soonest
from wardexam.note.top import TOP, top
from wardexam.reasoning.rules.change_words import headline
from wardexam.reasoning.rules.deadlines import end_of
from wardexam.reasoning.rules.reason import Reason, Urgency
from wardexam.reasoning.rules.rule_table import WORDS, rules
from wardexam.reasoning.rules.urgency import assess
from wardexam.records.ward import open_ward
from wardexam.saved import Saved
from wardexam.session import Session

NOW = datetime(2026, 3, 4, 14, tzinfo=UTC)
BEDS = ["A1", "A2", "A3", "A4", "B1", "B2", "B3", "B4", "C1", "C2", "C3", "C4"]
# What a registrar who has the first three lines must be able to say: how urgent, what to do, by when.
READ = {
    "A1": ("NOW, no deadline left", "Image done 3 Mar 13:30", "T8 compression"),
    "A2": (
        "NOW, due 4 Mar 15:00",
        "cauda equina",
        "MRI of the lumbosacral spine, asked 4 Mar 12:30, not done",
    ),
    "A3": (
        "TODAY, OVERDUE 22 h, was due 3 Mar 16:00",
        "test the saddle; bladder scan",
        "call spinal team",
    ),
    "A4": ("NOW, no deadline left", "stroke", "Not needed 3 Mar 14:30", "stroke unit treats it"),
    "B1": ("NOW, OVERDUE 20 h, was due 3 Mar 18:15", "Next: vital capacity now", "Weak breath"),
    "B2": ("WITHIN DAYS, due 5 Mar 16:00", "First: reflexes, plantars, level?"),
    "B3": ("UNKNOWN, not low: 35 flags not asked", "Ask first:"),
    "B4": (
        "NOW, OVERDUE 41 h, was due 2 Mar 21:00",
        "First: drug and last dose",
        "MRI of the whole spine",
    ),
    "C1": ("WITHIN DAYS, due 5 Mar 24:00", "First: which nerve, root or tract"),
    "C2": ("NOW, OVERDUE 46 h, was due 2 Mar 16:00", "First: bladder scan", "whole"),
    "C3": ("WITHIN DAYS, due 6 Mar 06:00", "First: which nerve, root or tract"),
    "C4": (
        "NOW, OVERDUE 1 h, was due 4 Mar 13:00",
        "First: drug and last dose",
        "MRI of the whole spine",
    ),
}


@pytest.fixture(scope="module")
def cases(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / "ward"
    shutil.copytree(ROOT / "demo_db" / "ward", folder)
    folder.chmod(0o700)
    session = Session(open_ward(folder), "Dr Test", lambda: NOW, lambda: "x")
    return {b.bed: Saved(session, b.patient_id).named(None) for b in session.ward.beds()}


def line_of(lines, text):
    """The number of the first line that begins with a text, from 1."""
    return next(n for n, line in enumerate(lines, 1) if line.removeprefix(FIRST).startswith(text))


def told(lines, first, last):
    return " ".join(" ".join(lines[first - 1 : last]).split())


def test_every_demo_patient_is_read_here(cases):
    assert sorted(cases) == BEDS == sorted(READ)


@pytest.mark.parametrize("bed", BEDS)
def test_who_urgency_action_and_deadline_stand_in_lines_1_to_3(cases, bed):
    lines = cases[bed].note().splitlines()
    patient, urgency = cases[bed].patient, cases[bed].told
    assert lines[0].startswith(patient.name)
    assert f"bed {bed}" in lines[0]
    assert line_of(lines, "Urgency") == 2
    head = told(lines, 2, 3)
    # What says the result of what was done may go on into the fourth line, never what is to be done by when.
    whole = told(lines, 2, line_of(lines, "Impression:") - 1)
    assert READ[bed][0] in head
    assert READ[bed][1].lower() in head.lower()
    assert all(text in whole for text in READ[bed])
    if run := soonest(urgency):
        assert f"due {until(run.due, cases[bed].examination.at)}" in head
        assert (run.due < NOW) is ("OVERDUE" in head) is head.startswith("Urgency at 4 Mar 14:00: ")
        first = min(r.due for r in urgency.reasons if r.due)
        assert run.due < NOW or until(first, cases[bed].examination.at).split()[-1] in head
        step = run.asked.what if run.asked else run.first
        assert step.lower() in head.lower()


@pytest.mark.parametrize("bed", BEDS)
def test_change_and_impression_stand_by_line_6(cases, bed):
    case = cases[bed]
    lines = case.note().splitlines()
    assert line_of(lines, "Impression: ") <= 6
    assert (case.examination.impression or "none written") in told(lines, 1, 6)
    change = case.comparison()
    if change is None:
        assert "First examination." in " ".join(lines)
    else:
        word = headline(change).partition(":")[0].partition(",")[0].capitalize()
        assert line_of(lines, word) <= 4


@pytest.mark.parametrize("bed", BEDS)
def test_findings_come_in_their_order_before_what_was_answered_long_ago(cases, bed):
    lines = cases[bed].note().splitlines()
    heads = [
        "NEUROLOGICAL EXAMINATION", "Abnormal:", "Not examined:", "Normal:",
        "Red flags asked:" if cases[bed].examination.flags else "NO RED FLAG WAS ASKED",
    ]  # fmt: skip
    places = [line_of(lines, head) for head in heads]
    assert places == sorted(places)
    changed = " ".join(lines).count("What changed: ") and line_of(lines, "What changed: ")
    assert not changed or line_of(lines, "Impression: ") < changed < min(places)
    # What changed are findings too, the first to be read.
    said = (
        sum(line.startswith("  ") for line in lines[changed : places[0] - 1]) + 1 if changed else 0
    )
    assert places[1] - said <= 23
    answered = [n for n, line in enumerate(lines, 1) if line == "Other reasons, no deadline left:"]
    assert all(n > places[-1] for n in answered)


@pytest.mark.parametrize("bed", BEDS)
def test_no_code_of_the_screen_reaches_the_chart(cases, bed):
    for text in (cases[bed].note(), cases[bed].referral()):
        words = set(re.sub(r"[.,;:()/]", " ", text).split())
        # In the doctor's own words and in names a short word is a word.
        assert not (CODES | {"NT", "MARK", "abs", "alt"}) & words - {"few"}
        assert not re.search(r"\b([CTLS][0-9]) \1\b", text)
        assert "_" not in text
        assert max(map(len, text.splitlines())) <= WIDTH


@pytest.mark.parametrize("bed", BEDS)
def test_the_note_stays_a_suggestion_and_excludes_nothing(cases, bed):
    text = " ".join(cases[bed].note().split())
    assert "Suggested urgency; do not wait for it: local policy and seniors decide." in text
    assert "Signs alone do not exclude an emergency, nor does a flag answered no." in text


CORE = "biceps 2/2 brachioradialis 2/2 triceps 2/2 knee 2/2 ankle 2/{} plantar down/down clonus_ankle none/none power_leg 5/{}"
USUAL = [
    CORE.format("2", "5"),
    CORE.format("0", "5") + " onset=days flag:bladder_bowel=no flag:saddle_numb=no flag:both_legs=no complaint=leg_pain",
    CORE.format("2", "5") + " ankle_plantarflexion 5/4 onset=days complaint=leg_pain flag:bladder_bowel=no",
]  # fmt: skip


@pytest.mark.parametrize("line", USUAL)
def test_a_usual_examination_takes_less_than_thirty_lines(line):
    examination = made(line, impression="Left S1 root.")
    text = note.render(Charted(PATIENT, examination, urgency=assess(examination, None, None)))
    assert text.count("\n") < 30, text
    not_asked = " ".join(text.split()).split("Red flags not asked: ")[1].split(". ")[0]
    by_story = examination.context.onset != "unknown"  # whether it came suddenly
    assert len(not_asked.split("; ")) == len(flags()) - len(examination.flags) - by_story


def reason_of(rule):
    row = rules()[rule]
    return Reason(
        rule, row.urgency, row.reason, row.image, row.call, row.source, row.first, row.by,
        origin="history and signs", since=NOW, due=end_of(NOW, row.by),
    )  # fmt: skip


@pytest.mark.parametrize("rule", list(rules()))
@pytest.mark.parametrize("room", [TOP, TOP + 1])
def test_of_every_rule_level_deadline_and_first_step_fit_the_first_lines(rule, room):
    reason = reason_of(rule)
    urgency = Urgency(reason.urgency, WORDS[reason.urgency], (reason,), (), (), "")
    text, whole = top(urgency, NOW, room)
    lines = note.wrapped(text)
    head = " ".join(" ".join(lines[:TOP]).split())
    assert len(lines) <= max(room, TOP + 1)
    assert f"due {until(reason.due, NOW)}" in head
    assert (reason.first or reason.call).lower() in head.lower()
    assert reason.text.lower() in text.lower()
    if whole:
        said = (reason.said, reason.call, reason.image)
        assert all(t.lower() in text.lower() for t in said if "none" not in t)
