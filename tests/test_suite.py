"""What `-m "not slow"` leaves out stands there, and leaves something of every folder of the program."""

from pathlib import Path

import pytest

from tests.conftest import HERE, SLOW, STAND_FOR

PACKAGE = HERE.parent / "wardexam"
# The folder whose tests hold one that has none of its own.
HELD_BY = {"anatomy": "reasoning"}


def quick(folder: Path):
    slow = {HERE / name for name in SLOW}
    return [p for p in folder.rglob("test_*.py") if slow.isdisjoint((p, *p.parents))]


@pytest.mark.parametrize("name", SLOW)
def test_what_is_slow_is_there(name):
    assert (HERE / name).exists()


@pytest.mark.parametrize("name", STAND_FOR)
def test_what_some_cases_stand_for_is_there(name):
    module, _, function = name.partition("::")
    assert f"def {function}(" in (HERE / module).read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "folder", sorted(p.name for p in PACKAGE.iterdir() if (p / "__init__.py").exists())
)
def test_every_folder_of_the_program_has_tests_that_are_not_slow(folder):
    tests = quick(HERE / HELD_BY.get(folder, folder))
    assert any(f"wardexam.{folder}" in path.read_text(encoding="utf-8") for path in tests)
