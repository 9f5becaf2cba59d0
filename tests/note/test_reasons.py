"""The reasons of urgency on every paper: nothing that one says is missing from another."""

import itertools
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from tests.records.memory import MemoryWard
from wardexam.exam.entry import Change
from wardexam.exam.examination import Patient
from wardexam.exam.moments import clock, moment
from wardexam.exam.typed import read_line
from wardexam.injury.entry import written_over
from wardexam.injury.signs import as_signs
from wardexam.injury.typed import read_typed
from wardexam.injury_visit import InjuryVisit, SavedSheets
from wardexam.note import handover, sentences
from wardexam.note.headline import summarise
from wardexam.note.limits import (
    late_words,
    level_of,
    level_word,
    listed_word,
    running,
    span,
    until,
    when,
)
from wardexam.note.reasons import action, asks, by_deadline, steps, whole
from wardexam.plain import words
from wardexam.reasoning.rules.reason import Reason, Urgency
from wardexam.reasoning.rules.rule_table import WORDS, rules
from wardexam.reasoning.rules.urgency import assess
from wardexam.records.repository import Summary
from wardexam.saved import Saved, write_act
from wardexam.session import Session
from wardexam.visit import Visit

NOW = datetime(2026, 3, 4, 14, tzinfo=UTC)
WHO = "patient1"


@pytest.fixture
def session():
    ward = MemoryWard()
    ward.admit(Patient(id=WHO, bed="A3", name="Ana Invented", age=60, admitted=NOW), "test")
    names = (f"exam{n:04}" for n in itertools.count())
    return Session(ward, "Dr Ash", lambda: NOW, lambda: next(names))


def at(session, by="Dr Ash", **span):
    return replace(session, now=lambda: NOW + timedelta(**span), examiner=by)


def entered(session, line):
    visit, found = Visit.open(session, WHO), read_line(line).spelled_out()
    for f in found.findings:
        visit.change(Change("finding", f"{f.sign} {f.side}", f.model_dump(mode="json")))
    for name, value in found.flags.items():
        visit.change(Change("flag", name, value))
    visit.change(Change("context", "onset", found.context.onset))
    return visit


def papers(session, case):
    """Each paper of the case as one line of text, read at a time."""
    now = session.now()
    found = case.told
    sheet = handover.sheet(session.ward.papers(), "", now=now, begun={})
    texts = {
        "note": case.note(),
        "referral": case.referral(),
        "handover": sheet,
        "plain": "\n".join(words.reasons(found, case.examination.at, now)),
    }
    return {name: " ".join(text.split()) for name, text in texts.items()}


LINES = [
    "flag:saddle_numb=yes onset=days",
    "power_leg 3/3 plantar up/up flag:cancer=yes flag:both_legs=yes onset=days",
    "aphasia slight hip_flexion 3/5 flag:headache_sudden=yes",
    "ptosis 1/1 flag:breathing=yes flag:limb_tense=yes onset=weeks",
]


@pytest.mark.parametrize("line", LINES)
def test_every_reason_deadline_and_act_stands_on_every_paper(session, line):
    visit = entered(session, line)
    first, *others = visit.case.urgency().reasons
    visit.session = at(session, minutes=5)
    visit.act(first.rule, "called")
    visit.save(None)
    write_act(at(session, "Dr Bex", minutes=10), WHO, first.rule, "asked", "MRI, emergency list")
    for other in others[-1:]:
        write_act(at(session, "Dr Cole", minutes=20), WHO, other.rule, "done", "CT: no bleed")
    late = at(session, minutes=30)
    case = Saved(late, WHO).named(None)
    reasons = case.told.reasons
    assert len(reasons) == 1 + len(others)
    for name, text in papers(late, case).items():
        for reason in reasons:
            urgent = when(reason, NOW) if reason.due else level_of(reason, NOW)
            assert urgent.upper() in text, name
            assert reason.said in text, name
            if reason.due:
                assert f"due {until(reason.due, NOW)}".lower() in text.lower(), name
            for act in reason.acts:
                assert act.what in text, name
                assert f"{moment(act.at, NOW)} by {act.by}" in text, name
            if reason is reasons[0] or asks(reason, case.told):
                steps = (
                    *reason.first.split("; "),
                    f"call {reason.call}",
                    *reason.image.split("; "),
                )
                assert all(s.lower() in text.lower() for s in steps if "none first" not in s), name
        assert "MRI, emergency list asked 4 Mar 14:10 by Dr Bex" in text, name


CORD = "sensation: 2 to C4, 1\nmotor: 53000/00000\nvac no\ndap yes"
CORD_SAID = (
    "Cord injury sheet of 4 Mar 14:20 by Dr Bex, after this examination: scale B or C; level C4; motor level "
    "right C6, left C6; sensory level right C4, left C4; not in the urgency above."
)


def sheet_saved(session, text):
    visit = InjuryVisit.open(session, WHO)
    visit.change(written_over(visit.sheet, read_typed(text)))
    kept = visit.saving()()
    visit.done()
    return kept


def charted(session):
    """Note, referral and handover of the examination saved last, each as one line of text."""
    made = papers(session, Saved(session, WHO).named(None))
    return {name: made[name] for name in ("note", "referral", "handover")}


def test_a_sheet_saved_after_the_examination_stands_on_every_paper_and_changes_no_level(session):
    entered(session, LINES[0]).save(None)
    late = at(session, "Dr Bex", minutes=20)
    before, level = charted(late), Saved(late, WHO).urgency.level
    sheet_saved(late, "motor: 53000/00000")
    kept = sheet_saved(late, CORD)
    said = CORD_SAID.removesuffix(".") + "; so 1 sheet before it."
    for name, text in charted(late).items():
        assert said in text, name
        assert " ".join(text.replace(said, "").split()) == before[name], name
    assert Saved(late, WHO).urgency.level == level
    assert SavedSheets(late, WHO).unheard(kept)


def test_a_sheet_that_an_examination_holds_or_followed_is_named_on_no_paper(session):
    early = at(session, minutes=-20)
    sheet_saved(early, CORD)
    entered(session, LINES[0]).save(None)
    assert not any("Cord injury sheet" in text for text in charted(session).values())
    late = at(session, "Dr Bex", minutes=20)
    kept = sheet_saved(late, CORD)
    assert all(CORD_SAID in text for text in charted(late).values())
    visit = Visit.open(at(session, minutes=20), WHO)
    for f in as_signs(kept.sheet).findings:
        visit.change(Change("finding", f"{f.sign} {f.side}", f.model_dump(mode="json")))
    visit.save(None)
    assert not any("Cord injury sheet" in text for text in charted(late).values())
    assert not SavedSheets(late, WHO).unheard(kept)


def test_the_handover_names_a_sheet_where_no_examination_is_saved(session):
    late = at(session, "Dr Bex", minutes=20)
    sheet_saved(late, CORD)
    text = " ".join(handover.sheet(late.ward.papers(), "", now=late.now(), begun={}).split())
    assert CORD_SAID.replace("after this examination", "no examination saved") in text


def test_the_first_lines_say_that_another_reason_is_due_before(session):
    note = entered(session, LINES[1]).case.note().splitlines()
    assert note[1].startswith("Urgency: NOW, due 4 Mar 18:00, another 4 Mar 15:00.")


def test_of_limits_that_are_passed_the_note_says_the_one_of_the_list_as_well(session):
    visit = entered(session, LINES[1])
    visit.save(None)
    late = at(session, hours=6)
    note = " ".join(Saved(late, WHO).named(None).note().split())
    assert "NOW, OVERDUE 2 h, was due 4 Mar 18:00, another OVERDUE 5 h." in note
    (bed,) = late.ward.beds()
    assert running(bed.summary, late.now(), step=False) == "OVERDUE 5 h"


@pytest.mark.parametrize(
    ("late", "said"),
    [
        ({"seconds": 1}, "1 min"),
        ({"seconds": 119}, "2 min"),
        ({"minutes": 59.9}, "1 h"),
        ({"hours": 2}, "2 h"),
    ],
)
def test_what_is_passed_is_never_passed_by_nothing(late, said):
    assert late_words(timedelta(**late)) == f"OVERDUE {said}"


def test_what_was_done_is_plain_ascii_in_the_note_whatever_was_typed(session):
    visit = entered(session, LINES[0])
    visit.session = at(session, by="Dr Jürgen Ståhl")
    visit.act("cauda_equina", "asked", "IRM lombo-sacrée, urgente \u2013 « ce soir »")
    text = visit.case.note()
    assert text.isascii()
    assert "IRM lombo-sacree, urgente" in " ".join(text.split())
    assert "by Dr Jurgen Stahl" in " ".join(text.split())


FACTS = [
    ("saddle 1/1 ankle 0/0 bladder retention power_leg 4/5 onset=days", "ankle 0/2 power_leg 3/4 plantar up/up gait spastic"),
    ("knee 2/2 pin_L5 2/2 jaw 2 clonus_ankle none/none", "knee 0/2 pin_L5 1/2 jaw 3 clonus_ankle sustained/none hip_flexion nt:pain/5"),
    ("biceps 2/2 face_lower 5/5 aphasia none", "biceps 3/2 face_lower 3/5 aphasia marked neglect 1/0 rest=power:left_arm"),
    ("level_pin T10/T10 vibration_leg 2/2", "level_pin T8/T8 vibration_leg 0/0 post_void_residual measured:480 anal_tone 0"),
]  # fmt: skip


@pytest.mark.parametrize(("before", "after"), FACTS)
def test_note_referral_and_handover_say_the_same_of_what_was_found(session, before, after):
    entered(session, before).save(None)
    visit = entered(at(session, hours=4), after)
    visit.change(Change("impression", "", "Not clear yet."))
    visit.save(None)
    late = at(session, hours=5)
    case = Saved(late, WHO).named(None)
    found, change = case.examination, case.comparison()
    facts = {
        "abnormal": [text for _, text in sentences.abnormal(found)],
        "not examined": sentences.not_examined(found),
        "not examined again": sentences.not_again(case.previous, found).split("; "),
        "not testable": sentences.not_testable(found).split("; "),
        "change": sentences.changes_of(change.gravest).split("; "),
        "new": sentences.beside_changes(change)["New, not examined before"].split("; "),
        "impression": ["Impression: Not clear yet."],
    }
    assert all(facts[name] for name in ("abnormal", "not examined", "change"))
    for name, text in papers(late, case).items():
        if name != "plain":  # that says why it is urgent, and no more
            for kind, said in facts.items():
                for fact in said:
                    assert " ".join(fact.split()).rstrip(".") in text, (name, kind, fact)
    for (
        f
    ) in found.findings:  # each finding is in one of the sentences, with its side where it has one
        said = " ".join((*facts["abnormal"], sentences.normal(found), *facts["not testable"]))
        assert f.row.name.split(",")[0].removeprefix("pinprick ") in said, f


def test_the_first_reason_is_whole_and_the_others_are_in_short_none_lost(session):
    visit = entered(session, LINES[1])
    lines = visit.case.note().splitlines()
    reasons = visit.case.told.reasons
    assert len(reasons) > 2
    assert lines[1].startswith("Urgency: NOW, ")
    assert lines.index("To do, and why:") < lines.index("Abnormal:")
    text = " ".join(visit.case.note().split())
    assert text.count("Raised 4 Mar 14:00") == 1
    assert all(r.said in text and f"ue {until(r.due, NOW)}" in text for r in reasons)
    assert lines.index("Abnormal:") - lines.index("To do, and why:") < 5 * len(reasons)


def test_what_is_overdue_is_said_so_in_the_sheet_and_in_the_list_and_not_before(session):
    entered(session, LINES[0]).save(None)
    (bed,) = session.ward.beds()
    assert running(bed.summary, NOW).startswith("due 18:00 bladder scan, without delay")
    assert "OVERDUE" not in papers(session, Saved(session, WHO).named(None))["handover"]
    late = at(session, hours=6)
    assert running(bed.summary, late.now(), step=False) == "OVERDUE 2 h"
    sheet = papers(late, Saved(late, WHO).named(None))["handover"]
    assert "; OVERDUE 2 h; " in sheet
    assert "nothing done yet, OVERDUE 2 h, was due 4 Mar 18:00" in sheet
    write_act(late, WHO, "cauda_equina", "done", "MRI: no compression")
    (bed,) = session.ward.beds()
    assert running(bed.summary, late.now()) == ""
    assert bed.summary.urgency == 3


def test_the_list_says_what_was_asked_for_and_since_when_it_is_waited(session):
    entered(session, LINES[0]).save(None)
    write_act(at(session, minutes=10), WHO, "cauda_equina", "asked", "MRI lumbosacral")
    (bed,) = session.ward.beds()
    assert running(bed.summary, NOW) == "due 18:00 MRI lumbosacral asked 14:10"


def test_what_was_brought_down_and_is_not_any_more_says_why(session):
    visit = entered(session, LINES[0])
    visit.act("cauda_equina", "lowered", "MRI normal")
    assert "brought down 4 Mar 14:00 by Dr Ash: MRI normal" in " ".join(visit.case.note().split())
    visit.save(None)
    again = entered(at(session, hours=4), "ankle 2/0")
    text = " ".join(again.case.note().split())
    assert "brought down earlier, but since then: left ankle 0" in text
    assert "NOW, WITHIN 4 H: possible cauda equina syndrome (earlier)" in text
    assert "due 4 Mar 22:00" in text


def test_the_list_joins_no_reason_with_the_step_of_another(session):
    visit = entered(session, "flag:saddle_numb=yes onset=days hip_flexion 5/3 face_lower 5/3")
    visit.act("cauda_equina", "called", "spinal team")
    visit.act("cauda_equina", "done", "MRI normal")
    told = summarise(visit.case.told, None, None)
    first = visit.case.told.reasons[0]
    assert told.headline.startswith(first.text)
    due = next(r for r in by_deadline(visit.case.told) if r.due)
    assert due.rule != first.rule
    assert told.step.startswith(f"({due.brief or due.text}) ")


def test_the_list_says_of_a_settled_reason_that_it_is(session):
    visit = entered(session, "flag:saddle_numb=yes onset=days")
    assert summarise(visit.case.told, None, None).headline == "possible cauda equina syndrome"
    visit.act("cauda_equina", "not_needed", "MRI normal")
    assert summarise(visit.case.told, None, None).headline.endswith(", not needed")


def test_the_reason_that_is_due_first_is_heard_first(session):
    found = entered(session, "flag:saddle_numb=yes flag:breathing=yes onset=days").case.told
    assert [r.rule for r in by_deadline(found)][:2] == ["breathing", "cauda_equina"]
    dues = [r.due for r in by_deadline(found)]
    assert dues == sorted(dues)


def test_a_quiet_patient_is_not_assessed_on_every_paper(session):
    visit = entered(session, "knee 2/2")
    visit.save(None)
    for name, text in papers(session, Saved(session, WHO).named(None)).items():
        assert "no reason for urgency" not in text, name
        if name != "handover":
            said = "not assessed, 37" if name == "plain" else "UNKNOWN, not low: 37 flags"
            assert f"{said} not asked" in text, name
    assert summarise(visit.case.told, None, None).urgency_word.startswith("not assessed")


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(5, "5 min"), (60, "1 h"), (119, "1 h"), (60 * 99, "99 h"), (60 * 100, "4 d")],
)
def test_a_span_is_said_in_few_words(minutes, said):
    assert span(minutes) == said


def test_a_clock_on_another_day_or_in_another_year_says_so():
    assert clock(NOW, NOW) == "14:00"
    assert clock(NOW + timedelta(hours=12), NOW) == "05 Mar 02:00"
    assert clock(NOW + timedelta(days=400), NOW) == "08 Apr 2027 14:00"


def test_a_reason_without_a_time_is_said_without_one(session):
    from wardexam.reasoning.rules.urgency import assess

    (reason,) = assess(read_line("flag:limb_tense=yes").spelled_out(), None, None).reasons
    text = whole(reason, NOW)
    assert text.startswith("NOW, WITHIN MINUTES: ")
    assert not {"due", "Raised"} & set(text.split())


# -- "today" beside the day on which it ends


def reason_of(rule, due=None):
    row = rules()[rule]
    return Reason(rule, row.urgency, row.reason, row.image, row.call, row.source, row.first, row.by, due=due)  # fmt: skip


TODAYS = [name for name, row in rules().items() if WORDS[row.urgency] == "today"]
NIGHT = datetime(2026, 3, 4, 12, 14, tzinfo=UTC)


@pytest.mark.parametrize("rule", TODAYS)
@pytest.mark.parametrize(("hours", "late"), [(11, False), (12, True), (-14, False)])
def test_what_is_due_after_midnight_is_never_called_today(rule, hours, late):
    reason = reason_of(rule, NIGHT + timedelta(hours=hours))
    urgency = Urgency(reason.urgency, "today", (reason,), (), (), "")
    own = [
        when(reason, NIGHT),
        level_word(urgency, NIGHT),
        action(reason, NIGHT).rsplit("; ", 1)[1],
    ]
    assert ["today" in text for text in own] == (
        [not late, not late, not late and rules()[rule].by == "today"]
    )
    if late:
        limit = {"today": "12 h"}.get(rules()[rule].by, rules()[rule].by)
        assert when(reason, NIGHT) == f"within {limit}"
        assert whole(reason, NIGHT, NIGHT).startswith(f"WITHIN {limit.upper()}: ")
        assert "due 5 Mar 00:14" in whole(reason, NIGHT, NIGHT)


def test_other_levels_keep_their_word_after_midnight():
    for rule, row in rules().items():
        if WORDS[row.urgency] != "today":
            reason = reason_of(rule, NIGHT + timedelta(hours=30))
            assert when(reason, NIGHT).startswith(WORDS[row.urgency])
            urgency = Urgency(row.urgency, WORDS[row.urgency], (reason,), (), (), "")
            assert level_word(urgency, NIGHT) == WORDS[row.urgency]


def test_today_stays_the_word_while_one_of_its_reasons_is_due_today():
    first, second = (reason_of(TODAYS[0], NIGHT + timedelta(hours=h)) for h in (3, 12))
    assert level_word(Urgency(2, "today", (first, second), (), (), ""), NIGHT) == "today"


@pytest.mark.parametrize(
    ("level", "due", "said"),
    [
        (2, "2026-03-05T00:14:00+00:00", "12 h"),
        (2, "2026-03-05T10:14:00+00:00", "24 h"),
        (2, "2026-03-04T23:59:00+00:00", "today"),
        (2, "", "today"),
        (3, "2026-03-05T00:14:00+00:00", "NOW"),
    ],
)
def test_a_list_says_the_span_where_today_ends_after_midnight(level, due, said):
    word = {2: "today", 3: "NOW"}[level]
    assert listed_word(Summary(level, word, False, "x", due), NIGHT, word) == said


@pytest.mark.parametrize("rule", list(rules()))
def test_none_first_is_never_printed_as_an_image(rule):
    reason = reason_of(rule)
    texts = (steps(reason), action(reason, NIGHT), whole(reason, NIGHT))
    assert not any("none first" in text.lower() for text in texts)
    if rules()[rule].image == "none first":
        assert "image" not in steps(reason).removeprefix(reason.first)


@pytest.mark.parametrize(
    ("at", "said", "ends"),
    [
        ("2026-03-05T00:00:00+00:00", "5 Mar 00:00", "4 Mar 24:00"),
        ("2026-03-05T00:14:00+00:00", "5 Mar 00:14", "5 Mar 00:14"),
        ("0001-01-01T00:00:00+00:00", "1 Jan 1 00:00", "1 Jan 1 00:00"),
    ],
)
def test_only_a_limit_ends_its_day_at_midnight(at, said, ends):
    at = datetime.fromisoformat(at)
    assert (moment(at, NOW), until(at, NOW)) == (said, ends)


def test_a_plain_line_says_of_each_reason_how_urgent_it_is_itself():
    found = assess(read_line("onset=days chorea 1/0 fatigability 1").spelled_out(), None, None)
    assert [r.urgency for r in found.reasons] == [2, 1]
    first, second = words.urgency(found, NOW)
    assert first.startswith("Urgency: today: new chorea")
    assert second.startswith("Urgency: within days: lids or double vision")
