"""What most tests of the screens begin with."""

import pytest

from tests.terminal.screens import demo_app


@pytest.fixture
def app(tmp_path):
    """The app on a copy of the demo ward."""
    return demo_app(tmp_path / "ward")
