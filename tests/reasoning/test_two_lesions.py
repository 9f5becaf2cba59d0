"""Two lesions are offered where both show and one does not explain them, and not where one does."""

import pytest

from wardexam import ready
from wardexam.errors import TableError
from wardexam.exam.typed import read_line
from wardexam.note.suggestion import pair_text
from wardexam.reasoning.inference import two_lesions
from wardexam.reasoning.inference.two_lesions import log_odds
from wardexam.reasoning.reading import Pair
from wardexam.reasoning.tables import weighing_row

# Common practice; what both lesions are, by a word of the names that stand for either.
PAIRS = {
    "right radial nerve and left common fibular nerve": (
        "onset=waking wrist_extension 2/5 finger_extension 2/5 brachioradialis 1+/2+ territory_radial reduced/normal "
        "ankle_dorsiflexion 5/1 ankle_eversion 5/2 ankle_inversion 5/5 ankle_plantarflexion 5/5 ankle 2+/2+ "
        "territory_superficial_fibular normal/reduced",
        {"radial", "fibular"},
    ),
    "cord below the chest and a hemisphere": (
        "onset=days power_leg 1/1 level_pin T8/T8 plantar extensor/extensor bladder retention aphasia marked "
        "face_lower 2/5 field_loss present/absent",
        {"cord", "left"},
    ),
}


@pytest.mark.parametrize("name", PAIRS)
def test_two_lesions_that_both_show_are_offered(name):
    line, words = PAIRS[name]
    pair = ready.engine().read(read_line(line).spelled_out()).pair
    assert pair is not None
    assert all(word in f"{pair.first}; {pair.second}" for word in words)


@pytest.mark.parametrize(
    "line",
    [
        "onset=sudden face_lower 2/5 power_arm 1/5 power_leg 3/5 aphasia marked plantar extensor/flexor",
        "onset=weeks pain=radiating ankle 2+/0 ankle_plantarflexion 5/4 touch_S1 normal/reduced straight_leg_raise negative/positive",
        "onset=days power_leg 2/2 level_pin T8/T8 plantar extensor/extensor knee 3+/3+ bladder retention",
    ],
)  # fmt: skip
def test_what_one_lesion_explains_is_not_two(line):
    reading = ready.engine().read(read_line(line).spelled_out())
    assert reading.pair is None
    assert reading.fits_one


@pytest.mark.parametrize(
    ("sites", "factor"),
    [(["cord", "nowhere"], 2.0), (["cord"], 2.0), (["cord", "brain", "nerve"], 2.0), (["cord", "brain"], 0.0)],
)  # fmt: skip
def test_a_pair_of_sites_that_is_none_is_an_error_at_load(monkeypatch, sites, factor):
    row = {"sites": sites, "factor": factor}
    monkeypatch.setattr(two_lesions, "read", lambda _: {"pair": [row]})
    two_lesions.comes_with.cache_clear()
    try:
        with pytest.raises(TableError, match=r"two_lesions\.toml"):
            two_lesions.comes_with()
    finally:
        two_lesions.comes_with.cache_clear()


def test_what_published_cases_had_is_heard_where_one_lesion_fits_as_well(monkeypatch):
    # Both sixth nerves after an injury of the head: one process in the head fits too; published cases were of two nerves.
    line = "age=50 sex=female onset=sudden complaint=double_vision trauma=yes flag:trauma=yes eye_abduction present/present"
    findings = read_line(line).spelled_out()
    assert ready.engine().read(findings).pair is not None
    monkeypatch.setitem(weighing_row("two_lesions"), "cases", 0.0)
    assert ready.engine().read(findings).pair is None


def test_two_that_fit_no_better_are_said_without_names(monkeypatch):
    line = "age=50 onset=sudden trauma=yes flag:trauma=yes eye_abduction present/present"
    monkeypatch.setitem(weighing_row("two_lesions"), "named", 50.0)
    reading = ready.engine().read(read_line(line).spelled_out())
    assert reading.pair == Pair("", "", reading.pair.times)
    assert pair_text(reading) == "Perhaps two lesions, as in published cases like it"


def test_the_odds_rise_with_each_and_stay_within_what_cases_taught():
    n = weighing_row("two_lesions")
    plain = log_odds(0.0, -2.0, 0.0, 20)
    assert log_odds(1.0, -2.0, 0.0, 20) > plain
    assert log_odds(0.0, -1.0, 0.0, 20) > plain
    assert log_odds(0.0, -2.0, -3.0, 20) > plain  # one lesion fits badly
    assert log_odds(0.0, -2.0, 0.0, 60) < plain  # of much, some fits two by chance
    assert log_odds(0.0, -2.0, None, 20) == plain
    best, worst, least = (n[name] for name in ("best", "worst", "least_z"))
    assert log_odds(best, -2.0, 0.0, 20) == log_odds(best + 9, -2.0, 0.0, 20)
    assert log_odds(worst, -2.0, 0.0, 20) == log_odds(worst - 9, -2.0, 0.0, 20)
    assert log_odds(0.0, -2.0, least, 20) == log_odds(0.0, -2.0, least - 9, 20)
