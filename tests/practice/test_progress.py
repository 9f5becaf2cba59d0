"""Progress: figures by hand, kept by its owner alone, never written over, never beside a ward."""

import csv
import io
import json
import os
import stat
from datetime import UTC, datetime, timedelta
from functools import partial

import pytest

from tests.at_once import at_once
from wardexam.errors import RecordsError
from wardexam.exam.text import folded
from wardexam.practice.progress import (
    Result,
    as_csv,
    as_json,
    brier,
    first_times,
    reliability,
    results,
)
from wardexam.practice.words import progress
from wardexam.records import practice_file, private_file
from wardexam.records.paths import practice_file as place

START = datetime(2026, 11, 26, 12, tzinfo=UTC)


def result(number=1, **more):
    fields = {
        "at": START + timedelta(minutes=number), "kind": "drawn", "case": f"1-{number}", "level": 1,
        "was": "root", "site": "root", "side": "left", "site_right": True, "side_right": True,
        "urgency": 2, "due": 2, "action": "lumbosacral", "action_right": True, "sure": 80,
        "seconds": 60, "tests": 5, "best_seconds": 30, "known_seconds": 50,
    }  # fmt: skip
    return Result(**(fields | more))


def row(number=1, **more):
    return result(number, **more).model_dump(mode="json")


# --- figures

HAND = [
    result(1, sure=100),
    result(2, sure=90, site_right=False),
    result(3, sure=60),
    result(4, sure=50, side_right=False),
    result(5, sure=10, site_right=False),
]


def test_reliability_by_hand():
    bins = {(b.least, b.most): (b.count, b.stated, b.right) for b in reliability(HAND)}
    assert bins[90, 100] == (2, 0.95, 0.5)
    assert bins[50, 69] == (2, 0.55, 0.5)
    assert bins[0, 49] == (1, 0.1, 0.0)
    assert bins[70, 89] == (0, None, None)


def test_every_per_cent_falls_in_one_bin():
    found = [result(n + 1, sure=n) for n in range(101)]
    assert sum(b.count for b in reliability(found)) == 101


def test_the_brier_score_by_hand():
    # (1-1)^2, (0.9-0)^2, (0.6-1)^2, (0.5-0)^2, (0.1-0)^2
    assert brier(HAND) == pytest.approx((0 + 0.81 + 0.16 + 0.25 + 0.01) / 5)
    assert brier([result(sure=50)]) == 0.25
    assert brier([]) is None


def test_small_numbers_are_said_as_such_and_large_ones_are_not():
    text = "\n".join(progress(HAND))
    assert "of 2 cases; too few to tell" in text
    assert "Brier score 0.25 of 5 cases; too few to tell" in text
    many = [result(n, sure=80) for n in range(1, 41)]
    text = "\n".join(progress(many))
    assert "said 80%, right 100% of 40 cases\n" in text
    assert "Brier score 0.04 of 40 cases; 0 is best" in text


def test_emergencies_and_under_calls_are_counted():
    found = [
        result(1, due=3, urgency=3),
        result(2, due=3, urgency=2),
        result(3, due=2, urgency=1),
        result(4, due=1, urgency=0),
        result(5, due=0, urgency=3),
    ]
    text = "\n".join(progress(found))
    assert "Emergencies recognised 2 of 3 (67%); 1 missed." in text
    assert "Under-called 3 of 5 (60%), over-called 1 of 5 (20%)." in text


def test_a_first_action_that_was_not_scored_is_not_counted():
    found = [result(1), result(2, action_right=False), result(3, action_right=None)]
    assert "first action 1 of 2 (50%)." in "\n".join(progress(found))
    assert results([r.model_dump(mode="json") for r in found]) == (found, 0)


def test_a_side_counts_where_the_lesion_has_one_or_the_place_is_right():
    found = [
        result(1),
        result(2, side_right=False),
        result(3, site_right=False, side_right=None, side="none"),
        result(4, site_right=False),  # the side alone
        result(5, site_right=False, side="none"),  # as earlier programs kept it
        result(6, side="none"),  # the place is right
    ]
    assert "Place right 3 of 6 (50%), side 3 of 4 (75%)" in "\n".join(progress(found))
    assert sum(r.right for r in found) == 2


def test_what_earlier_programs_kept_is_read():
    old = {
        "at": "2026-11-26T12:01:00Z", "kind": "drawn", "case": "1-1", "level": 1, "was": "root",
        "site": "cauda", "side": "none", "site_right": False, "side_right": True, "urgency": 2,
        "due": 2, "action": "head", "action_right": True, "sure": 80, "seconds": 60, "tests": 5,
    }  # fmt: skip
    (found,), left = results([old])
    assert left == 0
    assert (found.side_scored, found.action_right, found.right) == (None, True, False)


def test_only_the_first_answer_to_a_case_counts():
    found = [result(1, site_right=False), result(1), result(1, kind="published"), result(2)]
    assert [r.site_right for r in first_times(found)] == [False, True, True]
    assert "Answered: 3 cases, 1 more answered again and not counted." in "\n".join(progress(found))


def test_progress_fits_a_page_and_says_what_it_is():
    found = [result(n, level=n % 4, kind="published" if n % 4 == 0 else "drawn") for n in range(1, 9)]  # fmt: skip
    lines = progress(found, left=3)
    assert lines[1].startswith("PRACTICE, no real patient")
    assert len("\n".join(folded(line, 80) for line in lines).split("\n")) <= 22
    assert "No case was answered yet." in progress([])


# --- kept


def test_what_is_kept_comes_back_and_is_its_owners_alone():
    before = os.umask(0)
    try:
        for number in (1, 2, 3):
            assert practice_file.keep(row(number)) == ""
    finally:
        os.umask(before)
    assert practice_file.rows() == [row(n) for n in (1, 2, 3)]
    assert results(practice_file.rows()) == ([result(n) for n in (1, 2, 3)], 0)
    assert stat.S_IMODE(place().stat().st_mode) == 0o600
    assert stat.S_IMODE(place().parent.stat().st_mode) == 0o700
    assert sorted(p.name for p in place().parent.iterdir()) == ["progress.json", "progress.lock"]


def test_reading_makes_nothing(tmp_path):
    assert practice_file.rows() == []
    assert not place().parent.exists()


DAMAGES = {
    "cut": lambda data: data[: len(data) // 2],
    "empty": lambda data: b"",
    "no json": lambda data: b"not json",
    "another shape": lambda data: b"[1, 2]",
    "a flipped figure": lambda data: data.replace(b'"sure": 80', b'"sure": 90'),
    "no text": lambda data: b"\xff\xfe" + data,
}


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_practice_file_is_said_and_moved_aside_never_written_over(damage):
    practice_file.keep(row(1))
    broken = DAMAGES[damage](place().read_bytes())
    place().write_bytes(broken)
    with pytest.raises(practice_file.DamagedError) as said:
        practice_file.rows()
    assert str(place()) in str(said.value)
    assert place().read_bytes() == broken  # reading leaves it
    told = practice_file.keep(row(2))
    assert practice_file.rows() == [row(2)]
    (aside,) = place().parent.glob("progress.json.damaged-*")
    assert str(aside) in told
    assert aside.read_bytes() == broken
    assert practice_file.keep(row(3)) == ""


@pytest.mark.parametrize("kind", ["folder", "pipe", "link"])
def test_what_is_no_file_is_moved_aside_and_not_followed(tmp_path, kind):
    place().parent.mkdir(parents=True)
    other = tmp_path / "other.json"
    other.write_text("mine")
    make = {"folder": place().mkdir, "pipe": lambda: os.mkfifo(place()), "link": lambda: place().symlink_to(other)}  # fmt: skip
    make[kind]()
    assert "damaged" in practice_file.keep(row(1))
    assert practice_file.rows() == [row(1)]
    assert other.read_text() == "mine"


def test_a_newer_programs_file_is_left_alone():
    place().parent.mkdir(parents=True)
    place().write_text(json.dumps({"form": 2, "results": "else"}))
    for act in (practice_file.rows, lambda: practice_file.keep(row())):
        with pytest.raises(RecordsError, match="newer wardexam"):
            act()
    assert json.loads(place().read_text())["form"] == 2


def test_a_write_that_fails_leaves_what_was_kept(monkeypatch):
    practice_file.keep(row(1))

    def full(*_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("os.writev", full)
        with pytest.raises(RecordsError, match="No space left"):
            practice_file.keep(row(2))
    assert practice_file.rows() == [row(1)]
    assert not list(place().parent.glob("*.new"))


def test_two_sittings_at_once_lose_nothing():
    def keep(first):
        for number in range(first, first + 10):
            practice_file.keep(row(number))

    at_once([partial(keep, n * 10) for n in range(4)])
    assert sorted(r["case"] for r in practice_file.rows()) == sorted(f"1-{n}" for n in range(40))


def test_a_row_of_another_program_is_counted_and_left_out():
    found, left = results([row(1), {"what": "else"}, row(2) | {"sure": 101}])
    assert (found, left) == ([result(1)], 2)


# --- exported


def test_csv_and_json_hold_every_result():
    rows = list(csv.DictReader(io.StringIO(as_csv(HAND))))
    assert [r["case"] for r in rows] == [r.case for r in HAND]
    assert [int(r["sure"]) for r in rows] == [100, 90, 60, 50, 10]
    document = json.loads(as_json(HAND))
    assert document["practice"] is True
    assert [Result.model_validate(r) for r in document["results"]] == HAND


def test_an_export_is_never_written_over_a_file(tmp_path):
    target = tmp_path / "mine.csv"
    private_file.write_private(str(target), ["a,b\n"])
    assert stat.S_IMODE(target.stat().st_mode) == 0o600
    with pytest.raises(RecordsError, match="is there already"):
        private_file.write_private(str(target), ["c\n"])
    assert target.read_text() == "a,b\n"
