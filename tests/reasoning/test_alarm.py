"""The tool's own alarm: one more abnormal sign does not calm it, unless all of it is of one place that is not urgent."""

import random
from datetime import UTC, datetime

import pytest

from wardexam import ready
from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.acts import Raised
from wardexam.exam.answers import answers_for
from wardexam.exam.examination import Examination
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.own_alarm import OWN, own_alarm
from wardexam.reasoning.rules.urgency import assess

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
KINDS = [s for s in catalogue().values() if s.answers not in ("level", "residual")]


def level(line: str) -> int:
    found = read_line(line).spelled_out()
    return assess(found, None, ready.engine().read(found)).level


# A sheet that the tool's own alarm calls today, and one more abnormal sign of somewhere else.
CALMED = [
    ("clonus_ankle none/unsustained touch_L4 normal/normal onset=days", "trigger_pain present/-"),
    ("wasting_calf -/slight onset=waking scapular_fixing 5/5 pin_C5 normal/normal", "neck_compression present/present"),
    ("position_leg reduced/reduced territory_sural absent/normal touch_T4 normal/normal knee 2/2 touch_T2 normal/normal"
     " anal present/present onset=days", "joint_limits_arm present/present"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "more"), CALMED)
def test_one_more_abnormal_sign_does_not_calm_the_alarm(line, more):
    before = read_line(line).spelled_out()
    assert OWN in {r.rule for r in assess(before, None, ready.engine().read(before)).reasons}
    assert level(f"{line} {more}") >= level(line)


def test_a_hand_in_which_everything_is_of_one_nerve_is_not_alarming():
    line = "age=50 onset=days complaint=numb_hands finger_abduction 4/5 territory_ulnar 1/2 thumb_abduction 5/5 finger_extension 5/5 triceps 2/2"
    found = read_line(line).spelled_out()
    assert OWN not in {r.rule for r in assess(found, None, ready.engine().read(found)).reasons}


@pytest.mark.parametrize(
    "line",
    [
        "age=70 onset=longer slowness present/present tremor_rest present/present tone_arm rigid/rigid",
        "age=66 onset=longer complaint=unsteady slowness absent/present tremor_rest absent/present tone_arm normal/rigid",
        "age=60 onset=longer tremor_action present/present finger_nose none/none power_arm 5/5",
    ],
)
def test_parkinsonism_and_tremor_are_no_cord_and_no_stroke(line):
    found = read_line(line).spelled_out()
    assert assess(found, None, ready.engine().read(found)).level == 0


def word(draw: random.Random, sign, *, odd: bool) -> str:
    answers = [a for a in answers_for(sign.answers, "conventional").answers if a.usual != odd]
    if not answers:
        return ""
    answer = draw.choice(answers).code
    if sign.sides == "midline":
        return f"{sign.id} {answer}"
    return f"{sign.id} {draw.choice((f'{answer}/-', f'-/{answer}'))}"


@pytest.mark.parametrize("count", [15, pytest.param(3000, marks=pytest.mark.long)])
def test_random_additions_hardly_ever_calm(count):
    draw, calmer, tried = random.Random(11), [], 0
    while tried < count:
        *some, last = draw.sample(KINDS, draw.randint(2, 9))
        parts = [word(draw, s, odd=draw.random() < 0.5) for s in some]
        more = word(draw, last, odd=True)
        line = " ".join(
            filter(None, (*parts, f"onset={draw.choice(('sudden', 'days', 'weeks', 'longer'))}"))
        )
        if more and level(f"{line} {more}") < level(line):
            calmer.append((line, more))
        tried += bool(more)
    assert len(calmer) <= count // 150, calmer  # of the alarm alone, 0.4 %: no rule is ever lost


@pytest.mark.parametrize(("onset", "by"), [("days", "today"), ("longer", "within days")])
def test_the_alarm_has_the_time_of_its_level(onset, by):
    findings = read_line(f"onset={onset} level_pin T8/T8 plantar up/up power_leg 3/3").spelled_out()
    alarm = own_alarm(findings, ready.engine().read(findings))
    assert alarm is not None
    assert (alarm.text.partition(",")[0], alarm.by) == ("signs may mean: cord", by)


OLD = "onset=longer flag:worse=no level_pin T8/T8 plantar up/up power_leg {}/{}"


def raised(examination, previous=None):
    reading = ready.engine().read(examination)
    reasons = assess(examination, previous, reading, own=True).reasons
    return [r for r in reasons if r.rule == OWN]


def test_the_alarm_is_silent_of_what_is_told_to_be_unchanged_unless_it_changed():
    before, now = (read_line(OLD.format(g, g)).spelled_out() for g in "41")
    assert raised(now) == []
    assert raised(now, before) != []


def test_an_alarm_that_was_raised_is_not_taken_back_by_what_is_told_but_by_a_mark():
    kept = (Raised(rule=OWN, since=AT, level=2, text="signs may mean: cord", region="cord"),)
    told = read_line(OLD.format(4, 4)).spelled_out()
    marked = read_line(OLD.replace("level_pin ", "level_pin known:").replace("plantar ", "plantar known:")
        .replace("power_leg ", "power_leg known:").format(4, 4)).spelled_out()  # fmt: skip
    of_told, of_marked = (
        Examination(**{**sheet.model_dump(), "id": "e" * 8, "patient": "p" * 8, "examiner": "x", "at": AT, "raised": kept})
        for sheet in (told, marked)
    )  # fmt: skip
    assert [r.urgency for r in raised(of_told)] == [2]
    assert raised(of_marked) == []
