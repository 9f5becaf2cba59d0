"""The tables of the standard: sourced, checked at load, and the only place of its numbers and names."""

import ast
import tomllib
from pathlib import Path

import pytest

import wardexam.injury
from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.errors import TableError
from wardexam.injury import tables
from wardexam.injury.segments import NAMES, POINTS, keys

FOLDER = Path(wardexam.injury.__file__).parent
MODULES = sorted(FOLDER.glob("*.py"))
TABLES = sorted(p.name for p in FOLDER.glob("*.toml"))
PLAIN = {0, 1, 2, -1}
# Constants of size and of layout, which no clinician would change.
TECHNICAL = {
    "computed.py": {"MOST_LOOKED_AT"},
    "typed.py": {"MOST_LINES", "LONGEST_LINE"},
    "worksheet.py": {"WIDTH", "LABEL", "CELL"},
}
COLUMNS = {("worksheet.py", 3), ("sheet.py", 120), ("sheet.py", 132)}


def constants(path):
    """Numbers and words of a module that are not in a technical constant or a docstring."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    spared = {n.value for n in ast.walk(tree) if isinstance(n, ast.Expr)}
    for node in tree.body:
        targets = node.targets if isinstance(node, ast.Assign) else []
        if {t.id for t in targets if isinstance(t, ast.Name)} & TECHNICAL.get(path.name, set()):
            spared |= set(ast.walk(node))
    return [n for n in ast.walk(tree) if isinstance(n, ast.Constant) and n not in spared]


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.name)
def test_no_score_segment_or_sign_stands_in_code(path):
    faults = []
    for node in constants(path):
        value = node.value
        if isinstance(value, int) and not isinstance(value, bool):
            if value not in PLAIN and (path.name, value) not in COLUMNS:
                faults.append((node.lineno, value))
        elif (
            isinstance(value, str)
            and (value in {*SEGMENTS, *NAMES} or value in catalogue())
            and value not in tables.STANDING_WORDS
        ):
            faults.append((node.lineno, value))
    assert faults == []


def test_the_segments_are_those_of_the_anatomy_with_the_two_lowest_as_one():
    assert NAMES[:-1] == SEGMENTS[:-2]
    assert NAMES[-1] == "S4-5"
    assert len(POINTS) == 28
    assert [NAMES[k] for k in keys()] == [
        "C5",
        "C6",
        "C7",
        "C8",
        "T1",
        "L2",
        "L3",
        "L4",
        "L5",
        "S1",
    ]


def test_every_key_point_is_a_dermatome_of_the_examination_with_its_place():
    for begins in ("touch", "pin"):
        for name in POINTS:
            row = catalogue()[f"{begins}_{name.replace('-', '_')}"]
            assert row.place
            assert row.source


def test_every_table_is_read_and_every_row_has_a_source():
    assert tables.standard().far.levels == 3
    assert set(tables.rules()) == set(range(1, 32))
    assert all(rule.source and rule.words for rule in tables.rules().values())
    assert tables.muscles() is tables.muscles()
    assert tables.taken_over().contraction.sign == "anal_squeeze"
    used = "".join(p.read_text(encoding="utf-8") for p in MODULES)
    assert {name for name in TABLES if f'"{name}"' in used} == set(TABLES)


def test_every_reason_is_used_and_every_rule_decides_somewhere():
    used = "".join(p.read_text(encoding="utf-8") for p in MODULES)
    kinds = ("grade_", "sensory_zone", "motor_zone")
    unused = [n for n in tables.reasons() if f'"{n}"' not in used and not n.startswith(kinds)]
    assert unused == []


@pytest.mark.parametrize(
    ("load", "name", "rows", "said"),
    [
        (tables.check_muscles, "muscles.toml", {"key": {"C5": {"limb": "arm", "muscle": "x", "sign": "elbow_flexion"}}, "non_key": {}}, "source"),
        (tables.check_muscles, "muscles.toml", {"key": {"X5": {"limb": "arm", "muscle": "x", "sign": "elbow_flexion", "source": "s"}}, "non_key": {}}, "unknown segment 'X5'"),
        (tables.check_muscles, "muscles.toml", {"key": {"C5": {"limb": "arm", "muscle": "x", "sign": "elbow", "source": "s"}}, "non_key": {}}, "no sign of its own: 'elbow'"),
        (tables.check_muscles, "muscles.toml", {"key": {}, "non_key": {"T1": {"movements": ["x"], "source": "s"}, "C5": {"movements": ["x"], "source": "s"}}}, "not in the order"),
        (tables.check_reasons, "reasons.toml", {"x": {"say": "y", "rules": [99]}}, "there is no rule 99"),
        (tables.check_reasons, "reasons.toml", {"x": {"say": "{y", "rules": [1]}}, "expected '}'"),
        (tables.check_taken_over, "taking_over.toml", {"sensory": {}, "contraction": {"sign": "squeeze", "source": "s"}, "movements": {}, "no_score": {}}, "unknown sign 'squeeze'"),
        (tables.check_taken_over, "taking_over.toml", {"sensory": {}, "contraction": {"sign": "anal_squeeze", "source": "s"}, "movements": {"T9": {"signs": ["knee"], "source": "s"}}, "no_score": {}}, "no movement counts at 'T9'"),
    ],
)  # fmt: skip
def test_a_malformed_row_is_refused_with_its_place(load, name, rows, said):
    with pytest.raises(TableError) as caught:
        load(rows)
    assert name in str(caught.value)
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("load", "rows", "said"),
    [
        (tables.rules, {"1": {"words": "x", "standing": "published", "source": " "}}, "source"),
        (tables.rules, {"2": {"words": "x", "standing": "published", "source": "s"}}, "do not run from 1"),
        (tables.rules, {"one": {"words": "x", "standing": "published", "source": "s"}}, "not 'one'"),
        (tables.rules, {"1": {"words": "x", "standing": "rumour", "source": "s"}}, "standing"),
        (tables.standard, {"sensory": {"absent": 0, "altered": 2, "normal": 1, "source": "s"}, "motor": {"absent": 0, "trace": 1, "useful": 3, "normal": 5, "source": "s"}, "far": {"levels": 3, "source": "s"}, "half": {"of": 2, "source": "s"}, "grades": {}}, "out of order"),
    ],
)  # fmt: skip
def test_a_malformed_rule_or_score_is_refused_at_load(monkeypatch, load, rows, said):
    monkeypatch.setattr(tables, "table", lambda name: rows)
    with pytest.raises(TableError, match=said):
        load.__wrapped__()


def test_a_table_that_is_not_there_or_no_toml_is_refused(monkeypatch):
    with pytest.raises(TableError, match="nowhere"):
        tables.table("nowhere.toml")
    monkeypatch.setattr(tomllib, "loads", lambda text: (_ for _ in ()).throw(tomllib.TOMLDecodeError("bad")))  # fmt: skip
    with pytest.raises(TableError, match="rules"):
        tables.table("rules.toml")
