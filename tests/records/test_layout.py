"""A ward's folder: what is refused, what is made, and that nothing in it is ever removed by opening it."""

import json
import os
import shutil
import subprocess
import sys

import pytest

from tests.records.checking import check_store
from wardexam.errors import RecordsError
from wardexam.records.paths import kept_trail
from wardexam.records.ward import open_ward


def everything(folder):
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.fixture
def used(ward, patient, examination):
    ward.admit(patient, "x")
    ward.save(examination, "x")
    ward.start_draft(examination.model_copy(update={"id": "exam0002"}), "x").close()
    return ward


def test_a_ward_without_its_mark_is_refused_and_nothing_of_it_is_touched(used):
    (used.folder / "ward.json").unlink()
    before = everything(used.folder)
    with pytest.raises(RecordsError, match=r"mark ward\.json is missing; nothing was changed"):
        open_ward(used.folder)
    assert everything(used.folder) == before


def test_a_lost_mark_is_written_anew_by_repair_and_everything_is_there(used, patient, examination):
    (used.folder / "ward.json").unlink()
    report = check_store(used.folder, repair=True, by="x")
    assert report.lines[0].startswith("the mark ward.json was missing and is written anew")
    again = open_ward(used.folder)
    assert [e.id for e in again.examinations(patient.id)] == [examination.id]
    assert [d.draft_id for d in again.drafts()] == ["exam0002"]


def test_no_mark_is_written_over_patients_that_cannot_be_read(used, patient):
    (used.folder / "ward.json").unlink()
    used.layout.file(patient.id).write_bytes(b"torn")
    before = everything(used.folder)
    with pytest.raises(RecordsError):
        check_store(used.folder, repair=True, by="x")
    assert everything(used.folder) == before


def test_a_trail_without_patients_and_mark_is_refused(used, patient):
    shutil.rmtree(used.folder / "patients")
    shutil.rmtree(used.folder / "drafts")
    shutil.rmtree(used.folder / "index")
    (used.folder / "patients").mkdir(0o700)
    (used.folder / "ward.json").unlink()
    with pytest.raises(RecordsError, match="audit trail, but no patients"):
        open_ward(used.folder)


@pytest.mark.parametrize("left", ["nothing", "an empty folder"])
def test_where_a_ward_stood_no_empty_one_is_begun_in_its_place(used, left):
    shutil.rmtree(used.folder)
    if left == "an empty folder":  # as where its disk is not there
        used.folder.mkdir(0o700)
    with pytest.raises(RecordsError, match="a ward stood here") as caught:
        open_ward(used.folder)
    own = kept_trail(used.folder)
    assert str(own) in str(caught.value)
    own.unlink()  # on purpose
    assert open_ward(used.folder).beds() == ()


def test_a_patients_file_put_beside_the_ward_is_left_there_and_said(used, patient):
    data = json.loads(used.layout.file(patient.id).read_bytes())
    stray = used.folder / "patient2.json"
    stray.write_text(json.dumps(data))
    ward = open_ward(used.folder)
    assert stray.exists()
    assert "in no list: patient2.json" in ward.problem
    report = check_store(used.folder, repair=True, by="x")
    assert f"of an earlier layout, in no list: {stray}" in report.lines


def test_a_copy_of_what_stands_in_the_ward_is_put_away_and_never_over_another(used, patient):
    data = used.layout.file(patient.id).read_bytes()
    for _ in range(2):
        (used.folder / f"{patient.id}.json").write_bytes(data)
        open_ward(used.folder)
    kept = sorted((used.folder / "layout-1").iterdir())
    assert [p.read_bytes() for p in kept] == [data, data]


FIRST_START = "import sys; from pathlib import Path; from wardexam.records.ward import open_ward; open_ward(Path(sys.argv[1])); print('opened')"


@pytest.mark.parametrize("umask", [0o000, 0o022])
def test_a_first_start_works_under_any_umask_and_far_down(tmp_path, umask):
    before = os.umask(umask)
    try:
        open_ward(tmp_path / "a" / "b" / "ward")
        assert open_ward(tmp_path / "a" / "b" / "ward").beds() == ()
    finally:
        os.umask(before)


def test_many_first_starts_at_once_all_open_one_ward(tmp_path):
    folder = tmp_path / "ward"
    sessions = [
        subprocess.Popen(
            [sys.executable, "-c", FIRST_START, str(folder)], stdout=subprocess.PIPE, text=True
        )
        for _ in range(8)
    ]
    assert [s.communicate()[0] for s in sessions] == ["opened\n"] * 8
    assert open_ward(folder).beds() == ()


@pytest.mark.parametrize("name", ["ward.json", "audit.jsonl", "index/current.jsonl", "patients/patient1.json", "drafts/exam0002.draft", "locks/lists.lock"])  # fmt: skip
def test_a_pipe_in_the_place_of_a_file_is_refused_at_once(used, patient, examination, name):
    place = used.folder / name
    place.unlink(missing_ok=True)
    os.mkfifo(place, 0o600)
    script = (
        "import sys; from pathlib import Path; from wardexam.errors import WardexamError\n"
        "from wardexam.records.ward import open_ward; from wardexam.exam.examination import Patient\n"
        "from datetime import UTC, datetime\n"
        "try:\n"
        "    ward = open_ward(Path(sys.argv[1])); print([b.trouble for b in ward.beds()], [d.trouble for d in ward.drafts()])\n"
        "    ward.admit(Patient(id='patient9', bed='A9', name='Bo', admitted=datetime.now(UTC)), 'x'); print(ward.problem)\n"
        "except WardexamError as error: print('refused', error)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(used.folder)], capture_output=True, text=True, timeout=20, check=False
    )  # fmt: skip
    assert done.stderr == ""
    said = done.stdout.lower()
    assert "regular file" in said or name == "index/current.jsonl", done.stdout


def test_the_ward_is_where_the_option_else_the_environment_else_the_data_folder_says(
    tmp_path, monkeypatch
):
    from wardexam.records.paths import ward_folder

    monkeypatch.setenv("WARDEXAM_DB", str(tmp_path / "environment"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert ward_folder(str(tmp_path / "option")) == tmp_path / "option"
    assert ward_folder(None) == tmp_path / "environment"
    monkeypatch.delenv("WARDEXAM_DB")
    assert ward_folder(None) == tmp_path / "data" / "wardexam" / "ward"
