"""The panel at the narrowest: nothing of the urgency is cut, whichever rule fires."""

import pytest

from wardexam.exam.examination import Examination
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.urgency import EARLIER, WORDS, Reason, Urgency, assess, rules
from wardexam.terminal.canvas import plain
from wardexam.terminal.panel import URGENT, panel_lines

NARROWEST = 33  # columns that 80x24 leaves


def panel(examination: Examination, urgency: Urgency, width: int = NARROWEST) -> list[str]:
    return [plain(line) for line in panel_lines(examination, urgency, None, width)]


@pytest.mark.parametrize("when", ["", EARLIER])
@pytest.mark.parametrize("rule", list(rules()))
def test_reason_imaging_and_whom_to_call_are_read_whole(rule, when):
    row = rules()[rule]
    reason = Reason(
        rule, row.urgency, row.reason + when, row.image, row.call, row.source, row.first, row.by
    )
    urgency = Urgency(row.urgency, WORDS[row.urgency], (reason,), (), (), "")
    lines = panel(read_line("").spelled_out(), urgency)
    said = " ".join(" ".join(lines[:URGENT]).split())
    head = f"{reason.when.upper()}: {row.reason}{when}"
    assert said.replace("- ", "-") == f"{head} {reason.steps}".replace("- ", "-")
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
