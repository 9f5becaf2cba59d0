"""One way to write a finding and one to read one: the same words wherever it is said or typed."""

import pytest

from wardexam.anatomy.catalogue import catalogue
from wardexam.errors import InputError
from wardexam.exam import wording
from wardexam.exam.answering import answer_code
from wardexam.exam.answers import SCALES, answers_for
from wardexam.exam.findings import Finding
from wardexam.exam.typed import read_line
from wardexam.plain import answers as plain


def finding(line):
    (found,) = read_line(line).spelled_out().findings
    return found


# Sign, mark, cell, narrow cell, phrase, to be heard, as a reading names it.
SAID = [
    ("knee 0/-", "0", "0", "0", "absent, with reinforcement", "0, absent", "right knee 0"),
    ("plantar up/-", "UP", "UP", "UP", "extensor", "extensor", "right plantar extensor"),
    ("post_void_residual measured:310", "mL", "310 mL", "310mL", "310 mL", "measured, 310 mL",
     "post-void residual measured 310"),
    ("level_pin T8/-", "T8", "T8", "T8", "reduced below T8", "normal down to T8",
     "right pinprick level reduced below T8"),
]  # fmt: skip


@pytest.mark.parametrize("line", [row[0] for row in SAID])
def test_each_form_says_the_same_answer(line):
    found = finding(line)
    (said,) = [row[1:] for row in SAID if row[0] == line]
    assert said == (
        wording.mark(found),
        wording.cell(found, None),
        wording.narrow(found, None),
        wording.phrase(found),
        wording.spoken(found),
        wording.finding_text(found),
    )


def test_what_was_not_testable_says_why_in_every_form():
    found = finding("knee nt:cast/-")
    assert wording.cell(found, None) == "NT"
    assert wording.phrase(found) == "not testable (cast)"
    assert wording.spoken(found) == "not testable, cast"
    assert wording.remarks(found, None) == ["not testable: cast"]


@pytest.mark.parametrize("scale", SCALES)
def test_every_way_of_writing_an_answer_gives_it_typed_and_on_plain_lines(scale):
    tried = 0
    for sign in catalogue().values():
        side = "right" if sign.sides == "each" else "midline"
        for answer in answers_for(sign.answers, scale).answers:
            for typed in {answer.code, answer.mark, answer.key, answer.words.upper()}:
                assert answer_code(sign, typed, scale) == answer.code, (sign.id, typed)
                if sign.answers != "residual":  # takes the number itself
                    assert plain.finding(sign, side, typed, scale).answer == answer.code
                    tried += 1
    assert tried > 1000


def test_another_word_for_an_answer_is_taken_typed_and_on_plain_lines():
    knee = catalogue()["knee"]
    assert finding("knee absent/-").answer == "0"
    assert plain.finding(knee, "right", "Absent", "conventional").answer == "0"
    with pytest.raises(InputError):
        plain.finding(knee, "right", "extensor", "conventional")


def test_a_sign_is_named_with_its_side():
    assert wording.sided("left", "ankle") == "left ankle"
    assert wording.sided("midline", "gait") == "gait"
    assert wording.named(Finding(sign="gait", side="midline", not_testable="pain")) == "gait"


@pytest.mark.parametrize(
    ("known", "said"),
    [
        ("documented before", "known before"),
        ("letter of June 2021", "known before: letter of June 2021"),
        ("documented before, clinic 2021", "known before: clinic 2021"),
        ("documented beforehand", "known before: documented beforehand"),
    ],
)
def test_that_something_is_known_from_before_is_said_once(known, said):
    assert wording.known_words(known, ": ") == said
