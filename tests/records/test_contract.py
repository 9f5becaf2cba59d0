"""What every keeper of a ward does, whether a folder of files or memory stands behind it."""

import threading
from datetime import timedelta
from functools import partial

import pytest

from tests.at_once import at_once
from tests.records.conftest import AT
from tests.records.memory import MemoryWard
from wardexam.errors import InputError, RecordsError
from wardexam.exam.entry import Change, apply
from wardexam.exam.examination import Amendment
from wardexam.exam.outcome import Outcome
from wardexam.injury.entry import SheetChange
from wardexam.injury.kept import KeptSheet
from wardexam.injury.sheet import InjurySheet
from wardexam.injury.typed import read_typed
from wardexam.records.locks import BusyError
from wardexam.records.repository import (
    AmendedMeanwhileError,
    Arrival,
    ConcludedMeanwhileError,
    ConflictError,
    Repository,
    Summary,
)
from wardexam.records.ward import open_ward

GRAVE = Summary(3, "now", False, "a line")
MILD = Summary(0, "no flag raised", False, "another")


@pytest.fixture(params=["folder", "memory", "server"])
def keeper(request, tmp_path) -> Repository:
    if request.param == "server":
        return request.getfixturevalue("server_ward")
    return open_ward(tmp_path / "ward") if request.param == "folder" else MemoryWard()


@pytest.fixture
def peopled(keeper, patient):
    keeper.admit(patient, "Dr Ash")
    return keeper


def test_a_patient_comes_back_as_admitted(peopled, patient):
    assert peopled.patient(patient.id) == patient
    (bed,) = peopled.beds()
    assert (bed.bed, bed.name, bed.age, bed.examinations, bed.last_at, bed.summary) == (
        "A1", "Ana Invented", 60, 0, None, None,
    )  # fmt: skip


def test_an_identifier_is_taken_once(peopled, patient):
    with pytest.raises(InputError, match="already"):
        peopled.admit(patient.model_copy(update={"name": "Bo"}), "x")
    assert peopled.patient(patient.id) == patient


@pytest.mark.parametrize("ask", ["patient", "examinations"])
def test_nobody_is_invented(keeper, ask):
    with pytest.raises(InputError):
        getattr(keeper, ask)("nobody00")


def test_an_examination_of_nobody_is_refused(keeper, examination):
    with pytest.raises(InputError):
        keeper.save(examination, "x")
    assert keeper.beds() == ()


def test_an_examination_comes_back_as_saved(peopled, patient, examination, knee):
    examined = apply(examination, knee)
    saved = peopled.save(examined, "Dr Ash", GRAVE)
    assert saved == examined.model_copy(update={"saved_by": "Dr Ash"})
    assert peopled.examinations(patient.id) == (saved,)
    (bed,) = peopled.beds()
    assert (bed.examinations, bed.last_by, bed.summary) == (1, "Dr Ash", GRAVE)


def test_saving_the_same_again_is_no_fault_and_no_second_examination(peopled, patient, examination):
    first = peopled.save(examination, "x")
    assert peopled.save(examination, "y") == first
    assert peopled.examinations(patient.id) == (first,)


def test_what_is_saved_is_never_overwritten(peopled, patient, examination):
    saved = peopled.save(examination, "x")
    with pytest.raises(InputError, match="saved already"):
        peopled.save(examination.model_copy(update={"comment": "other"}), "x")
    assert peopled.examinations(patient.id) == (saved,)


def test_an_amendment_is_a_further_revision_with_its_reason(peopled, patient, examination):
    peopled.save(examination, "x")
    changed = examination.model_copy(update={"comment": "other"})
    amended = peopled.amend(changed, "Dr Bex", "typing error", examination.at)
    assert [e.revision for e in peopled.revisions(patient.id, examination.id)] == [1, 2]
    assert (amended.amendment.by, amended.amendment.why) == ("Dr Bex", "typing error")
    assert [e.comment for e in peopled.examinations(patient.id)] == ["other"]
    assert peopled.beds()[0].examinations == 1


def test_the_same_amendment_again_is_one_revision(peopled, patient, examination):
    peopled.save(examination, "x")
    changed = examination.model_copy(update={"comment": "other"})
    for _ in range(2):
        peopled.amend(changed, "Dr Bex", "typing error", examination.at)
    assert len(peopled.revisions(patient.id, examination.id)) == 2


def test_an_amendment_of_an_amendment_is_a_third_revision(peopled, patient, examination):
    last = peopled.save(examination, "x")
    for words in ("one", "two"):
        changed = last.model_copy(update={"comment": words})
        last = peopled.amend(changed, "x", words, examination.at)
    found = [e.comment for e in peopled.revisions(patient.id, examination.id)]
    assert found == ["", "one", "two"]


def test_two_amendments_of_one_revision_the_second_is_shown_the_first(
    peopled, patient, examination
):
    saved = peopled.save(examination, "x")
    peopled.amend(saved.model_copy(update={"comment": "one"}), "Dr Ash", "one", examination.at)
    with pytest.raises(AmendedMeanwhileError) as caught:
        peopled.amend(saved.model_copy(update={"comment": "two"}), "Dr Bex", "two", examination.at)
    assert (caught.value.stored.comment, caught.value.stored.amendment.by) == ("one", "Dr Ash")
    assert [e.comment for e in peopled.revisions(patient.id, examination.id)] == ["", "one"]
    again = saved.model_copy(update={"comment": "two", "revision": caught.value.stored.revision})
    peopled.amend(again, "Dr Bex", "two", examination.at)
    assert [e.comment for e in peopled.revisions(patient.id, examination.id)] == ["", "one", "two"]


def test_what_is_not_saved_cannot_be_amended(peopled, examination):
    with pytest.raises(InputError, match="not saved yet"):
        peopled.amend(examination, "x", "why", examination.at)


def after(examination, hours, name):
    return examination.model_copy(
        update={"id": name, "at": examination.at + timedelta(hours=hours), "examiner": f"Dr {name}"}
    )


def test_examinations_come_in_the_order_saved_whatever_the_clock_said(
    peopled, patient, examination
):
    for hours, name in ((0, "exam0001"), (9000, "exam0002"), (4, "exam0003")):
        peopled.save(after(examination, hours, name), "x", MILD)
    assert [e.id for e in peopled.examinations(patient.id)] == ["exam0001", "exam0002", "exam0003"]
    (bed,) = peopled.beds()
    assert (bed.last_by, bed.examinations) == ("Dr exam0003", 3)


def test_after_a_clock_a_year_ahead_a_new_emergency_is_on_the_list(peopled, examination):
    peopled.save(after(examination, 24 * 365, "exam0001"), "x", MILD)
    peopled.save(after(examination, 1, "exam0002"), "x", GRAVE)
    assert peopled.beds()[0].summary == GRAVE


def test_a_late_entry_of_a_calm_examination_calms_nothing(peopled, examination):
    peopled.save(after(examination, 4, "exam0002"), "x", GRAVE)
    peopled.save(examination, "x", MILD)
    assert peopled.beds()[0].summary == GRAVE


def test_a_later_and_calmer_examination_calms(peopled, examination):
    peopled.save(examination, "x", GRAVE)
    peopled.save(after(examination, 4, "exam0002"), "x", MILD)
    assert peopled.beds()[0].summary == MILD


def test_amending_an_earlier_examination_raises_and_never_calms(peopled, examination):
    first = peopled.save(examination, "x", MILD)
    peopled.save(after(examination, 4, "exam0002"), "x", MILD)
    graver = peopled.amend(first, "x", "one", examination.at, GRAVE)
    assert peopled.beds()[0].summary == GRAVE
    peopled.amend(graver, "x", "two", examination.at, MILD)
    assert peopled.beds()[0].summary == GRAVE


def test_a_file_read_once_holds_everything(peopled, patient, examination, knee):
    saved = peopled.save(apply(examination, knee), "x")
    amended = peopled.amend(saved, "x", "why", examination.at)
    last = peopled.save(after(examination, 4, "exam0002"), "x")
    file = peopled.file(patient.id)
    assert (file.patient, tuple(file.examinations)) == (patient, (amended, last))
    assert file.revisions("exam0001") == (saved, amended)
    assert file.telling("exam0002") == (amended,)


def test_papers_hold_everybody_on_the_ward(peopled, patient):
    ((bed, file),) = peopled.papers().rows
    assert (bed.patient_id, file.patient, peopled.papers().left_out) == (patient.id, patient, ())


def test_details_edited_twice_the_second_is_shown_what_is_stored(peopled, patient):
    mine, theirs = peopled.patient(patient.id), peopled.patient(patient.id)
    peopled.update(theirs.model_copy(update={"bed": "B2"}), "them")
    with pytest.raises(ConflictError) as caught:
        peopled.update(mine.model_copy(update={"bed": "C3"}), "me")
    assert caught.value.stored.bed == "B2"
    again = caught.value.stored.model_copy(update={"bed": "C3"})
    assert peopled.update(again, "me").revision == 3


def test_discharged_patients_are_kept_listed_apart_and_restored(peopled, patient, examination):
    saved = peopled.save(examination, "x", MILD)
    peopled.discharge(peopled.patient(patient.id), patient.admitted + timedelta(days=1), "x")
    assert (peopled.beds(), len(peopled.beds(discharged=True))) == ((), 1)
    assert peopled.examinations(patient.id) == (saved,)
    peopled.restore(peopled.patient(patient.id), "x")
    assert (len(peopled.beds()), peopled.beds(discharged=True)) == (1, ())
    assert peopled.beds()[0].summary == MILD


def test_arrivals_come_with_every_revision(keeper, patient, examination):
    second = examination.model_copy(update={"id": "exam0002"})
    told = []
    assert keeper.take_in([Arrival(patient, (examination, second), GRAVE)], "x", told.append) == 1
    assert keeper.examinations(patient.id) == (examination, second)
    assert (keeper.beds()[0].examinations, keeper.beds()[0].summary, told) == (2, GRAVE, [1])


def test_arrivals_are_all_or_none(peopled, patient):
    fresh = patient.model_copy(update={"id": "patient2"})
    with pytest.raises(InputError, match="already"):
        peopled.take_in([Arrival(fresh), Arrival(patient)], "x")
    with pytest.raises(InputError):
        peopled.patient("patient2")
    assert len(peopled.beds()) == 1


def test_arrivals_may_be_discharged_already(keeper, patient):
    gone = patient.model_copy(update={"discharged": patient.admitted + timedelta(days=2)})
    keeper.take_in([Arrival(gone)], "x")
    assert (keeper.beds(), len(keeper.beds(discharged=True))) == ((), 1)


# --- what other sessions do


class Heard:
    """Counts what a watch tells, and waits for it."""

    def __init__(self):
        self.threads, self._rung = [], threading.Condition()

    def __call__(self):
        with self._rung:
            self.threads.append(threading.current_thread())
            self._rung.notify_all()

    def within(self, seconds):
        with self._rung:
            return self._rung.wait_for(lambda: self.threads, seconds)

    def clear(self):
        with self._rung:
            self.threads.clear()


def a_draft(ward, patient, examination):
    ward.start_draft(examination.model_copy(update={"id": "exam0002"}), "x").close()


def a_draft_dropped(ward, patient, examination):
    ward.drop_draft(ward.start_draft(examination.model_copy(update={"id": "exam0002"}), "x"))


CHANGES = {
    "save": lambda w, p, e: w.save(e, "x"),
    "update": lambda w, p, e: w.update(p.model_copy(update={"bed": "Z9"}), "x"),
    "admit": lambda w, p, e: w.admit(p.model_copy(update={"id": "patient2"}), "x"),
    "discharge": lambda w, p, e: w.discharge(p, AT, "x"),
    "draft": a_draft,
    "draft dropped": a_draft_dropped,
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_is_told_within_a_second_from_a_thread_of_the_stores_own(
    peopled, patient, examination, change
):
    heard = Heard()
    watch = peopled.watch(heard)
    CHANGES[change](peopled, patient, examination)
    assert heard.within(1.0)
    assert threading.current_thread() not in heard.threads
    watch.close()


def test_who_has_closed_a_watch_is_told_no_more(peopled, examination):
    gone, there = Heard(), Heard()
    peopled.watch(gone).close()
    watch = peopled.watch(there)
    peopled.save(examination, "x")
    assert there.within(1.0)
    watch.close()
    assert not gone.threads


def test_a_watcher_that_fails_is_told_again(peopled, patient, examination):
    heard = Heard()

    def fails():
        heard()
        raise RuntimeError

    watch = peopled.watch(fails)
    peopled.save(examination, "x")
    assert heard.within(1.0)
    heard.clear()
    peopled.update(patient.model_copy(update={"bed": "Z9"}), "x")
    assert heard.within(1.0)
    watch.close()


def test_opening_is_one_call_with_the_drafts_of_that_patient_alone(
    peopled, patient, examination, scored
):
    other = patient.model_copy(update={"id": "patient2"})
    peopled.admit(other, "x")
    saved = peopled.save(examination, "x")
    mine = examination.model_copy(update={"id": "exam0002"})
    theirs = examination.model_copy(update={"id": "exam0003", "patient": other.id})
    for draft in (mine, theirs):
        peopled.start_draft(draft, "x").close()
    peopled.sheet_drafts.start(scored, "x").close()
    opened = peopled.opened(patient.id, "Dr Ash")
    assert (opened.file.patient, tuple(opened.file.examinations)) == (patient, (saved,))
    assert [d.draft_id for d in opened.drafts] == ["exam0002"]
    assert [d.draft_id for d in opened.sheet_drafts] == [scored.id]
    assert peopled.opened(other.id, "x").sheet_drafts == ()
    with pytest.raises(InputError):
        peopled.opened("nobody00", "x")


def test_a_paper_of_the_ward_holds_its_drafts_too(peopled, examination):
    peopled.start_draft(examination, "x").close()
    assert [d.draft_id for d in peopled.papers().drafts] == [examination.id]


def test_a_sound_ward_is_found_sound(peopled, examination):
    peopled.save(examination, "x")
    read = []
    report = peopled.check(repair=False, by="x", progress=read.append)
    assert report.sound
    assert report.lines[-1].startswith("1 patient")
    assert read == [1]


# --- the same again, as after a loss of the store in the middle of it


@pytest.mark.parametrize("again", ["discharge", "restore"])
def test_what_was_read_is_what_is_discharged_and_restored(peopled, patient, again):
    stale = patient
    if again == "restore":
        stale = peopled.discharge(patient, AT, "x")
    theirs = peopled.update(stale.model_copy(update={"bed": "B2"}), "them")
    with pytest.raises(ConflictError) as caught:
        peopled.discharge(stale, AT, "me") if again == "discharge" else peopled.restore(stale, "me")
    assert caught.value.stored == theirs == peopled.patient(patient.id)


def test_the_same_given_again_is_no_fault_and_is_stored_once(peopled, patient, examination):
    fresh = patient.model_copy(update={"id": "patient2"})
    for _ in range(2):
        assert peopled.admit(fresh, "x") == fresh
    assert len(peopled.beds()) == 2
    moved = patient.model_copy(update={"bed": "B2"})
    edited = [peopled.update(moved, "x") for _ in range(2)]
    assert edited[0] == edited[1] == peopled.patient(patient.id)
    assert edited[0].revision == 2
    gone = [peopled.discharge(edited[0], AT, "x") for _ in range(2)]
    assert gone[0] == gone[1]
    assert gone[0].revision == 3
    back = [peopled.restore(gone[0], "x") for _ in range(2)]
    assert back[0] == back[1]
    assert back[0].revision == 4


def test_a_draft_that_is_not_there_any_more_is_set_aside_without_fault(peopled, examination):
    peopled.start_draft(examination, "x").close()
    for _ in range(2):
        peopled.set_aside(examination.id, "x")
    assert peopled.drafts() == ()


def test_many_who_save_at_once_lose_nothing_and_double_nothing(peopled, patient, examination):
    names = [[f"exam{who}{number:03}" for number in range(12)] for who in range(6)]
    faults = []

    def save(own):
        for name in own:
            for _ in range(2):  # each as one who does not know whether it was saved
                while True:
                    try:
                        peopled.save(after(examination, 0, name), "x", MILD)
                        break
                    except BusyError:
                        continue
                    except Exception as error:
                        faults.append(error)
                        return

    at_once([partial(save, own) for own in names])
    assert faults == []
    stored = [e.id for e in peopled.examinations(patient.id)]
    assert sorted(stored) == sorted(name for own in names for name in own)
    assert peopled.beds()[0].examinations == 72


def test_a_draft_many_want_is_resumed_by_one(peopled, examination, knee):
    draft = peopled.start_draft(examination, "x")
    draft.append(knee)
    draft.close()
    got, refused = [], []

    def resume():
        try:
            got.append(peopled.resume_draft(examination.id))
        except RecordsError as error:
            refused.append(error)

    at_once([resume] * 6)
    assert (len(got), len(refused)) == (1, 5)
    assert all("another session" in str(e) for e in refused)
    got[0][0].close()


# --- drafts


def test_a_draft_left_is_listed_and_resumed_where_it_stood(peopled, examination, knee):
    draft = peopled.start_draft(examination, "Dr Ash")
    draft.append(knee)
    draft.append(Change("flag", "cancer", "yes"))
    assert draft.flush(5)
    assert (draft.sent, draft.kept, draft.problem) == (2, 2, "")
    draft.close()
    (info,) = peopled.drafts()
    assert (info.by, info.keys, info.patient_id, info.held) == ("Dr Ash", 2, "patient1", False)
    assert peopled.beds()[0].has_draft
    whole = apply(apply(examination, knee), Change("flag", "cancer", "yes"))
    assert peopled.drafted(info.draft_id) == whole
    assert not peopled.drafts()[0].held  # nobody holds it for having been read
    again, found = peopled.resume_draft(info.draft_id)
    assert found == whole
    again.append(Change("comment", "", "more"))
    again.close()
    _, found = peopled.resume_draft(info.draft_id)
    assert found.comment == "more"


def test_who_resumes_a_draft_stands_in_it_and_who_saves_it_too(peopled, patient, examination, knee):
    draft = peopled.start_draft(examination, "Dr Ash")
    draft.append(knee)
    draft.close()
    draft, found = peopled.resume_draft(examination.id, "Dr Bex")
    assert (found.examiner, found.entered_by) == ("Dr Ash", ("Dr Bex",))
    draft.close()
    draft, found = peopled.resume_draft(examination.id, "Dr Ash")
    assert found.entered_by == ("Dr Bex",)
    saved = peopled.save(found, "Dr Cole")
    assert saved.hands == ("Dr Ash", "Dr Bex", "Dr Cole")
    assert peopled.examinations(patient.id) == (saved,)


def test_a_draft_being_written_is_nobody_elses(peopled, examination):
    draft = peopled.start_draft(examination, "x")
    assert peopled.drafts()[0].held
    assert not peopled.beds()[0].has_draft
    for refused in (peopled.resume_draft, lambda name: peopled.set_aside(name, "y")):
        with pytest.raises(RecordsError, match="another session"):
            refused(examination.id)
    draft.close()
    peopled.set_aside(examination.id, "y")
    assert peopled.drafts() == ()


def test_a_draft_is_started_once(peopled, examination):
    peopled.start_draft(examination, "x").close()
    with pytest.raises(RecordsError, match="already"):
        peopled.start_draft(examination, "x")


def test_a_draft_saved_is_dropped(peopled, patient, examination):
    draft = peopled.start_draft(examination, "x")
    peopled.save(examination, "x")
    peopled.drop_draft(draft)
    assert (peopled.drafts(), len(peopled.examinations(patient.id))) == ((), 1)


def test_a_draft_that_is_not_there_is_refused(keeper):
    with pytest.raises(RecordsError, match="no such draft"):
        keeper.resume_draft("exam0009")


# --- cord injury sheets


@pytest.fixture
def scored(patient, examination):
    sheet = read_typed("light touch: 2t9, 1t12, 0\nmotor right: 55555/00000\nvac no")
    return KeptSheet(
        id="sheet001", patient=patient.id, examiner="Dr Ash", at=examination.at, sheet=sheet
    )


def test_a_sheet_comes_back_as_saved_and_leaves_the_list_as_it_was(peopled, patient, scored):
    before = peopled.beds()
    saved = peopled.save_sheet(scored, "Dr Bex")
    assert saved == scored.model_copy(update={"saved_by": "Dr Bex"})
    assert peopled.file(patient.id).sheets == (saved,)
    assert peopled.beds() == before
    assert peopled.examinations(patient.id) == ()


def test_saving_the_same_sheet_again_is_one_sheet(peopled, patient, scored):
    first = peopled.save_sheet(scored, "x")
    assert peopled.save_sheet(scored, "y") == first
    assert peopled.file(patient.id).sheets == (first,)


def test_a_sheet_that_is_saved_is_never_overwritten(peopled, patient, scored):
    saved = peopled.save_sheet(scored, "x")
    other = scored.model_copy(update={"sheet": read_typed("vac yes")})
    with pytest.raises(InputError, match="saved already"):
        peopled.save_sheet(other, "x")
    assert peopled.file(patient.id).sheets == (saved,)


def test_an_amended_sheet_keeps_the_one_before(peopled, patient, scored):
    first = peopled.save_sheet(scored, "x")
    why = Amendment(by="Dr Bex", at=scored.at, why="typing error")
    changes = {"revision": 2, "amendment": why, "sheet": read_typed("vac yes")}
    second = peopled.save_sheet(scored.model_copy(update=changes), "Dr Bex")
    assert peopled.file(patient.id).sheets == (first, second)
    with pytest.raises(InputError, match="revision before"):
        peopled.save_sheet(scored.model_copy(update={**changes, "revision": 4}), "x")
    with pytest.raises(InputError, match="saved already"):
        peopled.save_sheet(
            scored.model_copy(update={**changes, "sheet": read_typed("vac nt")}), "x"
        )


def test_a_sheet_of_nobody_is_refused(keeper, scored):
    with pytest.raises(InputError, match="no such patient"):
        keeper.save_sheet(scored, "x")


def test_a_patient_is_taken_in_with_the_sheets(keeper, patient, scored):
    keeper.take_in([Arrival(patient, sheets=(scored,))], "x")
    assert keeper.file(patient.id).sheets == (scored,)


def test_a_draft_of_a_sheet_goes_on_where_it_was_left(peopled, patient, scored):
    drafts = peopled.sheet_drafts
    begun = scored.model_copy(update={"sheet": InjurySheet()})
    draft = drafts.start(begun, "Dr Ash")
    draft.append(SheetChange({"anal_contraction": "no"}))
    draft.append(SheetChange({"motor": {"right": {"C5": "4"}, "left": {}}}))
    assert draft.flush()
    (info,) = drafts.infos()
    assert (info.patient_id, info.by, info.keys, info.held) == (patient.id, "Dr Ash", 2, True)
    with pytest.raises(RecordsError, match="open in another session"):
        drafts.resume(scored.id)
    draft.close()
    again, kept = drafts.resume(scored.id)
    assert (kept.sheet.anal_contraction, kept.sheet.motor.right) == ("no", {"C5": "4"})
    assert peopled.drafts() == ()  # no examination is
    assert peopled.beds()[0].has_draft is False
    drafts.drop(again)
    assert drafts.infos() == ()


def test_a_draft_of_a_sheet_that_is_set_aside_is_not_offered(peopled, scored):
    peopled.sheet_drafts.start(scored, "Dr Ash").close()
    peopled.sheet_drafts.put_aside(scored.id, "Dr Ash")
    assert peopled.sheet_drafts.infos() == ()
    with pytest.raises(RecordsError):
        peopled.sheet_drafts.resume(scored.id)


# --- what it was in the end


def in_the_end(**said):
    return Outcome(
        **{"patient": "patient1", "by": "Dr Ash", "at": AT, "site": "cauda", "diagnosis": "disc"}
        | said
    )


def test_an_outcome_comes_back_and_a_further_one_leaves_it(peopled, patient):
    assert peopled.outcomes(patient.id) == ()
    first = peopled.conclude(in_the_end(), "Dr Ash")
    second = peopled.conclude(in_the_end(revision=2, site="root", why="operated"), "Dr Bex")
    assert peopled.outcomes(patient.id) == (first, second)
    assert [(o.site, o.revision) for o in peopled.file(patient.id).outcomes] == [
        ("cauda", 1),
        ("root", 2),
    ]


def test_the_same_outcome_again_is_no_second_one(peopled, patient):
    first = peopled.conclude(in_the_end(), "Dr Ash")
    assert peopled.conclude(in_the_end(at=AT + timedelta(hours=1)), "Dr Bex") == first
    assert peopled.outcomes(patient.id) == (first,)


@pytest.mark.parametrize("revision", [1, 3])
def test_an_outcome_made_from_another_than_the_last_is_shown_the_last(peopled, patient, revision):
    first = peopled.conclude(in_the_end(), "Dr Ash")
    with pytest.raises(ConcludedMeanwhileError) as caught:
        peopled.conclude(in_the_end(revision=revision, site="root"), "Dr Bex")
    assert caught.value.stored == first
    assert peopled.outcomes(patient.id) == (first,)


def test_an_outcome_survives_discharge_and_is_recorded_after_it(peopled, patient, examination):
    saved = peopled.save(examination, "x", GRAVE)
    peopled.conclude(in_the_end(), "Dr Ash")
    peopled.discharge(peopled.patient(patient.id), AT, "x")
    peopled.conclude(in_the_end(revision=2, side="left"), "Dr Ash")
    peopled.restore(peopled.patient(patient.id), "x")
    assert [o.side for o in peopled.outcomes(patient.id)] == [None, "left"]
    assert peopled.examinations(patient.id) == (saved,)
    assert peopled.beds()[0].summary == GRAVE


def test_an_outcome_of_nobody_is_refused(keeper):
    with pytest.raises(InputError):
        keeper.conclude(in_the_end(patient="nobody00"), "x")


def test_outcomes_arrive_with_their_patient(keeper, patient, examination):
    outcomes = (in_the_end(), in_the_end(revision=2, site="root"))
    keeper.take_in([Arrival(patient, (examination,), outcomes=outcomes)], "x")
    assert keeper.outcomes(patient.id) == outcomes


@pytest.fixture
def two(peopled, patient):
    peopled.admit(patient.model_copy(update={"id": "patient2", "bed": "A2"}), "x")
    return peopled


def test_outcomes_of_several_are_recorded_together(two):
    told = []
    made = [in_the_end(), in_the_end(patient="patient2", site="cord")]
    assert two.conclude_all(made, "Dr Ash", told.append) == 2
    assert [two.outcomes(o.patient) for o in made] == [(o,) for o in made]
    assert told == [1, 2]
    assert two.conclude_all(made, "Dr Ash") == 2  # the same again is no further revision
    assert [two.outcomes(o.patient) for o in made] == [(o,) for o in made]


@pytest.mark.parametrize(
    "wrong",
    [{"patient": "nobody00"}, {"patient": "patient2", "revision": 3}],
    ids=["nobody", "not the next"],
)
def test_where_one_cannot_be_none_is_recorded(two, wrong):
    with pytest.raises((InputError, RecordsError)):
        two.conclude_all([in_the_end(), in_the_end(**wrong)], "Dr Ash")
    assert two.outcomes("patient1") == two.outcomes("patient2") == ()


def test_the_trail_tells_what_was_done_to_whom_and_by_whom(peopled, patient, examination):
    other = patient.model_copy(update={"id": "patient2"})
    peopled.admit(other, "Dr Bex")
    peopled.save(examination, "Dr Cole")
    peopled.record("viewed", patient.id, "Dr Dot")
    one = list(peopled.trail(patient.id))
    assert [t.by for t in one] == ["Dr Ash", "Dr Cole", "Dr Dot"]
    assert [t.event for t in one][1:] == ["saved", "viewed"]
    assert {t.patient for t in one} == {patient.id}
    every = list(peopled.trail())
    assert [t for t in every if t.patient == patient.id] == one
    assert {t.patient for t in every} == {patient.id, "patient2"}
    assert len({t.hash for t in every}) == len(every)
    assert all(t.login and t.at for t in every)
    assert list(peopled.trail("nobody00")) == []


def test_who_is_erased_is_gone_with_everything_and_nobody_else(peopled, patient, examination):
    other = patient.model_copy(update={"id": "patient2", "bed": "A2"})
    peopled.admit(other, "x")
    peopled.save(examination, "x", GRAVE)
    peopled.conclude(Outcome(patient=patient.id, by="x", at=AT, diagnosis="y"), "x")
    draft = peopled.start_draft(examination.model_copy(update={"id": "exam0002"}), "x")
    draft.close()
    peopled.discharge(peopled.patient(patient.id), AT, "x")
    heard = Heard()
    watch = peopled.watch(heard)
    peopled.erase(patient.id, "Dr Lead", "retention is over")
    assert heard.within(1.0)
    watch.close()
    for ask in (peopled.patient, peopled.examinations, peopled.outcomes, peopled.file):
        with pytest.raises(InputError):
            ask(patient.id)
    assert [b.patient_id for b in peopled.beds()] == ["patient2"]
    assert peopled.beds(discharged=True) == peopled.drafts() == ()
    assert set(peopled.erased()) == {patient.id}


def test_who_is_on_the_ward_or_being_examined_or_nobody_is_not_erased(
    peopled, patient, examination
):
    with pytest.raises(InputError, match="is on the ward"):
        peopled.erase(patient.id, "x", "why")
    peopled.discharge(peopled.patient(patient.id), AT, "x")
    with pytest.raises(InputError, match="a reason is needed"):
        peopled.erase(patient.id, "x", "")
    with pytest.raises(InputError, match="no such patient"):
        peopled.erase("nobody00", "x", "why")
    draft = peopled.start_draft(examination, "x")
    with pytest.raises(RecordsError, match="is being examined"):
        peopled.erase(patient.id, "x", "why")
    draft.close()
    assert peopled.patient(patient.id).name == patient.name
    assert peopled.erased() == {}


def test_who_was_erased_may_be_brought_in_again_on_purpose(peopled, patient):
    peopled.discharge(peopled.patient(patient.id), AT, "x")
    peopled.erase(patient.id, "x", "by mistake")
    peopled.take_in([Arrival(patient)], "x")
    assert peopled.patient(patient.id).name == patient.name
    assert peopled.erased() == {}


# --- entered in error


def later(examination):
    """The same, examined two hours later as another examination."""
    made = {"id": "exam0002", "at": examination.at + timedelta(hours=2), "examiner": "Dr Bex"}
    return examination.model_copy(update=made)


def nothing(file):
    """What the ward list shows of a file, for tests that look at something else."""
    return MILD if file.examinations else None


def test_entered_in_error_is_one_more_revision_that_says_who_when_and_why(
    peopled, patient, examination, knee
):
    saved = peopled.save(apply(examination, knee), "Dr Ash", GRAVE)
    at = AT + timedelta(hours=1)
    made = peopled.mark(saved, "Dr Bex", "wrong patient", at, nothing, in_error=True)
    assert (made.revision, made.in_error) == (2, True)
    assert made.amendment == Amendment(by="Dr Bex", at=at, why="wrong patient")
    assert peopled.revisions(patient.id, examination.id) == (saved, made)
    assert made.findings == saved.findings
    file = peopled.file(patient.id)
    assert file.with_errors[-1] == made
    assert file.in_error(examination.id) == made.amendment
    assert file.numbered() == [(examination.id, 1), (examination.id, 2)]
    line = [*peopled.trail(patient.id)][-1]
    assert (line.event, line.by) == ("entered in error", "Dr Bex")


def test_what_was_entered_in_error_is_in_no_list_of_examinations(peopled, patient, examination):
    first = peopled.save(examination, "Dr Ash", MILD)
    last = later(examination)
    saved = peopled.save(last, "Dr Bex", GRAVE)
    peopled.mark(saved, "Dr Bex", "wrong patient", AT, nothing, in_error=True)
    file = peopled.file(patient.id)
    assert tuple(file.examinations) == (first,) == peopled.examinations(patient.id)
    assert tuple(file.telling()) == (first,)
    assert tuple(file.telling(last.id)) == (first,)
    assert [e.id for e in file.with_errors] == [first.id, last.id]
    if not isinstance(peopled, MemoryWard):  # which is not read for counting
        assert [*peopled.stays()[0].read().revisions] == [first.id]
    (bed,) = peopled.beds()
    assert (bed.examinations, bed.last_by, bed.summary) == (1, "Dr Ash", MILD)
    assert bed.last_at == first.at.isoformat()


def test_a_patient_whose_only_examination_was_entered_in_error_reads_as_not_examined(
    peopled, patient, examination
):
    before = peopled.beds()
    saved = peopled.save(examination, "Dr Ash", GRAVE)
    peopled.mark(saved, "Dr Ash", "wrong patient", AT, nothing, in_error=True)
    assert peopled.beds() == before
    assert tuple(peopled.file(patient.id).examinations) == ()


def test_it_can_be_taken_back_with_a_reason_and_counts_again(peopled, patient, examination):
    saved = peopled.save(examination, "Dr Ash", GRAVE)
    wrong = peopled.mark(saved, "Dr Ash", "wrong patient", AT, nothing, in_error=True)
    back = peopled.mark(wrong, "Dr Bex", "it was this one", AT, lambda _: GRAVE, in_error=False)
    assert (back.revision, back.in_error, back.amendment.why) == (3, False, "it was this one")
    file = peopled.file(patient.id)
    assert tuple(file.examinations) == (back,)
    assert file.in_error(back.id) is None
    (bed,) = peopled.beds()
    assert (bed.examinations, bed.summary) == (1, GRAVE)
    assert [*peopled.trail(patient.id)][-1].event == "valid again"


@pytest.mark.parametrize("why", ["", "  ", "x" * 121])
def test_without_words_or_with_too_many_nothing_is_marked(peopled, patient, examination, why):
    saved = peopled.save(examination, "Dr Ash", GRAVE)
    events = [*peopled.trail(patient.id)]
    with pytest.raises(InputError, match="why"):
        peopled.mark(saved, "Dr Ash", why, AT, nothing, in_error=True)
    assert peopled.revisions(patient.id, examination.id) == (saved,)
    assert peopled.beds()[0].summary == GRAVE
    assert [*peopled.trail(patient.id)] == events


def test_the_same_mark_again_is_no_fault_and_one_revision(peopled, patient, examination):
    saved = peopled.save(examination, "Dr Ash", GRAVE)
    for _ in range(2):
        made = peopled.mark(saved, "Dr Ash", "wrong patient", AT, nothing, in_error=True)
    assert peopled.revisions(patient.id, examination.id) == (saved, made)
    with pytest.raises(InputError, match="already"):
        peopled.mark(made, "Dr Bex", "another reason", AT, nothing, in_error=True)
    other = peopled.save(later(examination), "Dr Ash")
    with pytest.raises(InputError, match="not marked"):
        peopled.mark(other, "Dr Bex", "a reason", AT, nothing, in_error=False)


def test_what_somebody_amended_meanwhile_is_not_marked(peopled, examination):
    saved = peopled.save(examination, "Dr Ash")
    changed = saved.model_copy(update={"comment": "other"})
    peopled.amend(changed, "Dr Bex", "typing error", AT)
    with pytest.raises(AmendedMeanwhileError):
        peopled.mark(saved, "Dr Ash", "wrong patient", AT, nothing, in_error=True)


def test_what_was_entered_in_error_is_amended_no_more(peopled, patient, examination):
    saved = peopled.save(examination, "Dr Ash")
    made = peopled.mark(saved, "Dr Ash", "wrong patient", AT, nothing, in_error=True)
    for of in (saved, made):
        changed = of.model_copy(update={"comment": "other"})
        with pytest.raises(InputError, match="entered in error"):
            peopled.amend(changed, "Dr Bex", "typing error", AT)
    assert peopled.revisions(patient.id, examination.id) == (saved, made)


def test_an_earlier_one_entered_in_error_leaves_the_last_as_the_last(peopled, patient, examination):
    first = peopled.save(examination, "Dr Ash", GRAVE)
    last = peopled.save(later(examination), "Dr Bex", GRAVE)
    peopled.mark(first, "Dr Ash", "wrong patient", AT, nothing, in_error=True)
    (bed,) = peopled.beds()
    assert (bed.examinations, bed.last_by, bed.summary) == (1, "Dr Bex", MILD)
    # What is saved and amended from then on is listed by those that count.
    amended = last.model_copy(update={"comment": "other"})
    peopled.amend(amended, "Dr Bex", "typing error", AT, GRAVE)
    assert peopled.beds()[0].summary == GRAVE
    peopled.amend(amended.model_copy(update={"comment": "x", "revision": 2}), "Dr Bex", "y", AT, MILD)  # fmt: skip
    assert peopled.beds()[0].summary == MILD


def test_the_one_before_is_amended_as_the_last_once_the_last_was_entered_in_error(
    peopled, examination
):
    first = peopled.save(examination, "Dr Ash", GRAVE)
    last = peopled.save(later(examination), "Dr Bex", GRAVE)
    peopled.mark(last, "Dr Ash", "wrong patient", AT, lambda _: GRAVE, in_error=True)
    peopled.amend(first.model_copy(update={"comment": "other"}), "Dr Ash", "y", AT, MILD)
    assert peopled.beds()[0].summary == MILD


def test_whose_is_not_known_is_not_marked(peopled, examination):
    with pytest.raises(InputError, match="not saved"):
        peopled.mark(examination, "Dr Ash", "wrong patient", AT, nothing, in_error=True)
