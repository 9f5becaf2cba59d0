"""The panel at the narrowest: nothing of the urgency is cut, whichever rule fires."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from wardexam.exam.examination import Examination
from wardexam.exam.typed import read_line
from wardexam.note.reasons import LATE, steps, when
from wardexam.reasoning.rules.urgency import (
    EARLIER,
    UNTIL_KNOWN,
    WORDS,
    Reason,
    Urgency,
    assess,
    rules,
)
from wardexam.terminal.canvas import plain
from wardexam.terminal.panel import headline, panel_lines

NARROWEST = 33  # columns that 80x24 leaves
WHERE = "Where (suggestion)"
NOW = datetime(2026, 3, 4, 14, tzinfo=UTC)


def panel(examination: Examination, urgency: Urgency, width: int = NARROWEST) -> list[str]:
    return [plain(line) for line in panel_lines(examination, urgency, None, width)]


@pytest.mark.parametrize("told", ["", EARLIER])
@pytest.mark.parametrize("rule", list(rules()))
def test_reason_imaging_and_whom_to_call_are_read_whole(rule, told):
    row = rules()[rule]
    reason = Reason(
        rule, row.urgency, row.reason + told, row.image, row.call, row.source, row.first, row.by
    )
    urgency = Urgency(row.urgency, WORDS[row.urgency], (reason,), (), (), "")
    lines = panel(read_line("").spelled_out(), urgency)
    said = " ".join(" ".join(line for line in lines[: lines.index(WHERE)]).split())
    head = f"{when(reason, NOW).upper()}: {row.reason}{told}"
    assert said.replace("- ", "-") == f"{head} {steps(reason)}".replace("- ", "-")
    assert all(len(line) <= NARROWEST for line in lines)


def test_a_flag_answered_yes_is_said_where_no_rule_fires_on_it():
    examination = read_line("flag:cancer=yes").spelled_out()
    text = " ".join(panel(examination, assess(examination, None, None)))
    assert "not asked. Flags yes: cancer." in " ".join(text.split())


def test_every_line_has_its_place_whatever_is_said():
    quiet, loud = read_line("").spelled_out(), read_line("flag:saddle_numb=yes").spelled_out()
    heights = {len(panel(e, assess(e, None, None))) for e in (quiet, loud)}
    assert len(heights) == 1
    assert heights == {21}


def shown(urgency: Urgency, width: int = NARROWEST) -> list[str]:
    return [plain(line) for line in headline(urgency, width, now=NOW, why="!")]


def fired(line: str) -> Urgency:
    return assess(read_line(line).spelled_out(), None, None)


def test_the_deadline_stands_under_why_and_the_count_of_the_others_beside_it():
    urgency = fired("flag:saddle_numb=yes flag:bladder_bowel=yes hip_flexion 3/3")
    first, *others = urgency.reasons
    urgency = replace(urgency, reasons=(replace(first, due=NOW + timedelta(hours=4)), *others))
    assert f"due 18:00  +{len(others)} more (!)" in shown(urgency)


def test_a_limit_that_is_passed_is_said_of_the_first_reason_and_of_those_that_do_not_show():
    urgency = fired("flag:saddle_numb=yes flag:bladder_bowel=yes hip_flexion 3/3")
    first, second, *others = urgency.reasons
    late = NOW - timedelta(hours=2)
    hidden = replace(urgency, reasons=(first, replace(second, due=late), *others))
    assert f"+{len(others) + 1} more, 1 OVERDUE (!)" in shown(hidden)
    seen = replace(urgency, reasons=(replace(first, due=late),))
    assert "OVERDUE 2 h, was due 12:00" in shown(seen)
    assert [
        style for line in headline(seen, NARROWEST, now=NOW) for text, style in line if LATE in text
    ] == ["alarm"]


@pytest.mark.parametrize("width", [NARROWEST, 37, 60])
@pytest.mark.parametrize("rule", list(rules()))
def test_the_longest_headline_is_wrapped_and_leaves_the_panel_as_high_as_it_is(rule, width):
    row = rules()[rule]
    reason = Reason(
        rule, row.urgency, f"{row.reason}, {UNTIL_KNOWN}{EARLIER}", row.image, row.call, row.source, row.first,
        row.by, due=NOW - timedelta(days=40),
    )  # fmt: skip
    urgency = Urgency(row.urgency, WORDS[row.urgency], (reason, reason, reason), (), (), "")
    e = read_line("ankle 0/2 knee 2/2").spelled_out()
    lines = [plain(line) for line in panel_lines(e, urgency, None, width, now=NOW)]
    assert len(lines) == 21
    assert all(len(line) <= width for line in lines)
    said = " ".join(" ".join(lines).split()).replace("- ", "-")
    assert f"{when(reason, NOW).upper()}: {reason.said}".replace("- ", "-") in said
    assert steps(reason).replace("- ", "-") in said
    assert "OVERDUE 40 d, was due 23 Jan 14:00" in said
    assert "+2 more, 2 OVERDUE (!)" in said
    assert "Rules nothing out. Follow local policy." in said
