"""What was stated and cannot be both: named, left out of where it may be, heard by urgency."""

import pytest

from wardexam import ready
from wardexam.exam.examination import Findings
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.contradictions import (
    contradictions,
    left_out,
    pairs,
    with_graver,
)
from wardexam.reasoning.rules.urgency import assess

STATUS = 68  # columns of the line of the cursor that are left beside "kept 14:02"


def found(line: str) -> Findings:
    return read_line(line).spelled_out()


SAID = [
    ("level_pin T8/T8 rest=sensation:trunk",
     "stated both right pinprick level T8 and rest of trunk sensation normal"),
    ("level_touch -/T8 rest=sensation:left_leg",
     "stated both left light-touch level T8 and rest of left leg sensation normal"),
    ("level_pin T8/- pin_T4 1/-", "stated both right pinprick level T8 and right pinprick T4 reduced"),
    ("level_pin T8/- pin_L3 2/-", "stated both right pinprick level T8 and right pinprick L3 normal"),
    ("level_pin none/none pin_T6 1/- pin_T7 0/- pin_T8 0/-",
     "stated both right pinprick level none and right pinprick T6 reduced"),
    ("ankle 0/2 clonus_ankle 2/0", "stated both right ankle 0 and right ankle clonus sustained"),
    ("knee 2/0 clonus_patellar none/unsustained",
     "stated both left knee 0 and left patellar clonus unsustained"),
    ("finger_flexors 0/2 hoffmann present/absent",
     "stated both right finger flexors 0 and right Hoffmann present"),
    ("gait normal knee_extension 5/1", "stated both gait normal and left knee extension 1/5"),
    ("gait normal ankle_dorsiflexion 0/5", "stated both gait normal and right ankle dorsiflexion 0/5"),
    ("tone_leg flaccid/normal clonus_ankle sustained/none",
     "stated both right tone, leg flaccid and right ankle clonus sustained"),
    ("saddle 2/2 touch_S3 0/2", "stated both right saddle sensation normal and right light touch S3 absent"),
    ("saddle 2/2 perianal 2/0", "stated both left saddle sensation normal and left perianal sensation absent"),
    ("saddle 2/2 pin_S4_5 0/2", "stated both right saddle sensation normal and right pinprick S4-5 absent"),
    ("pupil_small present/absent pupil_large present/absent", "stated both right pupil small present and right pupil large, reactive present"),
    ("power_leg 0/5 ankle_dorsiflexion 5/5",
     "stated both right ankle dorsiflexion 5/5 and right power leg 0/5"),
    ("reflexes_leg 0/0 knee 2/0", "stated both right knee 2+ and right reflexes leg 0"),
    ("plantar flexor/flexor plantar extensor/flexor",
     "stated both right plantar flexor and right plantar extensor"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "said"), SAID, ids=[line for line, _ in SAID])
def test_a_contradiction_is_named_by_both_its_halves(line, said):
    clashes = contradictions(found(line))
    assert said in [c.text for c in clashes]
    assert ready.engine().read(found(line)).contradictions == tuple(c.text for c in clashes)


GO_TOGETHER = [
    "level_pin T8/T8 rest=sensation:both_arms",
    "level_pin T8/T8 pin_T8 2/2 pin_T10 1/0 saddle 2/2 pin_S3 2/2",
    "level_pin T8/- pin_L3 -/2",
    "level_pin T8/T8 touch_L3 2/2",
    "level_pin none/none pin_T6 1/- pin_T7 1/- pin_T9 1/-",
    "ankle 0/2 clonus_ankle none/sustained",
    "ankle 1/1 clonus_ankle sustained/sustained",
    "gait spastic knee_extension 5/1",
    "power_leg 4/4 ankle_dorsiflexion 5/0",
    "power_leg 5/5 ankle_dorsiflexion 0/5",
    "touch_leg 1/1 touch_L3 2/2",
    "saddle 2/2 perianal 1/2",
    "pupil_small present/absent pupil_large absent/present",
    "knee 0/2",
    "",
]


@pytest.mark.parametrize("line", GO_TOGETHER)
def test_what_goes_together_is_named_by_nothing(line):
    assert contradictions(found(line)) == ()


def test_both_halves_are_left_out_of_where_it_may_be_and_their_silence_says_nothing():
    with_it = ready.engine().read(
        found("ankle 0/0 clonus_ankle 2/2 power_leg 3/3 rest=power:both_arms")
    )
    without = ready.engine().read(
        found("ankle nt/nt clonus_ankle nt/nt power_leg 3/3 rest=power:both_arms")
    )
    assert with_it.sites == without.sites
    assert with_it.supports == without.supports
    assert len(with_it.contradictions) == 2


def test_a_statement_that_contradicts_is_left_out_and_no_other():
    line = "level_pin T8/T8 rest=sensation:trunk rest=power:left_leg"
    heard = left_out(found(line), contradictions(found(line)))
    assert [(s.part, s.limb) for s in heard.rest_normal] == [("power", "left leg")]
    assert [f.answer for f in heard.findings] == [None, None]


LINES = [line for line, _ in SAID]


@pytest.mark.parametrize("line", LINES)
def test_urgency_hears_both(line):
    """Nothing that fires by either half alone is missing from both."""
    both = found(line)
    whole = {r.rule for r in assess(both, None, None).reasons}
    for also in both.also:
        kept = tuple(also.finding if f.key == also.finding.key else f for f in both.findings)
        other = both.model_copy(update={"findings": kept, "also": ()})
        assert {r.rule for r in assess(other, None, None).reasons} <= whole
    alone = both.model_copy(update={"rest_normal": (), "also": ()})
    assert {r.rule for r in assess(alone, None, None).reasons} <= whole


@pytest.mark.parametrize("line", LINES)
def test_the_tools_own_alarm_is_the_graver_of_with_and_without(line):
    line = f"onset=hours {line} bladder retention"
    engine, both = ready.engine(), found(line)

    def alarm(what):
        return sum(s.probability for s in engine.read(what).dangerous)

    heard = left_out(both, contradictions(both))
    assert alarm(both) >= max(alarm(heard), 0) - 1e-9


def test_of_two_answers_urgency_takes_the_graver_whichever_was_first():
    for line in ("plantar flexor/- plantar extensor/-", "plantar extensor/- plantar flexor/-"):
        assert [f.answer for f in with_graver(found(line)).findings] == ["extensor"]
    assert [f.answer for f in with_graver(found("power_leg 0/- ankle_dorsiflexion 5/-")).findings
            if f.sign == "ankle_dorsiflexion"] == ["0"]  # fmt: skip
    for line in ("level_pin T10/T10 level_pin none/none", "level_pin none/none level_pin T10/T10"):
        assert [f.answer for f in with_graver(found(line)).findings] == ["T10", "T10"]


def test_an_exception_from_a_group_stays_what_it_is():
    both = found("power_leg 4/4 ankle_dorsiflexion 5/0")
    assert with_graver(both).findings == both.findings


def test_what_was_said_otherwise_is_never_kept():
    assert "also" not in found("plantar flexor/- plantar extensor/-").model_dump(mode="json")


@pytest.mark.parametrize("line", LINES)
def test_it_fits_the_line_of_the_cursor(line):
    for clash in contradictions(found(line)):
        assert len(clash.brief) <= STATUS, clash.brief


def test_every_pair_of_the_table_is_told_by_a_line():
    told = {tuple(sorted({k[0] for k in c.findings})) for line in LINES for c in contradictions(found(line))}  # fmt: skip
    for pair in pairs():
        assert any(
            tuple(sorted((one, other))) in told
            for one in pair.one.sign
            for other in pair.other.sign
        ), pair.source
