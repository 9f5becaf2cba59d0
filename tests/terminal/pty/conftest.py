"""What the tests of the real terminal share: a ward with one patient."""

import pytest

from tests.terminal.pty.harness import ADMITTING, environ, running, wardexam


@pytest.fixture
def ward(tmp_path):
    """A ward of its own with one patient, admitted in the real terminal."""
    with running(wardexam("--db", str(tmp_path / "ward")), environ(tmp_path)) as session:
        session.wait("The ward is empty")
        session.type(ADMITTING)
        session.wait("Admitted")
        yield session
        session.kill(15)
        session.ended()
