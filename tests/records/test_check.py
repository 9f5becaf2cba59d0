"""`check` says what is wrong both ways, and repair touches only what is proven damaged."""

import os
import shutil
from datetime import timedelta

import pytest

from tests.records.checking import check_store
from tests.records.conftest import AT
from wardexam.errors import InputError
from wardexam.exam.entry import apply
from wardexam.exam.outcome import Outcome
from wardexam.records import durable_files
from wardexam.records.durable_files import version_before
from wardexam.records.schemas import SCHEMA, pack, read_tables
from wardexam.records.ward import open_ward


@pytest.fixture
def three(ward, patient, examination, knee):
    """Three patients with two examinations each."""
    for number in (1, 2, 3):
        name = f"patient{number}"
        ward.admit(patient.model_copy(update={"id": name, "bed": f"A{number}"}), "x")
        for exam in (1, 2):
            made = apply(examination, knee).model_copy(
                update={
                    "id": f"exam{number}00{exam}",
                    "patient": name,
                    "at": examination.at + timedelta(hours=exam),
                }
            )
            ward.save(made, "x")
    return ward


def file_of(ward, number=1):
    return ward.layout.file(f"patient{number}")


def check(ward, *, repair=False, **more):

    return check_store(ward.folder, repair=repair, by="Dr Ash", **more)


def counts(ward):
    return [len(ward.examinations(f"patient{n}")) for n in (1, 2, 3)]


def test_a_sound_ward_is_said_to_be(three):
    report = check(three)
    assert (report.sound, report.lines[-1]) == (True, "3 patients checked: all sound")


def test_a_newer_file_is_left_by_repair_and_stays_on_the_list(three):
    newer = file_of(three).read_bytes().replace(b'"schema": %d' % SCHEMA, b'"schema": 99')
    file_of(three).write_bytes(newer)
    report = check(three, repair=True)
    assert "  left as it is: that it cannot be read is no proof of damage" in report.lines
    assert file_of(three).read_bytes() == newer
    assert ["schema 99" in b.trouble for b in open_ward(three.folder).beds()] == [
        True,
        False,
        False,
    ]
    assert not check(three).sound


def test_a_file_that_the_system_does_not_give_is_left_by_repair(three, monkeypatch):
    whole, real = file_of(three).read_bytes(), os.open

    def refuse(path, flags, *more, **options):
        if str(path) == str(file_of(three)) and not flags & (os.O_WRONLY | os.O_RDWR):
            raise PermissionError(13, "Permission denied")
        return real(path, flags, *more, **options)

    monkeypatch.setattr(os, "open", refuse)
    report = check(three, repair=True)
    assert any("cannot be read: Permission denied" in line for line in report.lines)
    assert "  left as it is: that it cannot be read is no proof of damage" in report.lines
    monkeypatch.undo()
    assert file_of(three).read_bytes() == whole
    assert check(three).sound


def test_damage_with_nothing_good_before_is_left_and_stays_on_the_list(three):
    file_of(three).write_bytes(b"torn")
    file_of(three).with_name("patient1.json.before").unlink()
    report = check(three, repair=True)
    assert any(line.startswith("  left as it is: no good version before") for line in report.lines)
    assert file_of(three).read_bytes() == b"torn"
    first, *_ = open_ward(three.folder).beds()
    assert (first.bed, bool(first.trouble)) == ("A1", True)
    assert not check(three).sound


def test_two_repairs_in_a_second_keep_both_pieces_of_evidence(three):
    for torn in (b"torn once", b"torn twice"):
        file_of(three).write_bytes(torn)
        check(three, repair=True)
    found = [p.read_bytes() for p in three.layout.patients.glob("patient1.json.damaged-*")]
    assert sorted(found) == [b"torn once", b"torn twice"]
    assert not check(three).sound  # evidence lies about


def test_a_repair_that_cannot_be_written_leaves_the_file_where_it_is(three, monkeypatch):
    file_of(three).write_bytes(b"torn")

    def full(*given, **options):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("wardexam.records.check.write_whole", full)
    report = check(three, repair=True)
    assert "  not repaired, left as it is: No space left on device" in report.lines
    assert file_of(three).read_bytes() == b"torn"


def test_what_another_session_mends_meanwhile_is_not_repaired(three, monkeypatch):
    good = file_of(three).read_bytes()
    file_of(three).write_bytes(b"torn")
    real = three.__class__.hold

    def hold(ward, name):
        file_of(three).write_bytes(good)
        return real(ward, name)

    monkeypatch.setattr(three.__class__, "hold", hold)
    report = check(three, repair=True)
    assert "  is sound now: another session has mended it" in report.lines
    assert file_of(three).read_bytes() == good


@pytest.mark.parametrize("lists", ["kept", "lost too"])
def test_a_deleted_file_is_missed_and_comes_back_from_the_version_before(three, lists):
    file_of(three).unlink()
    if lists == "lost too":
        for path in (three.folder / "index").iterdir():
            path.unlink()
    assert any(b.trouble for b in open_ward(three.folder).beds())
    report = check(three)
    assert any(line.startswith(f"missing: {file_of(three)}") for line in report.lines)
    check(three, repair=True)
    assert counts(three) == [1, 2, 2]


def test_a_patient_deleted_with_every_trace_is_missed_by_the_trail(three):
    for path in three.layout.patients.glob("patient1*"):
        path.unlink()
    for path in (three.folder / "index").iterdir():
        path.unlink()
    report = check(three)
    assert any("missing" in line and "patient1" in line for line in report.lines)
    assert not report.sound


def test_swapped_files_go_back_to_whom_they_speak_of(three):
    one, two = file_of(three, 1).read_bytes(), file_of(three, 2).read_bytes()
    file_of(three, 1).write_bytes(two)
    file_of(three, 2).write_bytes(one)
    assert sum("another patient" in b.trouble for b in open_ward(three.folder).beds()) == 2
    check(three, repair=True)
    assert (file_of(three, 1).read_bytes(), file_of(three, 2).read_bytes()) == (one, two)
    assert counts(three) == [2, 2, 2]


def test_a_renamed_file_goes_back_to_its_name(three):
    whole = file_of(three, 1).read_bytes()
    file_of(three, 1).rename(three.layout.file("renamed00"))
    assert not check(three).sound
    check(three, repair=True)
    assert file_of(three, 1).read_bytes() == whole


def test_a_stray_file_among_the_patients_is_passed_over_by_name_and_hides_nobody(three):
    (three.layout.patients / "A copy.json").write_text("{}")
    ward = open_ward(three.folder)
    assert len(ward.beds()) == 3
    assert "not a patient's file, passed over: A copy.json" in ward.problem
    report = check(three)
    assert not report.sound
    assert f"not a patient's file, passed over: {three.layout.patients / 'A copy.json'}" in report.lines  # fmt: skip


def test_a_second_file_of_one_patient_is_said_and_nobody_is_doubled(three):
    shutil.copy(file_of(three), three.layout.file("patient9"))
    beds = open_ward(three.folder).beds()
    assert [b.bed for b in beds if not b.trouble] == ["A1", "A2", "A3"]
    assert sum("another patient" in b.trouble for b in beds) == 1


def test_drafts_set_aside_are_counted_and_nothing_is_called_sound_over_them(three, examination):
    three.start_draft(examination.model_copy(update={"id": "draft0001"}), "x").close()
    three.set_aside("draft0001", "x")
    report = check(three)
    assert not report.sound
    assert any(line.startswith("set aside: 1 draft,") for line in report.lines)


def test_a_second_draft_set_aside_under_one_name_keeps_the_first(three, examination, knee):
    for change in ((), (knee,)):
        draft = three.start_draft(examination.model_copy(update={"id": "draft0001"}), "x")
        for each in change:
            draft.append(each)
        draft.close()
        three.set_aside("draft0001", "x")
    assert len(list((three.layout.drafts / "aside").iterdir())) == 2


def test_evidence_is_kept_where_links_do_not_work(tmp_path, monkeypatch):
    path = tmp_path / "a.json"
    path.write_bytes(b"torn")
    monkeypatch.setattr(os, "link", lambda *_, **__: (_ for _ in ()).throw(OSError(1, "no links")))
    durable_files.set_aside(path, tmp_path / "a.json.damaged-1", 0o600)
    assert (tmp_path / "a.json.damaged-1").read_bytes() == b"torn"
    with pytest.raises(FileExistsError):
        durable_files.set_aside(path, tmp_path / "a.json.damaged-1", 0o600)


def test_an_outcome_of_another_patient_in_a_file_is_found(three):
    path = file_of(three, 1)
    tables = read_tables(path)
    made = Outcome(patient="patient2", site="root", by="x", at=AT)
    tables["outcomes"] = {"1": made.model_dump(mode="json")}
    path.write_bytes(b"".join(pack(tables)[0]))
    report = check(three)
    assert not report.sound
    assert any("an outcome in it is another patient's" in line for line in report.lines)


def test_a_version_before_that_holds_an_outcome_more_is_not_taken_away(three):
    who = sorted(p.stem for p in three.layout.files())[0]
    three.conclude(Outcome(patient=who, site="root", by="x", at=AT), "x")
    path = three.layout.file(who)
    fuller = path.read_bytes()
    three.update(three.patient(who).model_copy(update={"bed": "Z9"}), "x")
    # The two exchanged, as where somebody restores by hand: what is fuller must not be lost at the next save.
    tables = read_tables(path)
    tables.pop("outcomes")
    path.write_bytes(b"".join(pack(tables)[0]))
    version_before(path).unlink()
    version_before(path).write_bytes(fuller + b"")
    three.update(three.patient(who).model_copy(update={"bed": "Z8"}), "x")
    kept = [p for p in path.parent.iterdir() if p.name.startswith(who) and p.read_bytes() == fuller]
    assert kept


def test_of_a_record_that_is_gone_with_every_copy_the_way_out_is_said_and_leads_out(three):
    for path in three.layout.patients.glob("patient1.*"):
        path.unlink()
    for repair in (False, True):
        report = check(three, repair=repair)
        assert not report.sound
        (said,) = (line for line in report.lines if line.startswith("  no copy of it is left here"))
        assert "'wardexam erase patient1' puts down that it is lost" in said
    three.erase("patient1", "Dr Lead", "lost before the backup was made")
    assert check(three).sound
    assert [b.patient_id for b in three.beds()] == ["patient2", "patient3"]


@pytest.mark.parametrize("left", ["patient1.json.before", "patient1.json.damaged-1"])
def test_a_record_of_which_a_copy_is_left_is_not_said_to_be_lost_nor_erased(three, left):
    path = file_of(three)
    whole = path.read_bytes()
    for each in three.layout.patients.glob("patient1.*"):
        each.unlink()
    path.with_name(left).write_bytes(whole)
    assert not any("no copy of it is left" in line for line in check(three).lines)
    with pytest.raises(InputError, match="is on the ward"):
        three.erase("patient1", "Dr Lead", "lost")
    assert path.with_name(left).read_bytes() == whole


def test_a_record_that_is_gone_with_a_draft_left_is_not_erased(three, examination):
    draft = three.start_draft(
        examination.model_copy(update={"id": "exam1009", "patient": "patient1"}), "x"
    )
    draft.close()
    for path in three.layout.patients.glob("patient1.*"):
        path.unlink()
    with pytest.raises(InputError, match="is on the ward"):
        three.erase("patient1", "Dr Lead", "lost")
