"""The urgency at the narrowest: nothing of it is cut, whichever rule fires; and what the panel has room for."""

import itertools
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tests.examinations import examined
from wardexam.exam.examination import Examination, Findings
from wardexam.exam.flags import flag_names
from wardexam.exam.text import COLUMN
from wardexam.exam.typed import read_line
from wardexam.note.limits import LATE, limit_words
from wardexam.note.reasons import steps
from wardexam.ready import engine
from wardexam.reasoning.inference.ranking import place
from wardexam.reasoning.reading import Asymmetry, Evidence, NextSign, Reading, Site
from wardexam.reasoning.rules.reason import EARLIER, Reason, Urgency
from wardexam.reasoning.rules.rule_table import WORDS, rules
from wardexam.reasoning.rules.standing import earlier
from wardexam.reasoning.rules.urgency import UNTIL_KNOWN, assess
from wardexam.terminal.canvas import plain
from wardexam.terminal.panel import CAUTION_IN_SHORT, WHERE, Panel, panel_lines
from wardexam.terminal.urgent import told, urgent_line

NARROWEST, LOWEST, LINE = (
    29,
    19,
    80,
)  # columns and lines that 80x24 leaves to the panel; columns of the line
NOW = datetime(2026, 3, 4, 14, tzinfo=UTC)


def panel(
    examination: Examination, urgency: Urgency, width: int = NARROWEST, height: int = LOWEST, **more
) -> list[str]:
    keys = {
        name: more.pop(name, key) for name, key in (("suggested", "t"), ("why", "!"), ("bar", "#"))
    }
    of = Panel(examination, urgency, more.pop("reading", None), NOW, **more)
    lines = panel_lines(of, width, height, line=LINE, **keys)
    return [plain(line) for line in lines]


def above(urgency: Urgency, width: int = LINE) -> str:
    return plain(urgent_line(urgency, width, now=NOW, key="!"))


def one(text: str) -> str:
    """A text on one line, as it is where no line ends inside a hyphenated word."""
    return " ".join(text.split()).replace("- ", "-").lower()


def fired(line: str) -> Urgency:
    return assess(read_line(line).spelled_out(), None, None)


WAYS = tuple(itertools.product((False, True), (0, 12), ("", EARLIER, f", {UNTIL_KNOWN}{EARLIER}")))


@pytest.mark.parametrize("rule", list(rules()))
def test_level_deadline_and_count_always_stand_in_the_line_and_the_rest_is_read_whole_below(rule):
    for late, others, told_so in WAYS:
        _read_whole(rule, late=late, others=others, told_so=told_so)


def _read_whole(rule: str, *, late: bool, others: int, told_so: str) -> None:
    row = rules()[rule]
    due = NOW - timedelta(days=40) if late else NOW + timedelta(hours=30)
    reason = Reason(
        rule, row.urgency, row.reason + told_so, row.image, row.call, row.source, row.first, row.by, due=due,
        short=row.short or row.reason,
    )  # fmt: skip
    urgency = Urgency(row.urgency, WORDS[row.urgency], (reason,) * (others + 1), (), (), "")
    line = above(urgency)
    assert len(line) <= LINE
    assert ".." not in line
    words = line.split()
    assert words[0] in ("NOW", "TODAY", "WITHIN")
    assert (f"{LATE} 40 d" if late else "due 05 Mar 20:00") in line
    if others:
        assert line.endswith(f"+12, 12 {LATE} !" if late else "+12 more !")
    lines = panel(read_line("ankle 0/2").spelled_out(), urgency)
    assert len(lines) == LOWEST
    assert all(len(text) <= NARROWEST for text in lines)
    below = one(
        " ".join(lines[: next(n for n, text in enumerate(lines) if text.startswith("Where"))])
    )
    said = one(line)
    limit = one(limit_words(reason, NOW))
    assert limit in f"{said} {below}"
    # The whole reason, and where it comes from.
    assert one(reason.text) in said or one(f"{limit}: {reason.said}") in below
    assert reason.said == reason.text or f"({reason.origin})" in f"{said} {below}"
    for step in steps(reason).split("; "):
        assert one(step) in said or one(step) in below
    assert one(CAUTION_IN_SHORT) in one(" ".join(lines))


@pytest.mark.parametrize("rule", list(rules()))
def test_the_short_name_of_a_reason_is_whole_words_and_fits_its_column(rule):
    row = rules()[rule]
    brief = row.short or row.reason
    assert len(brief) <= COLUMN
    assert bool(row.short) == (len(row.reason) > COLUMN)
    assert ".." not in brief
    assert brief == brief.strip()


def test_the_gravest_level_has_the_alarm_and_a_limit_that_is_passed_as_well():
    now = fired("flag:saddle_numb=yes")
    styles = {text.strip(): style for text, style in urgent_line(now, LINE, now=NOW, key="!")}
    assert styles["NOW"] == "alarm"
    today = fired("flag:fit=yes")
    first = replace(today.reasons[0], due=NOW - timedelta(hours=2))
    late = replace(today, reasons=(first, *today.reasons[1:]))
    styles = {text.strip(): style for text, style in urgent_line(late, LINE, now=NOW, key="!")}
    assert styles["TODAY"] == "warn"
    assert styles["OVERDUE 2 h"] == "alarm"


def test_without_a_reason_the_line_says_what_was_not_asked_and_never_that_nothing_is_urgent():
    examination = read_line("flag:cancer=yes").spelled_out()
    assert (
        above(assess(examination, None, None))
        == "Not assessed: 36 flags not asked. Flags yes: cancer."
    )
    assert above(assess(every_flag_denied("knee 2/2"), None, None)) == (
        "Not assessed, power, sensation, saddle and cranial nerves not examined."
    )
    whole = every_flag_denied("knee 2/2 hip_flexion 5/5 touch_L4 2/2 saddle 2/2 drowsiness none")
    assert above(assess(whole, None, None)) == "None raised by what was asked and examined."


@pytest.mark.parametrize(("line", "said"), [
    ("drowsiness marked onset=hours flag:trauma=yes plantar down/up", "not awake: airway, breathing, circulation; capillary glucose"),
    ("meningism present attention present onset=hours nystagmus 1/0", "meningitis or bleeding: blood cultures; antibiotic within 1 h"),
])  # fmt: skip
def test_of_the_other_reasons_for_now_the_first_is_said_with_its_first_steps_at_80_columns(
    line, said
):
    examination = examined(line, NOW)
    reading = engine().read(examination, silence=False)
    shown = panel(examination, assess(examination, None, None), reading=reading)
    assert said.lower() in one(" ".join(shown))


def every_flag_denied(line: str) -> Findings:
    flags_no = " ".join(f"flag:{name}=no" for name in flag_names())
    return read_line(f"{line} onset=longer {flags_no}").spelled_out()


def site(name: str, chance: float, word: str = "possible") -> Site:
    return Site(name, "root", name, "left", None, None, chance, word)


READING = Reading(
    sites=(site("left S1 root", 0.5), site("left sciatic nerve above the knee", 0.3), site("cauda equina, left of the midline", 0.06, "less supported by these signs"), site("left tibial nerve", 0.04)),
    supports=(*tuple(Evidence(("ankle", "left"), f"left ankle {n}", 1.0) for n in range(3)), Evidence(("leg", "left"), "left leg not complained of", 0.5, "story")),
    opposes=(Evidence(("knee", "left"), "left knee extension 4-/5", -0.5),),
    asymmetries=tuple(Asymmetry(f"s{n}", f"ankle plantarflexion: right 5, left {n}", 0.9, "left") for n in range(4)),
    next_signs=(NextSign(("pin_S1", "left"), "left pinprick S1", 0.4, (("reduced", "left S1 root 80%"), ("normal", "left sciatic nerve 40%"))),),
    entered=5,
)  # fmt: skip


@pytest.mark.parametrize("height", range(5, 40))
@pytest.mark.parametrize("width", [NARROWEST, 69])
def test_what_does_not_fit_is_left_out_whole_and_counted(width, height):
    e = read_line("ankle 0/2").spelled_out()
    lines = panel(e, assess(e, None, None), width, height, reading=READING)
    assert len(lines) == height
    assert all(len(line) <= width for line in lines)
    text = one(" ".join(lines))
    assert ".." not in text
    assert "tibial" not in text  # under a twentieth
    assert "complained" not in text  # not found: it speaks neither for nor against
    assert one(CAUTION_IN_SHORT) in text
    shown = text.count("ankle plantarflexion: right 5, left ")
    if shown:
        assert text.count("ankle plantarflexion") == shown
        assert (f"; {4 - shown} more" in text) == (shown < 4)


@pytest.mark.parametrize("height", range(8, 40))
def test_a_second_site_that_is_near_comes_before_what_the_first_rests_on(height):
    e = read_line("ankle 0/2").spelled_out()
    text = one(" ".join(panel(e, assess(e, None, None), height=height, reading=READING)))
    if "rests on" in text or "next (t)" in text:
        assert "left sciatic" in text
    if "left s1 root possible" in text and "left sciatic" not in text:
        assert "2 more, up to 30%" in text


def test_at_80_columns_the_sites_come_first_and_the_word_before_the_number():
    e = read_line("ankle 0/2").spelled_out()
    lines = panel(e, assess(e, None, None), reading=READING)
    assert lines[0] == WHERE
    assert lines[1] == "left S1 root     possible 50%"
    assert lines[2] == "left sciatic     possible 30%"
    assert lines[3] == "  nerve above the knee"
    assert "Against  left knee extension" in lines
    assert lines[-2:] == ["Rules nothing out. Follow", "local policy."]


def test_what_changed_is_said_beside_an_earlier_examination():
    before = examined("knee 2/2", NOW - timedelta(hours=5))
    e = examined("knee 0/2", NOW)
    text = one(" ".join(panel(e, assess(e, before, None), previous=before)))
    assert "since 04 mar 09:00 worse: right knee jerk 2+ to 0" in text


def test_what_was_not_examined_before_is_told_as_new():
    before = examined("knee 2/2", NOW - timedelta(hours=5))
    e = examined("knee 2/2 saddle 1/1", NOW)
    text = one(" ".join(panel(e, assess(e, before, None), previous=before)))
    assert "since 04 mar 09:00 new, not examined before: saddle sensation" in text


def test_what_was_abnormal_and_is_not_examined_again_yet_stands_with_no_change():
    before = examined("knee 2/2 hip_flexion 4/4 level_pin T10/T10", NOW - timedelta(hours=5))
    e = examined("knee 2/2", NOW)
    text = one(" ".join(panel(e, assess(e, before, None), previous=before)))
    assert "no change in 1 sign; not redone: hip flexion, pinprick level" in text


def test_what_the_line_has_no_room_for_is_told_once():
    urgency = fired("flag:saddle_numb=yes flag:bladder_bowel=yes")
    said = told(urgency, LINE, NOW, "!")
    every = steps(urgency.reasons[0]).split("; ")
    left = said.left[-1].removeprefix("within 4 h (history): ").split("; ")
    assert [*said.todo, *left] == every
    wide = told(urgency, 400, NOW, "!")
    assert wide.left == ("within 4 h",)
    assert wide.todo == tuple(every)
    assert wide.why == urgency.reasons[0].said


@pytest.mark.long
@pytest.mark.parametrize("width", [NARROWEST, 69])
def test_no_name_of_a_site_is_cut(width):
    made = engine().hypotheses
    names = set()
    for number in range(len(made.forms)):
        forms = np.zeros(len(made.forms))
        forms[number] = 1.0
        one_site = replace(place(made, int(made.group_of_form[number]), forms), probability=0.2)
        if one_site.name in names:
            continue
        names.add(one_site.name)
        for word in ("very likely", "less supported by these signs"):
            reading = Reading(sites=(replace(one_site, word=word),), entered=5)
            e = read_line("ankle 0/2").spelled_out()
            lines = panel(e, assess(e, None, None), width, reading=reading)
            at = lines.index(WHERE)
            said = " ".join(line.strip() for line in lines[at + 1 :] if line)
            for likely in (f"{word.removesuffix(' by these signs')} 20%", "##"):
                said = said.replace(likely, "")
            assert one(one_site.name) in one(said), lines
            assert ".." not in said
            assert all(len(line) <= width for line in lines)
    assert len(names) > 100


def test_it_says_what_contradicts_and_that_earlier_findings_weigh():
    now = read_line("ankle_dorsiflexion 2/2 ankle 0/2 clonus_ankle 2/0").spelled_out()
    at = NOW.replace(hour=8)
    stands = earlier([examined("saddle absent/reduced anal_tone reduced", at)], NOW)
    reading = engine().read(now, silence=False, earlier=stands)
    text = one("\n".join(panel(now, Urgency(0, "", (), (), (), ""), reading=reading)))
    assert "stated both right ankle 0 and right ankle clonus sustained: left out of where, not of how urgent" in text  # fmt: skip
    assert "with 3 findings from 08:00, faded" in text
