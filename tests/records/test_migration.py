"""A ward of every earlier form opens, on a copy first, with everything in it."""

import json
import shutil
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from tests.records.checking import check_store
from tests.records.conftest import of_then
from wardexam.errors import RecordsError
from wardexam.exam.entry import apply
from wardexam.exam.outcome import Outcome
from wardexam.records import migration, schemas
from wardexam.records.draft_file import FilePlace
from wardexam.records.draft_store import begin
from wardexam.records.layout import Layout
from wardexam.records.repository import Arrival
from wardexam.records.ward import open_ward

ROOT = Path(__file__).parents[2]
LAYOUT_1 = Path(__file__).parent / "layout-1" / "ward"  # the demo ward as layout 1 wrote it
LAYOUT_2 = (
    Path(__file__).parent / "layout-2" / "ward"
)  # and layout 2, before numbers and birth dates
SCHEMA_3 = (
    Path(__file__).parent / "layout-2-schema-3" / "ward"
)  # and with them, the last of layout 2
SCHEMA_4 = Path(__file__).parent / "layout-3-schema-4" / "ward"  # and before acts were kept
SCHEMA_5 = Path(__file__).parent / "layout-3-schema-5" / "ward"  # and before readings and outcomes
SCHEMA_6 = (
    Path(__file__).parent / "layout-3-schema-6" / "ward"
)  # and before any was entered in error
SCHEMA_7 = Path(__file__).parent / "layout-3-schema-7" / "ward"  # and before any was entered late
SCHEMA_8 = Path(__file__).parent / "layout-3-schema-8" / "ward"  # and before any told a setting


@pytest.fixture
def old(tmp_path):
    folder = tmp_path / "old"
    shutil.copytree(LAYOUT_1, folder)
    folder.chmod(0o700)
    return folder


def contents(ward):
    return {p.stem: (ward.patient(p.stem), ward.examinations(p.stem)) for p in ward.layout.files()}


def opened(source, folder):
    shutil.copytree(source, folder)
    folder.chmod(0o700)
    return open_ward(folder)


def without_identity(ward):
    """Everything in a ward, number and birth date aside."""
    return {
        key: (patient.model_copy(update={"number": "", "born": None}), examinations)
        for key, (patient, examinations) in contents(ward).items()
    }


def left(folder):
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.suffix == ".json"}


def test_there_is_a_reader_and_a_fixture_for_every_schema():
    fixtures = {
        1: LAYOUT_1 / "avzac69ob94i575u.json",
        2: LAYOUT_2 / "patients" / "avzac69ob94i575u.json",
        3: SCHEMA_3 / "patients" / "avzac69ob94i575u.json",
        4: SCHEMA_4 / "patients" / "avzac69ob94i575u.json",
        5: SCHEMA_5 / "patients" / "avzac69ob94i575u.json",
        6: SCHEMA_6 / "patients" / "avzac69ob94i575u.json",
        7: SCHEMA_7 / "patients" / "avzac69ob94i575u.json",
        8: SCHEMA_8 / "patients" / "avzac69ob94i575u.json",
        9: ROOT / "demo_db" / "ward" / "patients" / "avzac69ob94i575u.json",
    }
    assert set(schemas.READERS) == set(fixtures) == set(range(1, schemas.SCHEMA + 1))
    found = []
    for schema, path in fixtures.items():
        assert schemas.schema_of(path.read_bytes()) == schema
        tables = schemas.read_tables(path)
        found.append([dict(row) for row in tables["examinations"].values()])
    assert found[0] == found[1]
    assert of_then(found[2], found[0]) == found[0]
    assert of_then(found[3], found[2]) == found[2]
    assert [[f["sign"] for f in e["findings"]] for e in found[4]] == [
        [f["sign"] for f in e["findings"]] for e in found[3]
    ]
    both = [{r["rule"] for r in a["raised"]} & {r["rule"] for r in b["raised"]} for a, b in zip(*found[4:6], strict=True)]  # fmt: skip
    bare = [
        [{**e, "acts": [], "raised": sorted(({**r, "level": 0} for r in e["raised"] if r["rule"] in names), key=lambda r: r["rule"])}
         for e, names in zip(rows, both, strict=True)]
        for rows in found[4:6]
    ]  # fmt: skip
    assert all(both[1:])
    assert of_then(found[6], found[5]) == found[5]
    assert of_then(found[7], found[6]) == found[6]
    assert of_then(found[8], found[7]) == found[7]
    # The demo's acts have other words by now, what was raised another order and levels, and rules are others.
    assert of_then(bare[1], bare[0]) == bare[0]


def test_layout_1_opens_with_everything_in_it(old, tmp_path):
    now, expected = open_ward(old), opened(LAYOUT_2, tmp_path / "new")
    assert contents(now) == contents(expected)
    for discharged in (False, True):
        found, wanted = now.beds(discharged=discharged), expected.beds(discharged=discharged)
        # The summary keeps the words of its day.
        assert [replace(b, summary=None) for b in found] == [
            replace(b, summary=None) for b in wanted
        ]
        assert [bool(b.summary) for b in found] == [bool(b.summary) for b in wanted]
    assert check_store(old, repair=False, by="x").sound


def test_a_ward_of_layout_2_without_birth_dates_opens_with_everything_in_it(tmp_path):
    before = {p.name: p.read_bytes() for p in (LAYOUT_2 / "patients").iterdir()}
    ward = opened(LAYOUT_2, tmp_path / "ward")
    demo = opened(SCHEMA_4, tmp_path / "demo")
    assert len(contents(ward)) == 13
    assert sum(len(examinations) for _, examinations in contents(ward).values()) == 18
    assert without_identity(ward) == without_identity(demo)
    assert all(not p.number and p.born is None for p, _ in contents(ward).values())
    for discharged in (False, True):
        found, wanted = ward.beds(discharged=discharged), demo.beds(discharged=discharged)
        # The summary keeps the words of its day; a list of then does not say why anybody was admitted.
        assert [replace(b, summary=None, reason="") for b in found] == [
            replace(b, summary=None) for b in wanted
        ]
        assert [b.reason for b in found] == [ward.patient(b.patient_id).remark for b in found]
        assert [bool(b.summary) for b in found] == [bool(b.summary) for b in wanted]
    patient = ward.patient("avzac69ob94i575u")
    ward.take_over("x", "it came without a trail")
    assert check_store(ward.folder, repair=False, by="x").sound
    # Reading writes nothing; the first change of details writes them in the form of today.
    assert {p.name: p.read_bytes() for p in ward.layout.files()} == before
    known = {"number": "40-1182", "born": date(1954, 9, 17)}
    ward.update(patient.model_copy(update=known), "Dr Ash")
    again = open_ward(ward.folder).patient(patient.id)
    assert again == patient.model_copy(update={**known, "revision": 2})


def test_a_ward_of_layout_2_opens_as_it_is_and_an_older_program_then_refuses_it(tmp_path, knee):
    ward = opened(SCHEMA_3, tmp_path / "ward")
    demo = opened(SCHEMA_4, tmp_path / "demo")
    assert contents(ward) == contents(demo)
    # The summary keeps the words of its day.
    shown = [[replace(b, summary=None) for b in w.beds()] for w in (ward, demo)]
    assert shown[0] == shown[1]
    assert check_store(ward.folder, repair=False, by="x").sound
    # An older program reads this number before anything else, and refuses all but its own.
    assert json.loads((ward.folder / "ward.json").read_text()) == {"layout": 3}
    # A file is written in the form of today at its next save, its records carried over.
    before = ward.layout.file("avzac69ob94i575u").read_bytes().split(b"\n")
    patient = ward.patient("avzac69ob94i575u")
    saved = ward.examinations(patient.id)[-1].model_copy(update={"id": "exam000000000001"})
    ward.save(saved, "Dr Ash")
    after = ward.layout.file(patient.id).read_bytes().split(b"\n")
    assert (schemas.schema_of(before[0] + b"}"), schemas.schema_of(after[0])) == (3, schemas.SCHEMA)
    assert [line.rstrip(b",") for line in after[1:] if b"exam000000000001" not in line][:3] == [
        line.rstrip(b",") for line in before[1:4]
    ]
    assert contents(ward)[patient.id][1][:-1] == contents(demo)[patient.id][1]


def test_nothing_is_written_to_a_ward_of_layout_2_that_cannot_be_marked(tmp_path, monkeypatch):
    folder = tmp_path / "ward"
    shutil.copytree(SCHEMA_3, folder)
    folder.chmod(0o700)

    def full(layout):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Layout, "mark", full)
    ward = open_ward(folder)
    patient = ward.patient("avzac69ob94i575u")  # read it is all the same
    before = {p: p.read_bytes() for p in ward.layout.files()}
    with pytest.raises(RecordsError, match="No space left on device"):
        ward.update(patient.model_copy(update={"bed": "B9"}), "x")
    with pytest.raises(RecordsError, match="No space left on device"):
        ward.take_in([Arrival(patient.model_copy(update={"id": "patient1"}))], "x")
    assert {p: p.read_bytes() for p in ward.layout.files()} == before
    monkeypatch.undo()
    ward.update(patient.model_copy(update={"bed": "B9"}), "x")
    assert (folder / "ward.json").read_text() == '{"layout": 3}\n'


def test_the_old_files_stay_and_are_unchanged(old):
    before = left(old)
    open_ward(old)
    assert left(old / "layout-1") == before
    assert {p.name for p in old.iterdir() if p.is_file()} == {"ward.json", "audit.jsonl"}


def places(folder, examination):
    """Where a draft of the earlier layout lies, and where it would while that cannot be written."""
    name = f"{examination.id}.draft"
    return [FilePlace(at / name, 0o600, at) for at in (folder, folder / "none")]


def test_drafts_and_the_audit_trail_come_along(old, examination, knee):
    of = examination.model_copy(update={"patient": "avzac69ob94i575u"})
    draft = begin(*places(old, of), of, "Dr Ash")
    draft.append(knee)
    draft.close()
    (old / "audit.jsonl").write_text("")
    ward = open_ward(old)
    assert ward.resume_draft(of.id)[1] == apply(of, knee)
    assert (old / "audit.jsonl").exists()


@pytest.mark.parametrize("failing", ["write_whole", "mark"])
def test_a_migration_that_fails_leaves_the_old_ward_and_is_done_at_the_next_start(
    old, monkeypatch, failing
):
    before, calls = left(old), []

    def dies(*given, **options):
        calls.append(given)
        if failing == "mark" or len(calls) == 5:
            raise OSError(28, "No space left on device")
        return real(*given, **options)

    owner = migration if failing == "write_whole" else Layout
    real = getattr(owner, failing)
    monkeypatch.setattr(owner, failing, dies)
    with pytest.raises(RecordsError, match="No space left"):
        open_ward(old)
    assert left(old) == before
    monkeypatch.undo()
    assert len(open_ward(old).beds()) == 12


def test_a_crash_after_the_mark_is_tidied_at_the_next_start(old, monkeypatch):
    def dies(layout):
        raise KeyboardInterrupt

    monkeypatch.setattr(migration, "put_away", dies)
    with pytest.raises(KeyboardInterrupt):
        open_ward(old)
    monkeypatch.undo()
    assert len(open_ward(old).beds()) == 12
    assert {p.name for p in old.iterdir() if p.is_file()} == {"ward.json", "audit.jsonl"}


def test_a_session_of_the_older_version_at_work_stops_it(old, examination):
    draft = begin(*places(old, examination), examination, "Dr Ash")
    before = left(old)
    with pytest.raises(RecordsError, match="older version is at work"):
        open_ward(old)
    assert left(old) == before
    draft.close()


def test_a_damaged_old_file_is_carried_over_as_it_is_and_reported(old, examination):
    (old / "avzac69ob94i575u.json").write_bytes(b"torn")
    ward = open_ward(old)
    assert (ward.layout.patients / "avzac69ob94i575u.json").read_bytes() == b"torn"
    assert sum(bool(b.trouble) for b in ward.beds()) == 1
    assert not check_store(old, repair=False, by="x").sound


def test_a_newer_layout_is_left_alone(ward):
    (ward.folder / "ward.json").write_text('{"layout": 9}')
    with pytest.raises(RecordsError, match="layout 9 is not known"):
        open_ward(ward.folder)


def test_a_damaged_mark_is_said(ward):
    (ward.folder / "ward.json").write_text("")
    with pytest.raises(RecordsError, match="mark is damaged"):
        open_ward(ward.folder)


def test_a_ward_of_schema_5_opens_unchanged_has_no_outcomes_and_takes_one(tmp_path):
    ward = opened(SCHEMA_5, tmp_path / "ward")
    before = {p.name: p.read_bytes() for p in ward.layout.files()}
    assert len(contents(ward)) == 13
    assert all(ward.outcomes(name) == () for name in contents(ward))
    assert all(e.reading is None for _, es in contents(ward).values() for e in es)
    assert {p.name: p.read_bytes() for p in ward.layout.files()} == before
    patient, examinations = contents(ward)["avzac69ob94i575u"]
    made = Outcome(patient=patient.id, site="cord", by="Dr Ash", at=patient.admitted)
    ward.conclude(made, "Dr Ash")
    assert schemas.schema_of(ward.layout.file(patient.id).read_bytes()) == schemas.SCHEMA
    again = open_ward(ward.folder)
    assert again.outcomes(patient.id) == (made,)
    assert contents(again)[patient.id] == (patient, examinations)
    changed = {p.name for p in again.layout.files() if p.read_bytes() != before[p.name]}
    assert changed == {f"{patient.id}.json"}
    assert check_store(ward.folder, repair=False, by="x").sound


def test_a_ward_of_schema_6_opens_unchanged_and_an_older_program_refuses_what_is_marked_in_it(
    tmp_path, monkeypatch
):
    ward = opened(SCHEMA_6, tmp_path / "ward")
    before = {p.name: p.read_bytes() for p in ward.layout.files()}
    held = contents(ward)
    assert sum(len(examinations) for _, examinations in held.values()) == 18
    assert not any(ward.file(name).with_errors[-1].in_error for name in held)
    assert {p.name: p.read_bytes() for p in ward.layout.files()} == before
    assert check_store(ward.folder, repair=False, by="x").sound
    patient, (*_, last) = held["avzac69ob94i575u"]
    ward.mark(last, "Dr Ash", "wrong patient", patient.admitted, lambda _: None, in_error=True)
    again = open_ward(ward.folder)
    assert contents(again)[patient.id] == (patient, held[patient.id][1][:-1])
    changed = {p.name for p in again.layout.files() if p.read_bytes() != before[p.name]}
    assert changed == {f"{patient.id}.json"}
    assert check_store(ward.folder, repair=False, by="x").sound
    # A program of before would count it: it refuses the file by its number, and lists the patient as unreadable.
    readers = {n: r for n, r in schemas.READERS.items() if n <= 6}
    monkeypatch.setattr(schemas, "READERS", readers)
    older = open_ward(ward.folder)
    with pytest.raises(RecordsError, match="schema 9 is not known"):
        older.file(patient.id)
    (bed,) = (b for d in (False, True) for b in older.beds(discharged=d) if b.patient_id == patient.id)  # fmt: skip
    assert "schema 9 is not known" in bed.trouble


def test_a_ward_of_schema_7_opens_unchanged_and_takes_a_late_entry_that_an_older_program_refuses(
    tmp_path, monkeypatch
):
    ward = opened(SCHEMA_7, tmp_path / "ward")
    before = {p.name: p.read_bytes() for p in ward.layout.files()}
    held = contents(ward)
    assert not any(e.entered for _, examinations in held.values() for e in examinations)
    assert {p.name: p.read_bytes() for p in ward.layout.files()} == before
    patient, (*_, last) = held["avzac69ob94i575u"]
    entered = last.at + timedelta(hours=9)
    late = last.model_copy(update={"id": "late0000", "at": last.at + timedelta(hours=6), "entered": entered, "revision": 1, "amendment": None})  # fmt: skip
    ward.save(late, "Dr Ash")
    again = open_ward(ward.folder)
    assert again.examinations(patient.id)[-1].entered == entered
    assert check_store(ward.folder, repair=False, by="x").sound
    monkeypatch.setattr(schemas, "READERS", {n: r for n, r in schemas.READERS.items() if n <= 7})
    with pytest.raises(RecordsError, match="schema 9 is not known"):
        open_ward(ward.folder).file(patient.id)


def test_a_ward_of_schema_8_opens_unchanged_and_takes_a_setting_that_an_older_program_refuses(
    tmp_path, monkeypatch
):
    ward = opened(SCHEMA_8, tmp_path / "ward")
    before = {p.name: p.read_bytes() for p in ward.layout.files()}
    held = contents(ward)
    assert not any(e.context.setting for _, examinations in held.values() for e in examinations)
    assert {p.name: p.read_bytes() for p in ward.layout.files()} == before
    patient, (*_, last) = held["avzac69ob94i575u"]
    told = last.context.model_copy(update={"setting": "operation"})
    ward.save(last.model_copy(update={"id": "after000", "at": last.at + timedelta(hours=6), "context": told, "revision": 1, "amendment": None}), "Dr Ash")  # fmt: skip
    again = open_ward(ward.folder)
    assert again.examinations(patient.id)[-1].context.setting == "operation"
    assert check_store(ward.folder, repair=False, by="x").sound
    monkeypatch.setattr(schemas, "READERS", {n: r for n, r in schemas.READERS.items() if n <= 8})
    with pytest.raises(RecordsError, match="schema 9 is not known"):
        open_ward(ward.folder).file(patient.id)
