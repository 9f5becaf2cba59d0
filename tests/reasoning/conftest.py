"""What tests of the reasoning share."""

import pytest

from wardexam.reasoning.rules.rule_table import rules


@pytest.fixture
def rules_anew(monkeypatch):
    """The rules are read anew within the test, as its `monkeypatch` has them, and once more after it."""
    rules.cache_clear()
    yield
    monkeypatch.undo()
    rules.cache_clear()
