"""The research export: nobody named in any file, times moved by patient, every column and code explained."""

import csv
import json
import re
import stat
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import jsonschema
import pytest

from tests.governance.identified import AT, SECRETS, fill, without_hashes
from wardexam.anatomy.catalogue import catalogue
from wardexam.commands.main import run
from wardexam.errors import RecordsError, TableError
from wardexam.exam.answers import answer_sets, scales
from wardexam.exam.examination import Patient
from wardexam.exam.final_sites import FINAL_SITES
from wardexam.exam.flags import every_flag
from wardexam.exam.story import story
from wardexam.governance.dictionary import columns, dictionary
from wardexam.governance.facts import NO_CODE, age_words, code
from wardexam.governance.research import (
    LEAST_SHIFT,
    MOST_SHIFT,
    Mask,
    in_order,
    patient_fact,
    rows_of,
)
from wardexam.reasoning.rules.rule_table import rules
from wardexam.records.ward import open_ward

KEY = bytes(range(32))


@pytest.fixture
def home(tmp_path):
    return fill(open_ward(tmp_path / "ward"))


@pytest.fixture
def export(home, tmp_path, capsys):
    def call(name="out", *more, code=0):
        assert run(["research", str(tmp_path / name), *more, "--db", str(home.folder)]) == code
        return tmp_path / name, capsys.readouterr()

    return call


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / f"{name}.csv").open(newline="") as file:
        return list(csv.DictReader(file))


def patients(folder: Path) -> list[dict]:
    return [json.loads(line) for line in (folder / "patients.jsonl").read_text().splitlines()]


def otto(folder: Path) -> dict:
    return next(p for p in patients(folder) if len(p["examinations"]) == 2)


@pytest.mark.parametrize("more", [[], ["--intervals"]])
def test_nobody_is_named_in_any_file_or_in_what_is_said(export, more):
    folder, told = export("out", *more)
    files = sorted(folder.iterdir())
    assert len(files) == 11
    for path in files:
        text = without_hashes(path.read_text())
        for secret in SECRETS:
            assert secret not in text, (path.name, secret)
    assert told.out == f"2 patients written without names to {folder}\n"
    assert told.err == ""


def test_what_was_found_asked_and_raised_is_there_in_rows_and_in_json(export):
    folder, _ = export()
    made = otto(folder)
    first = made["examinations"][0]
    found = [r for r in rows(folder, "findings") if r["examination"] == first["id"]]
    assert {"sign": "ankle", "side": "left", "answer": "0", "meaning": "absent", "usual": "0", "known": "1"}.items() <= found[1].items()  # fmt: skip
    assert [(r["sign"], r["side"], r["answer"]) for r in found] == [(f["sign"], f["side"], f["answer"]) for f in first["findings"]]  # fmt: skip
    assert next(r["amount"] for r in found if r["sign"] == "post_void_residual") == "320"
    flags = [r for r in rows(folder, "flags") if r["patient"] == made["patient"]]
    assert {(r["flag"], r["answer"]) for r in flags} == {("saddle_numb", "yes")}
    reasons = {r["rule"]: r["urgency"] for r in rows(folder, "reasons")}
    assert reasons["cauda_equina"] == "3"
    assert [r["kind"] for r in rows(folder, "acts")] == ["called"]
    examination = next(r for r in rows(folder, "examinations") if r["examination"] == first["id"])
    assert (examination["suggested"], examination["chance"], examination["accepted"]) == ("cauda", "0.61", "1")  # fmt: skip
    assert (examination["stated_normal"], examination["revision"]) == ("power:right arm", "2")
    outcome = next(r for r in rows(folder, "patients") if r["patient"] == made["patient"])
    assert (outcome["site"], outcome["positive"], outcome["side"]) == ("cauda", "yes", "midline")
    scores = rows(folder, "scores")
    assert {"test": "light_touch", "side": "right", "segment": "T10", "score": "1"}.items() <= next(r for r in scores if r["segment"] == "T10").items()  # fmt: skip
    assert ("anal_contraction", "no") in {(r["test"], r["score"]) for r in scores}


def test_ages_from_ninety_on_are_one_group():
    assert [age_words(a) for a in (None, 0, 89, 90, 93, 120)] == [
        "",
        "0",
        "89",
        "90+",
        "90+",
        "90+",
    ]


def test_no_age_over_eighty_nine_and_no_birth_date_is_in_it(export):
    folder, _ = export()
    assert {r["age"] for r in rows(folder, "patients")} == {"90+", "40"}
    assert {r["age"] for r in rows(folder, "examinations")} == {"90+", "40"}
    assert not any("born" in column for columns_ in columns().values() for column in columns_)


def times(folder, patient):
    made = next(p for p in patients(folder) if p["patient"] == patient)
    found = [made["admitted"], *(e["at"] for e in made["examinations"]), *(s["at"] for s in made["sheets"])]  # fmt: skip
    found += [a["at"] for e in made["examinations"] for a in e["acts"]]
    return found + ([made["outcome"]["imaged"]] if made["outcome"] else [])


TRUE = [timedelta(hours=h) for h in (0, 5, 31, 7)] + [timedelta(hours=5, minutes=20), timedelta(hours=8)]  # fmt: skip


def test_times_are_moved_by_whole_days_that_are_one_patients_own_and_keep_what_lies_between(export):
    folder, _ = export()
    found = [datetime.fromisoformat(t) for t in times(folder, otto(folder)["patient"])]
    assert [t - found[0] for t in found] == TRUE
    moved = AT - timedelta(hours=5) - found[0]
    assert moved == timedelta(days=moved.days)
    assert LEAST_SHIFT <= moved.days <= MOST_SHIFT
    shifts = {Mask(KEY).shift(f"patient{n}").days for n in range(200)}
    assert len(shifts) > 150
    assert min(shifts) >= LEAST_SHIFT
    assert max(shifts) <= MOST_SHIFT


def test_as_intervals_no_date_is_anywhere(export):
    folder, _ = export("out", "--intervals")
    assert times(folder, otto(folder)["patient"]) == [t.total_seconds() / 60 for t in TRUE]
    for path in folder.glob("*.csv"):
        if path.name != "dictionary.csv":
            assert not re.search(r"\d{4}-\d\d-\d\d", path.read_text()), path.name
    assert "Not met" not in (folder / "ABOUT.txt").read_text()
    assert "There is no date" in (folder / "ABOUT.txt").read_text()


def test_without_a_key_two_exports_share_no_name_and_no_date_and_the_order_is_another(export):
    one, two = export("one")[0], export("two")[0]
    names = [{r["patient"] for r in rows(f, "patients")} | {r["examination"] for r in rows(f, "examinations")} for f in (one, two)]  # fmt: skip
    assert names[0].isdisjoint(names[1])
    assert otto(one)["admitted"] != otto(two)["admitted"]
    listed = [r["patient"] for r in rows(one, "patients")]
    assert listed == sorted(listed)


def test_with_a_key_a_later_export_is_the_same_and_the_key_is_in_no_file(export, tmp_path):
    key = tmp_path / "research.key"
    one = export("one", "--key", str(key))[0]
    assert stat.S_IMODE(key.stat().st_mode) == 0o600
    secret = key.read_text().strip()
    assert len(secret) == 64
    two = export("two", "--key", str(key))[0]
    for path in one.iterdir():
        data = path.read_bytes()
        assert data == (two / path.name).read_bytes(), path.name
        assert secret.encode() not in data
        assert bytes.fromhex(secret) not in data
    # Whoever knows the opaque identifier cannot make the name without the key.
    assert Mask(KEY).name("patient1") != Mask(KEY[::-1]).name("patient1")
    assert Mask(bytes.fromhex(secret)).name("patient1") == otto(one)["patient"]


@pytest.mark.parametrize(
    ("data", "mode", "said"),
    [(b"abc\n", 0o600, "holds no key"), (b"\xff" * 32, 0o600, "holds no key"), (b"00" * 32, 0o644, "others can read the key")],
)  # fmt: skip
def test_a_key_that_is_none_or_that_others_can_read_is_refused_and_nothing_is_written(
    export, tmp_path, data, mode, said
):
    key = tmp_path / "research.key"
    key.write_bytes(data)
    key.chmod(mode)
    folder, told = export("out", "--key", str(key), code=2)
    assert said in told.err
    assert told.err.count("\n") == 1
    assert not folder.exists()


def test_the_folder_is_new_and_its_owners_alone(export):
    folder, _ = export()
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert {stat.S_IMODE(p.stat().st_mode) for p in folder.iterdir()} == {0o600}
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    _, told = export(code=3)
    assert "is there already" in told.err
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before


def test_every_column_is_in_the_dictionary_and_no_other(export):
    folder, _ = export()
    explained = rows(folder, "dictionary")
    assert json.loads((folder / "dictionary.json").read_text()) == explained
    for name in columns():
        with (folder / f"{name}.csv").open(newline="") as file:
            head = next(csv.reader(file))
        assert head == [r["id"] for r in explained if r["kind"] == "column" and r["of"] == f"{name}.csv"]  # fmt: skip


def test_every_code_that_there_is_is_in_the_dictionary():
    known: dict[str, set[tuple[str, str]]] = {}
    for entry in dictionary():
        assert entry.words
        known.setdefault(entry.kind, set()).add((entry.of, entry.id))
    assert {id_ for _, id_ in known["sign"]} == set(catalogue())
    assert {(name, a.code) for name, row in answer_sets().items() for a in row.answers} <= known["answer"]  # fmt: skip
    assert {(s.id, a.code) for s in scales().values() for a in s.grades.answers} == known["grade"]
    assert {id_ for _, id_ in known["flag"]} == set(every_flag())
    assert {id_ for _, id_ in known["rule"]} == {*rules(), "inferred_site"}
    assert {(q.field, a.code) for q in story() for a in q.answers} <= known["story"]
    assert {id_ for _, id_ in known["final_site"]} == set(FINAL_SITES)


def test_every_code_of_the_demo_ward_is_explained(tmp_path, capsys):
    from wardexam.records.paths import copy_demo

    ward = copy_demo(tmp_path / "ward")
    assert run(["research", str(tmp_path / "out"), "--db", str(ward)]) == 0
    known = {(e.kind, e.id) for e in dictionary()}
    found = rows(tmp_path / "out", "findings")
    assert len(found) > 400
    for row in found:
        assert ("sign", row["sign"]) in known
        kind = "grade" if row["scale"] else "answer"
        level = catalogue()[row["sign"]].answers == "level"
        assert row["not_testable"] or level or (kind, row["answer"]) in known, row
    for row in rows(tmp_path / "out", "reasons"):
        assert ("rule", row["rule"]) in known


def test_each_line_is_what_the_schema_says(export, capsys):
    assert run(["schema", "--research"]) == 0
    schema = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(schema)
    for more in ([], ["--intervals"]):
        for line in patients(export(f"out{len(more)}", *more)[0]):
            jsonschema.validate(line, schema)
            with pytest.raises(jsonschema.ValidationError):
                jsonschema.validate(line | {"name": "Otto"}, schema)


def test_what_it_meets_and_does_not_meet_is_said(export):
    text = (export()[0] / "ABOUT.txt").read_text()
    assert max(map(len, text.splitlines())) <= 80
    for part in ("164.514(b)(2), from memory", "Not met: it asks", "blank never means normal", "2 patients"):  # fmt: skip
        assert part in text


def test_a_crafted_suggestion_leaves_no_text(home):
    assert [code(t) for t in ("root.left", "0.1.0", "f" * 32, "")] == ["root.left", "0.1.0", "f" * 32, ""]  # fmt: skip
    for text in ("=cmd()", "Otto Brandt", "x" * 61, "a\nb"):
        assert code(text) == NO_CODE


def test_one_who_cannot_be_read_is_left_out_and_named(home, export):
    home.layout.file("patient2").write_bytes(b"{}")
    folder, told = export(code=3)
    assert told.out.startswith("1 patient written")
    assert "left out: " in told.err
    assert len(patients(folder)) == 1


def test_that_it_was_exported_is_in_the_trail_before_it_leaves(home, export):
    export()
    last = json.loads(home.layout.trail.read_text().splitlines()[-1])
    assert (last["event"], last["patient"], last["what"]) == ("exported", "ward", "research")


def test_a_field_that_is_new_in_a_patient_has_to_be_thought_of():
    left_out = {"schema_version", "revision", "bed", "name", "number", "born", "recheck_hours", "remark"}  # fmt: skip
    assert set(Patient.model_fields) - left_out == {"id", "age", "sex", "admitted", "discharged"}


def test_a_row_that_does_not_fit_the_table_of_columns_is_refused_by_its_columns():
    row = dict.fromkeys(columns()["flags"], "")
    assert in_order("flags", row) == [""] * len(row)
    with pytest.raises(TableError) as refused:
        in_order("flags", row | {"name": "Ana"})
    assert str(refused.value) == (
        "columns.toml, flags: the rows have other columns than the table: name (name each in both)"
    )


def test_a_finding_that_the_examination_lacks_is_refused_by_its_name(home):
    file = next(f for stay in home.stays() if (f := home.file(stay.name)).examinations[0].findings)
    fact = patient_fact(file, Mask(KEY))
    bare = SimpleNamespace(
        examinations=[e.model_copy(update={"findings": ()}) for e in file.examinations]
    )
    with pytest.raises(RecordsError, match=r"the examination has no finding .* \(run 'wardexam check'\)"):  # fmt: skip
        list(rows_of(fact, bare, Mask(KEY)))
