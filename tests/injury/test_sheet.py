"""Sheets typed and as JSON: what they take, what they refuse and how they say it, and round trips."""

import json

import jsonschema
import pytest

from tests.injury.cases import CASES, sheet_of
from tests.injury.drawn import drawn
from wardexam.errors import InputError
from wardexam.injury.segments import POINTS
from wardexam.injury.sheet import SIDES, InjurySheet, injury_schema, read_document
from wardexam.injury.typed import (
    begins_a_line,
    read_column,
    read_injury,
    read_typed,
    scores_in_words,
    write_typed,
)


@pytest.mark.parametrize("name", sorted(CASES))
def test_a_case_written_out_reads_as_itself(name):
    sheet = sheet_of(name)
    assert read_typed(write_typed(sheet)) == sheet
    assert read_injury(sheet.model_dump_json()) == sheet


def test_random_sheets_written_out_read_as_themselves():
    for seed in range(300):
        sheet = drawn(seed, unknown=seed % 30, marks=seed % 5)
        assert read_typed(write_typed(sheet)) == sheet, seed
        assert read_document(sheet.model_dump_json()) == sheet, seed


def test_a_range_runs_from_where_the_one_before_it_ended():
    held = read_typed("right light touch: 2 to T9, 1 to T12, 0").light_touch
    assert held.left == {}
    assert held.right == {
        name: "2" if n <= POINTS.index("T9") else "1" if n <= POINTS.index("T12") else "0"
        for n, name in enumerate(POINTS)
    }


@pytest.mark.parametrize(
    "line",
    [
        "right light touch: 2 to T9, 1 to T12, 0",
        "light touch right: 2 to T9; 1 to T12; 0",
        "R LT 2 through t9, 1 through t12, 0",
        "touch r: C2 to T9 2, T10-T12 1, L1 to S4-5 0",
        "right touch: 2 to T12, 0, T10 1, T11=1, T12 1",
        "right touch: 2 to T9\nright touch: T10 1, T11 1, T12 1\nright touch: L1 - S45 0",
    ],
)
def test_the_same_scores_may_be_written_in_several_ways(line):
    assert read_typed(line) == read_typed("right light touch: 2 to T9, 1 to T12, 0")


@pytest.mark.parametrize(
    "line",
    [
        "motor right: 5 5 4 3 0 / NT 0* NT* 1 0",
        "right power: 5543 0 | n0*n*10",
        "right motor: 5,5,4,3,0,N,0*,NT*,1,0",
        "motor right: 5 to C6, C7 4+, C8 3+, T1 0, L2 NT, L3 0*, L4 NT*, L5 1, S1 0",
        "motor right: 5 to C6, 4- to C7, 3 to C8, 0 to T6, NT to L2, 0* to L3, NT* to L4, 1 to L5, 0",
    ],
)
def test_key_muscles_stand_in_a_row_or_singly_or_as_ranges(line):
    assert read_typed(line).motor.right == dict(
        zip(
            ("C5", "C6", "C7", "C8", "T1", "L2", "L3", "L4", "L5", "S1"),
            ("5", "5", "4", "3", "0", "NT", "0*", "NT*", "1", "0"),
            strict=True,
        )
    )


def test_a_stretch_holds_only_the_key_muscles_within_it():
    assert read_typed("right motor: T2 to L3 4").motor.right == {"L2": "4", "L3": "4"}
    assert read_typed("right motor: 5 to T6, L4 2").motor.right == {
        **dict.fromkeys(("C5", "C6", "C7", "C8", "T1"), "5"),
        "L4": "2",
    }


def test_what_is_not_scored_is_answered_in_words():
    sheet = read_typed(
        "ID: bed 4\n# not read\n\nVAC no\ndeep anal pressure: NT\nmovement left L4\nmovement right none\n"
        "earlier deficit: yes\nright motor: L2 2*\ncount right motor L2 as normal: old fracture\n"
        "comment: one\ncomment: two"
    )
    assert (sheet.id, sheet.anal_contraction, sheet.anal_pressure) == ("bed 4", "no", "NT")
    assert (sheet.movements.right, sheet.movements.left) == ("none", "L4")
    assert (sheet.earlier_deficit, sheet.comment) == ("yes", "one\ntwo")
    assert sheet.rating("motor", "right", "L2") == "normal"
    assert sheet.rated[0].why == "old fracture"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "nothing was given"),
        ("# only a remark", "nothing was given"),
        ("right lite touch: 2", "line 1: 'right lite touch' is not understood: did you mean light touch"),
        ("vac no\nright light touch: 3", "line 2: '3' is no light touch score: 0, 1, 2, NT, 0*, 1*, NT*"),
        ("pinprick: 2*", "a normal score takes no mark"),
        ("motor: 5*5555/55555", "a normal score takes no mark"),
        ("motor: 6", "'6' is no motor score"),
        ("motor: 2- to C5", "'2-' is no motor score"),
        ("pinprick: 1+", "'1+' is no pinprick score"),
        ("motor: 55555/5555", "9 motor scores in a row (ten are needed, arms before legs)"),
        ("motor: T4 5", "there is no key muscle at T4"),
        ("pinprick: 2 to T13", "there is no segment 'T13' here"),
        ("pinprick: C1 2", "there is no segment 'C1' here"),
        ("pinprick: 2 to T9, 1 to T4", "'1 to T4' lies above what the ranges before it reached"),
        ("pinprick: 2, 0", "'0' lies above what the ranges before it reached"),
        ("pinprick: T9 to T4 1", "ends above where it begins"),
        ("pinprick:", "no scores in this line"),
        ("right pinprick left: 2", "two sides in one line"),
        ("pinprick: 2\nright pinprick: T4 1", "right pinprick T4 was given as 2 before, now as 1"),
        ("pinprick: T4 1, T4 2", "T4 was given as 1 before, now as 2"),
        ("vac no\nvac yes", "line 2: anal contraction was given as no before, now as yes"),
        ("dap perhaps", "'perhaps' is no answer here: yes, no or NT"),
        ("movement right T9", "'T9' is none of C5"),
        ("earlier deficit nt", "earlier_deficit"),
        ("right motor: L2 2\ncount right motor L2 as normal", "only a score marked * is rated"),
        ("right motor: L2 2*\ncount right motor L2 as normal\ncount right motor L2 as examined", "rated twice"),
        ("vac no\n" * 501, "more than 500 lines"),
        ("comment: " + "x" * 1_000_001, "longer than 1000000 characters"),
        ("id: " + "x" * 121, "id"),
        ("vac no\ncomment: " + "x" * 4_000, "line 2: longer than 4000 characters"),
        ("vac" + " " * 3_900 + "!", "'vac !' is not understood"),
        ("\n".join(["movement right" + " " * 3_900 + "x x"] * 200), "line 1: 'movement right x x' is not understood"),
        ("\n".join(["motor: " + "N" * 3_000 + "x"] * 200), "is no motor score"),
    ],
)  # fmt: skip
def test_what_cannot_be_accepted_is_refused_in_words(text, said):
    with pytest.raises(InputError) as caught:
        read_injury(text)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("document", "said"),
    [
        ({"light_touch": {"right": {"C1": "2"}}}, "right light touch: nothing to score at 'C1'"),
        ({"motor": {"left": {"T4": "2"}}}, "left motor: nothing to score at 'T4'"),
        ({"pinprick": {"left": {"T4": 2}}}, "pinprick.left.T4"),
        ({"pinprick": {"left": {"T4": "2*"}}}, "left pinprick T4: '2*': a normal score takes no mark"),
        ({"motor": {"left": {"C5": "5*"}}}, "left motor C5: '5*'"),
        ({"anal_contraction": True}, "anal_contraction"),
        ({"vac": "no"}, "vac"),
        ({"movements": {"right": "T9"}}, "'T9' is none of"),
        ({"rated": [{"side": "right", "test": "motor", "segment": "L2", "counts": "normal"}]}, "only a score marked *"),
    ],
)  # fmt: skip
def test_a_document_that_cannot_be_is_refused_in_words_and_by_its_schema(document, said):
    with pytest.raises(InputError) as caught:
        read_document(json.dumps(document))
    assert said in str(caught.value)
    if "rated" not in document:
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(document, injury_schema())


@pytest.mark.parametrize(
    ("text", "said"),
    [("{", "not JSON"), ('{"id": "a", "id": "b"}', "given twice"), ("{\"a\":" * 30_000, "nested too deeply"), ('{"id": "' + "x" * 1_000_001, "longer than")],
)  # fmt: skip
def test_what_is_no_document_is_refused(text, said):
    with pytest.raises(InputError, match=said):
        read_document(text)


@pytest.mark.long
def test_every_sheet_fits_its_schema():
    schema = injury_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    for name in CASES:
        jsonschema.validate(sheet_of(name).model_dump(mode="json"), schema)
    jsonschema.validate({}, schema)


def test_what_was_not_entered_is_listed_and_never_normal():
    sheet = InjurySheet.model_validate(
        {"light_touch": {"right": {n: "2" for n in POINTS if n not in ("T4", "T5", "S1")}}}
    )
    missing = sheet.absent()
    assert missing[0] == "right light touch: T4 to T5, S1"
    assert missing[1] == "left light touch: C2 to S4-5"
    assert missing[-4:-2] == ["voluntary anal contraction", "deep anal pressure"]
    assert missing[-2:] == [f"{s} movement outside the key muscles" for s in ("right", "left")]


@pytest.mark.parametrize(
    ("test", "text", "right", "left"),
    [
        ("light_touch", "2t9,1t12,0", "2 to T9, 1 to T12, 0", ""),
        ("light_touch", "2T9, 1 to T12,0 / 2t10,0", "2 to T9, 1 to T12, 0", "2 to T10, 0"),
        ("pinprick", "nts1,0", "NT to S1, 0", ""),
        ("pinprick", "1*t4,0*", "1* to T4, 0*", ""),
        ("motor", "5t1,0", "5 5 5 5 5 / 0 0 0 0 0", ""),
        ("motor", "55555/33222", "5 5 5 5 5 / 3 3 2 2 2", ""),
        ("motor", "5555533222/5555511111", "5 5 5 5 5 / 3 3 2 2 2", "5 5 5 5 5 / 1 1 1 1 1"),
        ("motor", "5 5 5 5 5/3 3 2 2 2/5 5 5 5 5/1 1 1 1 1", "5 5 5 5 5 / 3 3 2 2 2", "5 5 5 5 5 / 1 1 1 1 1"),
        ("motor", "5t1,0/4t1,0", "5 5 5 5 5 / 0 0 0 0 0", "4 4 4 4 4 / 0 0 0 0 0"),
        ("motor", "C7 3", "C7 3", ""),
    ],
)  # fmt: skip
def test_a_column_is_typed_in_short_with_a_slash_before_the_left(test, text, right, left):
    made = getattr(read_column(test, "right", text), test)
    said = [scores_in_words(test, given) if (given := getattr(made, s)) else "" for s in SIDES]
    assert said == [right, left]


def test_without_a_slash_a_column_is_of_its_side_or_of_both():
    assert read_column("pinprick", "left", "0").pinprick.right == {}
    both = read_column("pinprick", "left", "2t4, 0", both=True).pinprick
    assert both.right == both.left == read_typed("pinprick right: 2 to T4, 0").pinprick.right


@pytest.mark.parametrize(
    ("test", "text", "fault"),
    [
        ("pinprick", "1/2/0", "3 parts between slashes"),
        ("pinprick", "2t9 1t12", "is no pinprick score"),
        ("motor", "6t1", "is no motor score"),
        ("motor", "5555", "4 motor scores in a row"),
        ("light_touch", "", "no scores"),
        ("light_touch", "2t13", "no segment"),
    ],
)
def test_a_column_that_is_not_understood_is_refused(test, text, fault):
    with pytest.raises(InputError, match=fault):
        read_column(test, "right", text)


@pytest.mark.parametrize(("text", "begins"), [("vac no", True), ("Both motor: 5", True), ("2t9, 0", False), ("T4 1", False), ("", False)])  # fmt: skip
def test_a_line_says_at_its_beginning_what_it_is_about(text, begins):
    assert begins_a_line(text) is begins
