"""What was found by attacking a ward's files one by one, and a short version of that run."""

import asyncio
import json
import os
import shutil
from datetime import timedelta

import pytest

from tests.bench import hostile
from tests.bench.faults_records import SUMMARY
from tests.records.checking import check_store
from wardexam.errors import RecordsError
from wardexam.exam.examination import Examination, Patient
from wardexam.records import ward_list_file
from wardexam.records.schemas import pack, unpack
from wardexam.records.ward import open_ward

from .conftest import AT


def admitted(ward, *names, exams=2):
    """Patients with examinations, each with a version before."""
    for name in names:
        ward.admit(Patient(id=name, bed=name[-2:], name=f"Of {name}", admitted=AT), "x")
        for number in range(exams):
            ward.save(exam(name, number), "x", SUMMARY)


def exam(name, number):
    at = AT + timedelta(hours=number)
    return Examination(id=f"{name}e{number}", patient=name, examiner="Dr Ash", at=at)


def before(ward, name):
    return ward.layout.patients / f"{name}.json.before"


def check(ward, *, repair=False):
    return check_store(ward.folder, repair=repair, by="x")


@pytest.fixture
def ward(ward):
    admitted(ward, "patient1", "patient2")
    return ward


# --- another's file under this one's name


@pytest.mark.parametrize(
    "act",
    [
        lambda w: w.file("patient1"),
        lambda w: w.patient("patient1"),
        lambda w: w.examinations("patient1"),
        lambda w: w.save(exam("patient1", 9), "x"),
        lambda w: w.discharge(w.patient("patient1"), AT, "x"),
        lambda w: w.update(
            Patient(id="patient2", bed="Z", name="Z", admitted=AT).model_copy(
                update={"id": "patient1"}
            ),
            "x",
        ),
    ],
)
def test_nothing_is_read_from_or_saved_to_a_file_that_speaks_of_another(ward, act):
    hostile.swap(ward.layout.file("patient1"), ward.layout.file("patient2"))
    stood = ward.layout.file("patient1").read_bytes()
    with pytest.raises(RecordsError, match="speaks of another patient"):
        act(ward)
    assert ward.layout.file("patient1").read_bytes() == stood
    assert check(ward, repair=True)
    assert [e.id for e in open_ward(ward.folder).examinations("patient1")] == [
        "patient1e0",
        "patient1e1",
    ]


# --- the version before


def test_a_file_exchanged_with_its_version_before_loses_nothing_by_the_next_save(ward):
    hostile.swap(ward.layout.file("patient1"), before(ward, "patient1"))
    ward.save(exam("patient1", 9), "x")
    assert any(
        b"patient1e1" in p.read_bytes() for p in ward.layout.patients.glob("*.before.damaged-*")
    )
    assert any("set aside" in line for line in check(ward).lines)


def test_a_file_exchanged_with_its_version_before_is_put_right_by_a_repair(ward):
    hostile.swap(ward.layout.file("patient1"), before(ward, "patient1"))
    assert not check(ward).sound
    lines = check(ward, repair=True).lines
    assert any("not what was saved last, which is the version before" in line for line in lines)
    assert len(open_ward(ward.folder).examinations("patient1")) == 2


def test_a_cut_trail_never_makes_a_repair_put_back_what_is_older(ward):
    lines = ward.audit.path.read_bytes().splitlines(keepends=True)
    ward.audit.path.write_bytes(b"".join(lines[:-1]))  # without the last save's
    check(ward, repair=True)
    assert len(open_ward(ward.folder).examinations("patient2")) == 2


def test_anothers_newest_file_in_the_place_of_a_version_before_is_kept(ward):
    shutil.copy2(ward.layout.file("patient2"), before(ward, "patient1"))
    ward.layout.file("patient2").unlink()
    before(ward, "patient2").unlink()
    os.utime(before(ward, "patient1"), (0, 0))
    ward.save(exam("patient1", 9), "x")
    assert any("set aside" in line for line in check(ward).lines)
    check(ward, repair=True)
    assert len(open_ward(ward.folder).examinations("patient2")) == 2


@pytest.mark.parametrize("attack", ["half", "a_folder", "flipped", "newer"])
def test_a_version_before_that_is_of_no_use_is_found_and_stops_no_save(ward, attack):
    place = hostile.Place(ward.folder, hostile.random.Random(3))
    assert hostile.ATTACKS[attack](place, before(ward, "patient1"))
    report = check(ward)
    assert not report.sound
    assert any("the version before is of no use" in line for line in report.lines)
    ward.save(exam("patient1", 9), "x")
    assert len(ward.examinations("patient1")) == 3


@pytest.mark.parametrize("name", ["Copy of patient1.json.before", "patient1.json.bak"])
def test_a_stray_beside_the_files_empties_no_list_and_is_named(ward, name):
    before(ward, "patient1").rename(ward.layout.patients / name)
    for path in ward.layout.folder.glob("index/*"):
        path.unlink()
    assert len(open_ward(ward.folder).beds()) == 2
    assert any(name in line for line in check(ward).lines)


def test_a_record_without_its_identifier_under_a_fitting_checksum_is_no_fault_of_the_program(ward):
    tables = unpack(ward.layout.file("patient1").read_bytes(), "")
    rows = {name: dict(row) for name, row in tables["examinations"].items()}
    del rows[max(rows)]["id"]
    pieces, _ = pack({**tables, "examinations": rows})
    ward.layout.file("patient1").write_bytes(b"".join(pieces))
    ward.save(exam("patient1", 9), "x")
    assert not check(ward).sound


# --- lists


def test_the_two_indexes_exchanged_hide_nobody(ward):
    ward.discharge(ward.patient("patient2"), AT, "x")
    hostile.swap(*(ward.folder / "index" / f"{n}.jsonl" for n in ("current", "discharged")))
    after = open_ward(ward.folder)
    assert [b.patient_id for b in after.beds()] == ["patient1"]
    assert [b.patient_id for b in after.beds(discharged=True)] == ["patient2"]


@pytest.mark.parametrize("attack", ["removed", "half", "short", "emptied"])
def test_who_is_gone_with_the_index_that_named_them_is_said_by_the_trail(ward, attack):
    for path in (ward.layout.file("patient2"), before(ward, "patient2")):
        path.unlink()
    place = hostile.Place(ward.folder, hostile.random.Random(0))
    for name in ("current", "discharged"):
        hostile.ATTACKS[attack](place, ward.folder / "index" / f"{name}.jsonl")
    for each in (ward, open_ward(ward.folder)):  # that was open before, and that is opened now
        beds = {b.patient_id: b.trouble for b in each.beds()}
        assert "is gone" in beds["patient2"]
        assert not beds["patient1"]


def test_an_index_that_cannot_be_read_once_it_is_made_says_so_and_hides_nobody(ward, monkeypatch):
    def refused(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(ward_list_file, "read_bounded", refused)
    after = open_ward(ward.folder)
    assert len(after.beds()) == 2
    assert after.problem


@pytest.mark.parametrize(
    "name", ["index/current.jsonl", "locks/lists.lock", "locks/lists.holder", "audit.jsonl"]
)
def test_a_record_in_a_derived_files_place_is_not_written_over_and_found_again(ward, name):
    data = ward.layout.file("patient1").read_bytes()
    hostile.swap(ward.layout.file("patient1"), ward.folder / name)
    before(ward, "patient1").unlink()
    after = open_ward(ward.folder)
    after.beds()
    with pytest.raises(RecordsError):
        after.save(exam("patient1", 9), "x")
    check(after, repair=True)
    assert data in hostile.blobs(ward.folder)
    assert len(open_ward(ward.folder).examinations("patient1")) == 2


# --- the trail


def test_a_trail_that_was_cut_is_found_also_after_it_has_grown_again(ward):
    lines = ward.audit.path.read_bytes().splitlines(keepends=True)
    ward.audit.path.write_bytes(b"".join(lines[:-1]) + lines[-1][:-1])
    for _ in range(3):
        ward.record("viewed", "patient1", "x")
    assert "written anew" in check(ward).lines[0]
    assert any(line.startswith("the audit trail") for line in check(ward, repair=True).lines)
    assert json.loads(ward.audit.path.read_text().splitlines()[-1])["what"].startswith("the trail was kept as")  # fmt: skip
    assert check(ward).sound


# --- all of it


@pytest.mark.long
@pytest.mark.parametrize("each", [7, pytest.param(1, marks=pytest.mark.long)])
def test_every_attack_alone_with_no_screen(tmp_path, each):
    """Of each kind one in so many of its places."""
    place = hostile.Range(tmp_path, quick=True)
    kinds: dict[str, list[hostile.Case]] = {}
    for case in place.alone():
        kinds.setdefault(case.steps[0][0].split()[0], []).append(case)
    picked = [case for cases in kinds.values() for case in cases[::each]]
    alone, _ = hostile.run_cases(picked, place.without_screen)
    assert set(hostile.totals(alone)) == {*hostile.ATTACKS}


@pytest.mark.parametrize("wanted", [8, pytest.param(60, marks=pytest.mark.long)])
def test_pairs_of_attacks_with_no_screen(tmp_path, wanted):
    place = hostile.Range(tmp_path, quick=True)
    pairs, _ = hostile.run_cases(place.pairs(wanted * 3 // 2, 3), place.without_screen, wanted=wanted)  # fmt: skip
    assert sum(pairs.values()) == wanted


@pytest.mark.long
@pytest.mark.parametrize("wanted", [2, pytest.param(4, marks=pytest.mark.long)])
def test_pairs_with_a_screen_open(tmp_path, wanted):
    place = hostile.Range(tmp_path)
    screens, _ = hostile.run_cases(place.pairs(2 * wanted + 1, 11), lambda c: asyncio.run(place.with_screen(c)), wanted=wanted)  # fmt: skip
    assert sum(screens.values()) == wanted
