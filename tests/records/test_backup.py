"""A backup of a ward in a folder: all of it, at one moment, while others write; restored whole or not at all."""

import errno
import io
import json
import os
import re
import shutil
import signal
import stat
import subprocess
import time
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.bench.faults_records import Failing, forked, told
from tests.records.conftest import AT
from tests.records.full_ward import SUMMARY, examined, filled
from wardexam.commands.main import run
from wardexam.errors import InputError, RecordsError
from wardexam.exam.entry import Change
from wardexam.exam.examination import Amendment, Patient
from wardexam.records import backup as form
from wardexam.records import folder_backup
from wardexam.records.audit import FIRST, link, verify
from wardexam.records.backup import LONGEST_LINE, Seal, Written, line_of, verified
from wardexam.records.folder_backup import FolderHome, lay_down, snapshot
from wardexam.records.moving import move
from wardexam.records.schemas import pack, read_tables
from wardexam.records.ward import open_ward

TIME = AT.isoformat()


def backup_of(ward):
    with snapshot(ward) as source:
        return b"".join(Written(source))


def restored(text, folder):
    source = io.BytesIO(text)
    lay_down(folder, source, verified(source), by="Dr Cy", at=AT.isoformat())
    return open_ward(folder)


@pytest.fixture
def full(ward):
    return filled(ward)


def past_the_program(ward, name, field, value):
    """Change a patient's details in the file, with a checksum that fits."""
    path = ward.layout.file(name)
    tables = read_tables(path)
    next(iter(tables["patient"].values()))[field] = value
    path.write_bytes(b"".join(pack(tables)[0]))


def kinds_of(text):
    rows = [next(iter(json.loads(line))) for line in text.splitlines()]
    return {kind: rows.count(kind) for kind in rows}


def test_a_backup_holds_every_revision_the_trail_and_every_draft(full):
    text = backup_of(full)
    trail = full.layout.trail.read_bytes()
    assert kinds_of(text) == {
        "backup": 1, "patient": 3, "listed": 3, "examination": 5, "sheet": 2, "outcome": 2,
        "trail": trail.count(b"\n"), "draft": 5, "row": 3 * 3 + 2 * 2, "end": 1,
    }  # fmt: skip
    lines = [json.loads(line) for line in text.splitlines()]
    assert "".join(row["trail"] + "\n" for row in lines if "trail" in row).encode() == trail
    heads = [row["draft"] for row in lines if "draft" in row]
    assert [(d["kind"], d["id"], d["aside"]) for d in heads] == [
        ("draft", "draft001", False), ("draft", "draft002", True), ("draft", "draft003", False),
        ("sheet", "sheet002", False), ("sheet", "sheet003", True),
    ]  # fmt: skip
    rows = "".join(row["row"] + "\n" for row in lines if "row" in row)
    assert rows == "".join(
        (folder / name).read_text()
        for folder, name in (
            (full.layout.drafts, "draft001.draft"), (full.layout.drafts_aside, "draft002.draft"),
            (full.layout.drafts, "draft003.draft"), (full.layout.drafts, "sheet002.sheet"),
            (full.layout.drafts_aside, "sheet003.sheet"),
        )
    )  # fmt: skip
    comments = [row["examination"]["comment"] for row in lines if "examination" in row]
    assert "früher übersehen" in comments


def test_two_backups_of_one_state_are_the_same_bytes(full):
    first = backup_of(full)
    for path in full.folder.rglob("*"):
        if full.layout.drafts not in path.parents:  # of a draft it is kept
            os.utime(path, (0, 0))
    assert backup_of(open_ward(full.folder)) == first


def test_what_is_restored_is_the_same_to_the_byte_and_sound(full, tmp_path):
    text = backup_of(full)
    there = restored(text, tmp_path / "there")
    assert backup_of(there) == text
    assert there.layout.trail.read_bytes() == full.layout.trail.read_bytes()
    for discharged in (False, True):
        assert there.beds(discharged=discharged) == full.beds(discharged=discharged)
    assert there.file("patient1").sheets == full.file("patient1").sheets
    assert there.revisions("patient1", "exam0001") == full.revisions("patient1", "exam0001")
    report = there.check(repair=False, by="x")
    assert sum(line.startswith("restored on 2026-03-02 08:00 by Dr Cy from the backup") for line in report.lines) == 1  # fmt: skip
    assert not [line for line in report.lines if "changed" in line]


def test_the_trail_goes_on_after_a_restore_and_a_change_past_the_program_is_found(full, tmp_path):
    there = restored(backup_of(full), tmp_path / "there")
    before = there.layout.trail.read_bytes()
    there.save(examined("exam0009", of="patient3"), "Dr Bex", SUMMARY)
    trail = verify(there.layout.trail)
    assert trail.faults == []
    assert there.layout.trail.read_bytes().startswith(before)
    assert b"found changed" not in there.layout.trail.read_bytes()
    again = restored(backup_of(there), tmp_path / "again")
    assert backup_of(again) == backup_of(there)
    past_the_program(there, "patient1", "age", 61)
    report = there.check(repair=False, by="x")
    assert any("changed outside this program since audit line" in line for line in report.lines)
    there.save(examined("exam0010", hours=9), "Dr Bex", SUMMARY)
    assert b"found changed" in there.layout.trail.read_bytes()


def test_a_restored_draft_goes_on_where_it_was_left(full, tmp_path):
    there = restored(backup_of(full), tmp_path / "there")
    assert [d.draft_id for d in there.drafts()] == [d.draft_id for d in full.drafts()]
    assert [d.keys for d in there.drafts()] == [d.keys for d in full.drafts()]
    assert [d.last for d in there.drafts()] == pytest.approx([d.last for d in full.drafts()], abs=1e-5)  # fmt: skip
    draft, examination = there.resume_draft("draft001", "Dr Ash")
    assert examination.comment == "übel – draft001"
    draft.append(Change("comment", "", "weiter"))
    assert draft.flush(10)
    draft.close()
    assert there.resume_draft("draft001", "Dr Ash")[1].comment == "weiter"
    _, kept = there.sheet_drafts.resume("sheet002")
    assert kept.sheet.anal_contraction == "no"


def test_a_patient_changed_past_the_program_is_said_and_stays_so_where_it_is_restored(full, tmp_path):  # fmt: skip
    past_the_program(full, "patient3", "age", 61)
    text = backup_of(full)
    assert verified(io.BytesIO(text)).changed == ("patient3",)
    there = restored(text, tmp_path / "there")
    assert backup_of(there) == text
    report = there.check(repair=False, by="x")
    assert [line for line in report.lines if "changed outside" in line and "patient3" in line]


def test_a_trail_that_does_not_hold_is_said_and_kept_as_it_is(full, tmp_path):
    lines = full.layout.trail.read_bytes().splitlines(keepends=True)
    del lines[4]
    full.layout.trail.write_bytes(b"".join(lines))
    text = backup_of(full)
    assert "does not follow" in verified(io.BytesIO(text)).faults[0]
    assert backup_of(restored(text, tmp_path / "there")) == text


def test_a_damaged_file_is_refused_with_its_name_and_what_to_do(full):
    path = full.layout.file("patient2")
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(RecordsError, match=r"patient2\.json.*'wardexam check'"):
        backup_of(full)


def test_a_patient_whose_file_is_gone_is_named_and_everything_else_is_kept(full, tmp_path, capsys):
    full.layout.file("patient2").unlink()
    target, there = tmp_path / "ward.jsonl", tmp_path / "there"
    said = "wardexam: the trail knows patient patient2, of whom nothing is stored: not in it (run 'wardexam check')\n"
    assert run(["backup", "--db", str(full.folder), str(target)]) == 1
    out, err = capsys.readouterr()
    assert (out.splitlines()[0], err) == ("written: 2 patients", said)
    for dry, verb in (["--dry-run"], "it holds"), ([], "restored, and read back the same"):
        assert run(["restore", *dry, "--db", str(there), str(target)]) == 1
        out, err = capsys.readouterr()
        assert (out.splitlines()[0], err) == (f"{verb}: 2 patients", said)
    assert backup_of(open_ward(there)) == target.read_bytes()
    listed = {b.patient_id: bool(b.trouble) for b in open_ward(there).beds()}
    assert listed == {"patient1": False, "patient2": True, "patient3": False}


def test_a_ward_with_a_patient_whose_file_is_gone_is_not_moved(full, tmp_path):
    full.layout.file("patient2").unlink()
    with pytest.raises(RecordsError, match=r"knows patient patient2.*nothing was moved \('wardexam check --repair'"):  # fmt: skip
        move(FolderHome(full.folder), FolderHome(tmp_path / "there"), by="x", at=TIME)
    assert not (tmp_path / "there").exists()
    assert open_ward(full.folder).beds()


def test_a_damaged_draft_is_kept_as_it_is(full, tmp_path):
    path = full.layout.drafts / "draft003.draft"
    path.write_bytes(path.read_bytes() + b'{"crc": "00000000", \xff\x00\n{"torn')
    text = backup_of(full)
    there = restored(text, tmp_path / "there")
    assert (there.layout.drafts / "draft003.draft").read_bytes() == path.read_bytes()[:-6]
    assert backup_of(there) == text


# --- while others write


def consistent(text):
    """Whether each patient's state is that of the trail's last line on them; how many were saved."""
    said, held, of = {}, {}, ""
    for row in map(json.loads, text.splitlines()):
        if "patient" in row:
            of = row["patient"]["id"]
            held.setdefault(of, set())
        elif "examination" in row:
            held[of].add(f"{row['examination']['id']} {row['examination']['revision']}")
        elif "trail" in row:
            event = json.loads(row["trail"])
            if event["event"] in ("saved", "amended"):
                said.setdefault(event["patient"], set()).add(event["what"].partition(",")[0])
    assert {k: v for k, v in held.items() if v} == said
    return sum(map(len, held.values()))


def test_every_backup_is_consistent_while_several_save(tmp_path):
    ward = open_ward(tmp_path / "ward")
    names = [f"patient{n}" for n in range(5)]
    for name in names:
        ward.admit(Patient(id=name, bed="A1", name="Ana Invented", admitted=AT), "x")

    def session(number):
        def work(tell):
            mine = open_ward(tmp_path / "ward")
            mine.patience = 30.0
            for count in range(10_000):
                if (tmp_path / "enough").exists():
                    return
                one = examined(f"s{number}n{count:06}", names[(number + count) % 5], count)
                mine.save(one, f"Dr {number}", SUMMARY)
                tell("saved")
                time.sleep(0.02)  # as a slow disk takes; in memory they would save thousands

        return work

    children = [forked(session(n)) for n in range(3)]
    texts, until = list[bytes](), time.monotonic() + 30
    try:
        # A busy machine may give the sessions no time between two backups.
        while len(texts) < 8 or (len({*map(consistent, texts)}) <= 3 and time.monotonic() < until):
            texts.append(backup_of(ward))
    finally:
        (tmp_path / "enough").touch()
        saved = sum(len(told(reading)) for _, reading in children)
        for child, _ in children:
            assert os.waitpid(child, 0)[1] == 0
    counts = [consistent(text) for text in texts]
    assert counts == sorted(counts)
    assert 0 < counts[-1] <= saved
    assert len(set(counts)) > 3, "nobody saved meanwhile"
    for number in (0, 4, 7):
        there = restored(texts[number], tmp_path / f"there{number}")
        assert backup_of(there) == texts[number]
        assert there.check(repair=False, by="x").sound


def test_a_save_whose_session_died_under_way_is_no_change_past_the_program(full, monkeypatch):
    def work(tell):
        mine = open_ward(full.folder)
        os.replace = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
        mine.save(examined("exam0009", of="patient3"), "Dr Bex", SUMMARY)

    child, reading = forked(work)
    assert told(reading) == []
    os.waitpid(child, 0)
    contents = verified(io.BytesIO(backup_of(full)))
    assert (contents.changed, contents.faults) == ((), ())
    assert b"not carried out" in full.layout.trail.read_bytes()


# --- the file


def test_the_command_writes_a_private_file_once_and_says_how_much(full, tmp_path, capsys):
    target = tmp_path / "ward.jsonl"
    os.umask(0)
    try:
        assert run(["backup", "--db", str(full.folder), str(target)]) == 0
    finally:
        os.umask(0o022)
    assert stat.S_IMODE(target.stat().st_mode) == 0o600
    assert target.read_bytes() == backup_of(full)
    said = capsys.readouterr().out
    assert said.startswith(
        "written: 3 patients\n  5 revisions of examinations, 2 of cord injury sheets, 2 of outcomes\n"
        "  18 lines of the audit trail, 5 drafts\nsha256 "
    )
    assert max(map(len, said.splitlines())) <= 80
    assert json.loads(target.read_bytes().splitlines()[-1])["end"]["sha256"] in said
    assert run(["backup", "--db", str(full.folder), str(target)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir() if "jsonl" in p.name] == ["ward.jsonl"]


def test_a_backup_that_cannot_be_written_leaves_nothing(full, tmp_path, capsys):
    place = tmp_path / "place"
    place.mkdir()
    with Failing(3, errno.ENOSPC, forever=True).installed():
        code = run(["backup", "--db", str(full.folder), str(place / "ward.jsonl")])
    assert code == RecordsError.exit_code
    assert "No space left" in capsys.readouterr().err
    assert [*place.iterdir()] == []


@pytest.mark.parametrize("name", ["ward.jsonl", "a**b.jsonl", "r[x", "*"])
def test_what_was_killed_under_way_to_a_name_is_taken_away_by_the_next_and_nothing_else(full, tmp_path, capsys, name):  # fmt: skip
    dead = subprocess.Popen(["true"])
    dead.wait()
    target, there = tmp_path / name, tmp_path / "place" / name
    there.parent.mkdir()
    left = (
        tmp_path / f".{name}.{dead.pid}.backup",
        there.parent / f".{name}.{dead.pid}.1f.restoring",
    )
    others = (
        tmp_path / f".other.{dead.pid}.backup",
        there.parent / f".other.{dead.pid}.1f.restoring",
    )
    for file, folder in (left, others):
        file.write_bytes(b"{")
        (folder / "patients").mkdir(parents=True)
    assert run(["backup", "--db", str(full.folder), str(target)]) == 0
    assert run(["restore", "--db", str(there), str(target)]) == 0
    assert not any(path.exists() for path in left)
    assert all(path.exists() for path in others)


def test_an_archive_says_what_it_leaves_out_and_a_backup_what_it_holds(capsys):
    for words, said in (("export", r"Left out: the\s+audit trail, the drafts"), ("backup", "the whole audit trail and every draft")):  # fmt: skip
        assert run([words, "--help"]) == 0
        assert re.search(said, capsys.readouterr().out)


# --- what is refused


def resealed(rows):
    """Lines that were changed, with an end that fits them."""
    seal = Seal()
    text = b"".join(
        seal.over(json.dumps(row, sort_keys=True).encode() + b"\n") for row in rows[:-1]
    )
    end = rows[-1]["end"]
    return text + seal.end(end["changed"], end["faults"])


def place_of(rows, kind, number=0):
    return [n for n, row in enumerate(rows) if kind in row][number]


def twice(kind):
    return lambda rows: rows.insert(place_of(rows, kind) + 1, rows[place_of(rows, kind)])


def put(of, **fields):
    return lambda rows: rows[place_of(rows, of)][of].update(fields)


CHANGED = {
    "another patient's examination": (put("examination", patient="patient3"), "another patient"),
    "an examination twice": (twice("examination"), "given twice"),
    "a sheet twice": (twice("sheet"), "given twice"),
    "details twice": (twice("patient"), "given twice"),
    "an outcome twice": (twice("outcome"), "given twice"),
    "an answer that cannot be": (put("examination", at="tomorrow"), "backup line"),
    "a field of nobody": (put("patient", shoes=43), "backup line"),
    "a ward list that cannot be": (put("listed", last_at="yesterday"), "ward list"),
    "patients out of order": (lambda rows: rows.insert(place_of(rows, "patient", 2), rows[1]), "another patient"),
    "a patient twice": (lambda rows: rows.insert(place_of(rows, "trail"), rows[1]), "out of its place|no line"),
    "a trail before the patients": (lambda rows: rows.insert(1, rows.pop(place_of(rows, "trail"))), "out of its place"),
    "a row of no draft": (lambda rows: rows.insert(place_of(rows, "draft"), {"row": "x"}), "not a line"),
    "a draft without a row": (lambda rows: rows.pop(place_of(rows, "row")), "lacks rows"),
    "a draft twice": (twice("draft"), "lacks rows"),
    "a draft that names a path": (put("draft", id="../../ward"), "not a line"),
    "a draft with another ending": (put("draft", kind="json"), "not a line"),
    "a line of another kind": (lambda rows: rows.insert(1, {"note": "x"}), "not a line"),
    "a trail of two lines in one": (lambda rows: rows[place_of(rows, "trail")].update(trail="a\nb"), "not a line"),
    "a trail with a line left out": (lambda rows: rows.pop(place_of(rows, "trail", 2)), "does not fit"),
    "a newer form": (put("backup", version=2), "newer program.*update wardexam"),
    "newer records": (put("backup", schema=99), "newer program.*update wardexam"),
    "another head": (put("backup", more=1), "not a backup"),
    "no number in the head": (put("backup", version="1"), "not a backup"),
}  # fmt: skip


def refused(text, tmp_path, capsys):
    """The one line in which a backup is refused; nothing was made."""
    file, place = tmp_path / "bad.jsonl", tmp_path / "place"
    file.write_bytes(text)
    for words in (["--db", str(place)], ["--dry-run"]):
        assert run(["restore", *words, str(file)]) == InputError.exit_code
        said = capsys.readouterr().err.splitlines()
        assert len(said) == 1, said
        assert not place.exists()
        assert not [p for p in tmp_path.iterdir() if "restoring" in p.name]
    return said[0]


@pytest.mark.parametrize("what", CHANGED)
def test_a_backup_that_was_changed_is_refused_even_with_an_end_that_fits(full, tmp_path, capsys, what):  # fmt: skip
    change, fault = CHANGED[what]
    rows = [json.loads(line) for line in backup_of(full).splitlines()]
    change(rows)
    line = refused(resealed(rows), tmp_path, capsys)
    assert re.search(fault, line)
    assert "nothing was restored" in line


def test_a_backup_cut_anywhere_or_with_a_flipped_bit_is_refused(full):
    text = backup_of(full)
    ends = [n + 1 for n, byte in enumerate(text[:-1]) if byte == 10]
    for cut in [*ends, *range(1, len(text), 997), len(text) - 1]:
        with pytest.raises(InputError, match="nothing was restored"):
            verified(io.BytesIO(text[:cut]))
    for place in range(0, len(text), 499):
        bad = bytearray(text)
        bad[place] ^= 1
        with pytest.raises(InputError, match="nothing was restored"):
            verified(io.BytesIO(bytes(bad)))


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (b"", "empty"),
        (b'{"archive": "wardexam", "version": 4}\n{}\n', "archive.*wardexam import"),
        (b"PK\x03\x04 not ours\n", "not a backup"),
        (b'{"patient": {}}\n', "not a backup"),
        (b"\xff\xfe\n", "not a backup"),
    ],
)
def test_what_is_no_backup_is_refused(tmp_path, capsys, text, fault):
    assert re.search(fault, refused(text, tmp_path, capsys))


def test_what_stands_after_the_end_or_is_given_twice_over_is_refused(full, tmp_path, capsys):
    text = backup_of(full)
    assert "after the end" in refused(text + text, tmp_path, capsys)


def test_a_line_that_is_too_long_is_refused(full, tmp_path, capsys, monkeypatch):
    text = backup_of(full)
    longest = max(map(len, text.splitlines(keepends=True)))
    assert longest < LONGEST_LINE
    monkeypatch.setattr(form, "LONGEST_LINE", longest - 1)
    assert f"longer than {longest - 1} bytes" in refused(text, tmp_path, capsys)


def test_a_file_that_is_not_there_or_is_a_pipe_is_refused(tmp_path, capsys):
    os.mkfifo(tmp_path / "pipe")
    for name in ("nothing", "pipe", "."):
        assert run(["restore", "--dry-run", str(tmp_path / name)]) == 2
        assert len(capsys.readouterr().err.splitlines()) == 1


# --- laid down


def test_the_command_restores_and_a_dry_run_only_says(full, tmp_path, capsys):
    file, place = tmp_path / "ward.jsonl", tmp_path / "deep" / "place"
    file.write_bytes(backup_of(full))
    assert run(["restore", "--dry-run", "--db", str(place), str(file)]) == 0
    assert capsys.readouterr().out.startswith("it holds: 3 patients")
    assert not place.exists()
    assert run(["restore", "--db", str(place), str(file)]) == 0
    assert capsys.readouterr().out.startswith("restored, and read back the same: 3 patients")
    assert stat.S_IMODE(place.stat().st_mode) == 0o700
    modes = {stat.S_IMODE(p.stat().st_mode) for p in place.rglob("*") if p.is_file()}
    assert modes == {0o600}
    assert backup_of(open_ward(place)) == file.read_bytes()


@pytest.mark.parametrize("there", ["a ward", "a file", "the same ward, and more"])
def test_a_place_that_is_not_empty_is_refused(full, tmp_path, capsys, there):
    file, place = tmp_path / "ward.jsonl", tmp_path / "place"
    file.write_bytes(backup_of(full))
    if there == "a file":
        place.mkdir()
        (place / "letter.txt").write_text("dear")
    elif there == "a ward":
        open_ward(place)
    else:
        restored(file.read_bytes(), place).record("viewed", "patient1", "x")
    before = {p: p.read_bytes() for p in place.rglob("*") if p.is_file()}
    assert run(["restore", "--db", str(place), str(file)]) == RecordsError.exit_code
    assert "is not empty; nothing was restored" in capsys.readouterr().err
    assert {p: p.read_bytes() for p in place.rglob("*") if p.is_file()} == before


def test_what_is_restored_already_is_said_and_left(full, tmp_path, capsys):
    file, place = tmp_path / "ward.jsonl", tmp_path / "place"
    file.write_bytes(backup_of(full))
    restored(file.read_bytes(), place)
    before = {p: p.read_bytes() for p in place.rglob("*") if p.is_file()}
    assert run(["restore", "--db", str(place), str(file)]) == 0
    assert capsys.readouterr().out.startswith("is restored already: 3 patients")
    assert {p: p.read_bytes() for p in place.rglob("*") if p.is_file()} == before


def test_an_empty_folder_will_do(full, tmp_path):
    (tmp_path / "place").mkdir()
    text = backup_of(full)
    assert backup_of(restored(text, tmp_path / "place")) == text


def test_every_failing_call_of_a_restore_leaves_nothing(full, tmp_path):
    text = backup_of(full)
    source = io.BytesIO(text)
    contents = verified(source)
    place = tmp_path / "under" / "place"
    number, failed = 0, "one"
    while failed:
        number += 1
        source.seek(0)
        fault = Failing(number, errno.ENOSPC)
        with suppress(RecordsError), fault.installed():
            lay_down(place, source, contents, by="x", at=AT.isoformat())
        failed = fault.failed
        if place.exists():  # it went on after half a write, or nothing failed any more
            assert backup_of(open_ward(place)) == text
            shutil.rmtree(place)
        else:
            assert failed
            assert not place.parent.exists() or [*place.parent.iterdir()] == []
    assert number > 15


@pytest.mark.parametrize("at", [1, 5, 12])
def test_on_a_full_disk_a_restore_says_so_in_one_line(full, tmp_path, capsys, at):
    file = tmp_path / "ward.jsonl"
    file.write_bytes(backup_of(full))
    with Failing(at, errno.ENOSPC, forever=True).installed():
        assert run(["restore", "--db", str(tmp_path / "place"), str(file)]) == 3
    (line,) = capsys.readouterr().err.splitlines()
    assert re.search("nothing was restored: No space left on device.*free the disk", line)
    assert not (tmp_path / "place").exists()


@pytest.mark.long
def test_killed_at_any_step_of_a_restore_it_can_be_restored_again(full, tmp_path, monkeypatch):
    text = backup_of(full)
    steps = 0
    for at in range(1, 10_000, 9):
        place = tmp_path / f"place{at}"

        def work(tell, at=at, place=place):
            count = 0
            for name in ("write", "writev", "fsync", "replace", "rename", "mkdir", "utime", "open"):
                real = getattr(os, name)

                def dying(*given, real=real, **more):
                    nonlocal count
                    count += 1
                    if count == at:
                        os.kill(os.getpid(), signal.SIGKILL)
                    return real(*given, **more)

                setattr(os, name, dying)
            source = io.BytesIO(text)
            lay_down(place, source, verified(source), by="x", at=AT.isoformat())
            tell("done")

        child, reading = forked(work)
        done = told(reading)
        os.waitpid(child, 0)
        steps += 1
        if not done:
            if place.exists():  # killed after the one step that puts it in its place
                assert backup_of(open_ward(place)) == text
            else:
                there = restored(text, place)
                assert backup_of(there) == text
            assert not [p for p in tmp_path.iterdir() if "restoring" in p.name]
            continue
        assert backup_of(open_ward(place)) == text
        break
    assert steps > 4


def test_where_a_ward_was_lost_with_its_disk_the_backup_comes_back_and_what_is_missing_is_said(full, tmp_path):  # fmt: skip
    text = backup_of(full)
    full.save(examined("exam0009", of="patient3"), "Dr Bex", SUMMARY)
    full.record("exported", "patient1", "Dr Bex")
    shutil.rmtree(full.folder)
    with pytest.raises(RecordsError, match="a ward stood here"):
        open_ward(full.folder)
    there = restored(text, full.folder)
    assert backup_of(there) == text
    report = there.check(repair=False, by="x")
    assert any("the audit trail was cut short" in line for line in report.lines)


def test_an_older_details_revision_of_a_server_is_kept_through_saves(full, tmp_path):
    rows = [json.loads(line) for line in backup_of(full).splitlines()]
    before = dict(rows[1]["patient"]) | {"revision": 1, "bed": "C7"}
    rows.insert(1, {"patient": before})
    text = resealed(rows)
    there = restored(text, tmp_path / "there")
    assert backup_of(there) == text
    there.save(examined("exam0009", hours=9), "Dr Bex", SUMMARY)
    assert there.patient("patient1").bed == "B9"
    assert b'"bed": "C7"' in backup_of(there)
    assert there.check(repair=False, by="x").lines[-1].startswith("3 patients")


def test_a_shared_ward_is_its_groups(full, tmp_path):
    source = io.BytesIO(backup_of(full))
    lay_down(tmp_path / "there", source, verified(source), shared=True, by="x", at=AT.isoformat())
    found = {stat.S_IMODE(p.stat().st_mode) for p in (tmp_path / "there").rglob("*") if p.is_file()}
    assert found == {0o660}
    ward = open_ward(tmp_path / "there", shared=True, begin=False)
    assert len(ward.beds()) == 2


def test_who_is_not_read_back_the_same_is_not_put_in_place(full, tmp_path, monkeypatch):
    real = folder_backup.pack

    def other(tables):
        if tables.get("outcomes"):
            tables = {name: rows for name, rows in tables.items() if name != "outcomes"}
        return real(tables)

    text = backup_of(full)
    monkeypatch.setattr(folder_backup, "pack", other)
    with pytest.raises(RecordsError, match="read back as something else; nothing was restored"):
        restored(text, tmp_path / "there")
    assert not (tmp_path / "there").exists()


def test_a_ward_that_was_moved_is_opened_by_nobody_and_says_where_it_went(full):
    there = Path(full.folder)
    other = open_ward(there)
    (there / "moved").write_text(json.dumps({"to": "/srv/new"}))
    with pytest.raises(RecordsError, match=r"moved to /srv/new.*remove the file 'moved'"):
        open_ward(there)
    with pytest.raises(RecordsError, match="moved to /srv/new"):
        other.save(examined("exam0009", of="patient3"), "Dr Bex", SUMMARY)
    with pytest.raises(RecordsError, match="moved to /srv/new"):
        other.start_draft(examined("exam0011"), "x")
    (there / "moved").unlink()
    assert open_ward(there).beds() == full.beds()


def test_lines_of_text_that_is_no_text_come_back(tmp_path):
    raw = bytes(range(256)).replace(b"\n", b"")
    assert form.raw_of(json.loads(line_of("row", form.text_of(raw)))["row"]) == raw


# --- whatever a ward holds

TEXT = st.text(max_size=20)
LINE = st.text(st.characters(exclude_categories=("C", "Zl", "Zp", "Zs")), min_size=1, max_size=20)


class Drawn:
    """A ward that was never kept anywhere."""

    def __init__(self, held, trail, drafts):
        self.held, self.lines, self.kept, self.changed, self.missing = held, trail, drafts, (), ()

    def patients(self):
        return (line for held in sorted(self.held, key=lambda h: h.id) for line in held.lines())

    def trail(self):
        return iter(self.lines)

    def drafts(self):
        return iter(sorted(self.kept, key=lambda d: d.order))


@st.composite
def held(draw, name):
    details = [
        Patient(id=name, bed="A1", name=draw(LINE), remark=draw(LINE), admitted=AT, revision=n)
        for n in range(1, draw(st.integers(2, 4)))
    ]
    revisions = []
    for number in range(draw(st.integers(0, 3))):
        for revision in range(1, draw(st.integers(2, 3))):
            one = examined(f"exam{number:04}", name, number, draw(LINE))
            why = Amendment(by="Dr Bex", at=AT, why="again") if revision > 1 else None
            revisions.append(one.model_copy(update={"revision": revision, "amendment": why}))
    listed = {"summary": None, "last_at": None, "last_by": draw(TEXT), "examinations": len(revisions)}  # fmt: skip
    return form.Held(tuple(details), listed, tuple(revisions))


@st.composite
def drawn_wards(draw, rows):
    names = [f"patient{n}" for n in range(draw(st.integers(0, 3)))]
    drafts = [
        form.KeptDraft(
            draw(st.sampled_from(("draft", "sheet"))), f"draft{n:04}", aside, suffix if aside else "",
            form.moment(draw(st.integers(0, 4 * 10**15))), tuple(draw(st.lists(rows, max_size=3))),
        )
        for n, aside, suffix in draw(
            st.lists(st.tuples(st.integers(0, 2), st.booleans(), st.sampled_from(("", "ab12"))), max_size=4)
        )
    ]  # fmt: skip
    trail, before = [], FIRST
    for n, (name, what) in enumerate(((m, w) for m in names for w in draw(st.lists(TEXT, min_size=1, max_size=3))), 1):  # fmt: skip
        row = {"at": TIME, "by": what, "event": "saved", "login": "x", "n": n, "patient": name, "what": what, "record": f"{n:064x}"}  # fmt: skip
        before = link(before, row)
        trail.append(json.dumps({**row, "hash": before}, sort_keys=True).encode())
    return Drawn([draw(held(name)) for name in names], trail, {d.order: d for d in drafts}.values())


@settings(
    max_examples=settings.default.max_examples * 2 // 5,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    deadline=None,
)
@given(drawn_wards(st.binary(max_size=20).map(lambda raw: raw.replace(b"\n", b"") + b".")))
def test_whatever_a_ward_holds_comes_back_to_the_byte(tmp_path, drawn):
    text = b"".join(Written(drawn))
    source = io.BytesIO(text)
    home = FolderHome(tmp_path / os.urandom(8).hex())
    home.lay_down(source, verified(source), by="x", at=TIME)
    with home.reading() as standing:
        assert b"".join(Written(standing)) == text
    with home.snapshot() as standing:
        assert standing.changed == ()


def test_a_real_disk_that_fills_up_keeps_nothing_of_a_restore_or_backup(full, tmp_path, capsys):
    file, place = tmp_path / "ward.jsonl", tmp_path / "small"
    file.write_bytes(backup_of(full))
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=48k", "tmpfs", str(place)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("no right to mount here")
    try:
        (place / "filler").write_bytes(b"x" * 28_000)
        assert run(["restore", "--db", str(place / "ward"), str(file)]) == 3
        assert "No space left" in capsys.readouterr().err
        assert run(["backup", "--db", str(full.folder), str(place / "ward.jsonl")]) == 3
        assert "No space left" in capsys.readouterr().err
        assert [p.name for p in place.iterdir()] == ["filler"]
        (place / "filler").unlink()
        assert run(["backup", "--db", str(full.folder), str(place / "ward.jsonl")]) == 0
        assert (place / "ward.jsonl").read_bytes() == file.read_bytes()
    finally:
        subprocess.run(["umount", str(place)], check=True)
