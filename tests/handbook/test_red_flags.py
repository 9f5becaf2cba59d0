"""Every red-flag rule beside its published source: what fires it, what must not, and how urgent it is."""

import tomllib
from pathlib import Path

import pytest

from wardexam.exam.flags import flag_names
from wardexam.exam.typed import read_line
from wardexam.reasoning.engine import load
from wardexam.reasoning.rules.urgency import NOT_EXCLUDED, POLICY, assess, rules

TABLE = tomllib.loads((Path(__file__).parent / "red_flags.toml").read_text(encoding="utf-8"))
FIRES = [(rule, case) for rule, row in TABLE.items() for case in row["fires"]]
SILENT = [(rule, case) for rule, row in TABLE.items() for case in row["silent"]]


def urgency_of(case):
    """The urgency of a typed line, or of the second of two."""
    before, now = (None, case) if isinstance(case, str) else case
    previous = read_line(before).spelled_out() if before is not None else None
    return assess(read_line(now).spelled_out(), previous, None)


def fired(case):
    return {r.rule: r for r in urgency_of(case).reasons}


def test_the_table_holds_every_rule_and_no_other():
    assert set(TABLE) == set(rules())


@pytest.mark.parametrize("rule", list(TABLE))
def test_a_rule_cites_the_sources_of_its_row_and_has_its_urgency(rule):
    row = TABLE[rule]
    assert all(source in rules()[rule]["source"] for source in row["sources"])
    assert rules()[rule]["urgency"] == row["urgency"]
    assert row["status"] in ("verified", "memory", "practice")
    assert row["fact"]
    assert row["fires"]
    assert row["silent"]
    if row["status"] == "memory":
        assert "from memory" in rules()[rule]["source"]
    if row["status"] == "practice":
        assert rules()[rule]["source"] == "common practice"


@pytest.mark.parametrize(("rule", "case"), FIRES, ids=str)
def test_it_fires(rule, case):
    urgency = urgency_of(case)
    assert rule in {r.rule for r in urgency.reasons}
    assert urgency.level >= TABLE[rule]["urgency"]
    assert POLICY in urgency.caution


@pytest.mark.parametrize(("rule", "case"), SILENT, ids=str)
def test_it_does_not_fire(rule, case):
    assert rule not in fired(case)


QUIET = [
    "",
    "biceps 2/2 triceps 2/2 knee 2/2 ankle 2/2 plantar down/down power_leg 5/5",
    "ankle 0/0 age=84",
    "knee 3/3 ankle 3/3 biceps 3/3",
    "rest=power:all rest=sensation:all rest=reflexes:all",
    " ".join(f"flag:{name}=no" for name in flag_names()),
    "hoffmann present/present",
    "vibration_leg 0/0 age=70",
]


@pytest.mark.parametrize("line", QUIET)
def test_nothing_fires_on_what_is_common_in_health_or_only_answered_no(line):
    # Vrancken 2006: over 60 years absent ankle reflexes in 23 %, absent vibration at the toes in 29 %.
    assert urgency_of(line).level == 0


CALM = "rest=reflexes:all rest=power:all rest=sensation:all brachioradialis 2/2 cremasteric 2/2"


@pytest.mark.parametrize(("rule", "case"), [f for f in FIRES if "rest=" not in str(f)], ids=str)
def test_nothing_found_or_said_normal_beside_it_calms_a_rule(rule, case):
    # Dionne 2019: the absence of red flags excludes nothing.
    calmed = f"{case} {CALM}" if isinstance(case, str) else [case[0], f"{case[1]} {CALM}"]
    assert rule in fired(calmed)
    assert urgency_of(calmed).level >= urgency_of(case).level


def test_every_flag_asked_and_denied_leaves_what_was_not_examined_unknown():
    no = " ".join(f"flag:{name}=no" for name in flag_names())
    assert urgency_of(no).not_asked == ()
    one = urgency_of(no.replace("flag:cancer=no", ""))
    assert one.not_asked == ("cancer",)
    assert NOT_EXCLUDED in one.caution


def test_the_inferred_site_raises_and_never_lowers():
    cord = read_line(
        "onset=days knee 3/3 ankle 3/3 hip_flexion 4+/4+ abdominal_upper 2/2 abdominal_lower 0/0 vibration_leg 1/1"
    ).spelled_out()
    reading = load().read(cord)
    assert reading.sites[0].urgent
    assert assess(cord, None, None).level == 0
    raised = assess(cord, None, reading)
    assert raised.level == 2
    assert raised.reasons[0].rule == "inferred_site"
    benign = read_line(
        "flag:saddle_numb=yes ankle 2/0 pin_S1 2/1 ankle_plantarflexion 5/4"
    ).spelled_out()
    assert assess(benign, None, load().read(benign)).level == 3
