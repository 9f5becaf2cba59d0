"""The lines of the ward list: nothing cut, the alarm as it is under the cursor, one or two lines a patient."""

import itertools
from dataclasses import replace
from datetime import timedelta

import pytest

from tests.examinations import examined
from tests.terminal.screens import NOW
from wardexam.exam.text import COLUMN
from wardexam.note.headline import summarise
from wardexam.ready import engine
from wardexam.reasoning.rules.rule_table import rules
from wardexam.reasoning.rules.urgency import assess
from wardexam.records.repository import Bed, Summary
from wardexam.terminal.canvas import plain
from wardexam.terminal.ward_list import AROUND, Teller, bed_lines, names, place


def tell(width: int = 80, *, by_due: bool = False) -> Teller:
    return Teller(NOW, width, plain=True, pointer=">", by_due=by_due)


def bed(number: int = 1, **summary) -> Bed:
    """A patient in a bed, examined three hours ago."""
    made = Summary(
        **{"urgency": 3, "urgency_word": "now", "worse": True, "headline": "x"} | summary
    )
    at = (NOW - timedelta(hours=3)).isoformat()
    return Bed(
        f"patient{number}",
        f"A{number}",
        f"Invented {number}",
        40,
        "female",
        at,
        "Dr Ash",
        1,
        made,
        4,
        None,
    )


@pytest.mark.parametrize("rule", list(rules()))
def test_no_reason_of_the_table_is_cut_whatever_its_clock_and_its_order(rule):
    row = rules()[rule]
    hours = (-500, -2, 0.5, 11, 30, 200)
    for width, each, late, by_due in itertools.product((80, 120), (1, 2), hours, (False, True)):
        due = (NOW + timedelta(hours=late)).isoformat()
        of = bed(
            urgency=row.urgency, headline=row.reason, short=row.short or row.reason, due=due, step=row.first
        )  # fmt: skip
        lines = [
            plain(line) for line in bed_lines(of, tell(width, by_due=by_due), each, chosen=True)
        ]
        assert len(lines) == each
        assert all(len(line) <= width for line in lines)
        text = "\n".join(lines)
        assert ".." not in text
        assert row.reason in text or (each == 1 and (row.short or row.reason) in text)
        if late < 0 and (each == 2 or width == 120 or not by_due):
            assert "OVERDUE " in lines[0]
            assert " d  " in lines[0] or " h  " in lines[0]  # the next column stands apart


def test_the_reasons_column_is_as_wide_as_what_the_table_may_say():
    head = plain(names(tell(), 1))
    assert head.index("Reason") + COLUMN <= 80


@pytest.mark.parametrize(("urgency", "style"), [(3, "alarm"), (2, "warn"), (1, ""), (0, "")])
def test_the_level_looks_the_same_under_the_cursor(urgency, style):
    seen = []
    for chosen in (False, True):
        (line,) = bed_lines(bed(urgency=urgency), tell(), 1, chosen=chosen)
        words = {"NOW !  ": 3, "TODAY !": 2, "days !": 1, "open": 0}
        (cell,) = (piece for piece in line if piece[0] in words)
        assert words[cell[0]] == urgency
        seen.append(cell[1])
        cursor = [text for text, look in line if look == "cursor"]
        assert len(cursor) == chosen
        assert not chosen or cursor == ["A1    "]
    assert seen == [style, style]


def test_a_limit_that_is_passed_keeps_the_alarm_under_the_cursor():
    late = (NOW - timedelta(hours=2)).isoformat()
    for chosen in (False, True):
        (line,) = bed_lines(bed(due=late), tell(), 1, chosen=chosen)
        assert ("OVERDUE 2 h", "alarm") in line


@pytest.mark.parametrize("height", [24, 30, 40, 60])
@pytest.mark.parametrize("count", [1, 8, 10, 12, 18, 40])
def test_a_patient_takes_two_lines_where_the_ward_fits_so(count, height):
    beds = [
        bed(
            n,
            short="",
            headline="a reason that is longer than any column of the list is wide, by far",
        )
        for n in range(count)
    ]
    for at in (0, count // 2, count - 1):
        found = place(beds, at, height, tell())
        assert found.each == (2 if 2 * count <= height - AROUND else 1)
        assert found.first <= at < found.first + found.room
        used = found.each * min(found.room, count) + len(found.below)
        assert used <= height - AROUND
        if found.each == 1:
            said = " ".join(" ".join(map(plain, found.below)).split())
            assert f"A{at} Invented {at}: {beds[at].summary.headline}" in said
            assert "last examined 3 h ago by Dr Ash" in said


def test_a_record_that_cannot_be_read_and_one_never_examined_say_so():
    none = Bed("patient1", "A1", "Invented", 40, "female", None, "", 0, None, 4, None)
    (line,) = bed_lines(none, tell(), 1, chosen=False)
    assert plain(line).endswith("not examined")
    assert "exam FIRST" in plain(line)
    bad = Bed(
        "patient1", "A1", "Invented", 40, "female", None, "", 0, None, 4, None, trouble="torn"
    )
    (line,) = bed_lines(bad, tell(), 1, chosen=False)
    assert plain(line).endswith("RECORD UNREADABLE")


def test_what_was_not_asked_stands_before_a_likely_place_and_alone_where_there_is_no_room():
    examination = examined("knee 2/2 straight_leg_raise positive/negative onset=longer", NOW)
    reading = engine().read(examination)
    summary = summarise(assess(examination, None, None), None, reading)
    assert summary.headline.startswith(f"{len(examination.flags_open)} flags not asked; likely")
    assert summary.short == f"{len(examination.flags_open)} flags not asked"


@pytest.mark.parametrize("by", ["Dr Ash", "Dr Wilhelmina Ottoline Featherstonehaugh"])
@pytest.mark.parametrize(
    "headline", ["possible stroke", "cord signs, growing or with function lost"]
)
def test_who_examines_now_is_said_before_the_reason_and_nothing_runs_over(by, headline):
    of = replace(bed(headline=headline, short="cord, growing"), has_draft=True, writing=by)
    _, second = (plain(line) for line in bed_lines(of, tell(), 2, chosen=True))
    assert second.strip().startswith(f"{by[:10]}")
    assert " examines now; " in second
    assert headline.split(",")[0] in second
    assert "open it" not in second
    assert len(second) <= 80
    below = " ".join(plain(line).strip() for line in place([of] * 20, 0, 24, tell()).below)
    assert " examines now" in below
