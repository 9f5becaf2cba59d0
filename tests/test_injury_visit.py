"""A cord injury sheet from beginning to saved: kept at every change, resumed, amended, told beside the one before."""

from datetime import UTC, datetime

import pytest

from tests.records.memory import MemoryWard
from wardexam.errors import InputError, WardexamError
from wardexam.exam.examination import Patient
from wardexam.injury.entry import SheetChange, written_over
from wardexam.injury.sheet import InjurySheet
from wardexam.injury.typed import read_typed
from wardexam.injury_visit import InjuryVisit, SavedSheets
from wardexam.records.repository import Bed
from wardexam.records.ward import open_ward
from wardexam.session import Session

NOW = datetime(2026, 3, 4, 14, tzinfo=UTC)
BETTER = "sensation: 2 to C6, 1\nmotor: 55320/00000\nvac no\ndap yes\nmovement both none"
WORSE = "sensation: 2 to C5, 1 to T12, 0\nmotor: 53200/00000\nvac no\ndap no\nmovement both none"


@pytest.fixture(params=["folder", "memory"])
def session(request, tmp_path):
    ward = open_ward(tmp_path / "ward") if request.param == "folder" else MemoryWard()
    ward.admit(Patient(id="patient1", bed="A3", name="Otto Brandt", number="4", admitted=NOW), "x")
    names = iter(f"sheet{n:03}" for n in range(100))
    return Session(ward, "Dr Ash", lambda: NOW, lambda: next(names))


def write(visit, text):
    visit.change(written_over(visit.sheet, read_typed(text)), "typed")


def saved(session, text):
    visit = InjuryVisit.open(session, "patient1")
    write(visit, text)
    kept = visit.saving()()
    visit.done()
    return kept


def test_a_new_sheet_knows_nothing_and_leaves_no_draft_where_nothing_is_entered(session):
    visit = InjuryVisit.open(session, "patient1")
    assert (visit.sheet, visit.before, visit.which) == (InjurySheet(), None, "sheet 1")
    assert not any(r.determined for r in visit.computed.results.values())
    assert visit.untouched
    visit.leave()
    assert session.ward.sheet_drafts.infos() == ()


def test_every_change_is_kept_and_a_sheet_that_was_left_is_gone_on_with(session):
    visit = InjuryVisit.open(session, "patient1")
    visit.change(SheetChange({"anal_contraction": "no"}))
    write(visit, "motor: 55555/00000")
    assert visit.draft.unkept(5) == 0
    assert visit.kept_words == "kept 14:00"
    visit.draft.close()  # as where the connection drops: nothing was saved
    again = InjuryVisit.open(session, "patient1")
    assert again.sheet == visit.sheet
    assert again.said.startswith("Draft of a sheet resumed: A3 by Dr Ash")
    assert again.kept.id == visit.kept.id


def test_undo_takes_back_and_redo_makes_again_and_the_draft_follows(session):
    visit = InjuryVisit.open(session, "patient1")
    write(visit, "vac no")
    write(visit, "dap yes")
    assert visit.undo().said == "typed"
    assert (visit.sheet.anal_contraction, visit.sheet.anal_pressure) == ("no", None)
    visit.redo()
    visit.undo()
    visit.undo()
    assert visit.undo() is None
    visit.redo()
    visit.draft.flush()
    visit.draft.close()
    assert InjuryVisit.open(session, "patient1").sheet == read_typed("vac no")


def test_a_change_that_cannot_be_changes_nothing(session):
    visit = InjuryVisit.open(session, "patient1")
    with pytest.raises(InputError):
        visit.change(SheetChange({"anal_contraction": "perhaps"}))
    assert visit.untouched
    assert visit.sheet == InjurySheet()


def test_the_sheet_before_stands_beside_and_a_fall_is_said_first(session):
    saved(session, BETTER)
    second = InjuryVisit.open(session, "patient1")
    assert second.since == []  # nothing is entered yet
    write(second, WORSE)
    first, *found = second.since
    assert first == "Since the sheet of 4 Mar 2026 14:00 by Dr Ash:"
    assert found[0].startswith("WORSE: scale B -> A; neurological level C6 -> C5; ")
    assert "arm muscles 30 -> 20" in found[0]
    paper = second.paper
    assert "AS ENTERED SO FAR, NOT SAVED" in paper
    words = " ".join(paper.split())
    assert "For: Otto Brandt, no. 4, bed A3" in words
    assert words.index("WORSE: scale B -> A") < words.index("Sensory level")


def test_a_saved_sheet_is_amended_with_a_reason_and_the_one_before_stays(session):
    first = saved(session, BETTER)
    visit = InjuryVisit.amend(session, first)
    assert visit.which == "AMENDING sheet 1"
    assert visit.before is None  # it is not compared with itself
    write(visit, "vac yes")
    with pytest.raises(InputError, match="reason"):
        visit.saving(" ")
    second = visit.saving("typed wrong")()
    visit.done()
    sheets = SavedSheets(session, "patient1")
    assert sheets.last == second
    assert (second.revision, second.amendment.why, second.examiner) == (2, "typed wrong", "Dr Ash")
    assert sheets.place(second) == "sheet 1 of 1, revision 2 of 2"
    assert sheets.beside(second, -1) == first
    assert [sheets.is_last_revision(s) for s in (first, second)] == [False, True]
    assert "Revision 2, amended 4 Mar 2026 14:00 by Dr Ash: typed wrong" in sheets.paper(second)


def test_sheets_are_turned_through_in_the_order_saved_with_their_revisions(session):
    first, second = saved(session, BETTER), saved(session, WORSE)
    visit = InjuryVisit.amend(session, first)
    write(visit, "dap nt")
    again = visit.saving("again")()
    visit.done()
    sheets = SavedSheets(session, "patient1")
    assert (sheets.beside(first, 1), sheets.beside(again, 1)) == (again, second)
    assert sheets.beside(second, 1) is None
    assert sheets.before(second) == again  # the last revision of the sheet before
    assert sheets.last == second
    assert "Since the sheet of" in sheets.paper(second)


def test_a_draft_that_is_set_aside_is_not_offered_again(session):
    visit = InjuryVisit.open(session, "patient1")
    write(visit, "vac no")
    visit.put_aside()
    assert InjuryVisit.open(session, "patient1").untouched


def test_who_opens_is_who_was_chosen(session):
    shown = Bed("patient1", "A3", "Ana Other", 40, "female", None, "", 0, None, None, None)
    with pytest.raises(WardexamError, match="the list showed"):
        InjuryVisit.open(session, "patient1", shown)
    with pytest.raises(WardexamError, match="the list showed"):
        SavedSheets(session, "patient1", shown)
