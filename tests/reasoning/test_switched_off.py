"""One rule switched off by a hospital: never without who, why and when, never silently, never calming another."""

import itertools
import random
from datetime import UTC, date, datetime

import pytest

from tests.handbook.rule_samples import SAMPLES, findings, joined, samples
from wardexam.errors import TableError
from wardexam.exam.acts import Raised
from wardexam.exam.examination import Examination, Findings
from wardexam.reasoning.rules.own_alarm import OWN
from wardexam.reasoning.rules.rule_table import rules
from wardexam.reasoning.rules.standing import still_open
from wardexam.reasoning.rules.switched_off import switched_off
from wardexam.reasoning.rules.urgency import assess
from wardexam.reasoning.rules.wording import Wording, read_wording

AT = datetime(2026, 11, 1, 8, tzinfo=UTC)
GIVEN = {
    "off_by": '"Dr A. Lead, neurology"',
    "off_why": '"own pathway by the night team"',
    "off_on": "2026-11-01",
}
BY = {
    "off_by": "Dr A. Lead, neurology",
    "off_why": "own pathway by the night team",
    "off_on": "2026-11-01",
}


def table(rule="stroke", **changed):
    rows = {**GIVEN, **changed}
    return f"[{rule}]\n" + "".join(f"{name} = {value}\n" for name, value in rows.items() if value)


def off(*names) -> Wording:
    return {name: dict(BY) for name in names}


def test_with_name_reason_and_date_it_is_taken():
    assert read_wording(table()) == {"stroke": BY}
    assert read_wording(table(off_on='"2026-11-01"')) == {"stroke": BY}
    assert switched_off(read_wording(table() + '[cord]\ncall = "x"\n')) == ("stroke",)


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        (table(off_by=""), 2, "'off_by' is missing: a rule is switched off with 'off_by' (who)"),
        (table(off_why=""), 2, "'off_why' is missing"),
        (table(off_on=""), 2, "'off_on' is missing"),
        (table(off_by='" "'), 2, "'off_by' is a text"),
        (table(off_by=f'"{"x" * 61}"'), 2, "'off_by' is one line of at most 60"),
        (table(off_why='"a\\u001b[0m"'), 3, "'off_why' is one line"),
        (table(off_on='"soon"'), 4, "'off_on' is a day, such as 2026-01-31"),
        (table(off_on="true"), 4, "'off_on' is a day"),
        (table("inferred_site"), 1, "no rule is called 'inferred_site'"),
        ("[stroke]\noff = true\n", 2, "'off' cannot be given"),
    ],
)
def test_without_name_reason_and_date_it_is_refused(text, line, said):
    with pytest.raises(TableError) as refused:
        read_wording(text, where="words.toml")
    assert f"words.toml, line {line}: " in str(refused.value)
    assert said in str(refused.value)
    assert "the built-in wording stays" in str(refused.value)


@pytest.mark.parametrize("missing", list(BY))
def test_a_script_that_leaves_one_of_them_out_switches_nothing_off(missing):
    wording = {"cauda_equina": {k: v for k, v in BY.items() if k != missing}}
    made = assess(findings("flag:saddle_numb=yes"), None, None, wording)
    assert made == assess(findings("flag:saddle_numb=yes"), None, None)


@pytest.mark.parametrize("rule", [n for n, row in rules().items() if not any(i.startswith("change:") for i in row.some)])  # fmt: skip
def test_whichever_it_is_it_is_said_and_not_counted_and_every_other_stands(rule):
    row = rules()[rule]
    for chosen in itertools.product(samples(row.some[0]), *(samples(i) for i in row.every)):
        line = joined(*chosen)
        plain = assess(findings(line), None, None)
        if rule in {r.rule for r in plain.reasons}:
            break
    made = assess(findings(line), None, None, off(rule))
    told = [{r.rule for r in u.reasons} for u in (plain, made)]
    assert told[1] >= told[0] - {rule}
    assert told[1] - told[0] <= {r.rule for r in plain.within}  # what it had said as well
    assert rule not in told[1]
    assert made.level == max((r.urgency for r in made.reasons), default=0)
    (silent,) = made.switched_off
    assert (silent.rule, silent.urgency, silent.text) == (rule, row.urgency, row.reason)
    assert (silent.by, silent.why, silent.since) == tuple(BY.values())
    assert silent.by_words == "by Dr A. Lead, neurology, 1 Nov 2026"
    assert assess(findings(""), None, None, off(rule)).switched_off == ()


def test_where_only_it_would_have_spoken_nothing_is_called_calm():
    no = " ".join(f"flag:{name}=no" for name in assess(findings(""), None, None).not_asked)
    line = no.replace("flag:low_glucose=no", "flag:low_glucose=yes")
    made = assess(findings(line), None, None, off("hypoglycaemia"))
    assert (made.level, made.word) == (0, "not assessed, 1 switched off here")
    some = assess(findings("flag:low_glucose=yes"), None, None, off("hypoglycaemia"))
    assert some.word.endswith("not asked, 1 switched off here")


def test_one_that_stands_from_earlier_in_the_stay_is_said_as_well():
    before = findings("flag:saddle_numb=yes onset=days")
    made = assess(
        findings("biceps 2/2"), before, None, off("cauda_equina"), still=still_open((before,))
    )
    assert "cauda_equina" in {r.rule for r in made.switched_off}


def test_those_that_are_kept_from_earlier_are_said_gravest_first_and_as_the_table_has_them():
    kept = tuple(Raised(rule=rule, since=AT) for rule in reversed(rules()))
    saved = Examination(id="exam0001", patient="patient1", examiner="x", at=AT, raised=kept)
    made = assess(Findings(), saved, None, off(*rules()))
    wanted = sorted(rules(), key=lambda rule: -rules()[rule].urgency)
    assert [r.rule for r in made.switched_off] == wanted


def test_the_tools_own_alarm_cannot_be_switched_off():
    assert OWN not in rules()
    made = assess(findings("flag:saddle_numb=yes"), None, None, off(OWN))
    assert made == assess(findings("flag:saddle_numb=yes"), None, None)


@pytest.mark.parametrize("times", [200, pytest.param(400, marks=pytest.mark.long)])
def test_more_that_is_abnormal_is_never_calmer(times):
    draw = random.Random(16)
    lines = [line for row in SAMPLES.values() for line in row["holds"]]
    for _ in range(times):
        wording = off(*draw.sample(list(rules()), draw.randint(1, 4)))
        parts = draw.sample(lines, 3)
        less, more = findings(joined(*parts[:2])), findings(joined(*parts))
        if less.context != more.context:
            continue  # another story, not the same one with more
        calm, grave = assess(less, None, None, wording), assess(more, None, None, wording)
        assert grave.level >= calm.level, (parts, list(wording))
        silent = {r.rule for r in grave.switched_off}
        assert {r.rule for r in calm.switched_off} <= silent, (parts, list(wording))


def test_a_day_that_is_still_to_come_is_refused_where_the_day_is_known():
    assert read_wording(table(), today=date(2026, 11, 1)) == {"stroke": BY}
    with pytest.raises(TableError, match="line 4: 'off_on' is a day that is still to come"):
        read_wording(table(), today=date(2026, 10, 31))
