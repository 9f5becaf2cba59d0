"""What a careful senior calls urgent is called urgent, and what is benign rarely is."""

from tests.handbook.urgency import SEALS, cases, missed, over_alert

MOST_OVER_ALERT = 0.10


def test_no_urgent_presentation_for_development_is_missed_with_the_reading_or_without():
    for reading in (False, True):
        assert [c["id"] for c, _ in missed(reading=reading)] == []


def test_at_most_a_tenth_of_the_benign_ones_for_development_is_called_today_or_now():
    for reading in (False, True):
        high = [c["id"] for c, _ in over_alert(reading=reading)]
        assert len(high) <= MOST_OVER_ALERT * len(cases("benign.toml")), high


def test_what_is_kept_apart_is_as_it_was_sealed():
    for name in SEALS:
        assert len(cases(name)) > 40
