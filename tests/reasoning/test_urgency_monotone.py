"""More abnormal is never calmer: random examinations, and what is added to them one thing at a time."""

from collections import Counter
from random import Random

import pytest

from tests.reasoning.worsening import (
    KINDS,
    drawn,
    in_words,
    not_again,
    stated_normal,
    worse_steps,
)
from wardexam.exam.examination import Act
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.urgency import assess, rules

TRIALS = 10_000  # the benchmark does more: tests/bench/bench_urgency.py
PAIRS = 2_000


def level(examination, previous=None):
    return assess(examination, previous, None).level


@pytest.mark.slow
def test_nothing_that_is_worse_or_unknown_is_ever_calmer():
    source, tried, drops = Random(7), Counter(), []
    for _ in range(TRIALS):
        examination = drawn(source)
        levels = {id(examination): level(examination)}
        for step in worse_steps(examination, source):
            word, before, after = step
            tried[word] += 1
            levels[id(after)] = level(after)
            if levels[id(after)] < levels[id(before)]:
                drops.append(step)
    assert not drops, [in_words(d) for d in drops[:3]]
    assert {word: tried[word] > TRIALS / 20 for word in KINDS} == dict.fromkeys(KINDS, True), tried


def test_across_examinations_nothing_is_calmer_but_by_signs_examined_again():
    source = Random(11)
    for _ in range(PAIRS):
        earlier, later = drawn(source), drawn(source)
        stands = not_again(earlier, later)
        assert level(stated_normal(later), earlier) >= level(stands), (earlier, later)


ACT = {"what": "MRI normal", "by": "Dr Ash", "at": "2026-03-02T08:00:00+00:00"}


def lowered(line, rule, **more):
    act = Act.model_validate({"rule": rule, "kind": "lowered", **ACT})
    return assess(read_line(line).spelled_out().model_copy(update={"acts": (act,)}), None, None)


def test_what_a_doctor_writes_lowers_a_rule_that_allows_it_and_says_so():
    found = lowered("flag:saddle_numb=yes onset=longer", "cauda_equina")
    (reason,) = found.reasons
    assert (found.level, reason.urgency) == (1, 1)
    assert reason.lowered == "MRI normal (Dr Ash, 02 Mar 08:00)"


def test_nothing_lowers_a_rule_whose_row_allows_none():
    assert rules()["compartment"].lowers == ""
    assert lowered("flag:limb_tense=yes", "compartment").level == 3


@pytest.mark.parametrize(
    "line", ["flag:saddle_numb=yes", "saddle known:1/1 bladder known:retention"]
)
def test_anything_worse_cancels_what_was_lowered_or_known(line):
    assert lowered(f"{line} flag:worse=yes", "cauda_equina").level == 3


def test_what_is_known_and_unchanged_yields_where_the_row_allows_it_and_is_still_said():
    found = assess(read_line("plantar known:up/up power_leg known:4/4 onset=longer").spelled_out(), None, None)  # fmt: skip
    assert found.level == 1
    assert all(r.lowered == "known: documented before" for r in found.reasons)
    new = assess(read_line("plantar known:up/up saddle 1/2 onset=longer").spelled_out(), None, None)
    assert new.level == 3


def test_an_onset_that_is_not_known_counts_as_acute_and_is_said():
    (reason, *_) = assess(read_line("aphasia slight").spelled_out(), None, None).reasons
    assert (reason.rule, reason.urgency) == ("stroke", 3)
    assert reason.text.endswith("until the onset is known")
    (told, *_) = assess(read_line("aphasia slight onset=hours").spelled_out(), None, None).reasons
    assert "until" not in told.text
