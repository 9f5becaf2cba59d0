"""Sheets and typed lines: convenient, and no less strict than a stored examination."""

import json

import jsonschema
import pytest

from wardexam.errors import InputError
from wardexam.exam import sheet as sheets
from wardexam.exam.sheet import groups, read_sheet, sheet_schema
from wardexam.exam.typed import read_line


def found(sheet):
    return {f.key: f.answer or f.not_testable for f in sheet.spelled_out().findings}


LINES = [
    ("knee 2/0", {("knee", "right"): "2+", ("knee", "left"): "0"}),
    ("plantar down/up", {("plantar", "right"): "flexor", ("plantar", "left"): "extensor"}),
    ("jaw 3", {("jaw", "midline"): "3+"}),
    ("scale=ninds knee 3/3", {("knee", "right"): "3", ("knee", "left"): "3"}),
    ("scale=plus ankle +/-/++", {("ankle", "right"): "+/-", ("ankle", "left"): "++"}),
    ("knee extension 4-/5", {("knee_extension", "right"): "4-", ("knee_extension", "left"): "5"}),
    ("knee -/0", {("knee", "left"): "0"}),
    ("knee nt:cast/2", {("knee", "right"): "cast", ("knee", "left"): "2+"}),
    ("level_pin T10/none", {("level_pin", "right"): "T10", ("level_pin", "left"): "none"}),
]


@pytest.mark.parametrize(("line", "expected"), LINES)
def test_a_typed_line_gives_right_then_left(line, expected):
    assert found(read_line(line)) == expected


def test_a_typed_line_takes_context_flags_and_statements():
    sheet = read_line("age=63 onset=days flag:cancer=yes rest=power:both_arms knee 2/2")
    assert (sheet.context.age, sheet.context.onset, sheet.flags) == (63, "days", {"cancer": "yes"})
    assert [s.limb for s in sheet.spelled_out().rest_normal] == ["right arm", "left arm"]


@pytest.mark.parametrize(
    "line",
    [
        "flag:drowsy=yes flag:drowsy=no",
        "onset=sudden aphasia slight onset=longer",
        "age=60 knee 2/2 age=61",
    ],
)
def test_what_is_told_twice_and_not_the_same_is_refused(line):
    with pytest.raises(InputError, match="given twice, as"):
        read_line(line)
    first = line.split()[0]
    assert read_line(f"{first} {first}") == read_line(first)


def test_a_group_stands_for_each_of_its_signs():
    assert found(read_line("power_leg 3/-")) == {(s, "right"): "3" for s in groups()["power_leg"]}


def test_a_sign_of_its_own_outweighs_its_group():
    answers = found(read_line("power_leg 3/3 ankle_dorsiflexion 0/3"))
    assert answers["ankle_dorsiflexion", "right"] == "0"
    assert answers["hip_flexion", "right"] == "3"


def test_of_two_answers_to_one_sign_the_first_is_kept_and_the_other_named():
    twice = read_line("plantar flexor/flexor plantar extensor/flexor power_leg 3/- hip_flexion 5/-")
    made = twice.spelled_out()
    assert made.finding("plantar", "right").answer == "flexor"
    assert [(a.finding.key, a.finding.answer, a.group) for a in made.also] == [
        (("plantar", "right"), "extensor", ""), (("hip_flexion", "right"), "3", "power_leg"),
    ]  # fmt: skip


REFUSED = [
    ("kne 2/0", "did you mean knee"),
    ("knee 7/0", "choose 0"),
    ("knee 2", "right/left"),
    ("knee", "no answer"),
    ("jaw 2/2", "one answer"),
    ("plantar down/sideways", "choose "),
    ("age=old knee 2/2", "number of years"),
    ("knee nt:tired/2", "unknown reason"),
    ("knee 2:bouncy/2", "neither a number"),
    ("scale=mayo knee 2/2", "unknown scale"),
    ("age=" + "9" * 5000, "5000 digits"),
    ("age=" + "\u0669" * 30, "30 digits"),
    ("knee 2:" + "1" * 21 + "/2", "21 digits"),
    ("x" * 1_000_001, "longer than"),
    ("onset=yesterday", "sudden"),
]


@pytest.mark.parametrize(("line", "reason"), REFUSED)
def test_a_line_that_cannot_be_read_says_what_is_allowed(line, reason):
    with pytest.raises(InputError) as caught:
        read_line(line).spelled_out()
    assert reason in str(caught.value)
    assert "\n" not in str(caught.value)


JSON_REFUSED = [
    ("{", "JSON"),
    ("[]", "object"),
    ('{"findings": [{"sign": "kne", "side": "right", "answer": "2+"}]}', "did you mean knee"),
    ('{"findings": [{"sign": "knee", "side": "right", "answer": 2}]}', "must be text, not 2"),
    ('{"findings": [{"sign": "knee", "side": "up", "answer": "2+"}]}', "'right', 'left'"),
    ('{"fingings": []}', "is not known here"),
    ('{"id": "a", "id": "b"}', "given twice"),
    (
        '{"findings": [{"sign": "knee", "side": "both", "answer": "2+"}, {"sign": "knee", "side": "left", "not_testable": "pain"}]}',
        "given twice",
    ),
    ('{"flags": {"hat": "yes"}}', "unknown red flag"),
    ('{"rest_normal": [{"part": "sphincters", "limb": "trunk"}]}', "never covered"),
    ("[" * 100_000, "JSON"),
    ('{"context": {"age": 1e400}}', "age"),
    ('"' + "x" * 1_000_001 + '"', "longer than"),
    ('{"context": {"age": ' + "9" * 5000 + "}}", "5000 digits"),
    ('{"a": ' + "[" * 5000 + "]" * 5000 + "}", "nested too deeply"),
    ("{" + ", ".join(f'"{n}": 1' for n in range(60_000)) + ', "1": 2}', "'1' is given twice"),
]


@pytest.mark.parametrize(("text", "reason"), JSON_REFUSED)
def test_a_bad_document_is_refused_in_one_line(text, reason):
    with pytest.raises(InputError) as caught:
        read_sheet(text).spelled_out()
    assert reason in str(caught.value)
    assert "\n" not in str(caught.value)


def test_both_sides_and_the_sheet_scale_are_spelled_out():
    sheet = read_sheet(
        json.dumps(
            {"scale": "ninds", "findings": [{"sign": "knee", "side": "both", "answer": "3"}]}
        )
    )
    findings = sheet.spelled_out().findings
    assert [(f.side, f.scale) for f in findings] == [("right", "ninds"), ("left", "ninds")]


def test_the_schema_names_every_sign_and_its_answers():
    schema = sheet_schema()
    finding = schema["$defs"]["SheetFinding"]
    assert {"knee", "post_void_residual", "power_leg"} <= set(finding["properties"]["sign"]["enum"])
    plantar = next(
        r for r in finding["allOf"] if "plantar" in r["if"]["properties"]["sign"]["enum"]
    )
    assert "extensor" in plantar["then"]["properties"]["answer"]["enum"]
    assert plantar["then"]["properties"]["side"]["enum"] == ["right", "left", "both"]


def test_what_is_said_many_times_over_costs_no_more():
    rows = {
        "rest_normal": [{"part": "all", "limb": "all"}] * 15_000,
        "findings": [{"sign": "power_leg", "side": "both", "answer": "4"}] * 8_000,
    }
    once = {name: listed[:1] for name, listed in rows.items()}
    text = json.dumps(rows)
    sheets._spelled_out.cache_clear()
    found = read_sheet(text).spelled_out()
    assert sheets._spelled_out.cache_info().misses == 1  # worked out once, looked up else
    assert found == read_sheet(json.dumps(once)).spelled_out()


def test_acts_are_read_from_a_sheet_and_named_by_its_schema():
    act = {
        "rule": "cauda_equina", "kind": "asked", "what": "MRI", "by": "Dr Ash",
        "at": "2026-03-02T08:00:00+00:00",
    }  # fmt: skip
    sheet = {"flags": {"saddle_numb": "yes"}, "acts": [act]}
    (found,) = read_sheet(json.dumps(sheet)).spelled_out().acts
    assert (found.rule, found.kind, found.by) == ("cauda_equina", "asked", "Dr Ash")
    jsonschema.validate(sheet, sheet_schema())
    with pytest.raises(InputError, match="kind"):
        read_sheet(json.dumps({"acts": [{**act, "kind": "forgot"}]}))
