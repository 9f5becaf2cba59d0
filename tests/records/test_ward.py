"""What is saved stays as saved, whole and private, whatever happens around it."""

import contextlib
import json
import os
import random
import signal
import stat
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wardexam.errors import InputError, RecordsError, WardexamError
from wardexam.exam.entry import Change, apply
from wardexam.records import audit, storage
from wardexam.records.archive import read_archive, write_archive, write_csv
from wardexam.records.check import check_store
from wardexam.records.ward import ConflictError, Summary, open_ward

KNEE = Change(
    "finding",
    "knee right",
    {"sign": "knee", "side": "right", "answer": "0", "scale": "conventional"},
)


def test_an_examination_comes_back_as_saved(ward, patient, examination):
    ward.admit(patient, "Dr Ash")
    ward.save(examination, "Dr Ash", Summary(3, "now", False, "a line"))
    assert open_ward(ward.folder).examinations(patient.id) == (examination,)
    bed = ward.beds()[0]
    assert (bed.name, bed.examinations, bed.summary.urgency_word) == (patient.name, 1, "now")


def test_a_saved_examination_is_never_overwritten(ward, patient, examination):
    ward.admit(patient, "x")
    ward.save(examination, "x")
    with pytest.raises(InputError, match="saved already"):
        ward.save(examination.model_copy(update={"comment": "other"}), "x")
    amended = ward.amend(
        examination.model_copy(update={"comment": "other"}),
        "Dr Bex",
        "typing error",
        examination.at,
    )
    assert [e.revision for e in ward.revisions(patient.id, examination.id)] == [1, 2]
    assert (amended.amendment.by, amended.amendment.why) == ("Dr Bex", "typing error")
    assert ward.examinations(patient.id)[0].comment == "other"


def test_details_edited_twice_meet_a_revision_check(ward, patient):
    ward.admit(patient, "x")
    mine, theirs = ward.patient(patient.id), ward.patient(patient.id)
    ward.update(theirs.model_copy(update={"bed": "B2"}), "them")
    with pytest.raises(ConflictError) as caught:
        ward.update(mine.model_copy(update={"bed": "C3"}), "me")
    assert caught.value.stored.bed == "B2"


def test_discharged_patients_are_kept_hidden_and_restored(ward, patient):
    ward.admit(patient, "x")
    ward.discharge(patient.id, patient.admitted + timedelta(days=1), "x")
    assert (ward.beds(), len(ward.beds(discharged=True))) == ((), 1)
    ward.restore(patient.id, "x")
    assert len(ward.beds()) == 1


def test_other_sessions_changes_show_in_the_stamp(ward, patient):
    before = ward.stamp()
    open_ward(ward.folder).admit(patient, "x")
    assert ward.stamp() != before
    assert len(ward.beds()) == 1


def test_folder_and_files_are_private(ward, patient, examination):
    ward.admit(patient, "x")
    ward.start_draft(examination, "x").close()
    assert stat.S_IMODE(ward.folder.stat().st_mode) == 0o700
    for path in ward.folder.iterdir():
        if path.suffix != ".holder":
            assert stat.S_IMODE(path.stat().st_mode) & 0o077 == 0, path
        assert "Invented" not in path.name


def test_a_store_that_others_can_write_is_refused(tmp_path):
    folder = tmp_path / "open"
    folder.mkdir()
    folder.chmod(0o777)
    with pytest.raises(RecordsError, match="others can write"):
        open_ward(folder)


@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "a/b", "", "A" * 16, "x" * 400, "abc\x00defgh", "."]
)
def test_path_tricks_in_identifiers_are_refused(ward, name):
    with pytest.raises(InputError):
        ward.patient(name)


# --- drafts


def test_every_change_of_a_draft_reaches_the_disk_and_is_replayed(ward, patient, examination):
    ward.admit(patient, "x")
    draft = ward.start_draft(examination, "Dr Ash")
    draft.append(KNEE)
    draft.append(Change("flag", "cancer", "yes"))
    assert draft.flush(5)
    info = ward.drafts()[0]
    assert (info.by, info.keys, info.patient_id) == ("Dr Ash", 2, patient.id)
    draft.close()
    _, found = open_ward(ward.folder).resume_draft(info.draft_id)
    assert found == apply(apply(examination, KNEE), Change("flag", "cancer", "yes"))


def test_a_draft_cut_at_any_byte_loses_at_most_the_last_key(ward, patient, examination):
    ward.admit(patient, "x")
    draft = ward.start_draft(examination, "x")
    draft.append(KNEE)
    draft.append(Change("comment", "", "words"))
    draft.close()
    whole = draft.path.read_bytes()
    ends = [n for n, byte in enumerate(whole) if byte == 10]
    for cut in range(ends[0] + 1, len(whole)):
        draft.path.write_bytes(whole[:cut])
        again, found = ward.resume_draft(draft.path.stem)
        again.close()
        assert (found.finding("knee", "right") is not None) == (cut > ends[1] - 1)


def test_a_full_disk_keeps_changes_in_memory_and_says_so(ward, patient, examination, monkeypatch):
    ward.admit(patient, "x")
    draft = ward.start_draft(examination, "x")
    real = os.fdatasync

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fdatasync", full)
    draft.append(KNEE)
    draft.flush(5)
    assert "No space left" in draft.problem
    assert draft.kept == 0
    monkeypatch.setattr(os, "fdatasync", real)
    draft.append(Change("comment", "", "later"))
    draft.flush(5)
    assert (draft.problem, draft.kept) == ("", 2)


def test_finishing_saves_and_takes_the_draft_away(ward, patient, examination):
    ward.admit(patient, "x")
    draft = ward.start_draft(examination, "x")
    ward.finish_draft(draft, examination, "x")
    assert (ward.drafts(), len(ward.examinations(patient.id))) == ((), 1)


# --- damage


def test_zero_bytes_is_damage_and_the_rest_of_the_ward_opens(ward, patient):
    ward.admit(patient, "x")
    other = patient.model_copy(update={"id": "patient2", "bed": "A2"})
    ward.admit(other, "x")
    (ward.folder / "patient1.json").write_bytes(b"")
    with pytest.raises(storage.DamagedFileError):
        ward.patient("patient1")
    assert ward.patient("patient2") == other
    assert len(ward.rebuild_index()) == 1
    assert [b.patient_id for b in ward.beds()] == ["patient2"]


def test_a_file_truncated_at_every_byte_is_refused(ward, patient, examination):
    ward.admit(patient, "x")
    path = ward.folder / "patient1.json"
    whole = path.read_bytes()
    for cut in range(len(whole) - 1):
        with pytest.raises(RecordsError):
            storage.unpack(whole[:cut], "x")


def test_a_flipped_bit_is_found(ward, patient):
    ward.admit(patient, "x")
    whole = bytearray((ward.folder / "patient1.json").read_bytes())
    source = random.Random(1)
    good = storage.unpack(bytes(whole), "x")
    for _ in range(300):
        place, bit = source.randrange(len(whole) - 1), 1 << source.randrange(8)
        whole[place] ^= bit
        with contextlib.suppress(RecordsError):
            assert storage.unpack(bytes(whole), "x") == good  # a flip in white space says the same
        whole[place] ^= bit


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
        storage.unpack(data, "x")


def test_deep_nesting_and_length_are_refused():
    for data in (b"[" * 200_000, b'{"document":' * 50_000, b" " * (storage.LONGEST + 1)):
        with pytest.raises(RecordsError):
            storage.unpack(data, "x")


def test_check_says_what_is_wrong_and_repairs_only_when_told(ward, patient):
    ward.admit(patient, "x")
    ward.update(ward.patient(patient.id).model_copy(update={"bed": "B1"}), "x")
    path = ward.folder / "patient1.json"
    path.write_bytes(b"{}")
    report = check_store(ward.folder, repair=False, by="x", at=patient.admitted)
    assert not report.sound
    assert path.read_bytes() == b"{}"
    check_store(ward.folder, repair=True, by="x", at=patient.admitted)
    assert ward.patient(patient.id).bed == "A1"  # the previous good version
    assert list(ward.folder.glob("*.damaged-*"))
    assert check_store(ward.folder, repair=False, by="x", at=patient.admitted).sound


@pytest.mark.parametrize("failing", ["write", "fsync", "replace", "link"])
def test_a_failing_call_leaves_the_old_version(ward, patient, monkeypatch, failing):
    ward.admit(patient, "x")
    before = ward.patient(patient.id)

    def fails(*arguments, **options):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(storage.os, failing, fails)
    changed = before.model_copy(update={"bed": "B9"})
    if failing == "link":  # a file system without hard links: copied instead
        ward.update(changed, "x")
        assert ward.patient(patient.id).bed == "B9"
    else:
        with pytest.raises(RecordsError, match="No space left"):
            ward.update(changed, "x")
        monkeypatch.undo()
        assert ward.patient(patient.id) == before
        assert not list(ward.folder.glob(".*.new"))


SAVER = """
import sys
from datetime import UTC, datetime
from wardexam.exam.examination import Examination
from wardexam.records.ward import open_ward
from pathlib import Path
ward = open_ward(Path(sys.argv[1]))
for number in range(int(sys.argv[3])):
    name = f"exam{sys.argv[2]}{number:05}"
    ward.save(Examination(id=name, patient="patient1", examiner="x", at=datetime(2026, 3, 2, tzinfo=UTC)), "x")
    print(name, flush=True)
"""


def test_sessions_saving_at_once_lose_and_double_nothing(ward, patient):
    ward.admit(patient, "x")
    sessions = [
        subprocess.Popen(
            [sys.executable, "-c", SAVER, str(ward.folder), f"{n}", "8"], stdout=subprocess.DEVNULL
        )
        for n in range(4)
    ]
    assert [s.wait(60) for s in sessions] == [0] * 4
    saved = [e.id for e in ward.examinations(patient.id)]
    assert len(saved) == len(set(saved)) == 32
    assert audit.verify(ward.folder / "audit.jsonl") == []


def test_killed_at_random_moments_no_acknowledged_save_is_lost(ward, patient):
    ward.admit(patient, "x")
    source, acknowledged = random.Random(2), set()
    for round_ in range(8):
        session = subprocess.Popen(
            [sys.executable, "-c", SAVER, str(ward.folder), f"k{round_}", "500"],
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(source.randrange(1, 12)):
            acknowledged.add(session.stdout.readline().strip())
        session.send_signal(signal.SIGKILL)
        acknowledged |= {line.strip() for line in session.stdout if len(line) == 13}
        session.wait()
    fresh = open_ward(ward.folder)
    assert acknowledged - {""} <= {e.id for e in fresh.examinations(patient.id)}
    assert check_store(ward.folder, repair=False, by="x", at=patient.admitted).sound


# --- audit, archive


def test_the_audit_trail_is_chained(ward, patient):
    ward.admit(patient, "x")
    ward.record("viewed", patient.id, "x")
    path = ward.folder / "audit.jsonl"
    assert audit.verify(path) == []
    path.write_text(path.read_text().replace("viewed", "nobody"))
    assert audit.verify(path)


def test_an_archive_round_trips_to_the_byte(ward, patient, examination, tmp_path):
    ward.admit(patient, "x")
    ward.save(examination, "x")
    ward.amend(examination, "x", "why", examination.at)
    text = "".join(write_archive(ward))
    file = tmp_path / "ward.jsonl"
    file.write_text(text)
    other = open_ward(tmp_path / "other")
    with file.open("rb") as source:
        counts = read_archive(other, source, by="x", dry_run=True)
    assert (counts.patients, counts.examinations, other.beds()) == (1, 2, ())
    with file.open("rb") as source:
        read_archive(other, source, by="x")
    assert "".join(write_archive(other)) == text
    with file.open("rb") as source, pytest.raises(InputError, match="already"):
        read_archive(other, source, by="x")


@pytest.mark.parametrize(
    "line", ["{}", "[", '{"patient": {"id": "../x"}, "examinations": []}', "[" * 100_000]
)
def test_a_bad_archive_adds_nothing(ward, tmp_path, line):
    file = tmp_path / "bad.jsonl"
    file.write_text('{"archive": "wardexam", "version": 1}\n' + line + "\n")
    with file.open("rb") as source, pytest.raises(WardexamError):
        read_archive(ward, source, by="x")
    assert ward.beds() == ()


def test_csv_has_a_row_a_finding(ward, patient, examination):
    ward.admit(patient, "x")
    ward.save(apply(examination, KNEE), "x")
    assert [line.split(",")[5] for line in write_csv(ward)] == ["sign", "knee"]


def test_the_ward_list_needs_no_models(ward, patient):
    ward.admit(patient, "x")
    script = "import sys; from pathlib import Path; from wardexam.records.ward import open_ward; print(len(open_ward(Path(sys.argv[1])).beds()), {'pydantic', 'numpy', 'tinydb', 'textual'} & set(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", script, str(ward.folder)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "1 set()"


def test_the_demo_ward_is_what_its_seed_makes(tmp_path):
    root = Path(__file__).parents[2]
    subprocess.run(
        [sys.executable, str(root / "demo_db" / "make_demo.py"), str(tmp_path / "ward")], check=True
    )
    made = {p.name: p.read_bytes() for p in (tmp_path / "ward").iterdir()}
    kept = {p.name: p.read_bytes() for p in (root / "demo_db" / "ward").iterdir()}
    assert made == kept


def test_a_draft_that_a_session_writes_is_nobody_elses_to_resume(ward, patient, examination):
    ward.admit(patient, "x")
    draft = ward.start_draft(examination, "Dr Ash")
    draft.append(KNEE)
    draft.flush(5)
    other = open_ward(ward.folder)
    assert other.drafts()[0].held
    assert not other.beds()[0].has_draft
    with pytest.raises(RecordsError, match="another session"):
        other.resume_draft(examination.id)
    with pytest.raises(RecordsError, match="another session"):
        other.set_aside(examination.id, "Dr Bex")
    draft.close()
    assert other.beds()[0].has_draft
    again, found = other.resume_draft(examination.id)
    again.close()
    assert found.finding("knee", "right")


def test_a_session_that_dies_lets_go_of_its_draft(ward, patient, examination):
    ward.admit(patient, "x")
    ward.start_draft(examination, "x").close()
    script = (
        "import sys, time; from pathlib import Path; from wardexam.records.ward import open_ward\n"
        "open_ward(Path(sys.argv[1])).resume_draft('exam0001'); print('held', flush=True); time.sleep(60)"
    )
    session = subprocess.Popen(
        [sys.executable, "-c", script, str(ward.folder)], stdout=subprocess.PIPE, text=True
    )
    assert session.stdout.readline() == "held\n"
    assert ward.drafts()[0].held
    session.kill()
    session.wait()
    assert not ward.drafts()[0].held
