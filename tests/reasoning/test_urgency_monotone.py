"""More abnormal is never calmer: random examinations, and what is added to them one thing at a time."""

from datetime import UTC, datetime, timedelta
from random import Random

import pytest

from tests.reasoning.worsening import (
    KINDS,
    added,
    drawn,
    drops_across,
    drops_again,
    drops_within,
    level,
    worse_steps,
)
from wardexam.errors import TableError
from wardexam.exam.acts import Act
from wardexam.exam.examination import Examination, Findings
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.acts import written_over
from wardexam.reasoning.rules.deadlines import limits
from wardexam.reasoning.rules.raised import recorded
from wardexam.reasoning.rules.rule_table import rules
from wardexam.reasoning.rules.standing import standing, still_open, unrelieved
from wardexam.reasoning.rules.urgency import assess
from wardexam.reasoning.tables import conditions_row

PAIRS = [60, pytest.param(2_000, marks=pytest.mark.long)]
DRAWN = [60, pytest.param(150, marks=pytest.mark.long)]


# The benchmark does more: tests/bench/bench_urgency.py
@pytest.mark.parametrize("trials", [60, pytest.param(10_000, marks=pytest.mark.long)])
def test_nothing_that_is_worse_or_unknown_is_ever_calmer(trials):
    tried, drops = drops_within(trials, Random(7))
    assert not drops, drops[:3]
    assert {word: tried[word] > trials / 20 for word in KINDS} == dict.fromkeys(KINDS, True), tried


@pytest.mark.parametrize("pairs", PAIRS)
def test_across_examinations_nothing_is_calmer_but_by_signs_examined_again(pairs):
    assert drops_across(pairs, Random(11)) == []


@pytest.mark.parametrize("trials", [20, pytest.param(2000, marks=pytest.mark.long)])
def test_the_same_found_once_more_is_no_calmer(trials):
    assert drops_again(trials, Random(5)) == []


ACT = {"what": "MRI normal", "by": "Dr Ash", "at": "2026-03-02T08:00:00+00:00"}


def lowered(line, rule, **more):
    act = Act.model_validate({"rule": rule, "kind": "lowered", **ACT})
    return assess(read_line(line).spelled_out().model_copy(update={"acts": (act,)}), None, None)


def test_what_a_doctor_writes_lowers_a_rule_that_allows_it_and_says_so():
    found = lowered("flag:saddle_numb=yes onset=longer", "cauda_equina")
    (reason,) = found.reasons
    assert (found.level, reason.urgency) == (1, 1)
    assert reason.lowered == "MRI normal (Dr Ash, 02 Mar 08:00)"


def written(examination, kind, previous=None):
    """The examination with such an act about every reason that stands, written over what is found."""
    still = still_open((previous,)) if previous else None
    whole = unrelieved(still, examination)[0] if still else examination
    acts = tuple(
        Act.model_validate({"rule": r.rule, "kind": kind, "on": written_over(whole), **ACT})
        for r in assess(examination, previous, None).reasons
    )
    return examination.model_copy(update={"acts": acts})


@pytest.mark.parametrize("times", DRAWN)
def test_no_act_but_a_permitted_lowering_lowers_a_level_and_that_only_its_own_reason(times):
    source = Random(3)
    for _ in range(times):
        plain = drawn(source)
        before = {r.rule: r.urgency for r in assess(plain, None, None).reasons}
        for kind in ("called", "asked", "done", "not_needed"):
            found = assess(written(plain, kind), None, None).reasons
            assert {r.rule: r.urgency for r in found} == before
            assert all(r.answered for r in found)
        for reason in assess(written(plain, "lowered"), None, None).reasons:
            if reason.rule not in before:  # it was within one that is brought down now
                assert reason.urgency <= max(before.values())
                continue
            down = reason.lowers and plain.flags.get("worse") != "yes"
            assert reason.urgency == (min(before[reason.rule], 1) if down else before[reason.rule])


WORSE = ("one more abnormal finding", "a graver grade", "a yes", "a more acute onset")


@pytest.mark.parametrize("times", DRAWN)
def test_what_was_brought_down_or_settled_never_survives_anything_more(times):
    source, tried = Random(5), 0
    for _ in range(times):
        for word, before, after in worse_steps(drawn(source), source):
            if word not in WORSE or after == before:
                continue
            acts = written(before, "lowered").acts
            found = assess(after.model_copy(update={"acts": acts}), None, None)
            assert found.level == level(after), word
            assert not any(r.lowered or r.answered for r in found.reasons)
            tried += 1
    assert tried > 5 * times / 3


def examination_of(findings, hours):
    at = datetime(2026, 3, 2, 8, tzinfo=UTC) + timedelta(hours=hours)
    return Examination.of(
        findings, id=f"exam{hours:04}", patient="patient1", examiner="Dr Ash", at=at
    )


@pytest.mark.parametrize("times", DRAWN)
def test_nor_does_it_in_a_later_examination_and_once_ended_it_stays_so(times):
    source, tried = Random(9), 0
    for _ in range(times):
        first = written(examination_of(drawn(source), 0), "lowered")
        first = recorded(first, assess(first, None, None))
        silent = examination_of(Findings(), 4)
        held = assess(silent, first, None)
        assert held.level == level(first)
        more, _ = added(first, source)
        new = more.findings[-1]
        if new.choice is None or new.choice.usual:
            continue
        later = examination_of(Findings(findings=(new,)), 4)
        bare = first.model_copy(update={"acts": (), "raised": None})
        assert level(later, first) == level(later, bare)
        ended = recorded(later, assess(later, first, None))
        gone = examination_of(Findings(), 8)
        assert level(gone, standing([first, ended])) >= level(gone, standing([bare, later]))
        tried += 1
    assert tried > times / 2


def test_nothing_lowers_a_rule_whose_row_allows_none():
    assert rules()["compartment"].lowers == ""
    assert lowered("flag:limb_tense=yes", "compartment").level == 3


@pytest.mark.parametrize(
    "line", ["flag:saddle_numb=yes", "saddle known:1/1 bladder known:retention"]
)
def test_anything_worse_cancels_what_was_lowered_or_known(line):
    assert lowered(f"{line} flag:worse=yes", "cauda_equina").level == 3


def test_what_is_marked_as_known_is_said_at_the_lowest_level_where_it_is_grave_and_not_at_all_where_it_is_not():
    grave = assess(read_line("saddle known:1/1 onset=longer").spelled_out(), None, None)
    assert grave.level == 1
    assert all(r.lowered == "taken as known: documented before" for r in grave.reasons)
    old = assess(read_line("plantar known:up/up power_leg known:4/4 onset=longer").spelled_out(), None, None)  # fmt: skip
    assert (old.level, old.reasons) == (0, ())
    new = assess(read_line("plantar known:up/up saddle 1/2 onset=longer").spelled_out(), None, None)
    assert new.level == 3


DENIED = "onset=longer flag:worse=no"


@pytest.mark.parametrize(
    ("told", "level"),
    [
        (DENIED, 1),
        (f"{DENIED} flag:bladder_bowel=yes", 3),  # what is answered yes is no old finding
        ("onset=longer", 3),  # what was not asked never calms
        ("onset=longer flag:progressive=no", 3),
        ("onset=longer flag:worse=yes", 3),
        ("onset=longer flag:worse=no flag:progressive=yes", 3),
        ("onset=weeks flag:worse=no", 3),
        ("flag:worse=no", 3),  # an unknown onset is not a long one
    ],
)
def test_only_what_is_told_to_be_of_long_standing_and_not_worse_counts_as_known(told, level):
    found = assess(read_line(f"bladder altered gait shuffling {told}").spelled_out(), None, None)
    assert found.level == level
    assert ("unchanged" in found.reasons[0].lowered) == (level == 1)


@pytest.mark.parametrize("bladder", ["retention", "incontinence"])
def test_a_bladder_that_fails_is_not_believed_to_be_unchanged_unless_it_is_marked_so(bladder):
    """Drawn: retention was for now, and incontinence, which is graver, was calmer."""
    said, marked = (read_line(f"bladder {known}{bladder} {DENIED}").spelled_out() for known in ("", "known:"))  # fmt: skip
    assert assess(said, None, None).level == 3
    assert assess(marked, None, None).level <= 1


def test_what_changed_since_the_last_examination_is_not_unchanged_whatever_is_told():
    before, now = (
        read_line(f"{DENIED} ankle_dorsiflexion 5/{grade} hip_flexion 5/{grade}").spelled_out()
        for grade in ("4", "1")
    )
    assert assess(now, None, None).level == 1
    assert assess(now, before, None).level >= 2


@pytest.mark.parametrize(
    ("found", "level"),
    [
        ("bladder retention gait shuffling", 3),
        ("bladder known:retention gait shuffling", 1),
        ("saddle 1/1", 3),
        ("saddle known:1/1", 1),
        ("anal_tone 0 power_leg 3/3", 3),
        ("bladder known:retention power_leg 3/3", 1),
    ],
)
def test_what_is_seldom_old_is_known_only_where_it_is_marked_itself(found, level):
    assert assess(read_line(f"{DENIED} {found}").spelled_out(), None, None).level == level


def test_a_level_with_a_headache_is_grave_though_the_level_is_old():
    line = f"{DENIED} level_pin T4/T4 complaint=headache"
    found = assess(read_line(line).spelled_out(), None, None)
    assert (found.level, found.reasons[0].rule) == (3, "headache_and_level")


def test_an_onset_that_is_not_known_counts_as_acute_and_is_said():
    (reason, *_) = assess(read_line("aphasia slight").spelled_out(), None, None).reasons
    assert (reason.rule, reason.urgency) == ("stroke", 3)
    assert reason.text.endswith("until the onset is known")
    (told, *_) = assess(read_line("aphasia slight onset=hours").spelled_out(), None, None).reasons
    assert "until" not in told.text


def test_a_reason_is_not_said_beside_one_that_says_it_and_more():
    def said(found):
        return {r.rule for r in assess(found, None, None).reasons}

    line = "complaint=weak_one_side hip_flexion 3/5 elbow_flexion 3/5 face_lower 4/5"
    sudden, undated = (read_line(f"{o}{line}").spelled_out() for o in ("onset=sudden ", ""))
    assert "stroke" in said(sudden)
    assert "growing_weeks" not in said(sudden)
    # Where the graver one hangs on an onset that is not known, both are said: one of them holds.
    assert {"stroke", "growing_weeks"} <= said(undated)
    # Once what says it is brought down, it stands.
    lowered = written(sudden, "lowered")
    for _ in range(4):  # what stands again for that is brought down too
        more = written(lowered, "lowered")
        lowered = more.model_copy(update={"acts": (*lowered.acts, *more.acts)})
    spans = list(limits())
    for row in rules().values():
        assert all(rules()[other].urgency >= row.urgency for other in row.within)
        assert all(spans.index(rules()[other].by) <= spans.index(row.by) for other in row.within)
    assert said(lowered) >= said(sudden)


def test_a_flag_that_is_none_is_an_error_where_it_says_what_is_unchanged(rules_anew, monkeypatch):
    monkeypatch.setitem(conditions_row("unchanged"), "no", ["wrose"])
    with pytest.raises(TableError, match="wrose"):
        rules()
