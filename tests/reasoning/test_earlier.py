"""What stands from earlier in the stay weighs in a re-examination, less with each hour, and never in urgency."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.examinations import examined
from tests.handbook.published.cases import cases
from tests.reasoning.test_mirror import drawn
from wardexam import ready
from wardexam.exam.earlier import Earlier, ago
from wardexam.exam.examination import Context
from wardexam.exam.typed import read_line
from wardexam.reasoning.inference.evidence import fading
from wardexam.reasoning.rules.standing import earlier
from wardexam.reasoning.rules.urgency import assess
from wardexam.reasoning.tables import weighing_row

NOW = datetime(2026, 3, 4, 14, tzinfo=UTC)
CAUDA = (
    "onset=hours age=50 ankle 0/0 knee 2/2 plantar flexor/flexor ankle_dorsiflexion 3/4 ankle_plantarflexion 3/3 "
    "knee_extension 5/5 hip_flexion 5/5 saddle absent/reduced anal_tone reduced bladder retention"
)


def before(line, hours=6.0, now=NOW):
    return earlier([examined(line, NOW - timedelta(hours=hours))], now)


def found(line):
    return read_line(line).spelled_out()


def chance(reading, region):
    return sum(s.probability for s in reading.sites if s.region == region)


def test_one_weak_movement_in_a_known_cauda_equina_does_not_lead_with_the_cord():
    now = found("ankle_dorsiflexion 2/2")
    alone = ready.engine().read(now, silence=False)
    again = ready.engine().read(now, silence=False, earlier=before(CAUDA))
    assert alone.sites[0].region != "cauda"
    assert again.sites[0].region == "cauda"
    assert chance(again, "cord") < chance(alone, "cord")


def test_the_reasons_say_what_is_from_before_and_how_old_it_is():
    reading = ready.engine().read(
        found("ankle_dorsiflexion 2/2"), silence=False, earlier=before(CAUDA)
    )
    texts = [e.text for e in reading.supports if e.kind == "before"]
    assert "before: right saddle sensation absent, 6 h ago" in texts
    assert reading.before == "with 16 findings from 08:00, faded"
    assert reading.entered == 2


def test_a_word_of_the_story_that_was_told_before_is_marked_until_it_is_told_again():
    def told(line):
        reading = ready.engine().read(
            found(line), silence=False, earlier=before("age=60 pain=back onset=hours ankle 2/2")
        )
        weighed = (*reading.supports, *reading.opposes, *reading.separates)
        return {e.text for e in weighed if e.kind == "told"}

    assert "before: pain: back" in told("ankle_dorsiflexion 3/5")
    assert "pain: back" in told("pain=back ankle_dorsiflexion 3/5")
    assert not any("before: age" in text for text in told("power_leg 3/3"))


@pytest.mark.parametrize(
    ("hours", "said"),
    [(0.5, "30 min ago"), (6, "6 h ago"), (47, "47 h ago"), (72, "3 days ago")],
)
def test_how_long_ago_is_said_in_a_doctors_words(hours, said):
    assert ago(hours) == said


def test_of_findings_of_several_times_the_first_and_the_last_are_said():
    first = examined("ankle 0/0", NOW - timedelta(hours=30))
    second = examined("knee 0/2", NOW - timedelta(hours=2))
    reading = ready.engine().read(
        found("plantar flexor/flexor"), earlier=earlier([first, second], NOW)
    )
    assert reading.before == "with 4 findings from 03 Mar 08:00 to 12:00, faded"


def test_its_weight_fades_by_the_table_and_ends():
    row = weighing_row("fading")
    assert fading(0) == row["at_once"] < 1
    assert fading(row["half_hours"]) == pytest.approx(row["at_once"] / 2)
    assert fading(24 * 30) == 0
    assert row["source"]
    chances = [
        chance(
            ready.engine().read(found("ankle_dorsiflexion 2/2"), earlier=before(CAUDA, hours)),
            "cauda",
        )
        for hours in (1, 12, 24, 48, 96, 24 * 30)
    ]
    # Its neighbour, the conus, gains and loses with it.
    assert all(later <= sooner + 0.02 for sooner, later in pairwise(chances))
    assert chances[-1] < chances[0] - 0.3
    old = ready.engine().read(found("ankle_dorsiflexion 2/2"), earlier=before(CAUDA, 24 * 30))
    assert old.before == ""
    assert not any(e.kind == "before" for e in (*old.supports, *old.opposes))


def test_a_clock_that_was_wrong_makes_nothing_weigh_more():
    ahead = ready.engine().read(found("ankle_dorsiflexion 2/2"), earlier=before(CAUDA, -5))
    just = ready.engine().read(found("ankle_dorsiflexion 2/2"), earlier=before(CAUDA, 0))
    assert [s.probability for s in ahead.sites] == [s.probability for s in just.sites]


def test_a_statement_made_now_replaces_what_was_found_before_in_that_part():
    stated = ready.engine().read(found("rest=power:both_legs"), earlier=before("hip_flexion 0/0"))
    assert stated.before == ""


def test_what_was_not_testable_now_leaves_what_was_found_before():
    reading = ready.engine().read(found("knee nt/nt ankle 0/0"), earlier=before("knee 0/0"))
    assert reading.before == "with 2 findings from 08:00, faded"


def test_the_story_of_before_stands_where_none_is_told_now():
    now = found("ankle 0/0 knee 0/0")
    told = ready.engine().read(now, earlier=before("onset=days ankle 2/2"))
    untold = ready.engine().read(now, earlier=before("ankle 2/2"))
    assert told.sites != untold.sites
    again = now.model_copy(update={"context": Context(onset="longer")})
    assert (
        ready.engine().read(again, earlier=before("onset=days ankle 2/2")).sites
        == ready.engine().read(again, earlier=before("onset=longer ankle 2/2")).sites
    )


SEEDS = st.randoms(use_true_random=False)


@settings(max_examples=10, deadline=None)
@given(SEEDS, st.booleans())
def test_nothing_before_is_the_same_reading_to_the_bit(random, silence):
    now = drawn(random)
    plain = ready.engine().read(now, silence=silence)
    empty = Earlier((), Context(), {}, NOW)
    assert ready.engine().read(now, silence=silence, earlier=None) == plain
    assert ready.engine().read(now, silence=silence, earlier=empty) == plain
    assert earlier([], NOW) is None


@settings(max_examples=10, deadline=None)
@given(SEEDS, SEEDS, st.integers(0, 90))
def test_what_was_examined_again_has_no_weight_from_before(first, second, hours):
    now, old = drawn(first), drawn(second)
    answered = {f.key for f in now.findings if f.answer is not None}
    stands = tuple((f, NOW - timedelta(hours=hours)) for f in old.findings if f.answer is not None)
    without = tuple(s for s in stands if s[0].key not in answered)
    whole, less = (
        ready.engine().read(now, silence=False, earlier=Earlier(s, old.context, {}, NOW))
        for s in (stands, without)
    )
    assert whole == less
    keys = {e.key for e in (*whole.supports, *whole.opposes) if e.kind == "before"}
    assert keys.isdisjoint(answered)


@settings(max_examples=10, deadline=None)
@given(SEEDS, st.sampled_from(cases("development")), st.integers(0, 90))
def test_urgency_hears_nothing_of_it(random, case, hours):
    now = drawn(random)
    at = NOW - timedelta(hours=hours)
    stands = Earlier(tuple((f, at) for f in case.findings.findings if f.answer), case.findings.context, case.findings.flags, NOW)  # fmt: skip
    plain, again = (
        ready.engine().read(now, silence=False),
        ready.engine().read(now, silence=False, earlier=stands),
    )
    assert again.dangerous == plain.dangerous
    assert again.entered == plain.entered
    assert assess(now, None, again) == assess(now, None, plain)
