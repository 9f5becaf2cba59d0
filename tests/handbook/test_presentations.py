"""What a careful senior calls urgent is called urgent, and what is benign rarely is."""

import tomllib

import pytest

from tests.handbook.urgency import (
    DEVELOPMENT,
    FOLDER,
    SEALED,
    SEALS,
    cases,
    image_agrees,
    missed,
    over_alert,
    part,
    urgency_of,
)

MOST_OVER_ALERT = 0.10


@pytest.mark.parametrize("reading", [False, pytest.param(True, marks=pytest.mark.long)])
def test_no_urgent_presentation_for_development_is_missed_with_the_reading_or_without(reading):
    assert [c["id"] for c, _ in missed(reading=reading)] == []


@pytest.mark.parametrize("reading", [False, pytest.param(True, marks=pytest.mark.long)])
def test_at_most_a_tenth_of_the_benign_ones_for_development_is_called_today_or_now(reading):
    high = [c["id"] for c, _ in over_alert(reading=reading)]
    assert len(high) <= MOST_OVER_ALERT * len(part("benign")), high


def test_what_is_kept_apart_is_as_it_was_sealed():
    kept = {name for names in SEALED.values() for name in names if (FOLDER / name).exists()}
    assert kept == set(SEALS)
    for name in SEALS:
        assert cases(name)


def test_there_are_enough_presentations_and_none_twice():
    urgent, benign = part("urgent"), part("benign")
    assert (len(urgent) >= 200, len(benign) >= 150) == (True, True)
    for those in (urgent, benign):
        assert len({c["id"] for c in those}) == len(those)


def test_no_writer_wrote_the_same_twice():
    for name in (*DEVELOPMENT["urgent"], *DEVELOPMENT["benign"]):
        entered = [c["entered"] for c in cases(name)]
        assert len(set(entered)) == len(entered), name


@pytest.mark.long
def test_where_the_first_image_is_not_the_readers_the_reason_is_written_down():
    written = tomllib.loads((FOLDER.parent / "first_image.toml").read_text(encoding="utf-8"))
    other = {
        case["id"]
        for case in part("urgent")
        if not image_agrees(case, urgency_of(case, reading=True), 1)
    }
    assert other == set(written)
