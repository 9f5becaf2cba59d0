"""The hazard log: whole, covering every rule, each row held by tests that there are, printed and as JSON."""

import ast
import json
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from wardexam.commands.main import run
from wardexam.errors import InputError, TableError
from wardexam.governance.hazards import chosen, hazards, read_log, scale
from wardexam.reasoning.rules.rule_table import rules

ROOT = Path(__file__).parents[2]
TEXT = (files("wardexam.governance") / "hazards.toml").read_text(encoding="utf-8")
SCALE = TEXT[TEXT.index("[scale]") : TEXT.index("# --- an emergency")]
ROW = """
[hazards.one]
hazard = "somebody is missed"
cause = "missed if nobody looks"
consequence = "harm"
before = [5, 3]
after = [5, 2]
guard = "a guard"
rules = ["stroke"]
tests = ["tests/a.py::test_it"]
source = "judgement"
"""


def collected(path):
    """The tests of a file, as pytest collects them."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    return {
        node.name
        for node in tree.body
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.name.startswith("test_")
    }


@pytest.mark.parametrize("name", list(hazards()))
def test_each_hazard_has_a_guard_and_tests_that_there_are(name):
    row = hazards()[name]
    assert row.guard
    assert row.tests
    assert len(set(row.tests)) == len(row.tests)
    for test in row.tests:
        path, _, called = test.partition("::")
        assert called in collected(path), test


@pytest.mark.parametrize("rule", list(rules()))
def test_every_urgency_rule_is_listed_by_exactly_one_hazard_that_says_when_it_is_missed(rule):
    rows = [row for row in hazards().values() if rule in row.rules]
    assert len(rows) == 1
    assert rows[0].cause.startswith("missed if ")


def test_every_rule_is_walked_by_the_tests_that_the_log_names():
    walk = "tests/handbook/test_urgency_rules.py::test_each_item_of_a_rule_fires_it_with_all_that_it_asks_for"
    assert all(walk in row.tests for row in hazards().values() if row.rules)


def test_no_guard_makes_anything_worse_and_the_figures_are_called_a_judgement():
    assert len(hazards()) > 35
    for row in hazards().values():
        assert row.after <= row.before
    assert "judgement" in scale().judgement
    assert "hospital's own review" in scale().judgement


def changed(old, new, text=SCALE + ROW):
    assert old in text
    return text.replace(old, new)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (changed('guard = "a guard"\n', ""), "row one, field guard"),
        (changed('guard = "a guard"', 'guard = ""'), "row one, field guard"),
        (changed('tests = ["tests/a.py::test_it"]', "tests = []"), "row one, field tests"),
        (changed("tests/a.py::test_it", "test_it"), "row one, field tests"),
        (changed("before = [5, 3]", "before = [6, 3]"), "row one, field before"),
        (changed("after = [5, 2]", "after = [5, 4]"), "is worse with its guard than without"),
        (changed('["stroke"]', '["strok"]'), "unknown rule 'strok'"),
        (changed("missed if nobody looks", "nobody looks"), "does not say when its rules are missed"),
        (changed('["stroke"]', "[]"), "rule 'stroke' stands in no hazard"),
        (SCALE + ROW + ROW.replace("hazards.one", "hazards.two"), "stands in 'one' as well"),
        (changed('source = "judgement"\n', "", ROW) + SCALE, "row one, field source"),
        (SCALE + ROW + "\n[more]\n", "unknown section 'more'"),
        (ROW, "scale"),
        (SCALE + "[hazards", "Expected"),
    ],
)  # fmt: skip
def test_a_mistake_of_the_table_is_an_error_at_load(text, said):
    with pytest.raises(TableError) as refused:
        read_log(text, {"stroke": 1})
    assert said in str(refused.value)
    assert "hazards.toml" in str(refused.value)


def test_the_table_alone_is_sound():
    assert set(read_log(SCALE + ROW, {"stroke": 1})[1]) == {"one"}


def test_the_printed_log_fits_eighty_columns_and_leaves_nothing_out(capsys):
    assert run(["hazards"]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    assert max(map(len, said.out.splitlines())) <= 80
    joined = " ".join(said.out.split())
    for name, row in hazards().items():
        for text in (name, row.hazard, row.cause, row.consequence, row.guard, *row.rules):
            assert text in joined, text
        for test in row.tests:
            assert test.partition("::")[2] in "".join(said.out.split())
    assert "no named owner" in joined
    assert "SWITCHED OFF HERE: no rule." in joined


def test_one_hazard_is_printed_by_its_name_or_by_a_rule(capsys):
    assert run(["hazards", "cauda_equina"]) == 0
    by_rule = capsys.readouterr().out
    assert run(["hazards", "missed_cauda_equina"]) == 0
    assert capsys.readouterr().out == by_rule
    assert "wrong_patient" not in by_rule
    with pytest.raises(InputError, match="no hazard and no rule is called so"):
        chosen("nobody")
    assert run(["hazards", "nobody"]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_as_json_it_is_what_its_schema_says(capsys):
    assert run(["hazards", "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert run(["schema", "--hazards"]) == 0
    schema = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(made, schema)
    assert {row["id"] for row in made["hazards"]} == set(hazards())
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(made | {"hazards": [{"id": "x"}]}, schema)
