"""The maintainer's walks work: what they name is there, and the lines that roll a migration back do so."""

import ast
import json
import os
import re
import shutil
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.examinations import examined
from tests.records.checking import check_store
from tests.records.test_migration import LAYOUT_1, SCHEMA_5
from wardexam.exam.examination import Patient
from wardexam.governance.hazards import read_log
from wardexam.reasoning.rules.deadlines import limits
from wardexam.reasoning.rules.rule_table import rules
from wardexam.records import schemas
from wardexam.records.ward import open_ward

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
NOW = datetime(2026, 11, 26, 20, tzinfo=UTC)
GUIDELINE = TEXT[TEXT.index("### A walk: a guideline") : TEXT.index("### A walk: a migration")]


def lines(name: str) -> str:
    """The shell lines of a walk, as the guide gives them."""
    found = re.search(rf"<!-- walk: {name} -->\n```sh\n(.*?)```", TEXT, re.S)
    assert found
    return found[1]


def walk(name: str, ward: Path, **more: str) -> str:
    """Run the lines of a walk; what they print."""
    command = f'wardexam() {{ "{sys.executable}" -m wardexam "$@"; }}\nset -e\n{lines(name)}'
    env = {**os.environ, "WARD": str(ward), "PYTHONPATH": str(ROOT), **more}
    done = subprocess.run(["bash", "-c", command], env=env, capture_output=True, text=True, cwd=ROOT)  # fmt: skip
    assert done.returncode in (0, 1), done.stderr
    return done.stdout


def begun(source: Path, folder: Path):
    shutil.copytree(source, folder)
    folder.chmod(0o700)
    return open_ward(folder)


def files(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}  # fmt: skip


def sound(folder: Path) -> bool:
    return check_store(folder, repair=False, by="x").sound


def saved_since(ward):
    """What is done with the newer program: an examination of somebody, and somebody new."""
    whose = "avzac69ob94i575u"
    made = examined("knee 2/0", NOW, id="exam0001", patient=whose, examiner="Dr Ash")
    ward.save(made, "Dr Ash")
    new = Patient(id="newcomer1", bed="Z9", name="Invented New", admitted=NOW)
    ward.admit(new, "Dr Ash")
    ward.save(made.model_copy(update={"id": "exam0002", "patient": new.id}), "Dr Ash")
    return whose, new


@pytest.mark.long
def test_a_new_form_of_the_files_is_rolled_back_with_what_was_saved_since_told(tmp_path, monkeypatch):  # fmt: skip
    ward = begun(SCHEMA_5, tmp_path / "ward")
    assert sound(ward.folder)
    before = files(ward.layout.patients)
    walk("copy", ward.folder)
    whose, new = saved_since(ward)
    assert schemas.schema_of(ward.layout.file(whose).read_bytes()) == schemas.SCHEMA

    # An older program refuses what was saved since, by its number.
    with monkeypatch.context() as older:
        older.setattr(schemas, "SCHEMA", 5)
        older.setattr(schemas, "READERS", {n: r for n, r in schemas.READERS.items() if n <= 5})
        with pytest.raises(Exception, match=r"newer|not known|update"):
            schemas.read_tables(ward.layout.file(whose))

    told = walk("back", ward.folder)
    assert "the audit trail was cut short" in told
    assert files(ward.layout.patients) == before
    with monkeypatch.context() as older:
        older.setattr(schemas, "SCHEMA", 5)
        older.setattr(schemas, "READERS", {n: r for n, r in schemas.READERS.items() if n <= 5})
        for path in ward.layout.files():
            assert schemas.read_tables(path)
    since = [json.loads(line) for line in (tmp_path / "ward.since").read_text().splitlines()]
    assert {(row["event"], row["patient"]) for row in since} >= {
        ("saved", whose), ("admitted", new.id), ("saved", new.id),
    }  # fmt: skip
    assert sound(ward.folder)
    assert not [b for b in open_ward(ward.folder).beds() if b.patient_id == new.id]

    walk("over", ward.folder, PATIENT=new.id)
    again = open_ward(ward.folder)
    assert again.patient(new.id).name == new.name
    assert [e.id for e in again.examinations(new.id)] == ["exam0002"]
    assert sound(ward.folder)
    kept = open_ward(tmp_path / "ward.newer")
    assert "exam0001" in {
        e.id for e in kept.examinations(whose)
    }  # to be entered again from its note


def test_a_new_layout_is_rolled_back_to_the_files_as_they_were(tmp_path):
    old = {name: data for name, data in files(LAYOUT_1).items() if name != "audit.jsonl"}
    assert len(old) > 13
    ward = begun(LAYOUT_1, tmp_path / "ward")
    assert (ward.folder / "layout-1").is_dir()
    whose, _ = saved_since(ward)
    trail = ward.layout.trail.read_bytes()
    walk("layout", ward.folder)
    found = files(ward.folder)
    assert found.pop("audit.jsonl") == trail
    assert {name: found[name] for name in old} == old
    assert set(found) - set(old) <= {"ward.json"}
    assert "exam0001" in {e.id for e in open_ward(tmp_path / "ward.newer").examinations(whose)}
    again = open_ward(ward.folder)  # and forward once more
    there = {b.patient_id: b for b in again.beds()}
    assert len(there) == 13
    assert "file is gone" in there["newcomer1"].trouble  # the trail forgets nobody
    assert "exam0001" not in {e.id for e in again.examinations(whose)}


def test_what_the_guidelines_walk_names_is_there():
    for path in re.findall(
        r"(?<!tests/)\b((?:reasoning|governance)/[\w/]+\.(?:toml|py))", GUIDELINE
    ):
        assert (ROOT / "wardexam" / path).is_file(), path
    for path in re.findall(r"\btests/[\w/]+\.(?:py|toml)", GUIDELINE):
        assert (ROOT / path).is_file(), path
    assert (ROOT / "tests" / "handbook" / "urgency.py").is_file()
    assert {"4 h", "8 h"} <= set(limits())
    assert rules()["both_legs_pain"].by == "4 h"  # what the walk says of it as an example
    said = (ROOT / "wardexam" / "reasoning" / "rules" / "conditions.toml").read_text()
    assert re.search(r"^\[condition\.\w+\]", said, re.M)


def test_a_rule_that_is_added_without_its_hazard_does_not_load():
    text = (ROOT / "wardexam" / "governance" / "hazards.toml").read_text(encoding="utf-8")
    with pytest.raises(Exception, match="rule 'a_new_one' stands in no hazard") as refused:
        read_log(text, {**rules(), "a_new_one": None})
    assert "name it in a row" in str(refused.value)


def test_the_walks_lines_run_tests_that_there_are():
    (block,) = re.findall(r"```sh\n\s*(python -m pytest[^\n]+)\n", GUIDELINE)
    for path in block.split()[4:]:
        tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
        assert any(isinstance(n, ast.FunctionDef) and n.name.startswith("test_") for n in tree.body)


def test_the_day_of_the_next_review_is_a_year_on():
    from wardexam.governance.reviews import rule_files

    for owner in rule_files().values():
        assert owner.due - owner.reviewed <= timedelta(days=366)
