"""Nobody reads or writes what is not theirs, and no stored byte takes hold of anything."""

import json
import os
import stat
import time

import pytest

from wardexam.errors import InputError, RecordsError
from wardexam.exam.entry import apply
from wardexam.records import audit, schemas, stored_record
from wardexam.records.archive import read_archive, write_archive, write_csv
from wardexam.records.ward import Ward, open_ward


def modes(folder):
    return {
        str(path.relative_to(folder)): stat.S_IMODE(path.stat().st_mode)
        for path in [folder, *folder.rglob("*")]
    }


def lived_in(ward, patient, examination):
    ward.admit(patient, "x")
    ward.save(examination, "x")
    ward.update(ward.patient(patient.id).model_copy(update={"bed": "B1"}), "x")
    ward.start_draft(examination.model_copy(update={"id": "exam0002"}), "x").close()
    ward.start_draft(examination.model_copy(update={"id": "exam0003"}), "x").close()
    ward.set_aside("exam0003", "x")
    ward.beds()


@pytest.mark.parametrize("umask", [0o000, 0o022, 0o077])
def test_everything_is_its_owners_alone_whatever_the_umask(tmp_path, patient, examination, umask):
    before = os.umask(umask)
    try:
        ward = open_ward(tmp_path / "ward")
        lived_in(ward, patient, examination)
    finally:
        os.umask(before)
    for name, mode in modes(ward.folder).items():
        wanted = 0o700 if (ward.folder / name).is_dir() else 0o600
        assert mode == wanted, f"{name} {mode:o}"


@pytest.mark.parametrize("umask", [0o000, 0o022, 0o077])
def test_a_ward_accounts_folder_is_its_groups_when_that_is_said(
    tmp_path, patient, examination, umask
):
    before = os.umask(umask)
    try:
        ward = open_ward(tmp_path / "ward", shared=True)
        lived_in(ward, patient, examination)
    finally:
        os.umask(before)
    for name, mode in modes(ward.folder).items():
        wanted = 0o2770 if (ward.folder / name).is_dir() else 0o660
        assert mode == wanted, f"{name} {mode:o}"
    with pytest.raises(RecordsError, match="others can write"):
        open_ward(ward.folder)


@pytest.mark.parametrize("mode", [0o777, 0o770, 0o707, 0o702])
@pytest.mark.parametrize("inner", ["", "patients", "drafts"])
def test_a_store_that_others_can_write_is_refused(tmp_path, mode, inner):
    ward = open_ward(tmp_path / "ward")
    (ward.folder / inner).chmod(mode)
    with pytest.raises(RecordsError, match="others can write"):
        open_ward(ward.folder)


def test_a_shared_store_that_the_world_can_write_is_refused(tmp_path):
    ward = open_ward(tmp_path / "ward", shared=True)
    ward.folder.chmod(0o2777)
    with pytest.raises(RecordsError, match="others can write"):
        open_ward(ward.folder, shared=True)


def test_a_folder_that_others_can_replace_is_refused(tmp_path):
    open_ward(tmp_path / "open" / "ward")
    (tmp_path / "open").chmod(0o777)
    with pytest.raises(RecordsError, match="in its place"):
        open_ward(tmp_path / "open" / "ward")
    (tmp_path / "open").chmod(0o1777)  # sticky, like a host's folder for temporary files
    open_ward(tmp_path / "open" / "ward")


def test_another_users_folder_is_refused(tmp_path, monkeypatch):
    ward = open_ward(tmp_path / "ward")
    monkeypatch.setattr(os, "geteuid", lambda: 12345)
    os.chown(ward.folder, 54321, -1) if os.getuid() == 0 else pytest.skip("needs root")
    with pytest.raises(RecordsError, match="another user"):
        open_ward(ward.folder)


def test_a_folder_of_other_things_is_not_made_a_ward(tmp_path):
    (tmp_path / "letter.txt").write_text("x")
    tmp_path.chmod(0o700)
    with pytest.raises(RecordsError, match="no ward"):
        open_ward(tmp_path)


def test_no_name_of_a_patient_is_in_a_file_name(ward, patient, examination):
    lived_in(ward, patient, examination)
    assert not [p for p in ward.folder.rglob("*") if "Ana" in p.name or "Invented" in p.name]


# --- crafted files


@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "a/b", "", "A" * 16, "x" * 400, "abc\x00defgh", ".", "пациент12"]
)
def test_path_tricks_in_identifiers_are_refused(ward, name):
    for ask in (
        ward.patient,
        ward.examinations,
        ward.resume_draft,
        lambda n: ward.set_aside(n, "x"),
        lambda n: ward.revisions(n, "exam0001"),
    ):
        with pytest.raises(InputError, match="not an identifier"):
            ask(name)


@pytest.mark.parametrize("kind", ["symlink", "pipe", "folder"])
def test_what_is_not_a_plain_file_is_neither_followed_nor_waited_for(ward, patient, tmp_path, kind):
    ward.admit(patient, "x")
    path = ward.layout.patients / "patient1.json"
    saved = tmp_path / "outside.json"
    path.rename(saved)
    {"symlink": lambda: path.symlink_to(saved), "pipe": lambda: os.mkfifo(path), "folder": path.mkdir}[kind]()  # fmt: skip
    with pytest.raises(RecordsError, match="cannot be read"):
        ward.patient(patient.id)
    assert ward.beds()[0].trouble


HUGE = 100_000_000


@pytest.mark.parametrize(
    "data",
    [
        b"[" * 200_000,
        b'{"document":' * 50_000,
        b'{"schema": 3, "sha256": "' + b"0" * 64 + b'", "document": {\n' + b"\n" * 1_000_000,
        b'{"about": {"1": {"schema": 5, "sha256": "' + b"0" * 64 + b'"}},\n' + b"\n" * 1_000_000,
        b'{"about": {"1": {"schema": "4"}}}',
        b'{"schema": ' + b"9" * 100_000 + b"}",
        b'{"schema": 1, "schema": 1}',
        b'{"schema": 1e999}',
        b'{"schema": NaN}',
    ],
    ids=[
        "deep list",
        "deep object",
        "lines",
        "lines of today",
        "a word",
        "huge number",
        "twice",
        "infinite",
        "no number",
    ],
)
def test_crafted_bytes_are_refused_in_bounded_time(data):
    start = time.perf_counter()
    with pytest.raises(RecordsError):
        schemas.unpack(data, "x")
    assert time.perf_counter() - start < 1


def test_a_hundred_megabytes_are_refused_without_reading_them_all(ward, patient):
    import tracemalloc

    ward.admit(patient, "x")
    path = ward.layout.patients / "patient1.json"
    with path.open("wb") as file:
        file.truncate(HUGE)
    draft = ward.layout.drafts / "exam0001.draft"
    with draft.open("wb") as file:
        file.truncate(HUGE)
    tracemalloc.start()
    start = time.perf_counter()
    with pytest.raises(RecordsError, match="longer than"):
        ward.patient(patient.id)
    with pytest.raises(RecordsError, match="longer than"):
        ward.resume_draft("exam0001")
    assert time.perf_counter() - start < 1
    assert tracemalloc.get_traced_memory()[1] < 1.2 * schemas.LONGEST
    tracemalloc.stop()


def test_a_hundred_megabyte_archive_line_is_refused(ward, tmp_path):
    file = tmp_path / "big.jsonl"
    with file.open("wb") as out:
        out.write(b'{"archive": "wardexam", "version": 1}\n"')
        out.truncate(HUGE)
    start = time.perf_counter()
    with file.open("rb") as source, pytest.raises(InputError, match="longer than"):
        read_archive(ward, source, by="x")
    assert time.perf_counter() - start < 2


@pytest.mark.parametrize("text", ['{"a": 1, "a": 2}', '{"a": 1e999}', "[NaN]", "[-Infinity]"])
def test_json_that_could_be_read_two_ways_is_refused(text):
    with pytest.raises(ValueError, match=r"twice|too large|no number"):
        stored_record.strict_loads(text)


# --- text that would take hold of a terminal or a spreadsheet


EVIL = "Dr\x1b[2J\x9b31m\x07\u202e"


def test_control_sequences_leave_no_export(ward, patient, examination, knee):
    ward.admit(patient.model_copy(update={"name": EVIL}), EVIL)
    evil = apply(examination, knee).model_copy(update={"examiner": EVIL, "comment": EVIL})
    ward.save(evil, EVIL)
    for text in ("".join(write_archive(ward)), "".join(write_csv(ward))):
        assert all(c.isprintable() or c == "\n" for c in text)
    assert ward.examinations(patient.id)[0].comment == EVIL  # kept as it was typed


@pytest.mark.parametrize("start", "=+-@")
def test_no_name_becomes_a_formula(ward, patient, examination, knee, start):
    ward.admit(patient, "x")
    ward.save(apply(examination, knee).model_copy(update={"examiner": f"{start}cmd"}), "x")
    assert f"'{start}cmd" in list(write_csv(ward))[1]


# --- the audit trail


def trail(ward: Ward):
    return [json.loads(t) for t in (ward.folder / "audit.jsonl").read_text().splitlines()]


def test_who_did_what_to_what_and_when_is_in_the_trail(ward, patient, examination):
    ward.admit(patient, "Dr Ash")
    ward.save(examination, "Dr Ash")
    ward.amend(examination, "Dr Bex", "why", examination.at)
    ward.record("viewed", patient.id, "Dr Cole", "exam0001")
    ward.record("exported", patient.id, "Dr Cole")
    lines = trail(ward)
    assert [(e["event"], e["by"], e["what"]) for e in lines] == [
        ("admitted", "Dr Ash", ""),
        ("saved", "Dr Ash", "exam0001 1, entered by Dr Ash"),
        ("amended", "Dr Bex", "exam0001 2, entered by Dr Ash"),
        ("viewed", "Dr Cole", "exam0001"),
        ("exported", "Dr Cole", ""),
    ]
    assert {e["patient"] for e in lines} == {"patient1"}
    assert "Ana" not in (ward.folder / "audit.jsonl").read_text()


@pytest.mark.parametrize("change", ["alter", "remove", "insert", "swap"])
def test_a_changed_trail_is_found(ward, patient, change):
    ward.admit(patient, "x")
    for event in ("viewed", "copied", "printed"):
        ward.record(event, patient.id, "x")
    path = ward.folder / "audit.jsonl"
    assert audit.verify(path).faults == []
    lines = path.read_text().splitlines(keepends=True)
    match change:
        case "alter":
            lines[1] = lines[1].replace("viewed", "nobody")
        case "remove":
            del lines[1]
        case "insert":
            lines.insert(1, lines[2])
        case "swap":
            lines[1], lines[2] = lines[2], lines[1]
    path.write_text("".join(lines))
    assert audit.verify(path).faults


def test_a_line_cut_off_by_a_crash_is_mended_by_the_next(ward, patient):
    ward.admit(patient, "x")
    path = ward.folder / "audit.jsonl"
    path.write_bytes(path.read_bytes() + b'{"at": "2026')
    assert audit.verify(path).torn
    ward.record("copied", patient.id, "x")
    found = audit.verify(path)
    assert (found.lines, found.faults, found.torn) == (2, [], False)
