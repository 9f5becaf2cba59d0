"""A finding is accepted whole or refused with the reason; nothing is coerced."""

import pytest
from pydantic import ValidationError

from wardexam.anatomy.catalogue import PARTS, catalogue
from wardexam.errors import InputError
from wardexam.exam.answers import answer_sets, answers_for
from wardexam.exam.findings import Finding, RestNormal
from wardexam.exam.typed import read_line

KNEE = {"sign": "knee", "side": "right", "answer": "2+", "scale": "conventional"}

REFUSED = [
    (KNEE | {"sign": "kne"}, "did you mean knee"),
    (KNEE | {"side": "midline"}, "found on right or left"),
    (KNEE | {"side": "up"}, "right"),
    (KNEE | {"answer": "5+"}, "choose 0, 1+, 2+, 3+, 4+"),
    (KNEE | {"answer": "5", "scale": "ninds"}, "choose 0, 1, 2, 3, 4"),
    (KNEE | {"answer": 2}, "valid string"),
    (KNEE | {"scale": None}, "say on which scale"),
    (KNEE | {"answer": None}, "needs an answer or a reason"),
    (KNEE | {"not_testable": "pain"}, "needs an answer or a reason"),
    (KNEE | {"colour": "red"}, "not permitted"),
    (KNEE | {"amount": 3}, "takes no number"),
    (KNEE | {"answer": "0", "qualities": ["reinforced"]}, "not absent"),
    (KNEE | {"sign": "ankle", "qualities": ["inverted"]}, "means nothing at ankle"),
    (KNEE | {"qualities": ["pendular", "pendular"]}, "given twice"),
    ({"sign": "plantar", "side": "left", "answer": "up"}, "flexor, equivocal, extensor"),
    ({"sign": "plantar", "side": "left", "answer": "flexor", "scale": "ninds"}, "takes no scale"),
    ({"sign": "jaw", "side": "left", "answer": "2+", "scale": "conventional"}, "found on midline"),
    ({"sign": "clonus_ankle", "side": "left", "answer": "none", "amount": 4}, "takes no number"),
    ({"sign": "clonus_ankle", "side": "left", "answer": "unsustained", "amount": 900}, "outside"),
    (
        {"sign": "post_void_residual", "side": "midline", "answer": "measured"},
        "needs a number of mL",
    ),
    ({"sign": "level_pin", "side": "left", "answer": "T13"}, "a segment"),
    ({"sign": "knee", "side": "right", "not_testable": "tired"}, "pain"),
]


@pytest.mark.parametrize(("document", "reason"), REFUSED)
def test_a_bad_finding_is_refused_with_the_reason(document, reason):
    with pytest.raises(ValidationError) as caught:
        Finding.model_validate(document)
    assert reason in str(caught.value)


@pytest.mark.parametrize(
    "document",
    [
        KNEE,
        KNEE | {"answer": "1+", "qualities": ["reinforced", "hung_up"]},
        {"sign": "knee", "side": "left", "not_testable": "cast", "comment": "long leg"},
        {"sign": "clonus_ankle", "side": "left", "answer": "unsustained", "amount": 4},
        {"sign": "level_pin", "side": "left", "answer": "T10"},
        {"sign": "straight_leg_raise", "side": "left", "answer": "positive", "amount": 35},
        {"sign": "post_void_residual", "side": "midline", "answer": "measured", "amount": 0},
    ],
)
def test_a_good_finding_comes_back_from_json_unchanged(document):
    finding = Finding.model_validate(document)
    assert Finding.model_validate_json(finding.model_dump_json()) == finding


def test_only_with_reinforcement_is_its_own_meaning():
    trace = Finding.model_validate(KNEE | {"answer": "1+", "qualities": ["reinforced"]})
    assert trace.meaning == "trace"
    assert Finding.model_validate(KNEE | {"answer": "+/-", "scale": "plus"}).meaning == "trace"


def test_every_sign_takes_a_known_set_of_answers():
    for sign in catalogue().values():
        assert answers_for(sign.answers).answers, sign.id


@pytest.mark.parametrize("kind", [*answer_sets(), "tendon"])
def test_the_keys_and_marks_of_a_set_differ(kind):
    answers = answers_for(kind).answers
    for field in ("key", "code", "mark"):
        values = [getattr(a, field) for a in answers]
        assert len(set(values)) == len(values)
    assert all(len(a.mark) <= 5 and a.mark.isascii() for a in answers)


def test_a_statement_covers_its_limb_and_nothing_else():
    statement = RestNormal(part="power", limb="right leg")
    covered = {
        (sign.id, side)
        for sign in catalogue().values()
        for side in ("right", "left", "midline")
        if statement.covers(sign, side)
    }
    assert ("knee_extension", "right") in covered
    assert not {c for c in covered if c[1] != "right"}
    assert {catalogue()[sign].part for sign, _ in covered} == {"power"}


def test_sphincters_are_never_covered_by_a_statement():
    with pytest.raises(ValidationError, match="never covered"):
        RestNormal(part="sphincters", limb="trunk")


def test_no_statement_reaches_a_saddle_sign():
    saddle = [s for s in catalogue().values() if s.limb == "saddle"]
    assert {"saddle", "perianal", "anal", "touch_S4_5", "pin_S3"} <= {s.id for s in saddle}
    for part in PARTS:
        for limb in ("head", "trunk", "right arm", "left arm", "right leg", "left leg"):
            try:
                statement = RestNormal.model_validate({"part": part, "limb": limb})
            except ValidationError:
                continue  # this part has nothing to examine there
            assert not any(
                statement.covers(s, d) for s in saddle for d in ("right", "left", "midline")
            )


@pytest.mark.parametrize(
    ("document", "abnormal"),
    [
        (KNEE, False),
        (KNEE | {"answer": "1+"}, True),
        (KNEE | {"answer": None, "scale": None, "not_testable": "pain"}, False),
        ({"sign": "level_pin", "side": "left", "answer": "T8"}, True),
        ({"sign": "level_pin", "side": "left", "answer": "none"}, False),
        ({"sign": "plantar", "side": "left", "answer": "mute"}, True),
    ],
)
def test_abnormal_is_what_was_found_and_is_not_usual(document, abnormal):
    assert Finding.model_validate(document).abnormal is abnormal


def test_a_number_beside_a_level_is_refused_where_it_is_typed_and_read_without_where_it_was_kept():
    with pytest.raises(InputError, match="'T8' takes no number"):
        read_line("level_pin T8:5/none").spelled_out()
    kept = {"sign": "level_pin", "side": "left", "answer": "T8", "amount": 5}
    assert Finding.model_validate(kept) == Finding(sign="level_pin", side="left", answer="T8")
