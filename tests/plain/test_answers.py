"""What may be typed for an answer in the line mode, and what it means."""

import pytest

from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.errors import InputError
from wardexam.exam.answers import SCALES, answer_sets, answers_for, scales
from wardexam.plain.answers import choices, finding, not_testable, reasons

TABLE = [
    ("knee", "2", "conventional", ("2+", None)),
    ("knee", "2+", "conventional", ("2+", None)),
    ("knee", "2", "ninds", ("2", None)),
    ("knee", "++", "plus", ("++", None)),
    ("knee", "+/-", "plus", ("+/-", None)),
    ("plantar", "UP", "conventional", ("extensor", None)),
    ("plantar", "no  response", "conventional", ("mute", None)),
    ("hip_flexion", "4/5", "conventional", ("4", None)),
    ("hip_flexion", "4-", "conventional", ("4-", None)),
    ("hip_flexion", "4+/5", "conventional", ("4+", None)),
    ("hip_flexion", "plus", "conventional", ("4+", None)),
    ("clonus_ankle", "1 5", "conventional", ("unsustained", 5)),
    ("clonus_ankle", "unsustained", "conventional", ("unsustained", None)),
    ("post_void_residual", "350", "conventional", ("measured", 350)),
    ("straight_leg_raise", "positive 40", "conventional", ("positive", 40)),
    ("level_pin", "t10", "conventional", ("T10", None)),
    ("level_pin", "none", "conventional", ("none", None)),
]


@pytest.mark.parametrize(("sign", "typed", "scale", "meant"), TABLE)
def test_an_answer_is_typed_as_a_doctor_writes_it(sign, typed, scale, meant):
    row = catalogue()[sign]
    side = "right" if row.sides == "each" else "midline"
    found = finding(row, side, typed, scale)
    assert (found.answer, found.amount) == meant
    assert (found.sign, found.side) == (sign, side)


REFUSED = [
    ("knee", "2/0"),
    ("knee", "5"),
    ("knee", "2 3"),
    ("hip_flexion", "3/4"),
    ("hip_flexion", "6"),
    ("clonus_ankle", "1 900"),
    ("clonus_ankle", "0 5"),
    ("post_void_residual", "measured"),
    ("post_void_residual", "99999999999"),
    ("level_pin", "X3"),
    ("plantar", "normal"),
]


@pytest.mark.parametrize(("sign", "typed"), REFUSED)
def test_what_is_no_answer_is_refused_with_what_is(sign, typed):
    row = catalogue()[sign]
    side = "right" if row.sides == "each" else "midline"
    with pytest.raises(InputError) as refused:
        finding(row, side, typed, "conventional")
    assert choices(row, "conventional") in str(refused.value)


@pytest.mark.parametrize("scale", SCALES)
def test_every_answer_can_be_typed_by_its_key_code_and_words(scale):
    for sign in catalogue().values():
        side = "right" if sign.sides == "each" else "midline"
        allowed = answers_for(sign.answers, scale)
        if allowed.amount and allowed.amount.required:
            continue
        for answer in allowed.answers:
            for typed in (answer.key, answer.code, answer.mark, answer.words):
                assert finding(sign, side, typed, scale).answer == answer.code, (sign.id, typed)


def test_no_answer_can_be_mistaken_for_a_command():
    sets = [*answer_sets().values(), *(s.grades for s in scales().values())]
    typed = {
        word.lower()
        for answers in sets
        for a in answers.answers
        for word in (a.key, a.code, a.mark, a.words)
    } | {segment.lower() for segment in SEGMENTS}
    assert not typed & {*"abfghklmnoqrsux?", ""}


def test_each_reason_gives_a_finding_without_an_answer():
    for reason, words in reasons():
        found = not_testable(catalogue()["knee"], "left", reason)
        assert (found.answer, found.not_testable) == (None, reason)
        assert words
