"""Every rule of urgency walked: each item that fires it, each condition left out, and the source it names."""

import itertools
import tomllib
from pathlib import Path

import pytest

from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.conditions import conditions, holding
from wardexam.reasoning.rules.urgency import LIMITS, POLICY, assess, rules

SAMPLES = tomllib.loads(
    (Path(__file__).parent / "urgency_conditions.toml").read_text(encoding="utf-8")
)
BEFORE = {
    "change:one_sided_face_arm_leg": ("power_arm 5/5 power_leg 5/5", "power_arm 5/2 power_leg 5/2"),
    "change:cortical_sign_new": ("aphasia none", "aphasia marked"),
    "change:reflexes_lost_with_weakness": (
        "knee 2/2 ankle 2/2 power_leg 5/5", "knee 0/0 ankle 0/0 power_leg 3/3",
    ),
    "change:worse": ("power_leg 5/5", "power_leg 2/5"),
}  # fmt: skip


def findings(line):
    return read_line(line).examination()


def samples(item):
    """Lines in which an item of a rule holds."""
    kind, name = item.split(":")
    return [f"flag:{name}=yes"] if kind == "flag" else SAMPLES[name]["holds"]


def fired(line, before=None):
    previous = findings(before) if before is not None else None
    return {r.rule: r for r in assess(findings(line), previous, None).reasons}


def joined(*lines):
    """Lines as one; of two stories the later one's word counts, of two answers to a sign the graver one stays first."""
    words, seen = [], set()
    for line in lines:
        parts = line.split()
        at = 0
        while at < len(parts):
            if "=" in parts[at]:
                words.append(parts[at])
                at += 1
            else:
                if parts[at] not in seen:
                    words += parts[at : at + 2]
                    seen.add(parts[at])
                at += 2
    return " ".join(words)


@pytest.mark.parametrize("name", list(SAMPLES))
def test_a_condition_holds_where_it_should_and_not_where_it_nearly_does(name):
    assert set(SAMPLES) == set(conditions())
    for line in SAMPLES[name]["holds"]:
        assert name in holding(findings(line)), line
    for line in SAMPLES[name]["nearly"]:
        assert name not in holding(findings(line)), line


def walks():
    for name, row in rules().items():
        for item in row.some:
            yield name, item


@pytest.mark.parametrize(("rule", "item"), list(walks()))
def test_each_item_of_a_rule_fires_it_with_all_that_it_asks_for(rule, item):
    row = rules()[rule]
    if item in BEFORE:
        before, now = BEFORE[item]
        assert rule in fired(now, before)
        return
    reached = False
    for chosen in itertools.product(samples(item), *(samples(i) for i in row.every)):
        line = joined(*chosen)
        holds = holding(findings(line)) | {
            f.split(":")[1] for f in line.split() if f.startswith("flag:")
        }
        told = all(
            i.split(":")[1] in holding(findings(line))
            or findings(line).flags.get(i.split(":")[1]) == "yes"
            for i in (item, *row.every)
        )
        if told:
            reached = True
            found = fired(line)
            assert rule in found, f"{line}: {holds}"
            assert found[rule].urgency == row.urgency
            assert POLICY in assess(findings(line), None, None).caution
    assert reached, "no sample reaches it"


@pytest.mark.parametrize("rule", [n for n, row in rules().items() if row.every])
def test_a_rule_is_silent_where_one_thing_that_it_asks_for_is_missing(rule):
    row = rules()[rule]
    tried = 0
    for missing in row.every:
        others = [i for i in row.every if i != missing]
        for item in row.some:
            if item in BEFORE:
                continue
            kind, name = missing.split(":")
            without = [f"flag:{name}=no"] if kind == "flag" else SAMPLES[name]["nearly"]
            for lack in without:
                line = joined(*(samples(i)[0] for i in (item, *others)), lack)
                still = name in holding(findings(line)) or findings(line).flags.get(name) == "yes"
                if not still:
                    tried += 1
                    assert rule not in fired(line), line
    assert tried, "never missing"


def test_every_rule_says_what_first_whom_and_by_when_and_from_where():
    for name, row in rules().items():
        assert all((row.reason, row.image, row.call, row.source)), name
        assert row.by in LIMITS, name
        assert row.region, name
        if row.urgency == 3:
            assert row.first, name
            assert row.by != "within days", name
        assert len(row.reason) <= 90, name


def test_the_soonest_limit_is_said_first_among_the_gravest():
    reasons = assess(findings("flag:breathing=yes flag:saddle_numb=yes flag:cancer=yes hip_flexion 3/3"), None, None).reasons  # fmt: skip
    grave = [LIMITS.index(r.by) for r in reasons if r.urgency == 3]
    assert grave == sorted(grave)
    assert reasons[0].rule == "breathing"
