"""What is said first of lines that a strict reader wrote: the table beside it."""

import tomllib
from pathlib import Path

import pytest

from wardexam import ready
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.urgency import assess

LINES = tomllib.loads((Path(__file__).parent / "first_reasons.toml").read_text("utf-8"))["line"]


@pytest.mark.parametrize("line", LINES, ids=lambda line: line["entered"])
def test_the_reason_that_matters_is_said_first_at_its_level(line):
    examination = read_line(line["entered"]).spelled_out()
    found = assess(examination, None, ready.engine().read(examination))
    first = found.reasons[0]
    assert (found.level, first.rule) == (line["level"], line["rule"]), line["source"]
    said = f"{first.text}; {first.first}; {first.image}; {first.call}; {first.by}".lower()
    assert [w for w in line.get("words", ()) if w.lower() not in said] == []
    assert [w for w in line.get("never_words", ()) if w in said] == []
    assert not {r.rule for r in found.reasons} & {*line.get("never", ())}
    assert not [w for w in line.get("never_anywhere", ()) for r in found.reasons if w in r.image]
