"""What is written for an incident: what was entered and said, by which version, with the trail, and no name."""

import json
import stat

import jsonschema
import pytest

from tests.governance.identified import READING, SECRETS, fill, without_hashes
from wardexam.commands.main import run
from wardexam.governance.facts import FindingFact
from wardexam.reasoning.model.hypotheses import fingerprint
from wardexam.records.ward import open_ward
from wardexam.version import __version__

NAMELESS = tuple(
    s for s in SECRETS if not s.startswith(("patient", "exam"))
)  # opaque identifiers stay


@pytest.fixture
def home(tmp_path):
    return fill(open_ward(tmp_path / "ward"))


@pytest.fixture
def write(home, capsys):
    def call(*words, code=0):
        assert run(["incident", *words, "--db", str(home.folder)]) == code
        return capsys.readouterr()

    return call


def test_it_holds_what_was_entered_in_each_revision_and_what_was_said_with_it(write):
    made = json.loads(write("patient1", "exam0001", "--json").out)
    first, second = made["revisions"]
    assert [first["entered"]["revision"], second["entered"]["revision"]] == [1, 2]
    entered = first["entered"]
    assert {"sign": "ankle", "side": "left", "answer": "0", "scale": "conventional", "qualities": [], "amount": None, "not_testable": None, "known": True} in entered["findings"]  # fmt: skip
    assert [f["known"] for f in entered["findings"]].count(True) == 1
    assert entered["flags"] == {"saddle_numb": "yes"}
    assert entered["rest_normal"] == [{"part": "power", "limb": "right arm"}]
    assert entered["story"]["age"] == "90+"
    assert [a["kind"] for a in entered["acts"]] == ["called"]
    assert {"rule": "cauda_equina", "urgency": 3, "since": "2026-03-02T08:15:00Z", "again": None} in entered["raised"]  # fmt: skip
    assert entered["reading"] == json.loads(
        READING.model_dump_json(exclude={"sites": {"__all__": {"name"}}})
    )
    assert second["entered"]["reading"]["tables"] == READING.tables
    assert set(entered["left_out"]) == {"comment", "impression", "suggestion", "finding comment", "finding known", "act"}  # fmt: skip
    assert "amendment" in second["entered"]["left_out"]


def test_it_says_what_this_version_says_today_and_that_its_tables_are_others(write):
    now = json.loads(write("patient1", "exam0001", "--json").out)["now"]
    assert (now["program"], now["tables"]) == (__version__, fingerprint())
    assert now["same_tables"] is False
    assert now["level"] == 3
    assert "cauda_equina" in {r["rule"] for r in now["reasons"]}
    assert all(r["source"] for r in now["reasons"])


def test_the_lines_of_the_trail_stand_in_it_with_number_record_and_hash(home, write):
    made = json.loads(write("patient1", "--json").out)
    raw = [json.loads(line) for line in home.layout.trail.read_text().splitlines()]
    wanted = {(n, row["event"], row["record"], row["hash"]) for n, row in enumerate(raw, 1) if row["patient"] == "patient1"}  # fmt: skip
    assert {(t["line"], t["event"], t["record"], t["hash"]) for t in made["trail"]} == wanted
    assert [t["event"] for t in made["trail"]][-1] == "exported"  # its own, before anything left
    doctors = {n for r in made["revisions"] for n in r["by"]} | {t["by"] for t in made["trail"]}
    assert doctors == set(range(1, len(doctors) + 1))


@pytest.mark.parametrize("form", ["text", "json"])
@pytest.mark.parametrize("which", ["exam0001", "exam0002"])
def test_no_name_number_bed_birth_date_or_free_text_is_in_it(write, form, which):
    said = write("patient1", which, *(["--json"] if form == "json" else [])).out
    assert len(said) > 1000
    for secret in NAMELESS:
        assert secret not in without_hashes(said), secret


def test_as_json_it_is_what_its_schema_says(write, capsys):
    made = json.loads(write("patient1", "--json").out)
    assert run(["schema", "--incident"]) == 0
    schema = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(made, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(made | {"name": "Otto"}, schema)


def test_the_text_fits_eighty_columns_and_says_the_same(write):
    text = write("SECRET-40-3317", "exam0001").out
    assert max(map(len, text.splitlines())) <= 80
    joined = " ".join(text.split())
    for part in (
        "INCIDENT, examination exam0001 of patient patient1", "REVISION 1, 2026-03-02 08:15", "left ankle absent (0)",
        "saddle numbness yes", f"Suggested by wardexam 0.0.9, tables {READING.tables}", "cauda: 61.0%",
        "The suggestion was accepted.", "now: possible cauda equina syndrome (cauda_equina), since 2026-03-02 08:15",
        "as when it was saved: others", "within 4 h", "Left out: comment, impression, suggestion",
    ):  # fmt: skip
        assert part in joined, part


def test_the_last_examination_is_meant_where_none_is_named(write):
    assert json.loads(write("patient1", "--json").out)["examination"] == "exam0002"
    refused = write("patient1", "exam0009", code=2)
    assert (refused.out, refused.err.count("\n")) == ("", 1)
    assert "no examination 'exam0009'" in refused.err


def test_the_file_is_its_owners_alone_and_one_that_is_there_stays(write, tmp_path):
    place = tmp_path / "incident.json"
    assert write("patient1", "--json", "--file", str(place)).out == ""
    assert stat.S_IMODE(place.stat().st_mode) == 0o600
    assert json.loads(place.read_text())["patient"] == "patient1"
    before = place.read_bytes()
    assert "is there already" in write("patient1", "--file", str(place), code=3).err
    assert place.read_bytes() == before


def test_a_field_that_is_new_in_a_finding_leaves_only_where_it_is_named():
    from wardexam.exam.findings import Finding

    assert set(FindingFact.model_fields) == set(Finding.model_fields) - {"comment"}


def test_of_an_examination_entered_in_error_the_revision_that_says_so_is_told(write, home, capsys):
    words = ["mark", "patient1", "exam0001", "--db", str(home.folder), "--why", "wrong patient"]
    number = home.patient("patient1").number
    assert run([*words, "--identity", number]) == 0
    capsys.readouterr()
    made = json.loads(write("patient1", "exam0001", "--json").out)
    assert [r["in_error"] for r in made["revisions"]] == [False, False, True]
    text = write("patient1", "exam0001").out
    assert "ENTERED IN ERROR" in text.partition("REVISION 3")[2].splitlines()[1]
    assert text.count("ENTERED IN ERROR") == 1
