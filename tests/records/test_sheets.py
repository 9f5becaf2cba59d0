"""Cord injury sheets in the folder: on disk, in archive, trail, check and repair, and where nothing knows them."""

import json

import pytest

from tests.records.checking import check_store
from tests.records.memory import MemoryWard
from tests.records.sealing import sealed
from tests.records.test_archive import archive_of, take
from wardexam.errors import InputError
from wardexam.exam.examination import Amendment
from wardexam.injury.entry import SheetChange
from wardexam.injury.kept import KeptSheet
from wardexam.injury.typed import read_typed
from wardexam.records.ward import open_ward

AGAIN = read_typed("light touch: 2t9, 0\nvac no\ndap yes")


@pytest.fixture
def kept(ward, patient, examination):
    ward.admit(patient, "x")
    ward.save(examination, "x")
    sheet = read_typed("light touch: 2t9, 1t12, 0\nmotor: 4*5555/00000")
    return KeptSheet(
        id="sheet001", patient=patient.id, examiner="Dr Ash", at=examination.at, sheet=sheet
    )


def amended(kept):
    why = Amendment(by="Dr Bex", at=kept.at, why="typing error")
    return kept.model_copy(update={"revision": 2, "amendment": why, "sheet": AGAIN})


@pytest.mark.parametrize("keeper", ["folder", "memory"])
def test_an_archive_holds_every_revision_and_round_trips_to_the_byte(ward, kept, tmp_path, keeper):
    ward.save_sheet(kept, "Dr Ash")
    ward.save_sheet(amended(kept), "Dr Bex")
    text = archive_of(ward)
    kinds = [next(iter(json.loads(line))) for line in text.splitlines()]
    assert kinds == ["archive", "patient", "examination", "sheet", "sheet", "end"]
    other = open_ward(tmp_path / "other") if keeper == "folder" else MemoryWard()
    counts = take(other, text)
    assert (counts.patients, counts.examinations) == (1, 1)
    assert other.file(kept.patient).sheets == ward.file(kept.patient).sheets
    assert archive_of(other) == text


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        (lambda rows: rows[3]["sheet"].update(patient="patient9"), "another patient"),
        (lambda rows: rows[4]["sheet"].update(revision=3), "revision before"),
        (lambda rows: rows.insert(4, rows[3]), "twice"),
        (lambda rows: rows[3]["sheet"]["sheet"].update(anal_contraction="perhaps"), "anal_contraction"),
        (lambda rows: rows.insert(1, rows.pop(3)), "not a line"),
    ],
)  # fmt: skip
def test_an_archive_with_a_sheet_that_cannot_be_is_refused_whole(
    ward, kept, tmp_path, change, fault
):
    ward.save_sheet(kept, "x")
    ward.save_sheet(amended(kept), "x")
    rows = [json.loads(line) for line in archive_of(ward).splitlines()]
    change(rows)
    text = sealed("".join(json.dumps(r, sort_keys=True) + "\n" for r in rows))
    other = open_ward(tmp_path / "other")
    with pytest.raises(InputError, match=fault):
        take(other, text)
    assert other.beds() == ()


def test_the_trail_says_who_saved_and_amended_which_sheet(ward, kept):
    ward.save_sheet(kept, "Dr Ash")
    ward.save_sheet(amended(kept), "Dr Bex")
    ward.settle()
    rows = [json.loads(line) for line in ward.layout.trail.read_text().splitlines()]
    told = [(r["event"], r["by"], r["what"]) for r in rows if "sheet001" in r.get("what", "")]
    assert told == [
        ("saved", "Dr Ash", "cord injury sheet sheet001 1, scored by Dr Ash"),
        ("amended", "Dr Bex", "cord injury sheet sheet001 2, scored by Dr Ash"),
    ]
    assert check_store(ward.folder, repair=False, by="x").sound


def test_a_file_without_sheets_has_no_table_of_them_and_keeps_its_bytes(ward, kept):
    before = ward.layout.file(kept.patient).read_bytes()
    assert b"sheets" not in before
    assert ward.file(kept.patient).sheets == ()
    assert open_ward(ward.folder).file(kept.patient).sheets == ()
    assert ward.layout.file(kept.patient).read_bytes() == before


def test_other_saves_carry_the_sheets_over(ward, kept, patient, examination):
    saved = ward.save_sheet(kept, "x")
    ward.save(examination.model_copy(update={"id": "exam0002"}), "x")
    ward.update(ward.patient(patient.id).model_copy(update={"bed": "C1"}), "x")
    assert ward.file(patient.id).sheets == (saved,)
    assert len(ward.examinations(patient.id)) == 2


def test_a_draft_is_on_disk_at_every_key_and_a_torn_line_costs_only_itself(ward, kept):
    draft = ward.sheet_drafts.start(kept, "Dr Ash")
    for number in range(3):
        draft.append(SheetChange({"anal_pressure": ["yes", "no", "NT"][number]}))
        assert draft.flush()
        lines = (ward.layout.drafts / "sheet001.sheet").read_bytes().splitlines()
        assert len(lines) == number + 2
    draft.close()
    path = ward.layout.drafts / "sheet001.sheet"
    path.write_bytes(path.read_bytes()[:-5])
    again, found = open_ward(ward.folder).sheet_drafts.resume("sheet001")
    again.close()
    assert found.sheet.anal_pressure == "no"


def test_a_draft_whose_sheet_is_saved_is_swept_at_the_next_start(ward, kept):
    ward.sheet_drafts.start(kept, "Dr Ash").close()
    assert len(open_ward(ward.folder).sheet_drafts.infos()) == 1  # nothing of it is saved
    ward.save_sheet(kept, "Dr Ash")
    assert open_ward(ward.folder).sheet_drafts.infos() == ()


def test_a_damaged_draft_is_said_and_check_finds_it(ward, kept):
    ward.sheet_drafts.start(kept, "Dr Ash").close()
    path = ward.layout.drafts / "sheet001.sheet"
    path.write_bytes(path.read_bytes().replace(b"Dr Ash", b"Dr Axh"))
    (info,) = ward.sheet_drafts.infos()
    assert "damaged" in info.trouble
    found = check_store(ward.folder, repair=False, by="x")
    assert any("damaged draft" in line for line in found.lines)
