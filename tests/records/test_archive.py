"""A ward goes out and comes in again, to the byte; what is not right comes in not at all."""

import csv
import io
import json
from datetime import timedelta

import pytest

from tests.records.memory import MemoryWard
from wardexam.errors import InputError, WardexamError
from wardexam.exam.entry import apply
from wardexam.records.archive import HEAD, read_archive, write_archive, write_csv
from wardexam.records.repository import Summary
from wardexam.records.ward import open_ward

MARK = json.dumps(HEAD, sort_keys=True) + "\n"


@pytest.fixture
def full(ward, patient, examination, knee):
    ward.admit(patient, "x")
    ward.save(apply(examination, knee), "x")
    ward.amend(examination, "x", "why", examination.at)
    gone = patient.model_copy(update={"id": "patient2", "name": "Bo Ïnvented"})
    ward.admit(gone, "x")
    ward.save(examination.model_copy(update={"patient": "patient2"}), "x")
    ward.discharge("patient2", patient.admitted + timedelta(days=1), "x")
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
    (line,) = archive_of(full, patients=["patient2"]).splitlines()[1:]
    assert json.loads(line)["patient"]["id"] == "patient2"


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
    text = archive_of(full).replace("patient2", "patient3")
    before = [archive_of(full)]
    with pytest.raises(InputError, match="already"):
        take(full, text)
    assert [archive_of(full)] == before


BAD = {
    "not json": "[",
    "another thing": "{}",
    "a path": '{"patient": {"id": "../x"}, "examinations": []}',
    "deep": "[" * 100_000,
    "a field more": '{"patient": {}, "examinations": [], "more": 1}',
    "a list": "[1, 2]",
    "huge number": '{"patient": {"age": ' + "9" * 10_000 + '}, "examinations": []}',
}


@pytest.mark.parametrize("line", BAD.values(), ids=list(BAD))
def test_a_bad_line_is_named_and_nothing_is_added(full, tmp_path, line):
    other = open_ward(tmp_path / "other")
    with pytest.raises(WardexamError, match="archive line 4"):
        take(other, archive_of(full) + line + "\n")
    assert other.beds() == other.beds(discharged=True) == ()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda r: r["examinations"][0].update(patient="patient9"), "another patient"),
        (lambda r: r["examinations"].append(r["examinations"][0]), "twice"),
        (lambda r: r["examinations"].pop(0), "lacks revision 1"),
        (lambda r: r["examinations"][0]["findings"][0].update(answer="9"), "findings"),
        (lambda r: r["examinations"][0].update(at="2026-03-02T08:00:00"), "at"),
    ],
)
def test_what_is_not_consistent_is_refused(full, tmp_path, change, said):
    head, first, *_ = archive_of(full).splitlines(keepends=True)
    row = json.loads(first)
    change(row)
    with pytest.raises(InputError, match=said):
        take(open_ward(tmp_path / "other"), head + json.dumps(row) + "\n")


@pytest.mark.parametrize("head", ["", "{}\n", '{"archive": "wardexam", "version": 2}\n'])
def test_another_kind_of_file_is_refused(ward, head):
    with pytest.raises(InputError, match="archive"):
        take(ward, head)


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
