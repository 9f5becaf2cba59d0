"""More abnormal is never calmer: random examinations, and what is added to them one thing at a time."""

import random
from datetime import UTC, datetime, timedelta

import pytest

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.acts import Act
from wardexam.exam.answers import answers_for
from wardexam.exam.examination import Examination, Findings
from wardexam.exam.findings import Finding, RestNormal
from wardexam.exam.flags import every_flag
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.acts import written_over
from wardexam.reasoning.rules.raised import recorded
from wardexam.reasoning.rules.standing import standing, unrelieved
from wardexam.reasoning.rules.urgency import assess, rules

TRIALS = 2000  # in the suite; the benchmark does more
ONSETS = ("sudden", "waking", "hours", "days", "weeks", "longer")
COMPLAINTS = (
    "weak_leg",
    "weak_one_side",
    "back_pain",
    "headache",
    "speech",
    "numb_feet",
    "bladder",
    "other",
)


def abnormal(source, sign, side):
    """A finding of a sign that is not as usual, and one graver than it where there is one."""
    kind = answers_for(sign.answers)
    ranked = [c for c in (kind.graver or ()) if c != "none"] if hasattr(kind, "graver") else []
    options = [a.code for a in kind.answers if not a.usual]
    if not options or sign.answers == "residual":
        return None
    if sign.answers == "mrc":
        at = source.randrange(1, 7)
        grades = ["0", "1", "2", "3", "4-", "4", "4+"]
        return grades[at], grades[at - 1]
    if len(ranked) > 2:
        at = source.randrange(1, len(ranked) - 1)
        return ranked[at], ranked[at + 1]
    return source.choice(options), None


def finding(sign, side, answer, **more):
    scale = {"scale": "conventional"} if sign.answers == "tendon" else {}
    return Finding.model_validate(
        {"sign": sign.id, "side": side, "answer": answer, **scale, **more}
    )


def with_finding(examination, made):
    kept = tuple(f for f in examination.findings if f.key != made.key)
    return examination.model_copy(update={"findings": (*kept, made)})


def drawn(source) -> Findings:
    """A random examination: some signs, flags, a story."""
    made = read_line(
        f"onset={source.choice((*ONSETS, 'unknown'))} complaint={source.choice(COMPLAINTS)} pain={source.choice(('none', 'back', 'neck', 'limb'))}"
    ).spelled_out()
    for _ in range(source.randrange(0, 9)):
        made = added(made, source)[0]
    flags = {f: source.choice(("yes", "no")) for f in source.sample(list(every_flag()), source.randrange(0, 6))}  # fmt: skip
    return made.model_copy(update={"flags": flags})


def added(examination, source):
    """The examination with one more abnormal finding, and with that finding graver, where there is such."""
    while True:
        sign = source.choice(list(catalogue().values()))
        side = source.choice(("right", "left")) if sign.sides == "each" else "midline"
        if examination.finding(sign.id, side) or sign.answers in (
            "level",
            "residual",
            "amount_test",
        ):
            continue
        if source.random() < 0.25:  # recorded as usual: what may show that a nerve is spared
            usual = [a.code for a in answers_for(sign.answers).answers if a.usual]
            if usual:
                return with_finding(examination, finding(sign, side, usual[0])), None
            continue
        options = abnormal(source, sign, side)
        if options is None:
            continue
        first = with_finding(examination, finding(sign, side, options[0]))
        graver = with_finding(examination, finding(sign, side, options[1])) if options[1] else None
        return first, graver


def level(examination, previous=None):
    return assess(examination, previous, None).level


def worse_steps(examination, source):
    """What makes an examination worse by one thing, with a word for it."""
    while True:
        more, graver = added(examination, source)
        if more.findings[-1].choice is None or not more.findings[-1].choice.usual:
            break
    yield "one more abnormal finding", examination, more
    if graver:
        yield "a graver grade", more, graver
    flag = source.choice(list(every_flag()))
    yield "a yes", examination, examination.model_copy(update={"flags": {**examination.flags, flag: "yes"}})  # fmt: skip
    silent = {k: v for k, v in examination.flags.items() if v == "yes"}
    yield (
        "flags not asked instead of no",
        examination,
        examination.model_copy(update={"flags": silent}),
    )
    unknown = examination.context.model_copy(update={"onset": "unknown"})
    yield "an unknown onset", examination, examination.model_copy(update={"context": unknown})
    told = examination.context.onset
    if told in ONSETS[1:]:
        sooner = examination.context.model_copy(update={"onset": ONSETS[ONSETS.index(told) - 1]})
        yield "a more acute onset", examination, examination.model_copy(update={"context": sooner})
    statement = RestNormal.model_validate({"part": "power", "limb": "right leg"})
    yield "rest normal", examination, examination.model_copy(update={"rest_normal": (statement,)})
    gone = tuple(f for f in examination.findings if not (f.choice and f.choice.usual))
    yield "blanks instead of normal", examination, examination.model_copy(update={"findings": gone})


def drops(trials, seed):
    """Every case in which one thing more was calmer."""
    source, found = random.Random(seed), []
    for _ in range(trials):
        for word, before, after in worse_steps(drawn(source), source):
            if level(after) < level(before):
                found.append((word, before, after))
    return found


def test_nothing_that_is_worse_or_unknown_is_ever_calmer():
    found = drops(TRIALS, 7)
    assert not found, [(w, [f"{f.sign} {f.side} {f.answer}" for f in b.findings], b.flags, b.context) for w, b, _ in found[:3]]  # fmt: skip


def test_across_examinations_nothing_is_calmer_but_by_signs_examined_again():
    source = random.Random(11)
    for _ in range(500):
        earlier, later = drawn(source), drawn(source)
        again = {f.key for f in later.findings} & {f.key for f in earlier.findings}
        if again or set(later.flags) & set(earlier.flags):
            continue
        stated = tuple(
            RestNormal.model_validate({"part": p, "limb": limb})
            for p in ("power", "reflexes", "sensation")
            for limb in ("right leg", "left leg", "right arm", "left arm")
        )
        assert level(later.model_copy(update={"rest_normal": stated}), earlier) >= level(earlier)


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
    whole = unrelieved(previous, examination)[0] if previous else examination
    acts = tuple(
        Act.model_validate({"rule": r.rule, "kind": kind, "on": written_over(whole), **ACT})
        for r in assess(examination, previous, None).reasons
    )
    return examination.model_copy(update={"acts": acts})


def test_no_act_but_a_permitted_lowering_lowers_a_level_and_that_only_its_own_reason():
    source = random.Random(3)
    for _ in range(150):
        plain = drawn(source)
        before = {r.rule: r.urgency for r in assess(plain, None, None).reasons}
        for kind in ("called", "asked", "done", "not_needed"):
            found = assess(written(plain, kind), None, None).reasons
            assert {r.rule: r.urgency for r in found} == before
            assert all(r.answered for r in found)
        for reason in assess(written(plain, "lowered"), None, None).reasons:
            down = reason.lowers and plain.flags.get("worse") != "yes"
            assert reason.urgency == (min(before[reason.rule], 1) if down else before[reason.rule])


WORSE = ("one more abnormal finding", "a graver grade", "a yes", "a more acute onset")


def test_what_was_brought_down_or_settled_never_survives_anything_more():
    source, tried = random.Random(5), 0
    for _ in range(300):
        for word, before, after in worse_steps(drawn(source), source):
            if word not in WORSE or after == before:
                continue
            acts = written(before, "lowered").acts
            found = assess(after.model_copy(update={"acts": acts}), None, None)
            assert found.level == level(after), word
            assert not any(r.lowered or r.answered for r in found.reasons)
            tried += 1
    assert tried > 500


def examination_of(findings, hours):
    at = datetime(2026, 3, 2, 8, tzinfo=UTC) + timedelta(hours=hours)
    return Examination.of(
        findings, id=f"exam{hours:04}", patient="patient1", examiner="Dr Ash", at=at
    )


def test_nor_does_it_in_a_later_examination_and_once_ended_it_stays_so():
    source, tried = random.Random(9), 0
    for _ in range(150):
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
        assert level(gone, standing([first, ended])) == level(gone, standing([bare, later]))
        tried += 1
    assert tried > 50


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
