"""What testing a sign takes: a row for every kind, each with its source."""

import tomllib
from importlib.resources import files

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.seconds import seconds

TEXT = (files("wardexam.exam") / "seconds.toml").read_text(encoding="utf-8")


def test_every_sign_takes_some_time_and_its_own_row_stands_before_its_kinds():
    assert all(seconds(sign) > 0 for sign in catalogue())
    rows = tomllib.loads(TEXT)
    assert seconds("saddle") == rows["signs"]["saddle"]["seconds"]
    assert seconds("biceps") == rows["kinds"]["tendon"]["seconds"]
