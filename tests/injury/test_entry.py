"""Changes of a sheet: applied, taken back, kept as a line, refused without harm."""

import json

import pytest

from wardexam.errors import InputError
from wardexam.injury.entry import SheetChange, apply, inverse, scored, written_over
from wardexam.injury.sheet import InjurySheet
from wardexam.injury.typed import read_typed

SHEET = read_typed(
    "right light touch: 2 to T9, 0, T11 1*\nmotor: 55555/33*222\nvac no\nmovement left L4\n"
    "count left motor L3 as normal: fracture"
)
GIVEN = [
    {("light_touch", "right"): {"C2": "1"}},
    {("light_touch", "right"): {"T11": None}, ("motor", "left"): {"C5": "NT"}},
    {("motor", "left"): {"L3": "3"}},
    {("pinprick", "left"): {"S4-5": "0*"}},
]


@pytest.mark.parametrize("given", GIVEN)
def test_a_change_is_taken_back_by_its_inverse_and_is_a_line_of_json(given):
    change = scored(SHEET, given)
    changed = apply(SHEET, change)
    assert changed != SHEET
    assert apply(changed, inverse(SHEET, change)) == SHEET
    line = json.loads(json.dumps(change.to_json()))
    assert apply(SHEET, SheetChange.from_json(line)) == changed


def test_only_the_scores_that_are_given_change():
    changed = apply(SHEET, scored(SHEET, GIVEN[1]))
    assert changed.light_touch.right == {
        s: c for s, c in SHEET.light_touch.right.items() if s != "T11"
    }
    assert changed.motor.left == {**SHEET.motor.left, "C5": "NT"}
    assert changed.motor.right == SHEET.motor.right


def test_what_is_said_of_a_mark_goes_with_the_mark():
    assert [r.segment for r in SHEET.rated] == ["L3"]
    assert apply(SHEET, scored(SHEET, GIVEN[2])).rated == ()
    assert apply(SHEET, scored(SHEET, GIVEN[0])).rated == SHEET.rated


def test_another_sheet_is_written_over_and_what_it_does_not_say_stays():
    other = read_typed("right light touch: 2 to T4\ndap yes\nmovement right none")
    made = apply(SHEET, written_over(SHEET, other))
    assert made.light_touch.right == {**SHEET.light_touch.right, **other.light_touch.right}
    assert (made.anal_contraction, made.anal_pressure) == ("no", "yes")
    assert (made.movements.right, made.movements.left) == ("none", "L4")
    assert (made.motor, made.rated) == (SHEET.motor, SHEET.rated)


def test_nothing_said_is_no_change():
    assert written_over(SHEET, InjurySheet()).fields == {}


@pytest.mark.parametrize(
    "fields", [{"motor": {"right": {"C5": "6"}}}, {"vac": "no"}, {"anal_pressure": "perhaps"}]
)
def test_a_change_that_cannot_be_is_refused(fields):
    with pytest.raises(InputError):
        apply(SHEET, SheetChange(fields))


@pytest.mark.parametrize("line", [{}, {"sheet": 1}, {"sheet": {}, "more": 1}, {"what": "finding"}])
def test_what_is_no_change_of_a_sheet_is_refused(line):
    with pytest.raises(InputError, match="not a change"):
        SheetChange.from_json(line)
