"""What is said of the package: no cap on Python, a range of Textual, and types that others can use."""

import tomllib
from importlib.resources import files
from pathlib import Path

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


def test_the_types_and_the_guide_travel_with_the_package():
    assert (files("wardexam") / "py.typed").is_file()
    assert (files("wardexam") / "GUIDE.md").is_file()
    assert "Typing :: Typed" in PROJECT["classifiers"]
