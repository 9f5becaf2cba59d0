"""The hospital's own words: what they replace, and every way a file is refused."""

import pytest

from wardexam.errors import TableError
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.rule_table import rules
from wardexam.reasoning.rules.urgency import assess
from wardexam.reasoning.rules.wording import read_wording

OWN = '[cauda_equina]\ncall = "bleep 1234"\nimage = "MRI, ring 5678"\nreason = "our cord pathway"\n'


def reasons(line, wording=None):
    return {r.rule: r for r in assess(read_line(line).spelled_out(), None, None, wording).reasons}


def test_own_words_replace_the_texts_of_their_rule_alone():
    fired = reasons("flag:saddle_numb=yes flag:both_legs=yes", read_wording(OWN))
    own = fired["cauda_equina"]
    assert (own.text, own.image, own.call) == ("our cord pathway", "MRI, ring 5678", "bleep 1234")
    assert fired["both_legs"].call == rules()["both_legs"].call


@pytest.mark.parametrize("line", ["", "flag:saddle_numb=yes", "flag:cancer=yes hip_flexion 3/5"])
def test_own_words_never_make_a_rule_fire_or_stay_silent(line):
    every = {name: {"call": "x", "image": "y", "reason": "z"} for name in rules()}
    plain, own = reasons(line), reasons(line, every)
    assert [(r.rule, r.urgency, r.source) for r in plain.values()] == [
        (r.rule, r.urgency, r.source) for r in own.values()
    ]


REFUSED = [
    ("[cauda_equina\n", "line 1", "Expected ']'"),
    ('\n\n[cord]\ncall = "a" "b"\n', "line 4", "Expected newline"),
    ('[cord]\ncall = "open\n', "line 2", "Illegal character"),
    ("[no_such_rule]\ncall = 'x'\n", "line 1", "no rule is called 'no_such_rule'"),
    ('[cord]\ncall = "x"\n\n[stroke]\nurgency = 0\n', "line 5", "'urgency' cannot be given"),
    ("[stroke]\nany = []\n", "line 2", "'any' cannot be given"),
    ("[stroke]\ncall = 12\n", "line 2", "'call' is a text"),
    ('[stroke]\ncall = "  "\n', "line 2", "'call' is a text"),
    ('[stroke]\ncall = "a\\u001b[31mb"\n', "line 2", "printable"),
    ('[stroke]\ncall = """a\nb"""\n', "line 2", "one line"),
    (f'[stroke]\ncall = "{"x" * 161}"\n', "line 2", "at most 160"),
    ("stroke = 3\n", "line 1", "'stroke' is a table"),
    ('# words\nstroke = {colour = "red"}\n', "line 2", "'colour' cannot be given"),
]


@pytest.mark.parametrize(("text", "line", "reason"), REFUSED)
def test_a_bad_file_is_refused_with_line_and_reason(text, line, reason):
    with pytest.raises(TableError) as refused:
        read_wording(text, where="words.toml")
    said = str(refused.value)
    assert f"words.toml, {line}: " in said
    assert reason in said
    assert "the built-in wording stays" in said
    assert "\n" not in said


def test_an_empty_file_says_nothing_and_is_no_fault():
    assert read_wording("# none yet\n") == {}
