"""What testing a sign takes: a row for every kind, each with its source."""

import tomllib
from importlib.resources import files

import pytest

from wardexam.anatomy.catalogue import catalogue
from wardexam.errors import TableError
from wardexam.exam import seconds as module
from wardexam.exam.seconds import seconds

TEXT = (files("wardexam.exam") / "seconds.toml").read_text(encoding="utf-8")


def test_every_sign_takes_some_time_and_its_own_row_stands_before_its_kinds():
    assert all(seconds(sign) > 0 for sign in catalogue())
    rows = tomllib.loads(TEXT)
    assert seconds("saddle") == rows["signs"]["saddle"]["seconds"]
    assert seconds("biceps") == rows["kinds"]["tendon"]["seconds"]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("source = \"judgement: the limb is laid, one or two taps\"", "of = \"x\"", "row tendon"),
        ("saddle = { seconds = 30", "sadle = { seconds = 30", "'sadle' is not known"),
        ("tone = { seconds = 8", "tune = { seconds = 8", "'tune' is not known"),
        ("gait = { seconds = 45", "gait = { seconds = 0", "gait"),
        ("gait = { seconds = 45, source = \"judgement: out of bed, five steps and back\" }", "", "no row for 'gait'"),
    ],
)  # fmt: skip
def test_a_wrong_table_is_refused_with_its_row(monkeypatch, old, new, said):
    assert old in TEXT
    changed = tomllib.loads(TEXT.replace(old, new, 1))
    monkeypatch.setattr(module.tomllib, "loads", lambda _: changed)
    module._costs.cache_clear()
    try:
        with pytest.raises(TableError) as refused:
            module.seconds("knee")
    finally:
        module._costs.cache_clear()
    assert said in str(refused.value)
