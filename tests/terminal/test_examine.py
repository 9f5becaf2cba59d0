"""The examination screen without a terminal: where the cursor goes, what a key writes, what is drawn."""

from datetime import UTC, datetime

import pytest

from tests.records.memory import MemoryWard
from wardexam.anatomy.catalogue import PARTS, catalogue
from wardexam.exam.answers import SCALES, answers_for
from wardexam.exam.entry import Change
from wardexam.exam.examination import Patient
from wardexam.exam.row_sets import row_sets
from wardexam.ready import engine
from wardexam.session import Session
from wardexam.terminal.canvas import plain
from wardexam.terminal.examine import edits, view
from wardexam.terminal.examine.actions import ACTIONS
from wardexam.terminal.examine.reader import Reader
from wardexam.terminal.examine.state import FLAGS, State
from wardexam.terminal.keys import ALWAYS, EXAMINE
from wardexam.terminal.looks import ASCII
from wardexam.visit import Visit

NOW = datetime(2026, 3, 4, 14, tzinfo=UTC)


@pytest.fixture
def opened():
    ward = MemoryWard()
    ward.admit(Patient(id="patient1", bed="A3", name="Ana Invented", admitted=NOW), "test")
    session = Session(ward, "Dr Test", lambda: NOW, lambda: "exam0001")
    return State(Visit.open(session, "patient1"))


@pytest.fixture
def state(opened):
    """An examination in which it was passed over when it began: the cursor is on the first sign."""
    opened.move(1)
    return opened


def write(state, *made):
    for edit in made:
        state.visit.change(*edit)


def test_the_table_of_actions_is_that_of_the_keys():
    everywhere = {row.action for row in ALWAYS}
    assert set(ACTIONS) == {row.action for row in EXAMINE} - everywhere


def test_a_grade_is_a_change_at_the_cursor_and_nothing_else(state):
    (made,) = edits.grade(state, "2")
    assert (made.change.key, made.change.value["answer"]) == ("biceps right", "2+")
    assert made.said == "right biceps 2+"
    assert state.examination.findings == ()


def test_a_grade_for_both_sides_is_two_changes_said_as_one(state):
    state.both = True
    made = edits.grade(state, "0")
    assert [m.change.key for m in made] == ["biceps right", "biceps left"]
    assert edits.said_of_both(state, made) == "both biceps 0"


def test_a_number_typed_at_once_is_that_of_a_positive_test(state):
    state.go("straight_leg_raise", "right")
    (found,) = edits.begins_number(state, "3")
    assert (found.side, found.answer) == ("right", "positive")
    assert edits.number(found, "degrees", "30").change.value["amount"] == 30
    assert edits.begins_number(state, "1") == []  # an answer of its own
    state.go("knee", "right")
    assert edits.begins_number(state, "7") == []
    state.go("clonus_ankle", "left")
    state.both = True
    assert [f.side for f in edits.begins_number(state, "4")] == ["right", "left"]


def test_a_minus_typed_behind_a_four_is_asked_about_wherever_the_cursor_has_moved(state):
    state.go("hip_flexion", "right")
    write(state, *edits.grade(state, "4"))
    state.advance()
    assert not edits.split_grade(state, "minus", "u")  # it was not moved by the grade
    state.moved_on = True
    said = "- not entered: u - makes the 4 a 4-; - again grades at the cursor."
    assert edits.split_grade(state, "minus", "u") == said
    assert not edits.split_grade(state, "5", "u")
    state.go("plantar", "right")  # where a minus is no grade
    state.moved_on = True
    assert edits.split_grade(state, "minus", "u") == "- not entered: u - makes the 4 a 4-."


def test_a_key_that_is_no_answer_writes_nothing_and_says_what_is(state):
    with pytest.raises(edits.RefusedError, match=r"^biceps: here 0 absent  1 reduced "):
        edits.grade(state, "9")


def test_a_quality_speaks_of_the_sign_graded_last_once_the_cursor_has_moved_on(state):
    write(state, *edits.grade(state, "1"))
    state.advance()
    assert state.side == "left"
    state.moved_on = True
    (made,) = edits.quality(state, "reinforced")
    assert made.said == "right biceps: only with reinforcement"
    write(state, made)
    (again,) = edits.quality(state, "reinforced")
    assert again.said.startswith("right biceps: no longer")
    state.move(side=1)
    with pytest.raises(edits.RefusedError, match="Grade the reflex first"):
        edits.quality(state, "reinforced")


def test_grading_goes_side_to_side_or_down_one_side(state):
    state.advance()
    assert (state.row.id, state.side) == ("biceps", "left")
    state.advance()
    assert (state.row.id, state.side) == ("brachioradialis", "right")
    state.down_first = True
    state.advance()
    assert (state.row.id, state.side) == ("triceps", "right")


def test_the_next_cell_that_is_open_is_found_from_the_cursor_on_and_around(state):
    write(state, *edits.grade(state, "2"))
    assert state.go_to_open()
    assert (state.row.id, state.side) == ("biceps", "left")
    state.go("clonus_ankle", "left")
    state.both = True
    write(state, *edits.grade(state, "0"))
    assert state.go_to_open()
    assert (state.row.id, state.side) == ("biceps", "left")


def test_a_sign_that_is_gone_to_shows_on_a_page_that_has_it(state):
    state.go("anal_tone", "midline")
    assert (state.page, state.row.id, state.side) == ("sphincters", "anal_tone", "midline")
    state.turn(-1)
    assert state.page == "movement"
    state.show(FLAGS)
    assert (state.row_at, state.accepted) == (0, "1 yes  0 no")


def test_what_the_likeliest_grade_would_make_is_known_ahead_and_changes_nothing(state):
    made = list(edits.ahead(state, state.examination))
    assert [e.finding("biceps", "right").answer for e in made] == ["2+"]
    assert all(len(e.findings) == 1 for e in made)
    assert state.examination.findings == ()


def test_the_grade_of_the_other_side_is_the_likeliest(state):
    write(state, *edits.grade(state, "0"))
    state.go("biceps", "left")
    first = next(edits.ahead(state, state.examination))
    assert first.finding("biceps", "left").answer == "0"


def test_a_statement_is_withdrawn_by_the_same_key_and_never_covers_the_saddle(state):
    write(state, edits.rest_normal(state, NOW, "e"))
    assert " ".join(state.stated) == "Rest normal: reflexes of right arm"
    made = edits.rest_normal(state, NOW, "e")
    assert (made.change.value, made.said) == (None, "Withdrawn: rest of right arm reflexes.")
    state.go("saddle", "right")
    with pytest.raises(edits.RefusedError, match="one by one"):
        edits.rest_normal(state, NOW, "e")


def test_the_grid_is_drawn_from_the_state_alone(state):
    write(state, *edits.grade(state, "0"))
    first = view.grid(state, 24, ASCII)
    assert plain(first.labels[1]).split() == ["when", "it", "began"]
    assert plain(first.grades[1]).split() == ["not", "known"]
    assert plain(first.labels[2]).split() == [">biceps"]
    assert plain(first.grades[2]).split() == ["0", "."]
    assert [style for _, style in first.grades[2]][:3:2] == ["cursor", "quiet"]
    assert first == view.grid(state, 24, ASCII)
    assert view.heading_text(state, 80).startswith("A3 Ana Invented NO NUMBER")
    assert view.about(state).startswith("right biceps: C5-C6")


def test_the_tools_own_alarm_is_put_down_by_the_reading_and_stays_when_the_signs_are_mended(state):
    from wardexam.reasoning.rules.own_alarm import OWN

    def entered(sign, *answers):
        for side, answer in zip(("right", "left"), answers, strict=True):
            value = {"sign": sign, "side": side, "answer": answer, "scale": "conventional"}
            state.visit.change(Change("finding", f"{sign} {side}", value))

    reader = Reader(state)
    entered("biceps", "2+", "2+")
    entered("knee", "4+", "4+")
    assert reader.take(0, engine().read(state.examination, silence=False))
    (raised,) = state.examination.raised
    assert (raised.rule, raised.since, raised.level) == (OWN, NOW, 2)
    entered("knee", "2+", "2+")
    assert reader.take(0, engine().read(state.examination, silence=False))
    (alarm,) = (r for r in reader.urgency.reasons if r.rule == OWN)
    assert alarm.said == f"{raised.text} (the tool's reading, earlier)"
    assert alarm.since == NOW
    state.visit.act(OWN, "not_needed", "the knees were mis-keyed")
    assert OWN not in {r.rule for r in reader.urgency.reasons}


@pytest.mark.parametrize("page", [*row_sets(), *PARTS, FLAGS])
def test_no_name_of_a_row_is_cut_at_eighty_columns(state, page):
    state.show(page)
    names = set()
    for number, row in enumerate(state.rows):
        state.row_at = number
        grid = view.grid(state, 24, ASCII)
        (label,) = [text for line in grid.labels if (text := plain(line)).startswith(">")]
        assert len(label) == 26
        assert label[1:].rstrip() == view.row_name(row)
        assert label.endswith(" "), label  # the grade stands apart
        names.add(label)
        # What stands beside the row's other cells is whole as well: marks, headings, what was before.
        assert all(len(plain(line)) <= 26 for line in grid.labels)
        assert all(len(plain(line)) <= 12 for line in (*grid.grades, *grid.before))
    assert len(names) == len(state.rows)


def test_no_two_marks_of_a_sign_are_wider_than_the_columns_of_what_was_before():
    for sign in catalogue().values():
        for scale in SCALES:
            marks = [a.mark for a in answers_for(sign.answers, scale).answers]
            assert max(map(len, marks)) <= view.CELL, sign.id
            assert 2 * max(map(len, marks)) + 1 <= view.BEFORE


def test_a_short_name_stands_only_where_the_name_does_not_fit():
    for sign in catalogue().values():
        assert bool(sign.short) == (len(sign.name) > view.NAME), sign.id
        assert len(sign.short) <= view.NAME, sign.id


def amending(state, *made):
    """The examination saved with what is given, and opened again to amend it."""
    for change in made:
        state.visit.change(change)
    visit = state.visit
    return State(Visit.amend(visit.session, visit.save(visit.reading())))


def finding(sign, side, answer, **more):
    return Change(
        "finding", f"{sign} {side}", {"sign": sign, "side": side, "answer": answer, **more}
    )


def test_an_amendment_opens_at_the_first_answer(state):
    opened = amending(
        state,
        finding("ankle", "right", "2+", scale="conventional"),
        finding("knee", "left", "0", scale="conventional"),
    )
    assert (opened.page, opened.row.id, opened.side) == ("core", "knee", "left")


def test_an_amendment_opens_on_a_page_that_shows_what_was_answered(state):
    opened = amending(state, finding("internuclear", "left", "present"))
    assert opened.row.id == "internuclear"


def test_an_amendment_without_a_graded_sign_opens_as_any(state):
    opened = amending(state, Change("flag", "bladder_bowel", "yes"))
    assert opened.row_at == opened.first_row
