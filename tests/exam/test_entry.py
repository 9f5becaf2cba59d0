"""Changes: applied one by one, taken back exactly, refused without harm."""

from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wardexam.anatomy.catalogue import catalogue
from wardexam.errors import InputError
from wardexam.exam.answers import answers_for
from wardexam.exam.entry import Change, apply, inverse
from wardexam.exam.examination import Examination
from wardexam.exam.flags import flag_names

BLANK = Examination(
    id="exam0001", patient="patient1", examiner="Dr Ash", at=datetime(2026, 3, 2, 8, tzinfo=UTC)
)


@st.composite
def finding_changes(draw):
    sign = draw(st.sampled_from(list(catalogue().values())))
    side = draw(st.sampled_from(["right", "left"])) if sign.sides == "each" else "midline"
    answer = draw(st.sampled_from(answers_for(sign.answers).codes))
    value = {"sign": sign.id, "side": side, "answer": answer}
    if sign.answers == "tendon":
        value["scale"] = "conventional"
    if sign.answers == "residual":
        value["amount"] = draw(st.integers(0, 3000))
    return Change("finding", f"{sign.id} {side}", draw(st.sampled_from([value, value, None])))


changes = st.one_of(
    finding_changes(),
    st.builds(
        Change, st.just("flag"), st.sampled_from(flag_names()), st.sampled_from(["yes", "no", None])
    ),
    st.builds(
        Change, st.just("context"), st.just("age"), st.one_of(st.none(), st.integers(0, 120))
    ),
    st.builds(Change, st.just("comment"), st.just(""), st.text(max_size=50)),
    st.sampled_from(
        [
            Change("rest_normal", "power right arm", {"part": "power", "limb": "right arm"}),
            Change("rest_normal", "power right arm", None),
            Change("scale", "", "ninds"),
        ]
    ),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(changes, max_size=12))
def test_undoing_everything_gives_the_blank_examination_back(steps):
    examination, undo = BLANK, []
    for change in steps:
        undo.append(inverse(examination, change))
        examination = apply(examination, change)
    for change in reversed(undo):
        examination = apply(examination, change)
    assert examination.model_dump(exclude={"findings"}) == BLANK.model_dump(exclude={"findings"})
    assert examination.findings == ()


@settings(max_examples=60, deadline=None)
@given(st.lists(changes, max_size=12))
def test_changes_through_json_give_the_same_valid_examination(steps):
    one = other = BLANK
    for change in steps:
        one = apply(one, change)
        other = apply(other, Change.from_json(change.to_json()))
    assert one == other
    assert Examination.model_validate_json(one.model_dump_json()) == one


@pytest.mark.parametrize(
    "change",
    [
        Change(
            "finding",
            "knee right",
            {"sign": "knee", "side": "right", "answer": "9", "scale": "conventional"},
        ),
        Change(
            "finding",
            "ankle right",
            {"sign": "knee", "side": "right", "answer": "0", "scale": "conventional"},
        ),
        Change("flag", "bladder_bowel", "perhaps"),
        Change("flag", "no_such_flag", "yes"),
        Change("context", "age", 200),
        Change("context", "shoe_size", 43),
        Change("scale", "", "mayo"),
        Change("rest_normal", "sphincters trunk", {"part": "sphincters", "limb": "trunk"}),
    ],
)
def test_a_change_that_cannot_be_is_refused(change):
    with pytest.raises(InputError):
        apply(BLANK, change)


@pytest.mark.parametrize(
    "data",
    [
        {},
        {"what": "finding"},
        {"what": "dose", "key": "", "value": 1},
        {"what": "flag", "key": 3, "value": None},
    ],
)
def test_what_is_not_a_change_is_refused(data):
    with pytest.raises(InputError):
        Change.from_json(data)


def test_an_examination_holds_one_finding_for_a_sign_and_side():
    finding = {"sign": "knee", "side": "right", "answer": "2+", "scale": "conventional"}
    document = BLANK.model_dump(mode="json") | {"findings": [finding, finding]}
    with pytest.raises(ValueError, match="given twice"):
        Examination.model_validate(document)


def test_a_time_without_its_zone_is_refused():
    with pytest.raises(ValueError, match="timezone"):
        Examination.model_validate(BLANK.model_dump(mode="json") | {"at": "2026-03-02T08:00:00"})


def test_acts_and_what_was_raised_are_replaced_as_a_whole_and_taken_back():
    act = {
        "rule": "cauda_equina", "kind": "asked", "what": "MRI", "by": "Dr Ash", "at": "2026-03-02T08:00:00Z",
        "on": None, "ended": "",
    }  # fmt: skip
    raised = {
        "rule": "inferred_site", "since": "2026-03-02T08:00:00Z", "again": None, "acts": [], "level": 2,
        "text": "signs may mean: cord", "region": "cord",
    }  # fmt: skip
    for change in (Change("acts", "", [act]), Change("raised", "", [raised])):
        back = inverse(BLANK, change)
        after = apply(BLANK, change)
        assert getattr(after, change.what)[0].model_dump(mode="json") == change.value[0]
        assert apply(after, back) == BLANK
        assert apply(after, Change(change.what)) == BLANK
        assert Change.from_json(change.to_json()) == change
    with pytest.raises(InputError, match="kind"):
        apply(BLANK, Change("acts", "", [{**act, "kind": "forgot"}]))
