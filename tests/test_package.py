"""What is said of the package: no cap on Python, a range of Textual, types that others can use, no circle of files."""

import ast
import re
import tomllib
from graphlib import CycleError, TopologicalSorter
from importlib.resources import files
from pathlib import Path

import grimp
import pytest

PROJECT = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text())["project"]


def test_python_has_no_cap_and_textual_a_range():
    assert PROJECT["requires-python"] == ">=3.11"
    (textual,) = (d for d in PROJECT["dependencies"] if d.startswith("textual"))
    assert textual == "textual>=8.2.8,<9"
    assert not [d for d in PROJECT["dependencies"] if "==" in d]


def test_every_python_of_the_matrix_is_a_classifier():
    matrix = (Path(__file__).parents[1] / ".ci" / "matrix").read_text()
    said = {c.rpartition(" ")[2] for c in PROJECT["classifiers"] if ":: 3." in c}
    assert f"for version in {' '.join(sorted(said))}; do" in matrix


# What draws, plots, completes or makes manuals is none of them: charts are a few lines of `terminal/course.py`.
NEEDED = {"textual", "pydantic", "tinydb", "numpy", "platformdirs"}


def test_a_users_program_needs_no_more_than_five_packages():
    assert {re.split(r"[<>=!~ ]", d)[0] for d in PROJECT["dependencies"]} == NEEDED


def test_every_dependency_says_its_lowest_and_the_matrix_runs_with_it():
    asked = [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["test"]]
    assert [d for d in asked if ">=" not in d] == []
    text = (Path(__file__).parents[1] / ".ci" / "matrix").read_text()
    assert "--resolution lowest-direct -e '.[test]'" in text


def test_the_types_and_the_guide_travel_with_the_package():
    assert (files("wardexam") / "py.typed").is_file()
    assert (files("wardexam") / "GUIDE.md").is_file()
    assert "Typing :: Typed" in PROJECT["classifiers"]


def by_name(path: Path) -> set[str]:
    """What a file loads by a name written out: `import_module("...")`."""
    calls = (node for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.Call))
    return {
        call.args[0].value
        for call in calls
        if call.args
        and getattr(call.func, "id", getattr(call.func, "attr", "")) == "import_module"
        and isinstance(call.args[0], ast.Constant)
    }


def circle(package: str, root: Path) -> list[str]:
    """Files that import each other in a circle, wherever in a file and whatever for; empty where none do."""
    graph = grimp.build_graph(package, exclude_type_checking_imports=False, cache_dir=None)
    arrows = {m: set(graph.find_modules_directly_imported_by(m)) for m in graph.modules}
    for module in arrows:
        path = root.joinpath(*module.split("."))
        file = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
        arrows[module] |= by_name(file) & arrows.keys()
    try:
        TopologicalSorter(arrows).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


def test_no_file_imports_itself_by_a_circle():
    assert circle("wardexam", Path(__file__).parents[1]) == []


FOR_TYPES = "from typing import TYPE_CHECKING\n\nif TYPE_CHECKING:\n    from {} import x\n"
IN_FUNCTION = "def f():\n    from {} import x\n"
BY_NAME = "from importlib import import_module\n\n\ndef f():\n    import_module('{}')\n"


@pytest.mark.parametrize(
    ("name", "back", "found"),
    [
        ("for_types", FOR_TYPES, {"for_types.a", "for_types.b"}),
        ("in_function", IN_FUNCTION, {"in_function.a", "in_function.b"}),
        ("by_a_name", BY_NAME, {"by_a_name.a", "by_a_name.b"}),
        ("one_way", "x = '{}'\n", set()),
    ],
)
def test_a_circle_of_files_is_found(tmp_path, monkeypatch, name, back, found):
    package = tmp_path / name
    package.mkdir()
    (package / "__init__.py").touch()
    (package / "a.py").write_text(f"from {name}.b import x\n")
    (package / "b.py").write_text(back.format(f"{name}.a"))
    monkeypatch.syspath_prepend(tmp_path)
    assert set(circle(name, tmp_path)) == found
