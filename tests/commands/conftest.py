"""What most tests of the commands begin with."""

import pytest

from wardexam.records.paths import copy_demo


@pytest.fixture
def folder(tmp_path):
    """A copy of the demo ward."""
    return copy_demo(tmp_path / "ward")
