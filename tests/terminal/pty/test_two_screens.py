"""A short version of two screens against each other; DEVELOPERS.md has the figures of the long one."""

import pytest

from tests.bench.two_screens import two_screens


@pytest.mark.long
def test_two_screens_on_one_ward_open_whom_they_say_and_lose_nothing(tmp_path):
    figures = two_screens(tmp_path, steps=14, seed=3)
    assert figures["saves"] + figures["amendments"] > 3
