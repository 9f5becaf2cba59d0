"""Every rule of urgency walked: each item that fires it, each condition left out, and the source it names."""

import itertools

import pytest

from tests.handbook.rule_samples import CHANGES, SAMPLES, findings, joined, pairs, samples
from wardexam import ready
from wardexam.exam.flags import flag_names
from wardexam.reasoning.reading import Reading, Site
from wardexam.reasoning.rules.conditions import conditions, holding
from wardexam.reasoning.rules.deadlines import limits
from wardexam.reasoning.rules.rule_table import rules
from wardexam.reasoning.rules.urgency import NOT_EXCLUDED, POLICY, assess


def fired(line, before=None):
    previous = findings(before) if before is not None else None
    return {r.rule: r for r in assess(findings(line), previous, None).reasons}


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
    if item in CHANGES:
        before, now = CHANGES[item]
        assert rule in fired(now, before)
        return
    reached = False
    for chosen in itertools.product(samples(item), *(samples(i) for i in row.every)):
        line = joined(*chosen)
        shown = findings(line)
        held = holding(shown)
        told = all(
            i.split(":")[1] in held or shown.flags.get(i.split(":")[1]) == "yes"
            for i in (item, *row.every)
        )
        if told:
            reached = True
            answer = assess(shown, None, None)
            found = {r.rule: r for r in answer.reasons}
            within = [r for r in row.within if r in found]  # then it is said by a graver one
            assert rule in found or within, f"{line}: {held}"
            assert rule not in found or found[rule].urgency == row.urgency
            assert POLICY in answer.caution
    assert reached, "no sample reaches it"


@pytest.mark.parametrize("rule", [n for n, row in rules().items() if row.every])
def test_a_rule_is_silent_where_one_thing_that_it_asks_for_is_missing(rule):
    row = rules()[rule]
    for missing in row.every:
        others, tried = [i for i in row.every if i != missing], 0
        for item in row.some:
            if item in CHANGES:
                continue
            kind, name = missing.split(":")
            without = [f"flag:{name}=no"] if kind == "flag" else SAMPLES[name]["nearly"]
            for lack in without:
                line = joined(*(samples(i)[0] for i in (item, *others)), lack)
                still = name in holding(findings(line)) or findings(line).flags.get(name) == "yes"
                if not still:
                    tried += 1
                    assert rule not in fired(line), line
        assert tried, f"never without {missing}"


@pytest.mark.parametrize("rule", list(rules()))
def test_a_rule_is_silent_where_nothing_that_fires_it_is_there(rule):
    row, tried = rules()[rule], 0
    asked = [i for i in row.every if i not in row.some]
    for item in row.some:
        kind, name = item.split(":")
        if kind == "change":
            before, _ = CHANGES[item]
            assert rule not in fired(before, before)
            tried += 1
            continue
        nearly = [f"flag:{name}=no"] if kind == "flag" else SAMPLES[name]["nearly"]
        for lack, *others in itertools.product(nearly, *(samples(i) for i in asked)):
            examination = findings(joined(*others, lack))
            held = {f"sign:{n}" for n in holding(examination)}
            held |= {f"flag:{n}" for n, answer in examination.flags.items() if answer == "yes"}
            if held.isdisjoint(row.some):
                tried += 1
                assert rule not in {r.rule for r in assess(examination, None, None).reasons}
    assert tried, "always there"


@pytest.mark.parametrize("every", [24, pytest.param(1, marks=pytest.mark.long)])
def test_two_rules_in_one_patient_are_no_calmer_than_the_graver_of_them(every):
    names, alone = set(), {}
    some = itertools.islice(pairs(ways=1), 0, None, every)
    for first, second, one, other, (past, together) in some:
        names.add((first, second))
        for before, now in (one, other):
            if id(now) not in alone:  # the samples are kept, so no two share an identity
                alone[id(now)] = assess(now, before, None).level
        graver = max(alone[id(now)] for _, now in (one, other))
        assert assess(together, past, None).level >= graver, (first, second)
    couples = list(itertools.combinations(rules(), 2))
    assert len(names) > 0.96 * len(couples) / every  # the rest tell two different complaints


def test_every_rule_says_what_first_whom_and_by_when_and_from_where():
    for name, row in rules().items():
        assert all((row.reason, row.image, row.call, row.source)), name
        assert row.by in limits(), name
        assert row.region, name
        if row.urgency == 3:
            assert row.first, name
            assert row.by != "within days", name
        assert len(row.reason) <= 90, name


def test_the_soonest_limit_is_said_first_among_the_gravest():
    reasons = assess(findings("flag:breathing=yes flag:saddle_numb=yes onset=days"), None, None).reasons  # fmt: skip
    assert [(r.rule, r.by) for r in reasons[:2]] == [
        ("breathing", "minutes"),
        ("cauda_equina", "4 h"),
    ]


QUIET = [
    "",
    "biceps 2/2 triceps 2/2 knee 2/2 ankle 2/2 plantar down/down power_leg 5/5",
    "ankle 0/0 age=84",
    "knee 3/3 ankle 3/3 biceps 3/3",
    "rest=power:all rest=sensation:all rest=reflexes:all",
    " ".join(f"flag:{name}=no" for name in flag_names()),
    "hoffmann present/present",
]


@pytest.mark.parametrize("line", QUIET)
def test_nothing_fires_on_what_is_common_in_health_or_only_answered_no(line):
    assert assess(findings(line), None, None).level == 0


def test_lost_vibration_of_an_old_person_is_nothing_for_today():
    # Vrancken 2006: over 60 years absent ankle reflexes in 23 %, absent vibration at the toes in 29 %.
    assert assess(findings("vibration_leg 0/0 ankle 0/0 age=70"), None, None).level <= 1


def test_every_flag_asked_and_denied_leaves_what_was_not_examined_unknown():
    no = " ".join(f"flag:{name}=no" for name in flag_names())
    assert assess(findings(no), None, None).not_asked == ()
    one = assess(findings(no.replace("flag:cancer=no", "")), None, None)
    assert one.not_asked == ("cancer",)
    assert NOT_EXCLUDED in one.caution
    assert one.word == "not assessed, 1 not asked"


def test_a_retired_question_still_counts_where_it_was_answered():
    assert "fever_and_pain" in fired("flag:infection=yes pain=back")
    assert "haematoma" in fired("flag:bleeding=yes pain=back")
    assert "infection" not in flag_names()


def test_the_inferred_sites_raise_to_today_at_most_and_never_lower():
    cord = findings(
        "onset=days knee 3/3 ankle 3/3 hip_flexion 5/5 abdominal_upper 2/2 abdominal_lower 0/0 vibration_leg 1/2"
    )
    reading = ready.engine().read(cord)
    assert sum(s.probability for s in reading.dangerous) > 0.5
    plain, raised = assess(cord, None, None), assess(cord, None, reading)
    assert (plain.level, raised.level) == (0, 2)
    assert raised.reasons[0].rule == "inferred_site"
    benign = findings("flag:saddle_numb=yes ankle 2/0 pin_S1 2/1 ankle_plantarflexion 5/4")
    assert assess(benign, None, ready.engine().read(benign)).level == 3


def test_evidence_split_between_two_dangerous_places_is_no_calmer_than_one():
    examination = findings("knee 3/3 ankle 3/3 plantar down/down onset=longer")
    split = (site("a", 0.3), site("b", 0.3))
    for dangerous, raised in ((split, True), (split[:1], False), ((site("a", 0.6),), True)):
        reading = Reading(sites=dangerous, dangerous=dangerous, entered=6)
        rules_ = {r.rule for r in assess(examination, None, reading).reasons}
        assert ("inferred_site" in rules_) == raised


def site(name, chance):
    return Site(name, "cord", name, "none", None, None, chance, "possible", urgent=True)
