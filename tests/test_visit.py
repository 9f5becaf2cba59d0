"""One examination from beginning to saved, without a screen: what every way in shares."""

import itertools
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from tests.examinations import examined
from tests.records.memory import MemoryWard
from wardexam.errors import InputError, WardexamError
from wardexam.exam.acts import CARRIED
from wardexam.exam.entry import Change
from wardexam.exam.examination import Patient
from wardexam.exam.kept_reading import KEPT
from wardexam.note.suggestion import accepted_text
from wardexam.ready import engine
from wardexam.reasoning.reading import Reading, Site
from wardexam.reasoning.rules.own_alarm import OWN
from wardexam.records.repository import AmendedMeanwhileError
from wardexam.records.ward import open_ward
from wardexam.saved import Saved, write_act
from wardexam.session import Session
from wardexam.visit import Visit

NOW = datetime(2026, 3, 4, 14, tzinfo=UTC)
WHO = "patient1"


@pytest.fixture(params=["folder", "memory"])
def session(request, tmp_path):
    ward = open_ward(tmp_path / "ward") if request.param == "folder" else MemoryWard()
    ward.admit(Patient(id=WHO, bed="A3", name="Ana Invented", age=60, admitted=NOW), "test")
    names = (f"exam{n:04}" for n in itertools.count())
    return Session(ward, "Dr Test", lambda: NOW, lambda: next(names))


def graded(sign, side, answer):
    value = {"sign": sign, "side": side, "answer": answer, "scale": "conventional"}
    return Change("finding", f"{sign} {side}", value)


def answers(visit):
    return {f.key: f.answer for f in visit.examination.findings}


def saved_before(session, line="knee 2/2 ankle 2/2"):
    at = NOW - timedelta(hours=8)
    made = examined(line, at, id="before00", patient=WHO, examiner="Dr Ash")
    session.ward.save(made, "Dr Ash")
    return made


def test_what_is_entered_is_saved_and_leaves_no_draft(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("knee", "left", "0"), "left knee 0")
    saved = visit.save(visit.reading())
    assert (saved.examiner, saved.at, saved.saved_by) == ("Dr Test", NOW, "Dr Test")
    assert session.ward.examinations(WHO) == (saved,)
    assert session.ward.drafts() == ()
    (bed,) = session.ward.beds()
    assert bed.summary == visit.case.to_save(visit.reading())[1]


def test_what_the_tool_suggested_is_kept_with_the_save(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("knee", "left", "0"), "left knee 0")
    visit.change(Change("flag", "saddle_numb", "yes"))
    reading = visit.reading()
    kept = visit.save(reading).reading
    assert [(s.id, s.site, s.side, s.chance) for s in kept.sites] == [
        (s.id, s.region, s.side, s.probability) for s in reading.sites[: len(kept.sites)]
    ]
    assert [s.name for s in kept.sites] == [s.name for s in reading.sites[: len(kept.sites)]]
    assert 0 < len(kept.sites) <= KEPT
    assert (kept.program, kept.tables) == (reading.program, reading.tables)
    assert kept.tables
    # What is done about a reason later changes no finding, and so no suggestion.
    write_act(session, WHO, "cauda_equina", "called", "Dr Spine")
    assert session.ward.examinations(WHO)[-1].acts
    assert session.ward.examinations(WHO)[-1].reading == kept


def test_an_amendment_without_a_reading_keeps_none_of_other_findings(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("knee", "left", "0"))
    saved = visit.save(visit.reading())
    again = Visit.amend(session, saved)
    again.change(graded("knee", "left", "2+"))
    assert again.save(None, "typing error").reading is None
    assert [bool(r.reading) for r in session.ward.revisions(WHO, saved.id)] == [True, False]


def test_no_paper_shows_what_was_kept_of_the_reading(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("knee", "left", "0"))
    reading = visit.reading()
    bare = replace(visit.case, examination=visit.examination)
    visit.save(reading)
    case = Saved(session, WHO).named(None)
    assert case.examination.reading
    for one, other in ((case.note(), bare.note()), (case.referral(), bare.referral())):
        assert one.replace(", saved by Dr Test", "") == other
        assert reading.sites[0].name not in one


def test_a_visit_that_was_left_is_gone_on_with_by_whoever_comes(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("knee", "left", "0"), "left knee 0")
    assert visit.draft.unkept(2.0) == 0
    visit.leave()
    resumed = Visit.open(replace(session, examiner="Dr Bex"), WHO)
    assert resumed.said.startswith("Draft resumed: A3 by Dr Test")
    assert answers(resumed) == {("knee", "left"): "0"}
    assert resumed.save(None).by_whom == "Dr Test, continued by Dr Bex"


def test_a_visit_in_which_nothing_was_entered_leaves_no_draft_but_a_pause_does(session):
    Visit.open(session, WHO).leave()
    assert session.ward.drafts() == ()
    Visit.begin(session, WHO).pause(1.0)
    assert len(session.ward.drafts()) == 1


def test_changes_are_undone_and_done_again_and_a_new_one_ends_what_could_be_done_again(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("knee", "left", "0"), "one")
    visit.change(graded("ankle", "left", "1+"), "two")
    assert [step.said for step in visit.steps] == ["two", "one"]
    assert visit.undo().said == "two"
    assert answers(visit) == {("knee", "left"): "0"}
    assert visit.redo().said == "two"
    assert answers(visit)["ankle", "left"] == "1+"
    visit.undo()
    visit.change(graded("biceps", "left", "2+"), "three")
    assert visit.redo() is None
    assert [visit.undo().said, visit.undo().said, visit.undo()] == ["three", "one", None]
    assert answers(visit) == {}
    assert visit.draft.sent == 8  # the draft holds every step, also those back


def test_a_change_that_is_refused_changes_nothing_and_cannot_be_undone(session):
    visit = Visit.open(session, WHO)
    with pytest.raises(InputError):
        visit.change(graded("knee", "left", "9"), "nine")
    assert (answers(visit), visit.draft.sent, visit.undo()) == ({}, 0, None)


def test_what_stands_from_before_is_there_and_raises_the_urgency(session):
    saved_before(session, "hip_flexion 5/5 knee 2/2")
    visit = Visit.open(session, WHO)
    value = {"sign": "hip_flexion", "side": "left", "answer": "2"}
    visit.change(Change("finding", "hip_flexion left", value), "weak")
    assert visit.previous.finding("hip_flexion", "left").answer == "5"
    assert visit.case.comparison().worse
    assert visit.case.urgency().level > 0
    assert "left hip flexion 5 to 2" in visit.case.referral()


def test_a_new_examination_goes_on_with_the_scale_of_the_last(session):
    saved_before(session, "scale=ninds knee 2/2")
    assert Visit.begin(session, WHO).examination.scale == "ninds"


def test_a_clock_before_the_last_examination_is_said(session):
    saved_before(session)
    early = replace(session, now=lambda: NOW - timedelta(days=30))
    assert Visit.open(early, WHO).said.startswith("The clock says 2 Feb 14:00")


def test_what_opens_must_be_what_was_chosen(session):
    (bed,) = session.ward.beds()
    for reader in (Visit.open, Saved):
        with pytest.raises(WardexamError, match="the list showed A3 Somebody Else"):
            reader(session, WHO, replace(bed, name="Somebody Else"))
    assert session.ward.drafts() == ()
    Visit.open(session, WHO, bed).leave()


def test_an_amendment_is_a_further_revision_with_its_reason(session):
    first = saved_before(session)
    visit = Visit.amend(session, session.ward.examinations(WHO)[-1])
    assert visit.amends
    visit.change(Change("comment", "", "forgotten"), "kept")
    saved = visit.save(None, "a comment")
    assert (saved.id, saved.revision, saved.amendment.why) == (first.id, 2, "a comment")
    assert [e.comment for e in session.ward.revisions(WHO, first.id)] == ["", "forgotten"]


def test_an_amendment_that_changes_nothing_is_known_as_one(session):
    saved_before(session)
    visit = Visit.amend(session, session.ward.examinations(WHO)[-1])
    assert visit.changes_nothing
    visit.change(graded("knee", "left", "0"), "left knee 0")
    assert not visit.changes_nothing
    visit.change(graded("knee", "left", "2+"), "left knee 2+")
    assert visit.changes_nothing
    visit.change(Change("comment", "", "forgotten"), "kept")
    visit.go_on(visit.save(None, "a comment"))
    assert visit.changes_nothing
    assert not Visit.begin(session, WHO).changes_nothing


def test_who_amends_second_sees_both_and_saves_after_the_first(session):
    saved_before(session)
    first = session.ward.examinations(WHO)[-1]
    visit = Visit.amend(session, first)
    visit.change(Change("comment", "", "mine"), "kept")
    theirs = first.model_copy(update={"comment": "theirs"})
    session.ward.amend(theirs, "Dr Bex", "their reason", NOW)
    with pytest.raises(AmendedMeanwhileError) as refused:
        visit.save(None, "my reason")
    text = " ".join(visit.go_after(refused.value.stored, "s").split())
    assert "comment: theirs theirs; yours mine" in text
    assert visit.save(None, "my reason").revision == 3
    assert [e.comment for e in session.ward.revisions(WHO, first.id)] == ["", "theirs", "mine"]


def test_what_is_being_saved_is_what_stood_when_it_was_asked(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("knee", "left", "0"), "left knee 0")
    save = visit.saving(None)
    visit.change(graded("knee", "left", "2+"), "left knee 2+")
    assert save().finding("knee", "left").answer == "0"


def test_saved_examinations_are_turned_through_with_their_revisions(session):
    saved_before(session)
    first = session.ward.examinations(WHO)[-1]
    session.ward.amend(first, "Dr Bex", "why", NOW)
    visit = Visit.begin(session, WHO)
    visit.change(graded("knee", "left", "0"), "left knee 0")
    visit.save(None)
    saved = Saved(session, WHO)
    last = saved.last
    assert saved.place(last) == "examination 2 of 2"
    amended = saved.beside(last, -1)
    assert saved.place(amended) == "examination 1 of 2, revision 2 of 2"
    assert not saved.is_last_revision(saved.beside(amended, -1))
    assert (saved.beside(last, 1), saved.beside(last, -3)) == (None, None)
    assert saved.case(last).previous.finding("knee", "left").answer == "2+"
    assert saved.named(first.id).examination == amended
    assert "ankle" in saved.named(None).note()
    with pytest.raises(InputError, match="no examination 'nothing1'"):
        saved.named("nothing1")


# --- what was done about a reason


def saddle(session, onset="days"):
    visit = Visit.open(session, WHO)
    visit.change(Change("flag", "saddle_numb", "yes"))
    visit.change(Change("context", "onset", onset))
    return visit


def reason(case, rule="cauda_equina"):
    (found,) = (r for r in case.urgency(own=True).reasons if r.rule == rule)
    return found


def at(session, **span):
    return replace(session, now=lambda: NOW + timedelta(**span))


def test_an_act_answers_a_reason_and_to_ask_gives_no_more_time(session):
    visit = saddle(session)
    new = reason(visit.case)
    assert (new.answered, new.since, new.due) == (False, NOW, NOW + timedelta(hours=4))
    visit.session = at(session, minutes=10)
    visit.act("cauda_equina", "asked")
    asked = reason(visit.case)
    assert (asked.urgency, asked.answered) == (3, True)
    assert asked.due == new.due
    assert asked.asked.what == asked.image
    visit.session = at(session, hours=2)
    visit.act("cauda_equina", "done", "MRI: no compression")
    done = reason(visit.case)
    assert (done.urgency, done.due, [a.kind for a in done.acts]) == (3, None, ["asked", "done"])
    assert visit.undo().said == "image done: MRI: no compression"
    assert reason(visit.case) == asked


def test_acts_are_in_the_draft_and_in_what_is_saved_with_since_when_it_was_raised(session):
    visit = saddle(session)
    visit.act("cauda_equina", "called", "Dr Spine")
    visit.pause(2.0)
    visit = Visit.open(session, WHO)
    assert [a.what for a in visit.examination.acts] == ["Dr Spine"]
    visit.save(None)
    (saved,) = session.ward.examinations(WHO)
    assert [(r.rule, r.since, r.acts) for r in saved.raised] == [("cauda_equina", NOW, ())]
    later = saddle(at(session, hours=8))
    found = reason(later.case)
    assert (found.since, [a.what for a in found.acts]) == (NOW, ["Dr Spine"])
    assert found.due == NOW + timedelta(hours=4)
    (kept,) = later.save(None).raised
    assert (kept.since, [a.what for a in kept.acts]) == (NOW, ["Dr Spine"])


@pytest.mark.parametrize(
    ("rule", "kind", "what", "said"),
    [
        ("stroke", "called", "", "no reason 'stroke' stands: those that stand: cauda_equina"),
        ("cauda_equina", "done", "", "image done: no words say how"),
        ("compartment", "asked", "", "image asked for: no words say how"),  # none comes first
        ("cauda_equina", "lowered", " ", "brought down: no words say how"),
        ("cauda_equina", "called", "x" * 121, "at most 120"),
    ],
    ids=["no reason", "no result", "no image", "no reason to bring down", "too long"],
)
def test_an_act_that_cannot_be_is_refused_and_changes_nothing(session, rule, kind, what, said):
    visit = saddle(session)
    if rule == "compartment":
        visit.change(Change("flag", "limb_tense", "yes"))
    before = visit.examination
    with pytest.raises(InputError) as refused:
        visit.act(rule, kind, what)
    assert said in str(refused.value).replace(" (", ": ").replace(")", "")
    assert visit.examination is before


def test_what_nothing_brings_down_is_refused_and_so_is_anything_while_it_is_worse(session):
    visit = saddle(session)
    visit.change(Change("flag", "limb_tense", "yes"))
    with pytest.raises(InputError, match="nothing brings this reason down"):
        visit.act("compartment", "lowered", "looks fine")
    visit.change(Change("flag", "worse", "yes"))
    with pytest.raises(InputError, match="cannot be brought down: said to be worse"):
        visit.act("cauda_equina", "lowered", "MRI normal")
    visit.act("compartment", "not_needed", "pressure 10 mmHg, Dr Bone")
    found = reason(visit.case, "compartment")
    assert (found.urgency, found.answered, found.due) == (3, True, None)


def test_what_was_brought_down_holds_in_later_examinations_until_something_is_found_beyond(session):
    visit = saddle(session)
    visit.act("cauda_equina", "lowered", "MRI normal")
    visit.save(None)
    again = saddle(at(session, hours=4))
    assert reason(again.case).lowered == "MRI normal (Dr Test, 04 Mar 14:00)"
    again.change(graded("ankle", "left", "0"), "left ankle 0")
    worse = reason(again.case)
    assert (worse.urgency, worse.answered, worse.ended) == (3, False, "left ankle 0")
    assert worse.due == NOW + timedelta(hours=8)  # its clock runs anew
    again.save(None)
    # Once ended it never holds again, also when what ended it has gone.
    third = saddle(at(session, hours=8))
    third.change(graded("ankle", "left", "2+"), "left ankle 2+")
    found = reason(third.case)
    assert (found.urgency, found.ended) == (3, "left ankle 0")
    assert [a.ended for a in found.acts] == ["left ankle 0"]


def test_what_is_written_from_the_list_is_a_further_revision_with_its_reason(session):
    saddle(session).save(None)
    open_one = saddle(at(session, minutes=5))
    write_act(at(session, minutes=10), WHO, "cauda_equina", "asked", "MRI lumbar")
    (saved,) = session.ward.examinations(WHO)
    assert (saved.revision, saved.amendment.why) == (2, "image asked for: MRI lumbar")
    assert [(a.kind, a.by) for a in saved.acts] == [("asked", "Dr Test")]
    # An examination that was begun before carries it on.
    (kept,) = open_one.save(None).raised
    assert [a.what for a in kept.acts] == ["MRI lumbar"]


def test_nothing_is_written_of_whom_nobody_examined_or_was_not_shown(session):
    with pytest.raises(InputError, match="no examination is stored"):
        write_act(session, WHO, "cauda_equina", "asked")
    saddle(session).save(None)
    (bed,) = session.ward.beds()
    with pytest.raises(WardexamError, match="the list showed A3 Somebody Else"):
        write_act(session, WHO, "cauda_equina", "asked", shown=replace(bed, name="Somebody Else"))
    assert session.ward.examinations(WHO)[-1].revision == 1


def dangerous(chance, name="cord at T6", region="cord"):
    site = Site("cord", region, name, "both", None, None, chance, "likely", urgent=True)
    return Reading(sites=(site,), dangerous=(site,), entered=5)


def test_the_tools_own_alarm_stays_once_raised_until_it_is_settled(session):
    visit = saddle(session)
    visit.change(graded("knee", "left", "0"), "left knee 0")
    visit.session = at(session, minutes=3)
    visit.notice(dangerous(0.7))
    visit.notice(dangerous(0.8))  # as grave: nothing more to put down
    visit.change(graded("knee", "left", "2+"), "left knee 2+")
    quiet = dangerous(0.1)
    visit.notice(quiet)
    alarm = reason(visit.case, OWN)
    assert (alarm.urgency, alarm.since) == (2, NOW + timedelta(minutes=3))
    assert (alarm.text, alarm.image) == ("signs may mean: cord at T6", "MRI of the whole spine")
    assert OWN not in {r.rule for r in visit.case.told.reasons}  # a suggestion, not yet accepted
    assert visit.case.to_save(quiet)[1].urgency == 3
    visit.pause(2.0)
    visit = Visit.open(session, WHO)
    assert reason(visit.case, OWN) == alarm
    visit.change(Change("suggestion", "", "Findings compatible with: likely cord."))
    assert OWN in {r.rule for r in visit.case.told.reasons}
    visit.act(OWN, "called", "Dr Nerve")
    assert reason(visit.case, OWN).answered
    visit.act(OWN, "done", "MRI: no lesion of the cord")
    assert OWN not in {r.rule for r in visit.case.urgency(quiet).reasons}
    # Raised again only where a sign is out of the usual.
    assert OWN not in {r.rule for r in visit.case.urgency(dangerous(0.7)).reasons}
    visit.change(graded("knee", "left", "0"), "left knee 0")
    assert OWN in {r.rule for r in visit.case.urgency(dangerous(0.7)).reasons}


def test_the_tools_own_alarm_goes_with_the_keys_that_raised_it(session):
    visit = saddle(session)
    visit.change(graded("ankle", "left", "0"), "left ankle 0")
    visit.change(graded("knee", "left", "0"), "left knee 0")
    before = visit.examination.raised
    visit.notice(dangerous(0.7))
    assert reason(visit.case, OWN).urgency == 2
    visit.undo()
    assert visit.examination.raised == before
    # What is left is read again, and raises it again where it should.
    visit.notice(dangerous(0.7))
    assert reason(visit.case, OWN).urgency == 2


def test_what_one_keystroke_changes_is_all_or_nothing_and_undone_as_one(session):
    visit = Visit.open(session, WHO)
    right, left = (graded("knee", side, "0") for side in ("right", "left"))
    with pytest.raises(InputError):
        visit.change_together([(right, "right"), (graded("knee", "left", "9"), "left")])
    assert (answers(visit), visit.undo(), visit.draft.sent) == ({}, None, 0)
    visit.change_together([(right, "both"), (left, "both")])
    visit.change(Change("comment", "", "x"), "comment")
    undone = visit.undo(), visit.undo()
    assert [step.said for step in undone if step] == ["comment", "both"]
    assert (answers(visit), visit.undo()) == ({}, None)
    assert visit.redo().said == "both"
    assert answers(visit) == {("knee", "right"): "0", ("knee", "left"): "0"}
    assert (visit.redo().said, visit.redo()) == ("comment", None)


def test_what_another_did_meanwhile_is_not_lost_to_who_amends_second(session):
    saddle(session).save(None)
    visit = Visit.amend(session, session.ward.examinations(WHO)[-1])
    visit.act("cauda_equina", "called", "Dr Spine")
    write_act(at(session, minutes=5), WHO, "cauda_equina", "asked", "MRI lumbar")
    with pytest.raises(AmendedMeanwhileError) as refused:
        visit.save(None, "called")
    visit.go_after(refused.value.stored, "s")
    assert {a.what for a in visit.save(None, "called").acts} == {"MRI lumbar", "Dr Spine"}


def test_one_act_about_several_reasons_is_one_step(session):
    visit = saddle(session)
    visit.change(Change("flag", "limb_tense", "yes"))
    visit.act(["cauda_equina", "compartment"], "called", "Dr Both")
    assert [a.rule for a in visit.examination.acts] == ["cauda_equina", "compartment"]
    assert all(r.answered for r in visit.case.urgency().reasons)
    with pytest.raises(InputError, match="no reason 'stroke' stands"):
        visit.act(["cauda_equina", "stroke"], "called", "Dr Both")
    visit.undo()
    assert visit.examination.acts == ()


def test_a_long_stay_carries_what_counts_and_no_more(session):
    for hour in range(30):
        visit = saddle(at(session, hours=hour))
        visit.act("cauda_equina", "lowered", f"MRI {hour} normal")
        if hour % 3 == 2:
            visit.change(graded("ankle", "left", ("0", "4+")[hour % 2]), "worse")
        visit.save(None)
    last = session.ward.examinations(WHO)[-1]
    (kept,) = (r for r in last.raised if r.rule == "cauda_equina")
    assert kept.since == NOW
    assert len(kept.acts) == CARRIED
    assert all(a.on is None for a in kept.acts if a.ended)
    assert Saved(session, WHO).named(None).told.level >= 1


def test_the_tools_own_alarm_stands_in_later_examinations_until_it_is_settled(session):
    visit = saddle(session)
    visit.change(graded("ankle", "left", "0"), "left ankle 0")
    visit.notice(dangerous(0.7))
    visit.save(dangerous(0.7))
    quiet = dangerous(0.1)
    later = saddle(at(session, hours=4))
    held = next(r for r in later.case.urgency(quiet).reasons if r.rule == OWN)
    assert (held.since, held.said.endswith("earlier)")) == (NOW, True)
    later.act(OWN, "not_needed", "MRI of yesterday was normal")
    later.save(quiet)
    third = saddle(at(session, hours=8))
    assert OWN not in {r.rule for r in third.case.urgency(quiet).reasons}
    # Raised again over no more than that was written over, it is answered; over more it is an alarm again.
    third.change(graded("ankle", "left", "0"), "left ankle 0")
    third.notice(dangerous(0.7))
    (again,) = (r for r in third.case.urgency(dangerous(0.7)).reasons if r.rule == OWN)
    assert again.answered
    third.change(graded("knee", "left", "0"), "left knee 0")
    anew = reason(third.case, OWN)
    assert (anew.since, anew.answered) == (NOW + timedelta(hours=8), False)
    assert anew.ended == "left knee 0"


CAUDA = "onset=hours ankle 0/0 saddle absent/reduced anal_tone reduced bladder retention knee 2/2 plantar flexor/flexor"


def power(sign, side, answer):
    return Change("finding", f"{sign} {side}", {"sign": sign, "side": side, "answer": answer})


def test_a_reexamination_is_read_with_what_stands_and_is_saved_so(session):
    saved_before(session, CAUDA)
    visit = Visit.open(session, WHO)
    for side in ("right", "left"):
        visit.change(power("ankle_dorsiflexion", side, "2"))
    reading = visit.reading()
    assert reading.sites[0].region == "cauda"
    assert reading.before == "with 10 findings from 06:00, faded"
    saved = visit.save(reading)
    assert saved.reading.sites[0].site == "cauda"
    assert [f.sign for f in saved.findings] == ["ankle_dorsiflexion"] * 2


def test_a_first_examination_is_read_alone(session):
    visit = Visit.open(session, WHO)
    visit.change(power("ankle_dorsiflexion", "right", "2"))
    assert visit.earlier is None
    assert visit.reading().before == ""


def test_urgency_is_the_same_whatever_the_reading_hears_of_before(session):
    saved_before(session, CAUDA)
    visit = Visit.open(session, WHO)
    visit.change(power("ankle_dorsiflexion", "right", "2"))
    alone = engine().read(visit.examination)
    assert visit.case.urgency(visit.reading()) == visit.case.urgency(alone)


def test_what_contradicts_stands_in_the_note_with_both_its_halves(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("ankle", "left", "0"))
    visit.change(Change("finding", "clonus_ankle left", {"sign": "clonus_ankle", "side": "left", "answer": "sustained"}))  # fmt: skip
    text = " ".join(visit.case.note().split())
    assert "Stated both left ankle 0 and left ankle clonus sustained: left out of where" in text
    assert "Stated both" in " ".join(visit.case.referral().split())


def test_what_is_accepted_says_that_it_rests_on_what_was_found_before(session):
    saved_before(session, CAUDA)
    visit = Visit.open(session, WHO)
    visit.change(power("ankle_dorsiflexion", "right", "2"))
    visit.change(Change("suggestion", "", accepted_text(visit.reading())))
    assert "With 10 findings from 06:00, faded." in " ".join(visit.case.note().split())


def test_what_is_entered_after_a_suggestion_was_accepted_takes_it_out_of_the_note(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("ankle", "left", "0"), "left ankle 0")
    visit.change(Change("suggestion", "", "perhaps left S1 root"), "accepted")
    assert not visit.change(Change("comment", "", "tired"), "comment")
    assert visit.examination.suggestion
    assert visit.change(graded("knee", "left", "0"), "left knee 0")
    assert not visit.examination.suggestion
    # It is undone with what took it out, as one.
    assert visit.undo().change.key == "knee left"
    assert visit.examination.suggestion == "perhaps left S1 root"
    assert visit.examination.finding("knee", "left") is None
    visit.redo()
    assert not visit.examination.suggestion
    saved = visit.save(visit.reading())
    assert "suggestion" not in session.ward.examinations(WHO)[-1].model_dump(exclude_defaults=True)
    assert not saved.suggestion


def test_a_suggestion_accepted_by_one_of_several_is_put_down_to_none_of_them_alone(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("ankle", "left", "0"), "left ankle 0")
    visit.change(Change("suggestion", "", "perhaps left S1 root"), "accepted")
    visit.save(visit.reading())
    other = replace(session, examiner="Dr Bell")
    amended = Visit.amend(other, session.ward.examinations(WHO)[-1])
    amended.change(Change("comment", "", "seen again"), "comment")
    amended.save(amended.reading(), "a comment")
    note = Saved(other, WHO).named(None).note()
    assert "accepted by Dr Test or Dr Bell" in " ".join(note.split())


def test_what_was_undone_to_the_last_leaves_no_draft(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("knee", "left", "0"), "left knee 0")
    assert not visit.untouched
    visit.undo()
    assert visit.untouched
    visit.leave()
    assert session.ward.drafts() == ()


def test_a_draft_that_was_resumed_stays_whatever_is_undone(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("knee", "left", "0"), "left knee 0")
    visit.leave()
    again = Visit.open(session, WHO)
    assert again.resumed
    assert not again.untouched
    again.leave()
    assert len(session.ward.drafts()) == 1


def test_a_paper_that_is_calmer_than_the_list_says_so_and_nothing_of_the_reading(session):
    visit = Visit.open(session, WHO)
    visit.change(graded("knee", "left", "0"), "left knee 0")
    for said in (visit.case.note(), visit.case.referral()):
        assert "ward list" not in said
        assert "Urgency: UNKNOWN, not low" in " ".join(said.split())
    visit.notice(dangerous(0.7))
    for said in (visit.case.note(), visit.case.referral()):
        said = " ".join(said.split())
        assert (
            "Urgency: WITHIN 12 H, due 5 Mar 02:00, as on the ward list: an alarm of the tool's own reading"
            in said
        )
        assert said.count("Urgency: ") == 1
        assert "By the rules alone: UNKNOWN, not low: 37 flags not asked." in said
        assert "T6" not in said
    visit.change(Change("suggestion", "", "Findings compatible with: likely cord."))
    assert "ward list" not in visit.case.note()
    assert "signs may mean: cord at t6" in " ".join(visit.case.note().lower().split())


def left_ankle(session, *grades, hours=2, line="dorsiflexion 5/{}"):
    """A stay in which the left foot is graded every so many hours, the last of them now."""
    for n, grade in enumerate(grades):
        at = NOW - timedelta(hours=hours * (len(grades) - 1 - n))
        made = examined(line.format(grade), at, id=f"before{n:02}", patient=WHO, examiner="Dr Ash")
        session.ward.save(made, "Dr Ash")
    return Saved(session, WHO)


def test_a_slow_slide_stands_in_note_and_referral_and_on_the_list(session):
    saved = left_ankle(session, "5", "4+", "4-", line="dorsiflexion 5/{} onset=longer")
    case = saved.case(saved.last)
    said = "Worse over the stay: left ankle dorsiflexion 5 (4 Mar 10:00) to 4-."
    assert said in case.note()
    assert said in " ".join(case.referral().split())
    _, summary = case.to_save()
    assert summary.worse
    assert (summary.urgency, summary.short) == (2, "worse over the stay")


def over_a_night(session, third):
    """What was found by day, reflexes alone at night, and something again the next day; each by another doctor."""
    day = "hip_flexion 5/5 saddle 2/2"
    for n, (line, who) in enumerate([(day, "Dr Ames"), ("knee 2/2", "Dr Bex"), (third, "Dr Cox")]):
        at = NOW - timedelta(hours=24) + timedelta(hours=(0, 13, 24)[n])
        made = examined(line, at, id=f"before{n:02}", patient=WHO, examiner=who)
        session.ward.save(made, who)
    return Saved(session, WHO)


@pytest.mark.parametrize(
    ("third", "said"),
    [
        (
            "hip_flexion 3/3 saddle 1/2",
            "Worse since 3 Mar 14:00 (Dr Ames): right saddle sensation was normal, now reduced; 1 more worse.",
        ),
        (
            "hip_flexion 3/3 knee 0/2",
            "What changed: since 3 Mar 14:00: hip flexion 5 to 3 on both sides. Since 4 Mar 03:00: knee jerk right 2+ to 0.",
        ),
        (
            "hip_flexion 5/5 knee 2/2",
            "No change in 2 signs since each was seen last, 3 Mar 14:00 to 4 Mar 03:00.",
        ),
    ],
)
def test_each_change_is_dated_by_the_last_look_at_its_own_sign(session, third, said):
    saved = over_a_night(session, third)
    assert said in " ".join(saved.case(saved.last).note().split())


def test_that_another_session_has_the_patient_open_is_said(tmp_path):
    at = datetime(2026, 11, 24, 9, tzinfo=UTC)
    ward = open_ward(tmp_path / "ward")
    ward.admit(Patient(id="patient1", bed="A3", name="Ana Invented", age=60, admitted=at), "test")
    numbers = iter(range(1, 9))

    def opened(by):
        session = Session(ward, by, lambda: at, lambda: f"exam000{next(numbers)}")
        return Visit.open(session, "patient1")

    first = opened("Dr Ash")
    assert first.beside == ""
    second = opened("Dr Bex")
    assert second.beside == "OPEN ELSEWHERE: Dr Ash, nothing entered. Yours is apart."
    second.leave()
    first.change(Change("flag", "saddle_numb", "yes"))
    first.pause(1.0)
    third = opened("Dr Cole")  # resumes it
    assert third.beside == ""
    third.draft.flush(5.0)  # that he took it up is on disk
    fourth = opened("Dr Bex")
    assert fourth.beside == "OPEN ELSEWHERE: Dr Cole, 2 entries. Yours is apart."
    assert len(fourth.beside) <= 62
    for visit in (third, fourth):
        visit.leave()


def test_what_was_found_earlier_is_due_earlier_and_weighs_as_of_then(session):
    saved_before(session)
    visit = Visit.open(session, WHO)
    visit.change(Change("flag", "bladder_bowel", "yes"), "bladder")
    visit.change(graded("knee", "left", "0"), "knee")
    due = {r.rule: r.due for r in visit.case.urgency().reasons if r.due}
    assert due
    visit.notice(visit.reading())
    visit.change(*visit.made_at("3 h"))
    sooner = {r.rule: r.due for r in visit.case.urgency().reasons}
    assert all(sooner[rule] == at - timedelta(hours=3) for rule, at in due.items())
    assert visit.earlier.now == NOW - timedelta(hours=3)
    saved = visit.save(visit.reading())
    assert (saved.at, saved.entered) == (NOW - timedelta(hours=3), NOW)
    assert {r.since for r in saved.raised} == {saved.at}


def test_it_is_not_put_before_the_last_one_and_a_draft_keeps_the_time_told(session):
    saved_before(session)
    visit = Visit.open(session, WHO)
    with pytest.raises(InputError, match="last examination was made at"):
        visit.made_at("9 h")
    visit.change(*visit.made_at("12:30"))
    visit.change(graded("knee", "left", "0"), "left knee 0")
    visit.leave()
    again = Visit.open(session, WHO)
    assert (again.examination.at, again.examination.entered) == (NOW - timedelta(minutes=90), NOW)
    again.undo()
    saved = again.save(again.reading())
    amending = Visit.amend(session, saved)
    amending.change(*amending.made_at(""))
    assert (amending.examination.at, amending.examination.entered) == (NOW, None)
