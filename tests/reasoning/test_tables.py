"""Knowledge stands in tables, never in code: what the modules of reasoning may and may not hold."""

import ast
import tomllib
from pathlib import Path

import pytest

import wardexam.reasoning
from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.errors import TableError
from wardexam.reasoning import tables
from wardexam.reasoning.model import losses
from wardexam.reasoning.rules import conditions, graver

FOLDER = Path(wardexam.reasoning.__file__).parent
MODULES = sorted(FOLDER.rglob("*.py"))
TABLES = sorted(FOLDER.rglob("*.toml"))
# Words that are also a kind of answer, a limb or a way: they may stand for that.
WORDS = {w for s in catalogue().values() for w in (s.answers, s.limb)} | set(losses.WAYS)
PLAIN = {0, 1, 2, -1, 0.5}
# Constants of arithmetic and of size, which no clinician would change; every other number is a row.
TECHNICAL = {
    "tables.py": {"FAR"},
    "reading.py": {"FORM"},
    "ties.py": {"EQUAL", "DECIMALS", "DIGITS"},
    "greatest.py": {"ALIKE"},
    "forms.py": {"PAIRS"},
    "severities.py": {"ROUNDS", "DECIMALS"},
    "codes.py": {"LOWER", "UPPER", "DEPTHS", "BRISK", "BRISK_WEIGHTS", "GAIT_CODES", "DECIMALS"},
    "damage.py": {"NO_LEVEL"},
    "hypotheses.py": {"_CHUNK", "_NAME"},
    "evidence.py": {"_KEPT_PARTS", "_KEPT", "_KEPT_PIECES"},
    "pieces.py": {"LEAST", "_KEPT"},
    "comparison.py": {"_KEPT_CONTRASTS", "_KEPT"},
    "posterior.py": {
        "_FAR",
        "KEPT",
        "KEPT_OF_MANY",
        "KEPT_IN_SESSION",
        "_KEPT_SMALL",
        "_KEPT_LINES",
        "_KEPT_PRIORS",
        "_FURTHER",
        "_KEPT_AMONG",
        "_MANY",
        "_MIX",
        "_AGAIN",
    },
    "neighbours.py": {"_UNITS", "_LEAST_RARITY", "_LEAST"},
    "taught.py": {"_KEPT"},
    "ranking.py": {"_LEAST"},
    "explanation.py": {"_NEAR", "_MOST", "_BEST", "_BAN"},
    "next_sign.py": {"_DRAWS", "_LEAST", "_KEPT", "_KEPT_ODD", "_RARE"},
    "sensitivity.py": {"_DRAWS", "_LEAST", "_KEPT"},
    "two_lesions.py": {"_FAR", "_FIRST", "_NEVER", "_TWO"},
    "tempering.py": {"_LEAST"},
    "observation.py": {"_KEPT"},
    "asymmetry.py": {"_GRID", "LEAST"},
    "change.py": {"ROUNDING"},
    "owners.py": {"LONGEST"},
    "wording.py": {"LONGEST", "LONGEST_BY"},
    "acts.py": {"LONGEST"},
    "conditions.py": {"KEPT_HELD"},
    "one_more.py": {"_KEPT"},
    "raising.py": {"_KEPT"},
}


def assigned(node: ast.stmt) -> set[str]:
    """The names that a statement gives a value to."""
    targets = node.targets if isinstance(node, ast.Assign) else []
    return {n.id for t in targets for n in ast.walk(t) if isinstance(n, ast.Name)}


def technical(tree: ast.Module, names: set[str]) -> set[ast.AST]:
    """Every node of the constants that may hold a number."""
    found: set[ast.AST] = set()
    for node in tree.body:
        if assigned(node) & names:
            found |= set(ast.walk(node))
    return found


def texts(tree: ast.Module) -> set[ast.AST]:
    """The docstrings."""
    return {n.value for n in ast.walk(tree) if isinstance(n, ast.Expr)}


@pytest.mark.parametrize("module", MODULES, ids=lambda p: str(p.relative_to(FOLDER)))
def test_no_clinical_number_sign_or_segment_stands_in_code(module):
    tree = ast.parse(module.read_text(encoding="utf-8"))
    spared = technical(tree, TECHNICAL.get(module.name, set())) | texts(tree)
    parts = {c for n in ast.walk(tree) if isinstance(n, ast.JoinedStr) for c in ast.walk(n)}
    signs = set(catalogue()) - WORDS
    faults = []
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or node in spared:
            continue
        value = node.value
        if isinstance(value, int | float) and not isinstance(value, bool):
            if value not in PLAIN and node not in parts:
                faults.append((node.lineno, value))
        elif isinstance(value, str) and (value in signs or value in SEGMENTS):
            faults.append((node.lineno, value))
    assert faults == []


def test_the_scan_names_no_constant_that_is_not_there():
    for name, constants in TECHNICAL.items():
        (module,) = (m for m in MODULES if m.name == name)
        tree = ast.parse(module.read_text(encoding="utf-8"))
        there = set().union(*map(assigned, tree.body))
        assert constants <= there, name


@pytest.mark.parametrize("path", TABLES, ids=lambda p: str(p.relative_to(FOLDER)))
def test_every_table_is_read_and_every_section_has_its_source(path):
    name = str(path.relative_to(FOLDER))
    assert tables.read(name)
    used = "".join(m.read_text(encoding="utf-8") for m in MODULES)
    assert f'"{name}"' in used


@pytest.mark.parametrize("path", TABLES, ids=lambda p: str(p.relative_to(FOLDER)))
def test_a_table_without_a_source_is_refused(path, monkeypatch):
    name = str(path.relative_to(FOLDER))
    section = next(iter(tomllib.loads(path.read_text(encoding="utf-8"))))
    rows = {section: {"number": 1.0}}
    monkeypatch.setattr(tables.tomllib, "loads", lambda text: rows)
    with pytest.raises(TableError, match=f"{name}, {section}: no source"):
        tables.read.__wrapped__(name)


def test_a_name_that_a_table_does_not_hold_is_a_fault_with_its_place():
    with pytest.raises(TableError, match=r"model/losses\.toml, reflex: no 'mucsle'"):
        tables.read("model/losses.toml")["reflex"]["mucsle"]


def test_every_sign_has_a_way_and_every_row_of_its_own_is_a_sign():
    from wardexam.anatomy.structures import wires

    own = tables.read("model/losses.toml")["own"]
    assert set(own) <= set(catalogue())
    ways = {
        losses.way(s) for s in catalogue().values() if s.id not in wires() and s.answers != "level"
    }
    assert ways == set(losses.WAYS)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"any": [{"sign": ["knne"]}], "source": "the words"}, "condition x, field sign: unknown 'knne'"),
        ({"any": [{"condition": "later"}], "source": "the words"}, "no condition 'later' before it"),
        ({"any": [{"answers": ["huge"]}], "source": "the words"}, "field answers: unknown 'huge'"),
        ({"any": [{"onset": ["soon"]}], "source": "the words"}, "field onset: unknown 'soon'"),
        ({"any": [{"sings": ["knee"]}], "source": "the words"}, "field any.0.sings"),
        ({"any": [{"sign": ["knee"]}]}, "field source"),
    ],
)  # fmt: skip
def test_a_condition_that_cannot_be_is_a_fault_at_load(monkeypatch, row, said):
    monkeypatch.setattr(conditions, "conditions_row", lambda name: {"x": row})
    with pytest.raises(TableError) as caught:
        conditions.conditions.__wrapped__()
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("kind", "wrong"),
    [
        ("mrc", {"4": 4.0, "4-": 3.67}),
        ("mrc", {"5": 4.0}),
        ("meaning", {"absent": 0, "brisk": 3}),
        ("meaning", {"briks": 3}),
    ],
)
def test_grades_have_their_order_from_the_examination_alone(monkeypatch, kind, wrong):
    order = dict(tables.change_row(kind)["order"])
    assert list(graver._numbers.__wrapped__(kind)) == list(order)
    for name in wrong:
        order.pop(name, None)
    monkeypatch.setattr(graver, "change_row", lambda _: {"order": order | wrong})
    with pytest.raises(TableError, match=rf"rules/change\.toml, {kind}: the grades are"):
        graver._numbers.__wrapped__(kind)


@pytest.mark.parametrize(
    ("rows", "said"),
    [({"gaits": {"answer": "cannot"}}, "unknown 'gaits'"), ({"gait": {"answer": "up"}}, "gait: unknown 'up'")],
)  # fmt: skip
def test_the_gravest_answer_of_a_sign_is_one_of_its_answers(monkeypatch, rows, said):
    monkeypatch.setattr(graver, "change_row", lambda _: rows)
    with pytest.raises(TableError, match=said):
        graver.gravest_answers.__wrapped__()
