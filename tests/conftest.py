import pytest


@pytest.fixture(autouse=True)
def own_state_folder(tmp_path, monkeypatch):
    """Drafts kept elsewhere stay in the test's own folder."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
