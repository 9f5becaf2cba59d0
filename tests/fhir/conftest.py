import pytest

from wardexam.records.paths import copy_demo
from wardexam.records.ward import open_ward


@pytest.fixture
def folder(tmp_path):
    return copy_demo(tmp_path / "demo")


@pytest.fixture
def demo(folder):
    return open_ward(folder)


@pytest.fixture
def empty(tmp_path):
    return open_ward(tmp_path / "empty")
