"""What is on disk is whole, whatever happens; what is derived is made anew from it."""

import contextlib
import hashlib
import json
import os
import random
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tinydb import TinyDB, where

from tests.records.checking import check_store
from wardexam.errors import InputError, RecordsError
from wardexam.exam.entry import apply
from wardexam.exam.outcome import Outcome
from wardexam.records import outcome_import, schemas
from wardexam.records.repository import Arrival, Summary
from wardexam.records.stored_record import DamagedFileError
from wardexam.records.tinydb_storage import DurableStorage
from wardexam.records.ward import open_ward

ROOT = Path(__file__).parents[2]


def file_of(ward, name="patient1"):
    return ward.layout.patients / f"{name}.json"


def rows(ward, name="current"):
    text = (ward.folder / "index" / f"{name}.jsonl").read_text()
    head, *lines = text.splitlines()
    assert head == '{"index": "wardexam", "version": 2}'
    return [json.loads(line[9:]) for line in lines]


# --- the document file


@pytest.fixture
def written(ward, patient, examination):
    """A patient's file with examinations by two doctors, as the ward has written it."""
    ward.admit(patient, "x")
    ward.save(examination, "x")
    ward.save(examination.model_copy(update={"id": "exam0002", "examiner": "Dr Oak"}), "x")
    ward.amend(ward.examinations(patient.id)[0], "Dr Ash", "a word", examination.at)
    return file_of(ward)


@pytest.mark.parametrize("how", [{}, {"access_mode": "r"}])
def test_a_file_opens_with_tinydb_alone_and_can_be_queried(written, examination, how):
    before = written.read_bytes()
    with TinyDB(written, **how) as database:
        assert database.tables() == {"about", "examinations", "meta", "patient"}
        found = database.table("examinations").search(where("examiner") == "Dr Ash")
        assert [(row["id"], row["revision"]) for row in found] == [("exam0001", 1), ("exam0001", 2)]
        assert database.table("examinations").get(doc_id=2)["id"] == "exam0002"
        assert database.table("patient").get(where("bed") == "A1")["name"] == "Ana Invented"
        assert database.table("about").get(doc_id=1)["schema"] == schemas.SCHEMA
    assert written.read_bytes() == before  # whoever only reads changes nothing


def test_the_checksum_in_the_first_line_is_that_of_the_lines_after_it(written):
    _, _, body = written.read_bytes().partition(b"\n")
    with TinyDB(written, access_mode="r") as database:
        assert database.table("about").get(doc_id=1)["sha256"] == hashlib.sha256(body).hexdigest()


def test_our_own_tables_are_tinydbs_and_change_in_one_step(ward, written, patient):
    before = written.read_bytes()
    with TinyDB(written, storage=DurableStorage) as database:
        table = database.table("examinations")
        assert [row["id"] for row in table.all()] == ["exam0001", "exam0002", "exam0001"]
        table.insert(dict(table.get(doc_id=2)) | {"id": "exam0003"})
        database.table("patient").update({"bed": "B2"})
        assert written.read_bytes() == before  # no half of it is ever on disk
        database.storage.flush()
    assert ward.patient(patient.id).bed == "B2"
    assert [e.id for e in ward.examinations(patient.id)] == ["exam0001", "exam0002", "exam0003"]


def test_a_change_that_is_not_flushed_never_happened(written):
    before = written.read_bytes()
    with TinyDB(written, storage=DurableStorage) as database:
        database.drop_tables()
    assert written.read_bytes() == before


def test_what_another_program_has_written_is_not_taken_for_ours(ward, written, patient):
    with TinyDB(written) as database:  # stock TinyDB writes in place and knows no checksum
        database.table("patient").update({"bed": "B2"})
    with pytest.raises(DamagedFileError, match="checksum does not match"):
        ward.patient(patient.id)


def test_a_save_carries_the_other_records_over_unread_and_unchanged(ward, patient, examination):
    ward.admit(patient, "x")
    for number in range(4):
        ward.save(examination.model_copy(update={"id": f"exam000{number}"}), "x")
    before = file_of(ward).read_bytes().split(b"\n")
    ward.save(examination.model_copy(update={"id": "exam0009"}), "x")
    after = file_of(ward).read_bytes().split(b"\n")
    assert after[2:5] == before[2:5]
    assert after[5] == before[5] + b","
    assert len(after) == len(before) + 1


def test_the_version_before_stays_beside(ward, patient):
    ward.admit(patient, "x")
    before = file_of(ward).read_bytes()
    ward.update(ward.patient(patient.id).model_copy(update={"bed": "B1"}), "x")
    assert file_of(ward).with_name("patient1.json.before").read_bytes() == before


def test_zero_bytes_is_damage_and_the_rest_of_the_ward_opens(ward, patient):
    ward.admit(patient, "x")
    ward.admit(patient.model_copy(update={"id": "patient2", "bed": "A2"}), "x")
    file_of(ward).write_bytes(b"")
    with pytest.raises(DamagedFileError, match="empty"):
        ward.patient("patient1")
    assert ward.patient("patient2").bed == "A2"
    first, second = open_ward(ward.folder).beds()
    assert (first.name, second.trouble) == ("Ana Invented", "")
    assert "patient1.json: the file is empty" in first.trouble


def test_a_damaged_patient_stays_on_the_list_without_an_index_too(ward, patient):
    ward.admit(patient, "x")
    file_of(ward).write_bytes(b"{")
    assert len(ward.rebuild_index()) == 1
    (bed,) = ward.beds()
    assert bed.trouble
    assert ward.problem.startswith("the file is not a stored document (run 'wardexam check')")


def test_nothing_is_written_over_a_damaged_file(ward, patient, examination):
    ward.admit(patient, "x")
    file_of(ward).write_bytes(b"torn")
    with pytest.raises(DamagedFileError):
        ward.save(examination, "x")
    assert file_of(ward).read_bytes() == b"torn"


@settings(max_examples=150, deadline=None)
@given(
    st.binary(max_size=300)
    | st.recursive(
        st.none() | st.text(max_size=5) | st.integers(),
        lambda x: st.lists(x, max_size=3) | st.dictionaries(st.text(max_size=4), x, max_size=3),
    ).map(lambda d: json.dumps(d).encode())
)
def test_any_bytes_are_refused_in_the_family(data):
    with pytest.raises(RecordsError):
        schemas.unpack(data, "x")


@given(st.dictionaries(st.sampled_from(["a", "b", "c"]), st.lists(st.dictionaries(st.text(max_size=9), st.none() | st.integers() | st.text()), max_size=4), max_size=3))  # fmt: skip
def test_what_is_packed_is_unpacked(tables):
    given_ = {
        name: {str(n): row for n, row in enumerate(rows_, 1)} for name, rows_ in tables.items()
    }
    pieces, _ = schemas.pack(given_)
    data = b"".join(pieces)
    found = schemas.unpack(data, "x")
    assert {t: {k: dict(r) for k, r in rs.items()} for t, rs in found.items()} == given_
    assert b"".join(schemas.pack(found)[0]) == data
    about = {"1": {"schema": schemas.SCHEMA, "sha256": schemas.digest_in(data)}}
    assert json.loads(data) == {"about": about, **given_}


def test_the_previous_good_version_returns_only_when_told(ward, patient):
    ward.admit(patient, "x")
    ward.update(ward.patient(patient.id).model_copy(update={"bed": "B1"}), "x")
    file_of(ward).write_bytes(b"{}")
    report = check_store(ward.folder, repair=False, by="x")
    assert not report.sound
    assert str(file_of(ward)) in report.lines[0]
    assert file_of(ward).read_bytes() == b"{}"
    told = check_store(ward.folder, repair=True, by="x")
    assert any("put back, with 0 examinations" in line for line in told.lines)
    assert ward.patient(patient.id).bed == "A1"
    (aside,) = ward.layout.patients.glob("*.damaged-*")
    assert aside.read_bytes() == b"{}"
    (line,) = check_store(ward.folder, repair=False, by="x").lines[:-2]
    assert line.startswith(f"set aside: {aside}")
    aside.unlink()
    assert check_store(ward.folder, repair=False, by="x").sound


def test_stray_files_of_dead_sessions_are_swept_and_those_of_living_ones_not(ward):
    dead, living = ward.layout.staging / "999999999.ab.new", ward.layout.staging / "1.ab.new"
    dead.write_bytes(b"x")
    living.write_bytes(b"x")
    open_ward(ward.folder)
    assert (dead.exists(), living.exists()) == (False, True)


# --- the index


def test_a_save_appends_one_row_and_reads_no_other_patient(ward, patient, examination):
    for number in range(30):
        ward.admit(patient.model_copy(update={"id": f"patient{number:02}"}), "x")
    ward.admit(patient, "x")
    before = len(rows(ward))
    for path in ward.layout.files():
        if path.stem != patient.id:
            path.write_bytes(b"")  # any look at it would be refused
    ward.save(examination, "x")
    assert len(rows(ward)) == before + 1


@pytest.mark.slow
def test_the_index_does_not_grow_for_ever(ward, patient):
    ward.admit(patient, "x")
    for number in range(300):
        saved = ward.patient(patient.id).model_copy(update={"bed": f"B{number}"})
        ward.update(saved, "x")
    assert ward.beds()[0].bed == "B299"
    assert len(rows(ward)) == 1


@pytest.mark.parametrize("damage", [b"", b"{", b'{"patient_id": 3}\n', b"[]\n", None])
def test_an_index_missing_or_damaged_is_made_anew(ward, patient, examination, damage):
    ward.admit(patient, "x")
    ward.save(examination, "x", Summary(3, "now", False, "a line"))
    before = ward.beds()
    path = ward.folder / "index" / "current.jsonl"
    if damage is None:
        path.unlink()
    else:
        path.write_bytes(damage)
    if damage == b"":
        check_store(ward.folder, repair=True, by="x")
    assert open_ward(ward.folder).beds() == before


def test_a_row_older_than_its_file_is_made_from_the_file(ward, patient, examination):
    ward.admit(patient, "x")
    path = ward.folder / "index" / "current.jsonl"
    old = path.read_bytes()
    ward.save(examination, "x")
    path.write_bytes(old)
    assert ward.beds()[0].examinations == 1
    assert rows(ward)[-1]["examinations"] == 1


def test_a_torn_last_row_is_mended(ward, patient):
    ward.admit(patient, "x")
    path = ward.folder / "index" / "current.jsonl"
    path.write_bytes(path.read_bytes() + b'{"patient_id": "pat')
    assert len(ward.beds()) == 1
    ward.admit(patient.model_copy(update={"id": "patient2"}), "x")
    assert {row["patient_id"] for row in rows(ward)} == {"patient1", "patient2"}


def test_the_first_list_needs_no_models(ward, patient):
    ward.admit(patient, "x")
    script = "import sys; from pathlib import Path; from wardexam.records.ward import open_ward; print(len(open_ward(Path(sys.argv[1])).beds()), {'pydantic', 'numpy', 'tinydb', 'textual'} & set(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", script, str(ward.folder)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "1 set()"


# --- arrivals


def test_an_import_cut_short_before_it_was_whole_leaves_nothing(ward, patient):
    def broken():
        yield Arrival(patient)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        ward.take_in(broken(), "x")
    assert (ward.beds(), list(ward.layout.staging.iterdir())) == ((), [])


def test_an_import_cut_short_while_it_moved_is_completed_at_the_next_start(
    ward, patient, monkeypatch
):
    both = [Arrival(patient.model_copy(update={"id": f"patient{n}"})) for n in (1, 2)]
    real, calls = os.replace, []

    def dies(source, target):
        calls.append(target)
        if len([c for c in calls if "patients" in str(c)]) == 2:
            raise OSError(5, "Input/output error")
        return real(source, target)

    monkeypatch.setattr(os, "replace", dies)
    with pytest.raises(RecordsError, match="opening the ward again completes it"):
        ward.take_in(both, "x")
    monkeypatch.undo()
    assert [b.patient_id for b in open_ward(ward.folder).beds()] == ["patient1", "patient2"]


# --- the demo ward


@pytest.mark.slow
def test_the_demo_ward_is_what_its_seed_makes(tmp_path):
    subprocess.run(
        [sys.executable, str(ROOT / "demo_db" / "make_demo.py"), str(tmp_path / "ward")], check=True
    )

    def files(folder):
        return {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}

    assert files(tmp_path / "ward") == files(ROOT / "demo_db" / "ward")


def test_a_long_stay_keeps_the_order_of_saving(ward, patient, examination, knee):
    ward.admit(patient, "x")
    source, hours = random.Random(1), list(range(40))
    source.shuffle(hours)
    for hour in hours:
        made = apply(examination, knee).model_copy(
            update={"id": f"exam{hour:04}", "at": examination.at + timedelta(hours=hour)}
        )
        ward.save(made, "x")
    assert [e.id for e in ward.examinations(patient.id)] == [f"exam{n:04}" for n in hours]
    assert ward.beds()[0].last_at == (examination.at + timedelta(hours=hours[-1])).isoformat()


def test_a_newer_schema_is_left_alone(ward, patient, examination):
    ward.admit(patient, "x")
    newer = file_of(ward).read_bytes().replace(b'"schema": %d' % schemas.SCHEMA, b'"schema": 99')
    file_of(ward).write_bytes(newer)
    for act in (
        lambda: ward.patient(patient.id),
        lambda: ward.save(examination, "x"),
        lambda: ward.update(patient, "x"),
    ):
        with pytest.raises(RecordsError, match="schema 99 is not known"):
            act()
    with contextlib.suppress(InputError):
        check_store(ward.folder, repair=False, by="x")
    assert file_of(ward).read_bytes() == newer


# --- outcomes of a file, cut short


def test_outcomes_cut_short_are_completed_at_the_next_start_beside_what_came_meanwhile(
    ward, patient
):
    for name in ("patient1", "patient2", "patient3"):
        ward.admit(patient.model_copy(update={"id": name}), "x")
    made = [
        Outcome(patient=f"patient{n}", site="root", by="Dr Ash", at=patient.admitted)
        for n in (1, 2, 3)
    ]
    real = ward.conclude

    def dies(outcome, by):
        if outcome.patient == "patient2":
            raise KeyboardInterrupt
        return real(outcome, by)

    ward.conclude = dies
    with pytest.raises(KeyboardInterrupt):
        ward.conclude_all(made, "Dr Ash")
    assert [len(ward.outcomes(o.patient)) for o in made] == [1, 0, 0]
    again = open_ward(ward.folder)
    assert [[o.site for o in again.outcomes(o.patient)] for o in made] == [["root"]] * 3
    assert outcome_import.left_over(again.layout) == []
    assert list(again.layout.staging.iterdir()) == []
    assert check_store(ward.folder, repair=False, by="x").sound


def test_one_recorded_meanwhile_stays_and_what_was_under_way_is_the_next(ward, patient):
    ward.admit(patient, "x")
    made = Outcome(patient=patient.id, site="root", by="Dr Ash", at=patient.admitted)
    folder = outcome_import.stage(ward.layout, [made], "Dr Ash")
    ward.conclude(made.model_copy(update={"site": "cord"}), "Dr Bex")
    assert [o.site for o in open_ward(ward.folder).outcomes(patient.id)] == ["cord", "root"]
    assert not folder.exists()


def test_one_whose_patient_is_gone_waits_and_hinders_neither_the_others_nor_the_ward(ward, patient):
    for name in ("patient1", "patient2", "patient3"):
        ward.admit(patient.model_copy(update={"id": name}), "x")
    made = [
        Outcome(patient=f"patient{n}", site="root", by="Dr Ash", at=patient.admitted)
        for n in (1, 2, 3)
    ]
    folder = outcome_import.stage(ward.layout, made, "Dr Ash")
    ward.conclude(made[0].model_copy(update={"site": "cord"}), "Dr Bex")
    gone = file_of(ward, "patient2").rename(ward.folder.parent / "gone.json")
    for _ in range(2):  # what is recorded is not recorded again
        again = open_ward(ward.folder)
        assert [o.site for o in again.outcomes("patient1")] == ["cord", "root"]
        assert [o.site for o in again.outcomes("patient3")] == ["root"]
    report = check_store(ward.folder, repair=False, by="x")
    assert f"an import is not finished: {folder}" in report.lines
    with pytest.raises(
        RecordsError, match=r"not all outcomes .* the first of patient patient2: no such patient"
    ):
        outcome_import.settle(folder, again.conclude)
    gone.rename(file_of(ward, "patient2"))
    assert [o.site for o in open_ward(ward.folder).outcomes("patient2")] == ["root"]
    assert not folder.exists()


def test_outcomes_that_cannot_be_written_aside_are_recorded_of_nobody(ward, patient, monkeypatch):
    ward.admit(patient, "x")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(outcome_import, "write_new", full)
    with pytest.raises(RecordsError, match="nothing was recorded: No space left on device"):
        ward.conclude_all(
            [Outcome(patient=patient.id, site="root", by="x", at=patient.admitted)], "x"
        )
    assert ward.outcomes(patient.id) == ()
    assert list(ward.layout.staging.iterdir()) == []
