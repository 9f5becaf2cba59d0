"""A ward goes out and comes in again, to the byte; what is not right comes in not at all."""

import csv
import io
import json
import tracemalloc
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from tests.records.conftest import AT, of_then
from tests.records.memory import MemoryWard
from tests.records.sealing import sealed
from wardexam.errors import InputError, RecordsError, WardexamError
from wardexam.exam.entry import Change, apply
from wardexam.exam.outcome import Outcome
from wardexam.exam.typed import read_line
from wardexam.note.handover import headline_of
from wardexam.records import archive, bulk_import, schemas
from wardexam.records.archive import read_archive, write_archive, write_csv
from wardexam.records.repository import Arrival, Summary
from wardexam.records.ward import open_ward
from wardexam.saved import Saved, write_act
from wardexam.session import Session
from wardexam.visit import Visit

OF_VERSION_1 = Path(__file__).parent / "archive-1" / "ward.jsonl"
OF_VERSION_2 = Path(__file__).parent / "archive-2" / "ward.jsonl"
OF_VERSION_3 = Path(__file__).parent / "archive-3" / "ward.jsonl"
OF_VERSION_4 = Path(__file__).parent / "archive-4" / "ward.jsonl"
OF_VERSION_5 = Path(__file__).parent / "archive-5" / "ward.jsonl"
OF_VERSION_6 = Path(__file__).parent / "archive-6" / "ward.jsonl"


@pytest.fixture
def full(ward, patient, examination, knee):
    ward.admit(patient, "x")
    ward.save(apply(examination, knee), "x")
    ward.amend(examination, "x", "why", examination.at)
    gone = patient.model_copy(update={"id": "patient2", "name": "Bo Ïnvented"})
    ward.admit(gone, "x")
    ward.save(examination.model_copy(update={"patient": "patient2"}), "x")
    ward.discharge(ward.patient("patient2"), patient.admitted + timedelta(days=1), "x")
    return ward


def archive_of(ward, **options):
    return "".join(write_archive(ward, **options))


def take(ward, text, **options):
    return read_archive(ward, io.BytesIO(text.encode()), by="x", **options)


@pytest.mark.parametrize("keeper", ["folder", "memory"])
def test_an_archive_round_trips_to_the_byte(full, tmp_path, keeper):
    text = archive_of(full)
    other = open_ward(tmp_path / "other") if keeper == "folder" else MemoryWard()
    counts = take(other, text)
    assert (counts.patients, counts.examinations) == (2, 3)
    assert archive_of(other) == text
    assert [len(other.beds(discharged=d)) for d in (False, True)] == [1, 1]


def test_one_patient_goes_out_alone(full):
    head, patient, examination, end = map(
        json.loads, archive_of(full, patients=["patient2"]).splitlines()
    )
    assert head == {"archive": "wardexam", "version": 7}
    assert patient["patient"]["id"] == examination["examination"]["patient"] == "patient2"
    assert (end["end"]["patients"], end["end"]["examinations"]) == (1, 1)


def test_a_dry_run_counts_and_adds_nothing(full, tmp_path):
    other = open_ward(tmp_path / "other")
    counts = take(other, archive_of(full), dry_run=True)
    assert (counts.patients, counts.examinations) == (2, 3)
    assert other.beds() == other.beds(discharged=True) == ()


def test_progress_is_told_patient_by_patient(full, tmp_path):
    told = []
    take(open_ward(tmp_path / "other"), archive_of(full), progress=lambda *t: told.append(t))
    assert told == [("checked", 1), ("checked", 2), ("added", 1), ("added", 2)]


def test_the_ward_list_shows_the_urgency_of_what_came_in(full, tmp_path):
    other = open_ward(tmp_path / "other")
    seen = []

    def summarise(examinations):
        seen.append([e.revision for e in examinations])
        return Summary(3, "now", False, "a line")

    take(other, archive_of(full), summarise=summarise)
    assert seen == [[2], [1]]
    assert other.beds()[0].summary.urgency_word == "now"


def test_who_is_on_the_ward_already_stops_the_whole_archive(full):
    text = sealed(archive_of(full).replace("patient2", "patient3"))
    before = [archive_of(full)]
    with pytest.raises(InputError, match="already"):
        take(full, text)
    assert [archive_of(full)] == before


BAD = {
    "not json": "[",
    "another thing": "{}",
    "a path": '{"patient": {"id": "../x"}}',
    "deep": "[" * 100_000,
    "a field more": '{"patient": {}, "more": 1}',
    "a list": "[1, 2]",
    "a text": '"patient"',
    "null": '{"patient": null}',
    "no end": '{"end": null}',
    "a second head": '{"archive": "wardexam", "version": 3}',
    "huge number": '{"patient": {"age": ' + "9" * 10_000 + "}}",
    "half a character": '{"patient": {"id": "patient9", "bed": "A\\ud800", "name": "x", "admitted": "2026-03-02T08:00:00Z"}}',
    "a year that is none": '{"patient": {"id": "patient9", "bed": "A", "name": "x", "admitted": "10000-03-02T08:00:00Z"}}',
    "a blank line": "",
}


@pytest.mark.parametrize("line", BAD.values(), ids=list(BAD))
def test_a_bad_line_is_named_and_nothing_is_added(full, tmp_path, line):
    other = open_ward(tmp_path / "other")
    lines = archive_of(full).splitlines(keepends=True)
    with pytest.raises(WardexamError, match="archive line 5"):
        take(other, sealed("".join([*lines[:4], line + "\n", *lines[4:]])))
    assert other.beds() == other.beds(discharged=True) == ()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda rows: rows[1]["examination"].update(patient="patient9"), "another patient"),
        (lambda rows: rows.insert(2, rows[1]), "twice"),
        (lambda rows: rows.pop(1), "lacks revision 1"),
        (lambda rows: rows.insert(1, rows.pop(2)), "lacks revision 1"),
        (lambda rows: rows[1]["examination"]["findings"][0].update(answer="9"), "findings"),
        (lambda rows: rows[1]["examination"].update(at="2026-03-02T08:00:00"), "at"),
        (lambda rows: rows.pop(0), "not a line of an archive"),
        (lambda rows: rows.append(rows[0]), "already"),
    ],
)
def test_what_is_not_consistent_is_refused(full, tmp_path, change, said):
    head, *lines, end = archive_of(full).splitlines(keepends=True)
    rows = [json.loads(line) for line in lines[:3]]
    change(rows)
    text = "".join([head, *(json.dumps(row) + "\n" for row in rows), end])
    other = open_ward(tmp_path / "other")
    with pytest.raises(InputError, match=said):
        take(other, sealed(text))
    assert other.beds() == ()


HEADS = [
    "", "{}\n", '{"archive": "wardexam", "version": 7}\n', '{"archive": "wardexam", "version": "2"}\n',
    '{"archive": "wardexam", "version": true}\n', '{"archive": "another", "version": 3}\n',
    '{"archive": "wardexam"}\n', '{"archive": "wardexam", "version": 3, "more": 1}\n', "[]\n", "\n",
    '{"archive": "wardexam", "version": 3, "left_out": 1}\n',
    '{"archive": "wardexam", "version": 1, "left_out": [["patient1", "x"]]}\n',
]  # fmt: skip


@pytest.mark.parametrize("head", HEADS)
def test_another_kind_of_file_is_refused(ward, head):
    with pytest.raises(InputError, match="archive"):
        take(ward, head)


# --- cut or changed


def test_an_archive_cut_anywhere_is_refused_and_nothing_is_added(full, tmp_path):
    data = archive_of(full).encode()
    other = open_ward(tmp_path / "other")
    lines = [n + 1 for n, byte in enumerate(data) if byte == 10]
    for cut in {*lines[:-1], *range(0, len(data), 7), len(data) - 1}:
        with pytest.raises(InputError):
            read_archive(other, io.BytesIO(data[:cut]), by="x")
    for end in lines[:-1]:
        with pytest.raises(InputError, match="it was cut; nothing was added"):
            read_archive(other, io.BytesIO(data[:end]), by="x")
    assert other.beds() == other.beds(discharged=True) == ()
    assert not list(other.layout.staging.iterdir())


@pytest.mark.long
@pytest.mark.parametrize("bit", [1, pytest.param(0x20, marks=pytest.mark.long)])
def test_an_archive_with_any_byte_changed_is_refused(full, tmp_path, bit):
    data = archive_of(full).encode()
    other = open_ward(tmp_path / "other")
    for place in range(len(data)):
        changed = data[:place] + bytes([data[place] ^ bit]) + data[place + 1 :]
        with pytest.raises(InputError):
            read_archive(other, io.BytesIO(changed), by="x", dry_run=True)
    with pytest.raises(InputError, match="after the end"):
        read_archive(other, io.BytesIO(data + b"\n"), by="x")


def test_lines_taken_out_or_swapped_are_told_by_the_end(full, ward):
    lines = archive_of(full).splitlines(keepends=True)
    swapped = lines[:1] + lines[4:6] + lines[1:4] + lines[6:]
    for change in (lines[:4] + lines[6:], lines[:3] + lines[4:], swapped):
        with pytest.raises(InputError, match="cut or changed"):
            take(MemoryWard(), "".join(change))


def test_an_archive_that_changes_between_its_two_readings_adds_nothing(full, tmp_path):
    good = archive_of(full).encode()

    class Changing(io.BytesIO):
        def seek(self, *given):
            self.truncate(good.rindex(b"\n", 0, len(good) - 1) + 1)
            return super().seek(*given)

    other = open_ward(tmp_path / "other")
    with pytest.raises(InputError, match="it was cut"):
        read_archive(other, Changing(good), by="x")
    assert other.beds() == other.beds(discharged=True) == ()
    assert not list(other.layout.staging.iterdir())


# --- versions 3, 2 and 1


@pytest.mark.parametrize(
    ("archive", "added"),
    [
        (OF_VERSION_2, {"raised", "reading", "in_error", "entered"}),
        (OF_VERSION_3, {"reading", "in_error", "entered"}),
        (OF_VERSION_4, {"in_error", "entered"}),
        (OF_VERSION_5, {"entered"}),
        (OF_VERSION_6, set()),
    ],
)
def test_an_archive_of_an_earlier_version_is_read_with_all_that_it_holds(tmp_path, archive, added):
    text = archive.read_text()
    ward = open_ward(tmp_path / "ward")
    counts = take(ward, text)
    assert (counts.patients, counts.examinations, counts.sealed) == (13, 18, True)
    found = [json.loads(line) for line in archive_of(ward).splitlines()[1:-1]]
    wanted = [json.loads(line) for line in text.splitlines()[1:-1]]
    assert of_then(found, wanted) == wanted
    pairs = [(f["examination"], w["examination"]) for f, w in zip(found, wanted, strict=True) if "examination" in w]  # fmt: skip
    assert all(set(f) - set(w) == added for f, w in pairs)
    assert all(set(f["context"]) - set(w["context"]) == {"setting"} for f, w in pairs)


def test_what_was_done_and_since_when_goes_out_and_comes_in(tmp_path, ward, patient):
    hours = iter(AT + timedelta(hours=n) for n in range(99))
    session = Session(ward, "Dr Ash", hours.__next__, iter(("exam0001", "exam0002")).__next__)
    ward.admit(patient, "x")
    for _ in range(2):
        visit = Visit.begin(session, patient.id)
        visit.change(Change("flag", "saddle_numb", "yes"))
        visit.act("cauda_equina", "asked")
        visit.save(None)
    write_act(session, patient.id, "cauda_equina", "lowered", "MRI normal")
    text = archive_of(ward)
    other = open_ward(tmp_path / "other")
    take(other, text, summarise=headline_of)
    assert archive_of(other) == text
    last = other.examinations(patient.id)[-1]
    assert last == ward.examinations(patient.id)[-1]
    assert [a.kind for a in last.acts] == ["asked", "lowered"]
    assert [len(r.acts) for r in last.raised] == [1]
    assert other.beds() == ward.beds()
    assert Saved(replace(session, ward=other), patient.id).named(None).urgency().level == 1


def test_an_archive_of_version_1_is_read_and_said_to_have_no_end(tmp_path):
    text = OF_VERSION_1.read_text()
    rows = [json.loads(line) for line in text.splitlines()[1:]]
    ward = open_ward(tmp_path / "ward")
    counts = take(ward, text)
    assert (counts.patients, counts.examinations, counts.sealed) == (3, 7, False)
    found = [json.loads(line) for line in archive_of(ward).splitlines()[1:-1]]
    wanted = []
    for row in rows:
        wanted += [{"patient": row["patient"]}, *({"examination": e} for e in row["examinations"])]
    assert of_then(found, wanted) == wanted
    assert take(open_ward(tmp_path / "again"), archive_of(ward)).sealed


@pytest.mark.long
def test_a_long_line_of_version_1_is_read(tmp_path, patient, examination):
    words = "x" * 2000
    made = [many(examination, n, comment=words, impression=words) for n in range(5_200)]
    row = {
        "patient": patient.model_dump(mode="json"),
        "examinations": [e.model_dump(mode="json") for e in made],
    }
    text = '{"archive": "wardexam", "version": 1}\n' + json.dumps(row) + "\n"
    assert 20_000_000 < len(text) < 64_000_000
    ward = open_ward(tmp_path / "ward")
    assert take(ward, text).examinations == 5_200


# --- what exports must import


def many(examination, number, **fields):
    at = examination.at + timedelta(minutes=number)
    return examination.model_copy(update={"id": f"exam{number:05}", "at": at, **fields})


@pytest.mark.long
@pytest.mark.parametrize("count", [600, pytest.param(3400, marks=pytest.mark.long)])
def test_a_patient_with_very_many_full_examinations_comes_back(
    tmp_path, patient, examination, count
):
    full = read_line("knee 2/0 ankle 2/2 plantar down/up biceps 2/2 power_leg 4/4 power_arm 5/5")
    findings = full.spelled_out().findings
    ward, other = open_ward(tmp_path / "ward"), open_ward(tmp_path / "other")
    made = tuple(many(examination, n, findings=findings, comment="é" * 900) for n in range(count))
    ward.take_in(
        [Arrival(patient, made), Arrival(patient.model_copy(update={"id": "patient2"}))], "x"
    )
    path = tmp_path / "archive"
    with path.open("w") as file:
        file.writelines(write_archive(ward))
    assert path.stat().st_size > 6_000 * count
    with path.open("rb") as file:
        assert read_archive(other, file, by="x").examinations == count
    assert other.examinations(patient.id) == made


@pytest.mark.parametrize("dry_run", [True, False])
def test_a_patient_who_could_not_be_read_again_is_refused(
    tmp_path, patient, examination, monkeypatch, dry_run
):
    text = archive_of_many(patient, [many(examination, n, comment="x" * 2000) for n in range(50)])
    for module in (archive, bulk_import, schemas):
        monkeypatch.setattr(module, "LONGEST", 100_000)
    ward = open_ward(tmp_path / "ward")
    with pytest.raises(InputError, match=r"patient's file may have 100000 bytes"):
        take(ward, text, dry_run=dry_run)
    assert (ward.beds(), list(ward.layout.staging.iterdir())) == ((), [])


def archive_of_many(patient, made):
    ward = MemoryWard()
    ward.take_in([Arrival(patient, tuple(made))], "x")
    return archive_of(ward)


# Ways in which a staged file may not say what was given.


def truncated(path, data):
    path.write_bytes(data[:-10])


def of_another_bed(path, data):
    tables = schemas.unpack(data, "x")
    tables["patient"] = {"1": dict(tables["patient"]["1"]) | {"bed": "B9"}}
    path.write_bytes(b"".join(schemas.pack(tables)[0]))


def without_examinations(path, data):
    tables = schemas.unpack(data, "x")
    tables["examinations"] = {}
    path.write_bytes(b"".join(schemas.pack(tables)[0]))


def gone(path, data):
    path.unlink()


@pytest.mark.parametrize("change", [truncated, of_another_bed, without_examinations, gone])
def test_what_is_read_back_as_something_else_is_refused(full, tmp_path, monkeypatch, change):
    real = bulk_import.write_new

    def writes(path, pieces, mode):
        real(path, pieces, mode)
        if path.name == "patient2.json":
            change(path, path.read_bytes())

    monkeypatch.setattr(bulk_import, "write_new", writes)
    other = open_ward(tmp_path / "other")
    with pytest.raises(WardexamError, match="nothing was added"):
        take(other, archive_of(full))
    monkeypatch.undo()
    assert other.beds() == other.beds(discharged=True) == ()
    assert not list(other.layout.staging.iterdir())


@pytest.mark.long
def test_import_takes_the_memory_of_one_patient(tmp_path, patient, examination):
    peaks = []
    for count in (3, 15):
        ward, other = open_ward(tmp_path / f"a{count}"), open_ward(tmp_path / f"b{count}")
        made = tuple(many(examination, n, comment="x" * 2000) for n in range(100))
        for n in range(count):
            of = f"patient{n:02}"
            ward.take_in([Arrival(
                patient.model_copy(update={"id": of}), tuple(e.model_copy(update={"patient": of}) for e in made),
            )], "x")  # fmt: skip
        path = tmp_path / f"archive{count}"
        with path.open("w") as file:
            file.writelines(write_archive(ward))
        tracemalloc.start()
        with path.open("rb") as file:
            read_archive(other, file, by="x")
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.2 * peaks[0]


# --- who cannot be read


@pytest.fixture
def one_damaged(full):
    (full.layout.patients / "patient1.json").write_bytes(b"torn")
    return full


def test_one_who_cannot_be_read_is_left_out_and_named(one_damaged, tmp_path):
    told = []
    text = archive_of(one_damaged, missed=lambda *it: told.append(it))
    head, *rest = map(json.loads, text.splitlines())
    assert head["left_out"] == [["patient1", "the file is not a stored document"]]
    assert [row["patient"]["id"] for row in rest if "patient" in row] == ["patient2"]
    assert [(who, error.what) for who, error in told] == [tuple(head["left_out"][0])]
    counts = take(open_ward(tmp_path / "other"), text)
    assert counts.left_out == (("patient1", "the file is not a stored document"),)
    assert str(tmp_path) not in text


def test_one_who_was_asked_for_and_cannot_be_read_is_no_archive(one_damaged):
    for write in (write_archive, write_csv):
        with pytest.raises(RecordsError):
            next(write(one_damaged, patients=["patient1"]))


def test_who_becomes_unreadable_on_the_way_leaves_an_archive_without_an_end(full, tmp_path):
    lines = write_archive(full)
    begun = [next(lines), next(lines)]
    (full.layout.patients / "patient2.json").write_bytes(b"torn")
    with pytest.raises(RecordsError):
        begun.extend(lines)
    with pytest.raises(InputError, match="it was cut"):
        take(open_ward(tmp_path / "other"), "".join(begun))


def test_csv_says_in_its_first_line_who_is_left_out(one_damaged, full):
    first, head, *_ = write_csv(one_damaged)
    assert first == "# left out: patient1: the file is not a stored document\n"
    assert head.startswith("patient,examination,")


# --- CSV


def test_csv_has_a_row_a_finding_and_no_name(full):
    rows = list(csv.DictReader(io.StringIO("".join(write_csv(full)))))
    assert rows == []  # the amended examination has none
    knee = full.revisions("patient1", "exam0001")[0]
    full.save(knee.model_copy(update={"id": "exam0009"}), "x")
    (row,) = csv.DictReader(io.StringIO("".join(write_csv(full))))
    assert (row["patient"], row["sign"], row["side"], row["answer"]) == (
        "patient1",
        "knee",
        "right",
        "0",
    )
    assert "Invented" not in "".join(write_csv(full))


SIGNS = "=+-@\uff1d\uff0b\uff0d\uff20\t\r\n"


@pytest.mark.parametrize("start", [*SIGNS, " =", "\u00a0+", "\u3000@"])
def test_no_cell_becomes_a_formula(full, start):
    knee = full.revisions("patient1", "exam0001")[0]
    ink = knee.findings[0].model_copy(update={"scale": "plus", "answer": "++"})
    given = knee.model_copy(
        update={"id": "exam0009", "examiner": f"{start}cmd", "findings": (ink,)}
    )
    full.save(given, "x")
    (row,) = csv.DictReader(io.StringIO("".join(write_csv(full))))
    assert row["examiner"].startswith("'")
    assert row["examiner"].endswith("cmd")
    assert row["answer"] == "'++"
    for cell in row.values():
        assert not cell.startswith(tuple(SIGNS))


def test_every_cell_is_cleaned(full):
    knee = full.revisions("patient1", "exam0001")[0]
    full.save(knee.model_copy(update={"id": "exam0009", "examiner": "D\u202er\x1b\u2060A\nb"}), "x")
    (row,) = csv.DictReader(io.StringIO("".join(write_csv(full))))
    assert row["examiner"] == "D?r??A b"


# --- what it was in the end


@pytest.fixture
def concluded(full):
    for revision, site in ((1, "cauda"), (2, "root")):
        full.conclude(
            Outcome(patient="patient2", revision=revision, site=site, by="Dr Ash", at=AT), "x"
        )
    return full


@pytest.mark.parametrize("keeper", ["folder", "memory"])
def test_outcomes_go_out_and_come_in_to_the_byte(concluded, tmp_path, keeper):
    text = archive_of(concluded)
    other = open_ward(tmp_path / "other") if keeper == "folder" else MemoryWard()
    take(other, text)
    assert archive_of(other) == text
    assert [o.site for o in other.outcomes("patient2")] == ["cauda", "root"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda rows: rows[-1]["outcome"].update(patient="patient1"), "another patient"),
        (lambda rows: rows.append(rows[-1]), "out of its order"),
        (lambda rows: rows.pop(-2), "out of its order"),
        (lambda rows: rows[-1]["outcome"].update(site="spleen"), "site: must be"),
    ],
)
def test_outcomes_that_are_not_consistent_are_refused(concluded, tmp_path, change, said):
    head, *lines, end = archive_of(concluded).splitlines(keepends=True)
    rows = [json.loads(line) for line in lines]
    change(rows)
    other = open_ward(tmp_path / "other")
    with pytest.raises(InputError, match=said):
        take(other, sealed("".join([head, *(json.dumps(row) + "\n" for row in rows), end])))
    assert other.beds() == other.beds(discharged=True) == ()
