"""The public face: its names, what each loads, what it gives; many sheets answer as one by one."""

import csv
import io
import json
import re
import subprocess
import sys
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path

import jsonschema
import pytest

import wardexam
from tests.bench.bench_many import sheets
from wardexam import many
from wardexam.reasoning.model.hypotheses import fingerprint
from wardexam.reasoning.reading import FORM

GUIDE = Path(__file__).parents[1] / "DEVELOPERS.md"
LINE = "knee 2/0 ankle 2/0 plantar down/up age=63 onset=days"
SHEET = {
    "context": {"age": 63, "onset": "days"},
    "findings": [
        {"sign": s, "side": side, "answer": a}
        for s, side, a in (
            ("knee", "right", "2+"), ("knee", "left", "0"), ("ankle", "right", "2+"),
            ("ankle", "left", "0"), ("plantar", "right", "flexor"), ("plantar", "left", "extensor"),
        )
    ],
}  # fmt: skip


def loaded_by(script):
    """The modules that a fresh process has after a script."""
    script += "\nimport sys; print(' '.join(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    return set(done.stdout.splitlines()[-1].split())


def test_the_names_are_those_that_the_guide_lists():
    guide = GUIDE.read_text(encoding="utf-8").split("## The public face")[1].split("\n\n")[1]
    listed = re.findall(r"`(\w+)`", guide.split("this list:")[1].split("`import wardexam`")[0])
    assert listed == wardexam.__all__ == list(dict.fromkeys(wardexam.__all__))
    for name in wardexam.__all__:
        assert getattr(wardexam, name).__doc__
        assert name in wardexam.__doc__
        assert name in dir(wardexam)
    with pytest.raises(AttributeError, match="no attribute 'localize'"):
        _ = wardexam.localize


def test_importing_it_loads_almost_nothing():
    bare, own = loaded_by("pass"), loaded_by("import wardexam")
    assert {m for m in own - bare if m.startswith("wardexam")} == {
        "wardexam",
        "wardexam.version",
    }
    assert not {"numpy", "pydantic", "textual"} & own


@pytest.mark.long
def test_no_public_name_loads_a_screen():
    used = "import wardexam; [getattr(wardexam, n) for n in wardexam.__all__]; "
    loaded = loaded_by(f"{used} wardexam.localise({LINE!r})")
    assert "numpy" in loaded
    assert not {"textual", "rich"} & loaded


@pytest.mark.parametrize(
    "said", [LINE, LINE.replace("ankle", "\n ankle"), SHEET, json.dumps(SHEET)]
)
def test_findings_are_read_from_words_json_and_a_dict(said):
    found = wardexam.read(said)
    assert {f.key for f in found.findings} == {(s["sign"], s["side"]) for s in SHEET["findings"]}
    assert (found.context.age, found.context.onset) == (63, "days")
    assert wardexam.localise(said) == wardexam.localise(wardexam.read(LINE))


@pytest.mark.parametrize(
    ("said", "why"),
    [("", "nothing was given"), (" \n", "nothing"), ("kne 2/0", "did you mean knee"), (5, "int"), ({"findings": {1}}, "not JSON"), ({"finding": []}, "finding")],
)  # fmt: skip
def test_what_cannot_be_read_says_why(said, why):
    with pytest.raises(wardexam.InputError, match=why):
        wardexam.read(said)


def test_an_answer_says_what_made_it_and_fits_its_schema():
    reading = wardexam.localise(LINE)
    answer = reading.to_dict("a", wardexam.assess(LINE, reading=reading))
    assert (answer["version"], answer["id"]) == (FORM, "a")
    assert (answer["program"], answer["tables"]) == (wardexam.__version__, fingerprint())
    assert json.loads(json.dumps(answer)) == answer
    schema = wardexam.answer_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(answer, schema)
    jsonschema.validate(reading.to_dict(), schema)
    for wrong in ({**answer, "more": 1}, {**answer, "version": 1}, {**answer, "sites": [{}]}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(wrong, schema)


def test_rows_are_plain_and_one_for_each_site():
    reading = wardexam.localise(LINE)
    rows = reading.rows("a")
    assert [(r["rank"], r["name"]) for r in rows] == [
        (n, s.name) for n, s in enumerate(reading.sites, 1)
    ]
    assert sum(r["probability"] for r in rows) == pytest.approx(1)
    assert {type(v) for r in rows for v in r.values()} <= {str, int, float, bool, type(None)}


def test_papers_and_urgency_come_from_findings_alone():
    import_module(
        "wardexam.note.note"
    )  # the folder of the same name is loaded, and is the function too
    found = wardexam.read("ankle 2/0 flag:bladder_bowel=yes")
    patient = wardexam.Patient.model_validate(
        {"id": "p0000001", "bed": "1", "name": "A", "number": "1", "admitted": datetime(2026, 1, 1, tzinfo=UTC)}
    )  # fmt: skip
    assert wardexam.assess(found).level > 0
    who = {"id": "e0000001", "patient": patient.id, "examiner": "B", "at": patient.admitted}
    found = wardexam.Examination(
        **who, **{n: getattr(found, n) for n in wardexam.Findings.model_fields}
    )
    assert "ankle" in wardexam.note(patient, found)
    assert wardexam.referral(patient, found).startswith("REFERRAL")


# --- many


@pytest.fixture(scope="module")
def some():
    made = sheets(many.FEW + many.ALONE + 22)
    return [*made[:5], "kne 2/0", *made[5:60], {"finding": []}, *made[60:]]


@pytest.fixture(scope="module")
def one_by_one(some):
    return [many.answer(s) for s in some]


def same(answers, expected):
    told = [str(a) if isinstance(a, wardexam.WardexamError) else a for a in answers]
    return told == [str(a) if isinstance(a, wardexam.WardexamError) else a for a in expected]


@pytest.mark.long
@pytest.mark.slow
def test_many_answer_as_one_by_one_in_order_and_a_bad_one_in_its_place(some, one_by_one):
    for processes in (1, 2):
        answers = list(wardexam.localise_many(iter(some), processes))
        assert same(answers, one_by_one)
        assert isinstance(answers[5], wardexam.InputError)
        assert isinstance(answers[61], wardexam.InputError)


@pytest.mark.long
def test_an_endless_source_is_drawn_a_little_ahead(some):
    drawn = []

    def endless():
        while True:
            drawn.append(1)
            yield some[len(drawn) % 50]

    answers = wardexam.localise_many(endless(), 2)
    for number in range(many.FEW + many.ALONE + 30):
        next(answers)
        assert len(drawn) <= number + 1 + many.BATCH * (2 * many.AHEAD + 1)
    answers.close()


@pytest.mark.long
@pytest.mark.slow
def test_what_a_process_was_reading_when_it_was_ended_is_read_here(some, one_by_one, monkeypatch):
    start, begun = many._start, []

    def started():
        begun.append(start())
        return begun[-1]

    monkeypatch.setattr(many, "_start", started)
    answers = wardexam.localise_many(some, 2)
    found = [next(answers) for _ in range(many.FEW + many.ALONE + 3)]
    for helper in begun:
        helper.kill()
    assert same([*found, *answers], one_by_one)
    assert len(begun) == 1  # this process reads as well


@pytest.mark.long
@pytest.mark.slow
def test_a_script_needs_no_guard(tmp_path, some):
    file = tmp_path / "script.py"
    file.write_text(
        f"import wardexam\nprint(sum(1 for _ in wardexam.localise_many({some[:50]!r}, 2)))\n"
    )
    done = subprocess.run([sys.executable, str(file)], capture_output=True, text=True, cwd=tmp_path)
    assert (done.stdout, done.stderr) == ("50\n", "")


# --- the command


def run(*arguments, stdin=""):
    return subprocess.run(
        [sys.executable, "-m", "wardexam", *arguments], input=stdin, capture_output=True, text=True
    )


@pytest.mark.long
@pytest.mark.slow
def test_the_command_answers_many_in_order_and_prints_what_to_dict_gives(some, one_by_one):
    lines = [s for s in some if isinstance(s, str)]
    done = run("localise", "--json", stdin="\n".join(lines))
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    expected = [a for a in one_by_one if isinstance(a, wardexam.Reading)]
    assert done.returncode == 2
    assert "line 6" in done.stderr
    assert [a["id"] for a in answers] == [json.loads(s)["id"] for s in lines if s[0] == "{"]
    assert [a | {"id": "", "urgency": None} for a in answers] == [r.to_dict() for r in expected]
    schema = json.loads(run("schema", "--answer").stdout)
    assert schema == wardexam.answer_schema()
    for answer in answers:
        jsonschema.validate(answer, schema)


@pytest.mark.long
def test_the_command_writes_csv(some):
    done = run("localise", "--csv", stdin='{"id": "=1+1", "findings": []}\nid=b knee 2/0')
    rows = list(csv.DictReader(io.StringIO(done.stdout)))
    assert [r["id"] for r in rows if r["rank"] == "1"] == ["'=1+1", "b"]
    assert sum(float(r["probability"]) for r in rows if r["id"] == "b") == pytest.approx(1)


@pytest.mark.parametrize("stdin", ["", "\n \n"])
def test_nothing_given_is_refused(stdin):
    done = run("localise", stdin=stdin)
    assert (done.returncode, done.stdout) == (2, "")
    assert "nothing was given" in done.stderr
