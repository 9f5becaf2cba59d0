"""What leaves by any command: cleaned, written or said not to be, and one line for what goes wrong."""

import errno
import io
import os
import subprocess
import sys
import time
import unicodedata
from datetime import UTC, datetime, timedelta, timezone

import pytest

from tests.examinations import examined
from wardexam.commands.main import run
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.text import IGNORABLE, clean
from wardexam.records.paths import copy_demo
from wardexam.records.repository import Arrival, Bed, Summary, clock_line
from wardexam.records.ward import Ward, open_ward

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
# One of every kind that is not to be let through, and every format character.
HIDDEN = "".join(
    sorted({
        *(chr(n) for n in range(0xE0000) if unicodedata.category(chr(n)) == "Cf"),
        *(chr(n) for pair in IGNORABLE for n in pair),
        *map(chr, (*range(9), *range(11, 13), *range(14, 32), *range(127, 160), 0x2028, 0x2029, 0xE000, 0xFFFE)),
    })
)  # fmt: skip
ESCAPE = "\x1b]0;x\x07\x1b[2J\x9b31m"


def is_clean(text):
    return all(
        clean(line.removesuffix("\r")) == line.removesuffix("\r") for line in text.split("\n")
    )


def pieces(size):
    return [HIDDEN[n : n + size] for n in range(0, len(HIDDEN), size)]


@pytest.fixture
def hostile(tmp_path):
    """A ward that holds every hidden character wherever text may stand."""
    ward = open_ward(tmp_path / "ward")
    beds, names, numbers = pieces(11), pieces(59), pieces(23)
    for n in range(len(beds)):
        line = names[n % len(names)] + ESCAPE
        patient = Patient(
            id=f"patient{n:02}", bed=f"A{beds[n]}", name=f"N{line}"[:60], number=numbers[n % len(numbers)],
            remark=(line * 2)[:120], admitted=AT,
        )  # fmt: skip
        ward.admit(patient, line)
        made = examined("knee 2/0 plantar down/up", AT)
        finding = made.findings[0].model_copy(update={"comment": HIDDEN})
        evil = made.model_copy(update={
            "id": f"exam00{n:02}", "patient": patient.id, "examiner": line[:120], "comment": HIDDEN,
            "impression": HIDDEN, "suggestion": HIDDEN, "findings": (finding, *made.findings[1:]),
        })  # fmt: skip
        ward.save(evil, line, Summary(3, "now", True, line))
        ward.amend(evil, line, line[:120], AT, Summary(3, "now", True, line))
    return ward


COMMANDS = [
    ["note", "patient00"], ["note", "patient00", "--utf8"], ["note", "patient01", "--utf8", "--ends", "crlf"],
    ["note", "patient02", "--form", "figure", "--utf8"], ["note", "patient03", "--form", "line", "--utf8"],
    ["referral", "patient00"], ["handover"], ["figure", "patient00"], ["beds"], ["beds", "--discharged"],
    ["export"], ["export", "--csv"], ["export", "--patient", "patient01"], ["check"], ["note", ESCAPE + HIDDEN],
    ["import", "/" + ESCAPE], ["localise", ESCAPE], ["localise", "--signs", f"id={ESCAPE}{HIDDEN} knee 2/0"],
    ["localise", "--signs", HIDDEN], [ESCAPE], ["--" + ESCAPE], ["note", "x", ESCAPE],
    ["note", "x", "--form", ESCAPE], ["beds", "--wording", ESCAPE], ["handover", "--wording", ESCAPE],
]  # fmt: skip


@pytest.mark.parametrize("command", COMMANDS, ids=lambda c: ascii(" ".join(c))[1:40])
def test_nothing_hidden_leaves_by_any_command(hostile, command, monkeypatch, capsys):
    monkeypatch.setenv("WARDEXAM_DB", str(hostile.folder))
    monkeypatch.setenv("WARDEXAM_EXAMINER", f"Dr {ESCAPE}")
    run(command)
    said = capsys.readouterr()
    assert is_clean(said.out)
    assert is_clean(said.err)
    assert said.out + said.err or "--discharged" in command


def test_nothing_hidden_is_in_a_figure_that_is_no_xml(hostile, capsys):
    from xml.etree import ElementTree

    assert run(["figure", "patient00", "--db", str(hostile.folder)]) == 0
    assert ElementTree.fromstring(capsys.readouterr().out).tag.endswith("svg")


@pytest.mark.parametrize("answers", ["", "1\n", "1\nn\n"])
def test_nothing_hidden_is_said_on_plain_lines(hostile, answers, monkeypatch, capsys):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(answers.encode() + b"\xff\n")))
    assert run(["enter", "--db", str(hostile.folder), "--examiner", f"Dr {ESCAPE}"]) == 0
    said = capsys.readouterr().out
    assert "Bed A" in said
    assert is_clean(said)


def test_names_of_files_and_folders_are_cleaned(tmp_path, capsysbinary):
    folder = copy_demo(tmp_path / f"ward{ESCAPE}\n\u202e")
    (folder / "patients" / f"x{ESCAPE}\u2060\nwardexam: all sound.json").write_text("junk")
    (folder / "drafts").mkdir(mode=0o700)
    (folder / "drafts" / f"x{ESCAPE}.draft").write_text("junk")
    with open(os.fsencode(folder / "patients") + b"/\xff\xfe.json", "wb") as file:
        file.write(b"junk")
    for command in (["check"], ["beds"], ["check", "--repair"]):
        assert run([*command, "--db", str(folder)]) in (0, 1, 3)
        said = b"".join(capsysbinary.readouterr()).decode()
        assert is_clean(said), command
        assert "\nwardexam: all sound" not in said


# --- what cannot be written


def wardexam(*arguments, home, **options):
    environ = {**os.environ, "HOME": str(home), "XDG_STATE_HOME": str(home / "state")}
    return subprocess.run(
        [sys.executable, "-m", "wardexam", *arguments], env=environ, text=True, timeout=60, **options
    )  # fmt: skip


@pytest.fixture
def ward(tmp_path):
    folder = copy_demo(tmp_path / "ward")
    bed = next(b for b in open_ward(folder).beds() if b.examinations).patient_id
    (tmp_path / "empty.jsonl").write_text("")
    return folder, bed


WRITING = [
    ["--help"], ["--version"], ["note", "--help"], ["beds"], ["note", "BED"], ["note", "BED", "--ends", "crlf"],
    ["referral", "BED"], ["handover"], ["figure", "BED"], ["localise", "--signs", "knee 2/0"],
    ["localise", "--json", "--signs", "knee 2/0"], ["schema"], ["keys"], ["check"], ["check", "--repair"],
    ["export"], ["export", "--csv"], ["export", "--patient", "BED"], ["enter"], ["import", "--dry-run", "ARCHIVE"],
]  # fmt: skip


@pytest.mark.parametrize("command", WRITING, ids=" ".join)
@pytest.mark.parametrize("unbuffered", [False, True])
def test_a_full_output_is_one_line_and_exit_one(ward, tmp_path, command, unbuffered, monkeypatch):
    folder, bed = ward
    archive = tmp_path / "ward.jsonl"
    if "ARCHIVE" in command:
        archive.write_text(
            wardexam("export", "--db", str(folder), home=tmp_path, stdout=subprocess.PIPE).stdout
        )
        folder = open_ward(tmp_path / "other").folder
    monkeypatch.setenv("PYTHONUNBUFFERED", "1" if unbuffered else "")
    monkeypatch.setenv("WARDEXAM_DB", str(folder))
    command = [{"BED": bed, "ARCHIVE": str(archive)}.get(word, word) for word in command]
    with open("/dev/full", "w") as full:
        done = wardexam(
            *command, home=tmp_path, stdin=subprocess.DEVNULL, stdout=full, stderr=subprocess.PIPE
        )
    assert done.returncode == 1
    assert done.stderr == "wardexam: the output cannot be written: No space left on device\n"


@pytest.mark.parametrize("command", [["beds"], ["export"], ["handover"], ["--version"], ["enter"]])
def test_a_closed_output_is_one_line(ward, tmp_path, command):
    done = subprocess.run(
        ["/bin/sh", "-c", 'exec "$@" >&-', "sh", sys.executable, "-m", "wardexam", *command],
        env={**os.environ, "HOME": str(tmp_path), "WARDEXAM_DB": str(ward[0])},
        stdin=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert (done.returncode, done.stderr.count("\n")) == (1, 1)
    assert "the output" in done.stderr


def test_errors_that_cannot_be_written_change_no_exit_code(ward, tmp_path, monkeypatch):
    monkeypatch.setenv("WARDEXAM_DB", str(ward[0]))
    with open("/dev/full", "w") as full:
        for command, code in (
            (["note", "nobody00"], 2),
            (["localise", "--signs", "kne 1"], 2),
            (["-x"], 2),
        ):
            done = wardexam(*command, home=tmp_path, stdout=full, stderr=full)
            assert done.returncode == code, command


def test_a_reader_that_leaves_ends_it_quietly(ward, tmp_path, monkeypatch):
    monkeypatch.setenv("WARDEXAM_DB", str(ward[0]))
    read, write = os.pipe()
    os.close(read)
    for command in (["beds"], ["export"], ["schema"]):
        done = wardexam(*command, home=tmp_path, stdout=write, stderr=subprocess.PIPE)
        assert (done.returncode, done.stderr) == (0, "")
    os.close(write)


def test_what_the_terminal_cannot_encode_is_no_fault(ward, tmp_path, monkeypatch):
    folder, bed = ward
    opened = open_ward(folder)
    opened.update(opened.patient(bed).model_copy(update={"name": "Žofia 王"}), "x")
    monkeypatch.setenv("PYTHONIOENCODING", "latin-1")
    done = wardexam("note", bed, "--utf8", "--db", str(folder), home=tmp_path, capture_output=True)
    assert (done.returncode, done.stderr) == (0, "")
    assert "?ofia ?" in done.stdout


# --- what goes wrong underneath


@pytest.mark.parametrize(
    "number", [errno.EIO, errno.ESTALE, errno.ENOSPC, errno.EACCES, errno.EMFILE]
)
def test_what_the_system_refuses_is_one_line_and_exit_three(ward, monkeypatch, capsys, number):
    def fails(self, **options):
        raise OSError(number, os.strerror(number), f"/somewhere/{ESCAPE}")

    monkeypatch.setattr(Ward, "beds", fails)
    for command in ("beds", "handover", "export", "enter"):
        assert run([command, "--db", str(ward[0])]) == 3
        said = capsys.readouterr().err
        assert os.strerror(number) in said
        assert said.count("\n") == 1
        assert "fault" not in said
        assert is_clean(said)


# --- times beyond bounds

FAR = [
    datetime.max.replace(tzinfo=UTC),
    datetime.max.replace(tzinfo=timezone(timedelta(hours=-12))),
    datetime(9999, 12, 31, 23, 59, tzinfo=timezone(timedelta(hours=14))),
    datetime(2262, 4, 12, tzinfo=UTC),
    datetime.min.replace(tzinfo=timezone(timedelta(hours=14))),
    datetime.min.replace(tzinfo=UTC),
]


@pytest.mark.parametrize("at", FAR, ids=str)
@pytest.mark.parametrize("zone", ["UTC", "Pacific/Kiritimati", "Etc/GMT+12"])
def test_a_time_beyond_bounds_is_read_by_every_command(tmp_path, at, zone, monkeypatch, capsys):
    import time

    monkeypatch.setenv("TZ", zone)
    time.tzset()
    ward = open_ward(tmp_path / "ward")
    patient = Patient(id="patient1", bed="A1", name="Ana Invented", admitted=at, recheck_hours=168)
    made = examined("knee 2/0", at).model_dump(mode="json")
    made |= {"id": "exam0001", "patient": "patient1", "examiner": "Dr Ash"}
    examination = Examination.model_validate(made)
    ward.take_in([Arrival(patient, (examination,), Summary(0, "none", False, ""))], "x")
    ward.amend(examination, "x", "why", at)
    ward.admit(patient.model_copy(update={"id": "patient2", "discharged": at}), "x")
    for command in (
        ["beds"], ["beds", "--discharged"], ["note", "patient1"], ["referral", "patient1"], ["handover"],
        ["figure", "patient1"], ["export"], ["export", "--csv"], ["check"],
    ):  # fmt: skip
        assert run([*command, "--db", str(ward.folder)]) == 0, (command, capsys.readouterr())
        assert "fault" not in capsys.readouterr().err
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize("at", FAR, ids=str)
@pytest.mark.parametrize("hours", [1, 168, 10**9])
def test_when_the_next_is_due_never_overflows(at, hours):
    bed = Bed("patient1", "A1", "x", None, "unknown", at.isoformat(), "x", 1, None, hours, None)
    due = bed.next_at
    assert due is not None
    assert due.tzinfo is not None
    assert (due - AT).total_seconds() >= (at - AT).total_seconds() or due == datetime.max.replace(
        tzinfo=UTC
    )
    due.timestamp()


@pytest.mark.parametrize("at", FAR, ids=str)
@pytest.mark.parametrize("offset", [-12, 0, 14])
def test_a_clock_before_the_last_examination_is_said_for_any_time(at, offset):
    now = AT.astimezone(timezone(timedelta(hours=offset)))
    assert ("check it" in clock_line(now, at)) == (now < at)


@pytest.mark.parametrize(
    "words",
    [
        ["mark", "A2", "ddev85xu9z4han4e", "--identity", "40-2956", "--why", "x\udcff"],
        ["act", "A2", "cauda_equina", "called", "x\udcff"],
        ["outcome", "A2", "--diagnosis", "x\udcff"],
        ["erase", "gxyxk1owep7is3tr", "--identity", "40-1654", "--why", "x\udcff"],
    ],
    ids=lambda words: words[0],
)
def test_bytes_that_are_no_text_are_kept_as_a_mark_in_their_place(words, tmp_path, capsys):
    folder = copy_demo(tmp_path / "ward")
    assert run([*words, "--db", str(folder)]) == 0
    assert capsys.readouterr().err == ""
    kept = b"".join(f.read_bytes() for f in folder.rglob("*.json*"))
    assert b"x?" in kept
    assert b"udcff" not in kept


def test_a_time_zone_that_is_none_is_refused_in_a_line(monkeypatch, capsys, tmp_path):
    folder = copy_demo(tmp_path / "ward")
    monkeypatch.setenv("TZ", "Foo+99")
    time.tzset()
    try:
        assert run(["beds", "--db", str(folder)]) == 2
    finally:
        monkeypatch.undo()
        time.tzset()
    assert capsys.readouterr().err.startswith("wardexam: TZ=Foo+99: is no time zone (")
