"""A bundle at the command line: out, in, and only to see."""

import csv
import io
import json
import os
import socket
import stat
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from tests.fhir.bundles import as_kept, every_text, resources
from tests.fhir.conftest import AT
from tests.fhir.validators import refused
from wardexam.commands import edge
from wardexam.commands.main import run
from wardexam.fhir import bundle
from wardexam.records.ward import open_ward


def events(ward):
    return [json.loads(t)["event"] for t in (ward.folder / "audit.jsonl").read_text().splitlines()]


@pytest.fixture
def written(full, tmp_path, capsys):
    """The bundle of the full ward in a file."""
    file = tmp_path / "ward.json"
    assert run(["export", "--fhir", "--db", str(full.folder), "--output", str(file)]) == 0
    capsys.readouterr()
    return file


def test_a_ward_goes_out_as_a_bundle_and_comes_in_equal(folder, empty, tmp_path, capsys):
    assert run(["export", "--fhir", "--db", str(folder)]) == 0
    out, err = capsys.readouterr()
    assert err == (
        "wardexam: not in the bundle: 16 sets of urgency reasons kept with an examination, 1 line of the trail that wrote nothing\n"
    )
    assert events(open_ward(folder))[-1] == "exported"
    file = tmp_path / "ward.json"
    file.write_text(out)
    assert run(["import", "--db", str(empty.folder), "--dry-run", str(file)]) == 0
    *each, last = capsys.readouterr().out.splitlines()
    assert last == "13 patients and 18 examinations would be added"
    assert [line.split()[1] for line in each] == sorted(
        b.patient_id for d in (False, True) for b in open_ward(folder).beds(discharged=d)
    )
    assert empty.beds() == ()
    assert run(["import", "--db", str(empty.folder), str(file)]) == 0
    assert capsys.readouterr().out == "13 patients and 18 examinations added\n"
    before, after = open_ward(folder), open_ward(empty.folder)
    assert [replace(b, summary=None) for b in after.beds()] == [
        replace(b, summary=None) for b in before.beds()
    ]
    for bed in before.beds():
        assert after.patient(bed.patient_id) == before.patient(bed.patient_id)
        back = tuple(map(as_kept, after.examinations(bed.patient_id)))
        assert back == tuple(map(as_kept, before.examinations(bed.patient_id)))


def test_nobody_is_calmer_where_a_bundle_comes_in(folder, empty, tmp_path):
    """The reasons come back since when they stood, and the tool's own alarm is raised anew."""
    file = tmp_path / "ward.json"
    assert run(["export", "--fhir", "--db", str(folder), "--output", str(file)]) == 0
    assert run(["import", "--db", str(empty.folder), str(file)]) == 0
    before, after = open_ward(folder), open_ward(empty.folder)
    own = 0
    for one, other in zip(before.beds(), after.beds(), strict=True):
        assert other.summary.urgency >= one.summary.urgency
        assert not one.summary.due or other.summary.due_at <= one.summary.due_at
        for then, now in zip(
            before.examinations(one.patient_id), after.examinations(one.patient_id), strict=True
        ):
            assert set(then.raised or ()) <= set(now.raised)
            alarms = [r for r in now.raised if r.rule == "inferred_site"]
            assert {r.rule for r in now.raised} - {"inferred_site"} == {r.rule for r in then.raised or ()}  # fmt: skip
            own += len(alarms)
            assert now.reading is None
    assert own > 0


def test_what_is_on_the_ward_already_is_not_doubled(written, full, empty, capsys):
    arguments = ["import", "--db", str(empty.folder), str(written)]
    assert run(arguments) == 0
    stood = {p.name: p.read_bytes() for p in (empty.folder / "patients").iterdir()}
    capsys.readouterr()
    for more in ([], ["--dry-run"]):
        assert run([*arguments, *more]) == 2
        assert capsys.readouterr().err == (
            "wardexam: patient1: is on the ward already; nothing was added\n"
        )
    assert {p.name: p.read_bytes() for p in (empty.folder / "patients").iterdir()} == stood


def test_all_of_a_bundle_comes_in_or_nothing(written, empty, full, capsys):
    gone = full.patient("patient2").model_copy(update={"discharged": None})
    empty.admit(gone, "x")
    assert run(["import", "--db", str(empty.folder), str(written)]) == 2
    assert "patient2: is on the ward already" in capsys.readouterr().err
    assert [b.patient_id for b in empty.beds()] == ["patient2"]


def test_a_bundle_is_its_owners_alone_and_writes_over_nothing(written, full, capsys):
    assert stat.S_IMODE(written.stat().st_mode) == 0o600
    before = written.read_bytes()
    assert run(["export", "--fhir", "--db", str(full.folder), "--output", str(written)]) == 3
    assert capsys.readouterr().err == f"wardexam: {written}: is there already (choose another name)\n"  # fmt: skip
    assert written.read_bytes() == before


@pytest.mark.parametrize("form", [[], ["--csv"], ["--fhir"]])
def test_every_form_goes_to_a_private_file_as_it_does_to_the_screen(full, tmp_path, form, capsys):
    file = tmp_path / "out"
    mask = os.umask(0)
    try:
        code = run(["export", *form, "--db", str(full.folder), "--output", str(file)])
    finally:
        os.umask(mask)
    assert code == 0
    assert capsys.readouterr().out == ""
    assert run(["export", *form, "--db", str(full.folder)]) == 0
    assert file.read_text() == capsys.readouterr().out
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_an_output_that_cannot_be_written_is_said(full, tmp_path, capsys):
    place = tmp_path / "no" / "such" / "file"
    assert run(["export", "--fhir", "--db", str(full.folder), "--output", str(place)]) == 3
    assert capsys.readouterr().err == f"wardexam: {place}: cannot be written: No such file or directory\n"  # fmt: skip


@pytest.mark.parametrize("form", [[], ["--fhir"]])
def test_a_dry_run_says_what_would_be_added_in_each_form(full, tmp_path, form, capsys):
    file = tmp_path / "out"
    run(["export", *form, "--db", str(full.folder), "--output", str(file)])
    other = tmp_path / "other"
    open_ward(other)
    capsys.readouterr()
    said = "2 patients, 2 examinations, 2 cord injury sheets and 2 outcomes"
    assert run(["import", "--dry-run", "--db", str(other), str(file)]) == 0
    assert capsys.readouterr().out == (
        "A1           patient1  2 examinations, 2 cord injury sheets, 2 outcomes\n"
        "A2           patient2  0 examinations, discharged\n"
        f"{said} would be added\n"
    )
    assert list((other / "patients").iterdir()) == []
    assert not (other / "audit.jsonl").exists()
    assert run(["import", "--db", str(other), str(file)]) == 0
    assert capsys.readouterr().out == f"{said} added\n"


@pytest.mark.parametrize("more", [[], ["--dry-run"]])
@pytest.mark.parametrize("which", ["findings", "outcomes"])
def test_a_table_is_refused_with_what_to_do(full, empty, tmp_path, which, more, capsys):
    file = tmp_path / "table.csv"
    if which == "findings":
        run(["export", "--csv", "--db", str(full.folder), "--output", str(file)])
    else:
        file.write_text("patient,site\npatient1,cauda\n")
    capsys.readouterr()
    assert run(["import", "--db", str(empty.folder), str(file), *more]) == 2
    assert capsys.readouterr().err == (
        f"wardexam: {file}: a table in CSV holds no patients and cannot be brought in"
        " (give an archive; 'wardexam outcome --file' reads outcomes)\n"
    )
    assert empty.beds() == ()


def test_a_dry_run_of_outcomes_in_csv_says_what_would_be_recorded(full, tmp_path, capsys):
    file = tmp_path / "outcomes.csv"
    text = io.StringIO()
    csv.writer(text).writerows([["patient", "site", "by"], ["patient2", "cauda", "Dr Ray"]])
    file.write_text(text.getvalue())
    before = (full.folder / "audit.jsonl").read_bytes()
    assert run(["outcome", "--db", str(full.folder), "--file", str(file), "--dry-run"]) == 0
    assert "would be recorded" in capsys.readouterr().out
    assert full.outcomes("patient2") == ()
    assert (full.folder / "audit.jsonl").read_bytes() == before


def test_one_patient_goes_out_alone(full, capsys):
    assert run(["export", "--fhir", "--db", str(full.folder), "--patient", "A1"]) == 0
    (patient,) = resources(json.loads(capsys.readouterr().out), "Patient")
    assert patient["identifier"][0]["value"] == "patient1"


@pytest.mark.long
def test_a_bundle_goes_without_whom_it_cannot_read_and_says_so(folder, tmp_path, capsys):
    damaged = open_ward(folder).beds()[0].patient_id
    (folder / "patients" / f"{damaged}.json").write_bytes(b"torn")
    assert run(["export", "--fhir", "--db", str(folder)]) == 3
    out, err = capsys.readouterr()
    assert err.splitlines()[0].startswith(f"wardexam: left out: {damaged}: ")
    made = json.loads(out)
    assert len(resources(made, "Patient")) == 12
    assert [refused(r) for r in resources(made, "Patient") if refused(r)] == []
    file = tmp_path / "one.json"
    one = ["export", "--fhir", "--db", str(folder), "--patient", damaged]
    assert run(one) == 3
    assert capsys.readouterr().out == ""
    assert run([*one, "--output", str(file)]) == 3
    assert not file.exists()


def test_a_trail_that_cannot_be_read_is_said_and_nothing_goes_out(full, capsys):
    trail = full.folder / "audit.jsonl"
    trail.write_bytes(trail.read_bytes().replace(b'{"at"', b'{at"', 1))
    assert run(["export", "--fhir", "--db", str(full.folder)]) == 3
    out, err = capsys.readouterr()
    assert out == ""
    assert err == "wardexam: audit line 1: is not readable (run 'wardexam check')\n"


@pytest.mark.long
def test_a_bundle_is_read_from_standard_input(written, tmp_path):
    other = open_ward(tmp_path / "other").folder
    done = subprocess.run(
        [sys.executable, "-m", "wardexam", "import", "-", "--db", other],
        input=written.read_bytes(), capture_output=True,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout == b"2 patients, 2 examinations, 2 cord injury sheets and 2 outcomes added\n"


def test_a_hospital_names_its_own_system_and_codes(full, tmp_path, monkeypatch, capsys):
    file = tmp_path / "fhir.toml"
    file.write_text(
        'number_system = "urn:oid:1.2.3"\n[codes."side.right"]\nsystem = "http://snomed.info/sct"\n'
        'code = "24028007"\ndisplay = "Right"\nsource = "the hospital\'s own licence"\n'
    )
    monkeypatch.setenv("WARDEXAM_FHIR", str(file))
    assert run(["export", "--fhir", "--db", str(full.folder)]) == 0
    made = json.loads(capsys.readouterr().out)
    assert resources(made, "Patient")[0]["identifier"][1]["system"] == "urn:oid:1.2.3"
    sides = [o["bodySite"]["coding"] for o in resources(made, "Observation") if "bodySite" in o]
    right = [s for s in sides if s[0]["code"] == "side.right"]
    assert right
    assert all(s[1] == {"system": "http://snomed.info/sct", "code": "24028007", "display": "Right"} for s in right)  # fmt: skip
    assert [len(s) for s in sides if s[0]["code"] != "side.right"] == [1, 1]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[codes", "fhir.toml, line 1: Expected"),
        ('systems = "x"', "line 1: 'systems' cannot be given, only 'number_system' and 'codes'"),
        ('number_system = "no uri"', "line 1: 'number_system' is a URI, such as urn:oid:1.2.3"),
        ("number_system = 3", "line 1: 'number_system' is a URI"),
        ("codes = 3", "line 1: 'codes' is a table"),
        ('\n[codes."side.up"]\nsystem = "urn:x"', "line 2: no code of ours is called 'side.up'"),
        ('[codes."side.right"]\nsystem = "urn:x"', "line 1: 'side.right' is a table with system, code, display, source"),
        ('[codes."side.right"]\nsystem = "urn:x"\ncode = "1  2"\ndisplay = "a"\nsource = "b"', "line 3: 'code' is a code"),
        ('[codes."side.right"]\nsystem = "x"\ncode = "1"\ndisplay = "a"\nsource = "b"', "line 2: 'system' is a URI"),
        ('[codes."side.right"]\nsystem = "urn:x"\ncode = "1"\ndisplay = ""\nsource = "b"', "line 4: 'display' is a line of text"),
    ],
)  # fmt: skip
def test_a_hospitals_file_that_is_wrong_is_refused_with_its_line(
    full, tmp_path, monkeypatch, text, said, capsys
):
    file = tmp_path / "fhir.toml"
    file.write_text(text)
    monkeypatch.setenv("WARDEXAM_FHIR", str(file))
    assert run(["export", "--fhir", "--db", str(full.folder)]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err
    assert err.count("\n") == 1
    assert err.endswith("(nothing was exported)\n")


def test_the_codes_are_printed_as_a_resource(capsys):
    assert run(["schema", "--fhir-codes"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert made["resourceType"] == "CodeSystem"
    assert refused(made) == {}
    codes = {c["code"]: c["display"] for kind in made["concept"] for c in kind["concept"]}
    assert codes["sign.knee"] == "knee"
    assert codes["answer.plantar.extensor"] == "extensor"


def test_nothing_is_sent_anywhere(full, empty, tmp_path, monkeypatch, capsys):
    def nowhere(*_, **__):
        raise AssertionError("a connection was asked for")

    monkeypatch.setattr(socket, "socket", nowhere)
    monkeypatch.setattr(socket, "getaddrinfo", nowhere)
    file = tmp_path / "ward.json"
    assert run(["export", "--fhir", "--db", str(full.folder), "--output", str(file)]) == 0
    assert run(["import", "--db", str(empty.folder), str(file)]) == 0
    text = Path(sys.modules["wardexam.fhir.bundle"].__file__).read_text()
    assert "socket" not in text


def test_neither_a_start_nor_a_bundle_loads_a_library_of_fhir(full):
    """What validates in tests is not needed at run time."""
    said = subprocess.run(
        [
            sys.executable, "-c",
            "import sys; from wardexam.commands.main import run; code = run(sys.argv[1:]);"
            "print(sorted(m for m in sys.modules if m.split('.')[0] in ('fhir', 'fhirkit', 'jsonschema')), file=sys.stderr)",
            "export", "--fhir", "--db", str(full.folder),
        ],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert said.stderr.splitlines()[-1] == "[]"


def test_a_bundle_longer_than_is_read_again_is_said(full, monkeypatch, capsys):
    monkeypatch.setattr(bundle, "LONGEST", 1000)
    assert run(["export", "--fhir", "--db", str(full.folder)]) == 0
    said = capsys.readouterr().err.splitlines()
    assert said[-1] == (
        "wardexam: the bundle is longer than 'wardexam import' reads: export each patient with --patient"
    )


def test_notes_are_in_the_hospitals_words(full, tmp_path, capsys):
    file = tmp_path / "wording.toml"
    file.write_text('[cauda_equina]\ncall = "spinal registrar, bleep 1234"\n')
    wording = ["--wording", str(file)]
    assert run(["export", "--db", str(full.folder), *wording]) == 2
    assert capsys.readouterr().err == (
        "wardexam: export: --wording does nothing here (leave it out, or give --fhir)\n"
    )
    assert run(["export", "--fhir", "--db", str(full.folder), *wording]) == 0
    made = json.loads(capsys.readouterr().out)
    notes = [t for r in resources(made, "DocumentReference") for t in every_text(r)]
    assert [t for t in notes if "bleep 1234" in " ".join(t.split())]


def test_the_note_is_that_of_the_note_command(full, monkeypatch, capsys):
    monkeypatch.setattr(edge, "now", lambda: AT)  # nothing is overdue, which a bundle never says
    assert run(["export", "--fhir", "--db", str(full.folder), "--patient", "patient1"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert run(["note", "patient1", "--utf8", "--db", str(full.folder)]) == 0
    note = capsys.readouterr().out
    assert "cord injury sheet" in note.lower()
    sent = [
        t
        for r in resources(made, "DocumentReference")
        if r["status"] == "current"
        for t in every_text(r)
        if "NEUROLOGICAL EXAMINATION" in t
    ]
    assert sent == [note]
