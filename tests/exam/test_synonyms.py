"""Other words for a sign or an answer, on a sheet and on a typed line."""

import pytest

from wardexam.anatomy.catalogue import catalogue
from wardexam.errors import InputError
from wardexam.exam.answering import answer_code, synonyms
from wardexam.exam.answers import SCALES, answers_for, meanings
from wardexam.exam.sheet import Sheet, groups
from wardexam.exam.typed import read_line


def found(line: str) -> dict[tuple[str, str], str]:
    return {f.key: f.answer for f in read_line(line).spelled_out().findings}


def test_every_other_name_stands_for_a_sign_or_group_and_hides_none():
    for name, sign in synonyms()["signs"].items():
        assert sign in catalogue() or sign in groups(), name
        assert name not in catalogue(), name
        assert name not in groups(), name


def test_every_other_answer_is_an_answer_somewhere():
    known = {c for s in catalogue().values() for c in answers_for(s.answers).codes}
    assert set(synonyms()["answers"].values()) <= known | set(meanings())


@pytest.mark.parametrize(
    ("word", "grades"),
    [
        ("absent", ("0", "0", "0")), ("hypoactive", ("1+", "1", "+")), ("diminished", ("1+", "1", "+")),
        ("Decreased", ("1+", "1", "+")), ("reduced", ("1+", "1", "+")), ("hyperactive", ("3+", "4", "+++")),
        ("increased", ("3+", "4", "+++")), ("brisk", ("3+", "4", "+++")),
        ("normal", ("2+", None, "++")),  # 2 or 3 of the NINDS scale: the word does not say which
        ("upgoing", (None, None, None)), ("negative", (None, None, None)),
    ],
)  # fmt: skip
def test_a_tendon_reflex_takes_words_where_its_scale_tells_what_they_mean(word, grades):
    assert tuple(answer_code(catalogue()["knee"], word, scale) for scale in SCALES) == grades


@pytest.mark.parametrize(
    ("line", "key", "answer"),
    [
        ("babinski upgoing/downgoing", ("plantar", "right"), "extensor"),
        ("supinator 2/0", ("brachioradialis", "left"), "0"),
        ("knee jerk 2/absent", ("knee", "left"), "0"),
        ("SLR positive/negative", ("straight_leg_raise", "right"), "positive"),
        ("hoffmann positive/negative", ("hoffmann", "right"), "present"),
        ("EHL 5/4", ("great_toe_extension", "left"), "4"),
        ("gait steppage", ("gait", "midline"), "high_stepping"),
        ("power_leg 4+/-", ("knee_extension", "right"), "4+"),
        ("face 5/3", ("face_lower", "left"), "3"),
    ],
)
def test_a_doctors_word_is_understood_on_a_typed_line(line, key, answer):
    assert found(line)[key] == answer


def test_a_sheet_understands_the_same_words():
    sheet = Sheet.model_validate(
        {"findings": [{"sign": "Achilles reflex", "side": "both", "answer": "absent"}]}
    )
    assert {f.answer for f in sheet.spelled_out().findings} == {"0"}


@pytest.mark.parametrize("side", [{}, {"side": "midline"}, {"side": "both"}])
def test_a_sign_of_the_midline_needs_no_side(side):
    sheet = Sheet.model_validate({"findings": [{"sign": "gait", "answer": "ataxic", **side}]})
    assert [f.key for f in sheet.spelled_out().findings] == [("gait", "midline")]


def test_a_sign_of_two_sides_needs_one():
    sheet = Sheet.model_validate({"findings": [{"sign": "knee", "answer": "2+"}]})
    with pytest.raises(InputError, match="found on right or left"):
        sheet.spelled_out()


def test_right_four_plus_and_left_not_examined_is_not_a_grade_of_the_plus_chart():
    assert ("knee_extension", "left") not in found("power_leg 4+/-")
    assert found("scale=plus knee +/-/++")["knee", "right"] == "+/-"


def test_everything_else_normal_speaks_of_every_part_but_the_sphincters():
    statements = read_line("knee 2/0 rest=all:all").spelled_out().rest_normal
    parts = {s.part for s in statements}
    assert {"reflexes", "power", "sensation", "cranial"} <= parts
    assert "sphincters" not in parts


def test_an_unknown_sign_is_named_with_the_nearest():
    with pytest.raises(InputError, match=r"unknown sign 'supinatr': did you mean supinator"):
        read_line("supinatr 2/2")


@pytest.mark.long
@pytest.mark.parametrize("scale", ["conventional", "ninds", "plus"])
def test_a_typed_line_and_a_sheet_take_the_same_words_for_every_answer(scale):
    tried = 0
    for sign in catalogue().values():
        sides = ("right", "left") if sign.sides == "each" else ("midline",)
        if sign.id == "post_void_residual":  # takes a number as well
            continue
        for answer in answers_for(sign.answers, scale).answers:
            for word in {answer.code, answer.mark, answer.key, answer.words, answer.words.upper()}:
                if " " in word or ":" in word or word == "-":  # cannot be typed as one word
                    continue
                if "/" in word and sign.answers != "tendon":
                    continue
                line = f"scale={scale} {sign.id} {'/'.join([word] * len(sides))}"
                typed = {f.key: f.answer for f in read_line(line).spelled_out().findings}
                given = [{"sign": sign.id, "side": s, "answer": word} for s in sides]
                sheet = Sheet.model_validate({"scale": scale, "findings": given})
                assert {f.key: f.answer for f in sheet.spelled_out().findings} == typed, line
                tried += 1
    assert tried > 500


def test_a_sheet_takes_a_signs_name_as_a_typed_line_does():
    for sign in catalogue().values():
        side = "left" if sign.sides == "each" else "midline"
        for name in {sign.id, sign.id.upper(), sign.name, sign.name.upper()}:
            given = {"sign": name, "side": side, "not_testable": "pain"}
            (made,) = Sheet.model_validate({"findings": [given]}).spelled_out().findings
            assert made.sign == sign.id, name
    typed = read_line("scale=conventional Knee-jerk 2/0").spelled_out().findings
    assert {f.sign for f in typed} == {"knee"}


def test_a_bare_hyphen_on_a_sheet_is_no_grade():
    given = {"sign": "knee_extension", "side": "left", "answer": "-"}
    with pytest.raises(InputError, match="'-'"):
        Sheet.model_validate({"findings": [given]}).spelled_out()
