"""Short versions of the fault runs; DEVELOPERS.md names the long ones and their figures."""

import errno
from pathlib import Path

import pytest

from tests.bench import faults_records as faults


@pytest.fixture
def place(tmp_path) -> Path:
    folder = tmp_path / "ward"
    folder.mkdir(mode=0o700)
    return folder


def test_sessions_saving_at_once_lose_and_double_nothing(place):
    figures = faults.sessions(place, count=4, seconds=1.5)
    assert figures["saved"] > 4


def test_killed_at_random_moments_nothing_told_as_kept_is_lost(place):
    figures = faults.kills(place, times=40)
    assert figures["keys told as kept"] > 0


@pytest.mark.parametrize(
    "error", [errno.ENOSPC, pytest.param(errno.EIO, marks=pytest.mark.long)], ids=["full", "broken"]
)
@pytest.mark.parametrize("operation", list(faults.SCENARIOS))
def test_every_writing_call_may_fail(place, operation, error):
    figures = faults.failing_calls(place, scenarios=(operation,), errors=(error,))
    assert figures["failing calls tried"] > 0


@pytest.mark.parametrize("times", [500, pytest.param(1200, marks=pytest.mark.long)])
def test_mutated_files_archives_and_drafts_are_refused_in_one_line(place, times):
    figures = faults.fuzz(place, times=times)
    assert figures["refused"] > times / 2


def test_a_file_cut_anywhere_or_with_a_flipped_bit_never_reads_wrong(place):
    figures = faults.torn(place, flips=400)
    assert figures["cuts refused"] == figures["bytes"]


def test_the_version_before_is_kept_without_hard_links(place):
    faults.without_links(place)


def test_a_real_disk_that_fills_up(place):
    figures = faults.small_disk(place, kilobytes=300)
    if "not run" in figures:
        pytest.skip(figures["not run"])
    assert figures["saved before it was full"] > 3
