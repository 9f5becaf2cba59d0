"""A patient erased: gone from every file, the trail's chain whole, what still holds the patient told."""

import io
import os
import shutil
from datetime import UTC, datetime, timedelta

import pytest

from tests.records.checking import check_store
from tests.records.conftest import AT
from tests.terminal.screens import ROOT
from wardexam.commands.main import run
from wardexam.errors import InputError, RecordsError
from wardexam.exam.entry import Change
from wardexam.exam.examination import Patient
from wardexam.exam.outcome import Outcome
from wardexam.injury.kept import KeptSheet
from wardexam.injury.typed import read_typed
from wardexam.records import archive, erasure
from wardexam.records.audit import verify
from wardexam.records.paths import elsewhere
from wardexam.records.repository import Summary
from wardexam.records.ward import open_ward

NAME, NUMBER, WORDS = "Ottilie Brandtner", "40-3317", "a remark of hers alone"


@pytest.fixture
def stored(ward, examination):
    """A ward with two patients, one of them with all that can be stored, discharged."""
    mine = Patient(
        id="patient1", bed="B7", name=NAME, number=NUMBER, age=60, admitted=AT, remark=WORDS
    )
    other = Patient(id="patient2", bed="A2", name="Bo Invented", number="9", admitted=AT)
    for patient in (mine, other):
        ward.admit(patient, "Dr Ash")
    first = examination.model_copy(update={"impression": WORDS})
    ward.save(first, "Dr Ash", Summary(3, "now", False, "a line"))
    ward.amend(
        first.model_copy(update={"comment": WORDS}),
        "Dr Ash",
        "more",
        AT,
        Summary(3, "now", False, "x"),
    )
    ward.save(
        examination.model_copy(update={"id": "exam0009", "patient": "patient2"}), "Dr Ash", None
    )
    sheet = KeptSheet(
        id="sheet001", patient="patient1", examiner="x", at=AT, sheet=read_typed("vac no")
    )
    ward.save_sheet(sheet, "Dr Ash")
    ward.conclude(Outcome(patient="patient1", by="x", at=AT, diagnosis=WORDS), "Dr Ash")
    for number, name in enumerate(("exam0002", "exam0003")):
        draft = ward.start_draft(
            examination.model_copy(update={"id": name, "at": AT + timedelta(hours=number)}),
            "Dr Ash",
        )
        draft.append(Change("comment", "", WORDS))
        draft.flush()
        draft.close()
    ward.set_aside("exam0003", "Dr Ash")
    held = ward.sheet_drafts.start(sheet.model_copy(update={"id": "sheet002"}), "Dr Ash")
    held.close()
    there = elsewhere(ward.folder)
    there.mkdir(parents=True)
    shutil.copy(ward.layout.drafts / "exam0002.draft", there / "exam0004.draft")
    ward.discharge(ward.patient("patient1"), AT + timedelta(days=1), "Dr Ash")
    return ward


def everything(ward):
    """Every byte of the ward's folder and of this login's own drafts, but for the trail and the locks."""
    places = (ward.folder, elsewhere(ward.folder))
    files = [p for place in places for p in place.rglob("*") if p.is_file()]
    spared = (ward.layout.trail, ward.layout.locks)
    return {p: p.read_bytes() for p in files if p not in spared and p.parent not in spared}


def test_nothing_of_the_patient_is_left_in_any_file_and_the_other_is_untouched(stored):
    before = everything(stored)
    assert any(NAME.encode() in data for data in before.values())
    other = stored.layout.file("patient2").read_bytes()
    trail = stored.layout.trail.read_bytes()
    stored.erase("patient1", "Dr Lead", "retention is over")
    for path, data in everything(stored).items():
        assert "patient1" not in path.name
        for trace in (NAME, NUMBER, WORDS, "patient1", "exam0001"):
            assert trace.encode() not in data, (path, trace)
    assert stored.layout.file("patient2").read_bytes() == other
    assert stored.layout.trail.read_bytes().startswith(trail)  # nothing of it is taken out
    assert [b.patient_id for b in stored.beds()] == ["patient2"]
    assert stored.beds(discharged=True) == ()
    assert stored.drafts() == stored.sheet_drafts.infos() == ()
    with pytest.raises(InputError, match="no such patient"):
        stored.file("patient1")


def test_the_trail_says_who_erased_whom_when_and_why_and_its_chain_stands(stored):
    stored.erase("patient1", "Dr Lead", "retention is over")
    found = verify(stored.layout.trail)
    assert found.faults == []
    last = stored.layout.trail.read_text().splitlines()[found.erased["patient1"] - 1]
    for part in (
        '"event": "erased"',
        '"by": "Dr Lead"',
        '"what": "retention is over"',
        '"record": "-"',
    ):
        assert part in last
    assert NAME not in stored.layout.trail.read_text()
    assert set(stored.erased()) == {"patient1"}
    assert datetime.fromisoformat(stored.erased()["patient1"])


@pytest.mark.parametrize("again", [False, True])
def test_the_check_is_sound_after_it_and_the_ward_goes_on(stored, again, examination):
    stored.erase("patient1", "Dr Lead", "retention is over")
    ward = open_ward(stored.folder) if again else stored
    report = check_store(ward.folder, repair=False, by="x")
    assert report.sound, report.lines
    more = examination.model_copy(update={"id": "exam0010", "patient": "patient2"})
    ward.save(more, "Dr Ash", None)
    assert check_store(ward.folder, repair=True, by="x").sound
    assert [b.patient_id for b in ward.beds()] == ["patient2"]


@pytest.mark.parametrize(
    ("whose", "why", "said"),
    [("patient2", "x", "is on the ward"), ("nobody00", "x", "no such patient"), ("patient1", " ", "a reason")],
)  # fmt: skip
def test_what_may_not_be_erased_is_refused_and_nothing_is_changed(stored, whose, why, said):
    before, trail = everything(stored), stored.layout.trail.read_bytes()
    with pytest.raises(InputError, match=said):
        stored.erase(whose, "Dr Lead", why)
    assert everything(stored) == before
    assert stored.layout.trail.read_bytes() == trail


def test_while_somebody_is_examining_it_is_refused(stored, examination):
    draft = stored.start_draft(examination.model_copy(update={"id": "exam0011"}), "Dr Ash")
    with pytest.raises(RecordsError, match="is being examined"):
        stored.erase("patient1", "Dr Lead", "retention is over")
    draft.close()
    stored.erase("patient1", "Dr Lead", "retention is over")


def test_who_is_brought_back_as_the_erasing_begins_is_not_erased(stored, monkeypatch):
    other, real = open_ward(stored.folder), stored.locks.held

    def held(name, *more):
        if name == "arrivals":
            other.restore(other.patient("patient1"), "Dr Bex")
        return real(name, *more)

    monkeypatch.setattr(stored.locks, "held", held)
    with pytest.raises(InputError, match="is on the ward"):
        stored.erase("patient1", "Dr Lead", "retention is over")
    assert stored.file("patient1").patient.name == NAME


def test_without_the_trail_nothing_is_erased(stored):
    before = everything(stored)
    stored.layout.trail.chmod(0o400)
    kept = stored.layout.trail.rename(stored.layout.trail.with_suffix(".away"))
    stored.layout.trail.mkdir()  # it cannot be written, whoever asks
    with pytest.raises(RecordsError, match="the audit trail cannot be written"):
        stored.erase("patient1", "Dr Lead", "retention is over")
    stored.layout.trail.rmdir()
    kept.rename(stored.layout.trail)
    assert everything(stored) == before


def test_cut_short_anywhere_it_is_told_by_check_and_finished_by_erasing_again(stored, monkeypatch):
    real, count = erasure._take_out, len(list(erasure.traces(stored.layout, elsewhere(stored.folder), "patient1")))  # fmt: skip
    assert count >= 7
    for stop in range(count - 2):
        made = iter(range(1000))

        def fails(path, *more, made=made, stop=stop):
            if next(made) == stop:
                raise OSError(28, "No space left on device", str(path))
            real(path, *more)

        monkeypatch.setattr(erasure, "_take_out", fails)
        try:
            with pytest.raises(RecordsError, match="not all is erased: No space left"):
                stored.erase("patient1", "Dr Lead", "retention is over")
        except pytest.fail.Exception:
            break
        monkeypatch.setattr(erasure, "_take_out", real)
        report = check_store(stored.folder, repair=False, by="x")
        assert not report.sound
        assert any("erased by audit line" in line for line in report.lines), report.lines
    monkeypatch.setattr(erasure, "_take_out", real)
    again = open_ward(stored.folder)
    if "patient1" in again.listed():
        again.erase("patient1", "Dr Lead", "retention is over")
    assert check_store(stored.folder, repair=False, by="x").sound
    assert not any(NAME.encode() in data for data in everything(stored).values())


def test_a_file_that_comes_back_from_a_backup_is_told_and_erased_again(stored):
    copy = stored.layout.file("patient1").read_bytes()
    stored.erase("patient1", "Dr Lead", "retention is over")
    stored.layout.file("patient1").write_bytes(copy)
    stored.layout.file("patient1").chmod(0o600)
    for repair in (False, True):
        report = check_store(stored.folder, repair=repair, by="x")
        assert not report.sound
        assert any(
            "erased by audit line" in line and "as from a backup" in line for line in report.lines
        )
    again = open_ward(stored.folder)
    again.erase("patient1", "Dr Lead", "it came back from a backup")
    assert check_store(stored.folder, repair=False, by="x").sound


def test_an_archive_that_still_holds_the_patient_is_told_and_adds_the_others_alone(
    stored, tmp_path
):
    old = "".join(archive.write_archive(stored, None)).encode()
    stored.erase("patient1", "Dr Lead", "retention is over")
    stored.discharge(stored.patient("patient2"), AT, "Dr Ash")
    stored.erase("patient2", "Dr Lead", "by mistake")
    counts = archive.read_archive(stored, io.BytesIO(old), by="x")
    assert (counts.patients, [name for name, _ in counts.erased]) == (0, ["patient1", "patient2"])
    assert stored.beds() == stored.beds(discharged=True) == ()
    elsewhere_ = open_ward(tmp_path / "elsewhere")
    assert archive.read_archive(elsewhere_, io.BytesIO(old), by="x").patients == 2


@pytest.mark.parametrize(
    "damaged",
    [lambda _: b"x" * 200, lambda _: b"x" * 9000, lambda _: b"[]", lambda line: line.replace(b"patient1", b"patienu1")],
)  # fmt: skip
def test_erasures_behind_a_damaged_line_are_heard_and_of_that_line_nobody_is_brought_back_unasked(
    stored, damaged
):
    old = "".join(archive.write_archive(stored, ["patient1"])).encode()
    stored.erase("patient1", "Dr Lead", "retention is over")
    lines = stored.layout.trail.read_bytes().splitlines()
    lines[2] = damaged(lines[2])  # it may have said anything
    stored.layout.trail.write_bytes(b"".join(line + b"\n" for line in lines))
    with pytest.raises(RecordsError) as refused:
        archive.read_archive(stored, io.BytesIO(old), by="x")
    assert str(refused.value) == (
        f"{stored.layout.trail}: audit line 3 is damaged, and may say that a patient was erased; nothing was"
        " added ('wardexam check --repair' accepts it by your name, then import again)"
    )
    report = check_store(stored.folder, repair=True, by="Dr Lead")
    assert any(line.startswith("audit line 3 ") for line in report.lines)
    assert not any("patient1.json: the patient's file is gone" in line for line in report.lines)
    counts = archive.read_archive(open_ward(stored.folder), io.BytesIO(old), by="x")
    assert (counts.patients, [name for name, _ in counts.erased]) == (0, ["patient1"])


def test_the_old_files_of_an_earlier_layout_are_erased_as_well(tmp_path):
    shutil.copytree(ROOT / "tests" / "records" / "layout-1" / "ward", tmp_path / "ward")
    (tmp_path / "ward").chmod(0o700)
    ward = open_ward(tmp_path / "ward")
    assert (ward.folder / "layout-1").is_dir()
    patient = ward.patient("33ucjs4q6x86gf3a")
    ward.discharge(ward.patient(patient.id), AT, "x")
    ward.erase(patient.id, "Dr Lead", "retention is over")
    held = [p for p in ward.folder.rglob("*") if p.is_file() and p != ward.layout.trail]
    assert len([p for p in held if p.parent.name == "layout-1"]) > 5
    for path in held:
        data = path.read_bytes()
        assert patient.id.encode() not in data, path
        assert patient.name.encode() not in data, path
    assert check_store(ward.folder, repair=False, by="x").sound


# --- the commands


@pytest.fixture
def shell(stored, capsys):
    def call(*words):
        code = run([*words, "--db", str(stored.folder)])
        said = capsys.readouterr()
        assert max(map(len, said.out.splitlines() or [""])) <= 80
        return code, said.out, said.err

    return call


def test_without_the_identity_it_says_what_there_is_and_changes_nothing(stored, shell):
    stored.record("exported", "ward", "x")
    before = everything(stored)
    code, out, err = shell("erase", NUMBER)
    assert (code, err) == (0, "")
    joined = " ".join(out.split())
    assert f"{NAME}, no. {NUMBER}" in joined
    assert "Stored: 1 examination, 1 cord injury sheet, 1 outcome, 3 drafts." in joined
    assert "the whole ward was exported 1 time since" in joined
    assert "Not reached from here: backups, prints" in joined
    assert f'wardexam erase patient1 --identity "{NUMBER}" --why' in joined
    assert everything(stored) == before


@pytest.mark.parametrize(
    ("more", "code", "said"),
    [
        (["--identity", "40-3318", "--why", "x"], 2, "the number of this patient is another"),
        (["--identity", NUMBER], 2, "a reason is needed"),
        (
            ["--identity", NUMBER, "--why", "asked by Mrs brandtner"],
            2,
            "the reason names the patient",
        ),
        (["--identity", NUMBER, "--why", f"record {NUMBER}"], 2, "the reason names the patient"),
    ],
)
def test_another_identity_or_a_reason_that_names_is_refused(stored, shell, more, code, said):
    before = everything(stored)
    found, out, err = shell("erase", "patient1", *more)
    assert (found, out) == (code, "")
    assert said in err
    assert err.count("\n") == 1
    assert everything(stored) == before


def test_with_the_identity_and_a_reason_it_is_erased_and_what_is_left_is_told(stored, shell):
    stored.record("exported", "patient1", "x")
    code, out, err = shell(
        "erase", "patient1", "--identity", "40-3317", "--why", "retention is over"
    )
    assert (code, err) == (0, "")
    assert out.startswith("Erased: patient1. ")
    assert "this patient's papers were exported 1 time since" in " ".join(out.split())
    assert shell("check")[0] == 0
    code, _, err = shell("erase", "patient1", "--identity", "40-3317", "--why", "again")
    assert (code, err.count("\n")) == (2, 1)
    assert "no such patient" in err


def test_an_import_names_who_was_erased_and_ends_with_3(stored, shell, tmp_path):
    old = tmp_path / "ward.jsonl"
    text = "".join(archive.write_archive(stored, ["patient1"]))
    old.write_text(text)
    stored.erase("patient1", "Dr Lead", "retention is over")
    code, out, err = shell("import", str(old))
    assert code == 3
    assert out == "0 patients and 0 examinations added\n"
    assert err == f"wardexam: left out: patient1 was erased here on {stored.erased()['patient1'][:10]}; the archive still holds it\n"  # fmt: skip


def test_retention_lists_who_left_longer_ago_by_identifier(stored, shell, monkeypatch):
    from wardexam.commands import edge

    monkeypatch.setattr(edge, "now", lambda: datetime(2034, 6, 1, tzinfo=UTC))
    code, out, err = shell("retention", "--years", "8")
    assert (code, err) == (0, "")
    assert out == (
        "patient1  discharged 2026-03-03, 8.2 years ago, 1 examination\n1 patient discharged so long ago\n"
    )
    assert NAME not in out
    assert (
        shell("retention", "--years", "8", "--days", "100")[1]
        == "0 patients discharged so long ago\n"
    )
    for words in ([], ["--years", "-1"], ["--years", "1e9"], ["--days", "nan"]):
        code, out, err = shell("retention", *words)
        assert (code, out, err.count("\n")) == (2, "", 1), words
    assert os.path.exists(stored.layout.file("patient1"))
