"""Right and left swapped in all that was entered."""

from datetime import UTC, datetime

from hypothesis import given
from hypothesis import strategies as st

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.acts import Act
from wardexam.exam.answers import answers_for
from wardexam.exam.entry import apply
from wardexam.exam.examination import Context, Examination
from wardexam.exam.findings import Finding, RestNormal, sides_of
from wardexam.exam.swapping import in_what, stays, swapped


def examined(*findings, **more):
    at = datetime(2026, 3, 4, 14, tzinfo=UTC)
    whose = {"id": "exam0001", "patient": "patient1", "examiner": "Dr Test", "at": at}
    return Examination(**whose, findings=findings, **more)


def after(examination):
    for change in swapped(examination):
        examination = apply(examination, change)
    return examination


def found(examination):
    return {f.key: f.answer for f in examination.findings}


def weak(side, answer="2", **more):
    return Finding(sign="hip_flexion", side=side, answer=answer, **more)


def test_each_side_gets_what_was_found_on_the_other():
    swapped_now = found(after(examined(weak("right", "2"), weak("left", "5"))))
    assert swapped_now == {("hip_flexion", "right"): "5", ("hip_flexion", "left"): "2"}


def test_what_was_examined_on_one_side_alone_leaves_that_not_examined():
    assert found(after(examined(weak("right")))) == {("hip_flexion", "left"): "2"}


def test_all_that_is_of_a_finding_goes_with_it():
    (moved,) = after(examined(weak("right", known="old stroke", comment="seen"))).findings
    assert moved == weak("left", known="old stroke", comment="seen")


def test_what_has_no_side_stays():
    aphasia = Finding(sign="aphasia", side="midline", answer="marked")
    assert after(examined(aphasia, weak("right"))).findings == (aphasia, weak("left"))
    assert swapped(examined(aphasia)) == []


def test_a_statement_goes_to_the_other_limb_with_who_made_it():
    stated = RestNormal(part="power", limb="right arm", by="Dr Test")
    head = RestNormal(part="cranial", limb="head")
    kept = set(after(examined(rest_normal=(stated, head))).rest_normal)
    assert kept == {RestNormal(part="power", limb="left arm", by="Dr Test"), head}


def test_where_both_sides_are_alike_nothing_changes():
    assert swapped(examined(weak("right"), weak("left"))) == []


def test_it_is_said_how_much_is_swapped():
    arm = RestNormal(part="power", limb="right arm")
    assert in_what(examined(weak("right"))) == "1 finding"
    both = examined(weak("right"), weak("left", "5"), rest_normal=(arm,))
    assert in_what(both) == "2 findings and 1 statement"


def test_what_speaks_of_a_side_and_stays_is_said():
    told = examined(weak("right"), context=Context(complaint_side="left"), comment="right leg")
    assert stays(told) == (
        "The side of the complaint stays left.",
        "Comments and impression stay as written.",
    )
    assert after(told).context == told.context
    assert stays(examined(weak("right"), context=Context(complaint_side="both"))) == ()


def test_that_what_was_settled_may_open_again_is_said():
    at = datetime(2026, 3, 4, 14, tzinfo=UTC)
    acts = [Act(rule="weak", kind=k, what="x", by="Dr Test", at=at) for k in ("called", "done")]
    assert stays(examined(weak("right"), acts=acts[:1])) == ()
    assert stays(examined(weak("right"), acts=acts)) == ("What was settled may open again.",)


CELLS = [(row, side) for row in catalogue().values() for side in sides_of(row)]


@given(st.data())
def test_swapped_twice_all_is_as_it_was(data):
    cells = data.draw(
        st.lists(st.sampled_from(CELLS), max_size=20, unique_by=lambda c: (c[0].id, c[1]))
    )
    made = []
    for row, side in cells:
        kind = answers_for(row.answers)
        if kind.amount and kind.amount.required:
            continue
        answer = data.draw(st.sampled_from(kind.codes))
        scale = "conventional" if row.answers == "tendon" else None
        made.append(Finding(sign=row.id, side=side, answer=answer, scale=scale))
    begun = examined(*made)
    there = found(after(begun))
    other = {"right": "left", "left": "right", "midline": "midline"}
    assert there == {(sign, other[side]): a for (sign, side), a in found(begun).items()}
    assert found(after(after(begun))) == found(begun)
