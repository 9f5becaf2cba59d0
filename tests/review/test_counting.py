"""What one stay adds, case by case: each at an edge that the simulated year may not meet."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest

from wardexam.exam.acts import Act, Raised
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.kept_reading import KeptReading, KeptSite
from wardexam.exam.outcome import Outcome
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.own_alarm import OWN
from wardexam.reasoning.rules.raised import recorded
from wardexam.reasoning.rules.urgency import assess
from wardexam.records.light_file import Event, LightFile
from wardexam.records.light_reading import read_light
from wardexam.records.repository import Arrival
from wardexam.records.ward import open_ward
from wardexam.review.counting import Period, count
from wardexam.review.figures import review
from wardexam.review.gather import count_stays
from wardexam.review.standards import standards
from wardexam.review.stay import stay_of

BEGIN = datetime(2026, 3, 1, tzinfo=UTC)
PERIOD = Period(BEGIN, BEGIN + timedelta(days=31), BEGIN + timedelta(days=60))
CAUDA = list(standards().items_of("cauda"))


def at(hours):
    return BEGIN + timedelta(hours=hours)


def exam(
    number,
    hours,
    line="knee 2/2",
    *,
    rules=("cauda_equina",),
    since=None,
    acts=(),
    says=None,
    **more,
):
    raised = None if rules is None else tuple(
        Raised(rule=rule, since=at(hours if since is None else since), level=3 if rule == OWN else 0) for rule in rules
    )  # fmt: skip
    reading = None
    if says:
        sites = tuple(KeptSite(id=s, site=s, side=side, chance=c) for s, side, c in says)
        reading = KeptReading(sites=sites, program="0", tables="0")
    return Examination.of(
        read_line(line).spelled_out(), id=f"exam{number:04}", patient="patient1", examiner="Dr Ash", at=at(hours)
    ).model_copy(update={"raised": raised, "acts": tuple(acts), "reading": reading, **more})  # fmt: skip


def act(kind, hours, rule="cauda_equina", **more):
    on = None if kind in ("called", "asked") else ()
    return Act(rule=rule, kind=kind, what="x", by="Dr Ash", at=at(hours), on=on, **more)


def counted(tmp_path, *exams, recheck=None, left=None, **ending):
    ward = open_ward(tmp_path / "ward")
    patient = Patient(
        id="patient1", bed="A1", name="Ana", admitted=at(0), recheck_hours=recheck,
        discharged=None if left is None else at(left),
    )  # fmt: skip
    outcomes = ()
    if ending:
        outcomes = (Outcome(**{"patient": "patient1", "by": "x", "at": at(500)} | ending),)
    ward.take_in([Arrival(patient, exams, outcomes=outcomes)], "x")
    return count(stay_of(read_light(ward.layout.file("patient1"))), PERIOD, standards())


@pytest.mark.parametrize(
    ("line", "done"),
    [
        ("perianal 2/2", {"cauda_saddle"}),
        ("perianal nt:pain/nt:pain", {"cauda_saddle"}),  # not testable is written down too
        ("power_leg 5/5", {"cauda_power"}),
        ("knee_extension 5/5 ankle_dorsiflexion 5/5", set()),
        ("knee 2/2 ankle 2/2", {"cauda_reflexes"}),
        ("flag:sexual=no", {"cauda_sexual"}),
        ("flag:bladder_bowel=yes", {"cauda_bladder"}),
        ("bladder normal", {"cauda_bladder"}),
        ("pin_L5 2/2", {"cauda_sensation"}),
        ("anal_tone normal", {"cauda_tone"}),
        ("", set()),
    ],
)
def test_what_counts_as_examined(tmp_path, line, done):
    found = counted(tmp_path, exam(1, 1, line)).groups["cauda"].first
    assert {name for name, was in zip(CAUDA, found, strict=True) if was} == done


def test_a_statement_covers_its_limb_and_never_the_saddle(tmp_path):
    from wardexam.exam.findings import RestNormal

    stated = tuple(
        RestNormal(part=part, limb=f"{side} leg") for part in ("power", "reflexes", "sensation") for side in ("right", "left")
    )  # fmt: skip
    both = counted(tmp_path, exam(1, 1, rest_normal=stated)).groups["cauda"].first
    found = {name for name, was in zip(CAUDA, both, strict=True) if was}
    assert found == {"cauda_power", "cauda_reflexes", "cauda_sensation"}


def test_one_side_alone_is_not_examined(tmp_path):
    made = counted(tmp_path, exam(1, 1, "pin_L5 2/-"))
    assert not made.groups["cauda"].first[CAUDA.index("cauda_sensation")]


def test_what_a_later_examination_adds_counts_by_the_end_but_not_after_the_period(tmp_path):
    made = counted(
        tmp_path, exam(1, 1), exam(2, 30, "bladder normal", since=1), exam(3, 24 * 31 + 1, "anal_tone normal", since=1)
    ).groups["cauda"]  # fmt: skip
    assert not made.first[CAUDA.index("cauda_bladder")]
    assert made.by_end[CAUDA.index("cauda_bladder")]
    assert not made.by_end[CAUDA.index("cauda_tone")]


def times(made, group="cauda"):
    return {end: (t.minutes, t.limit, t.within) for end, t in made.groups[group].times.items()}


def test_times_against_the_limit_of_the_rule_the_image_from_its_request(tmp_path):
    acts = [act("called", 1.5), act("asked", 2), act("done", 6.5)]
    made = counted(tmp_path, exam(1, 1, acts=acts), imaged=at(5.75), site="cauda")
    assert times(made) == {
        "call": (30, 240, True),
        "image": (225, 240, True),
        "result": (45, 60, True),
    }


FROM_THE_REQUEST = ("cauda_equina", "bladder_or_bowel", "both_legs_weak_pain")


@pytest.mark.parametrize("rule", FROM_THE_REQUEST)
@pytest.mark.parametrize("other", ["cauda_whole_spine", "both_legs_pain"])
def test_of_two_reasons_with_one_limit_the_image_is_timed_by_the_one_that_ends_first(
    tmp_path, rule, other
):
    acts = [act("asked", 3, rule)]
    minutes = {}
    for rules in ((rule,), (rule, other)):
        made = counted(tmp_path / str(len(rules)), exam(1, 1, rules=rules, acts=acts), imaged=at(5))
        minutes[rules] = times(made)["image"][0]
    assert minutes == {(rule,): 120, (rule, other): 240}  # from the request, from the first sign


def test_without_a_request_the_image_runs_from_the_first_sign_and_a_late_result_is_late(tmp_path):
    made = counted(tmp_path, exam(1, 1, acts=[act("done", 8)]), imaged=at(5.75), site="cauda")
    assert times(made) == {
        "call": (None, 240, None),
        "image": (285, 240, False),
        "result": (135, 60, False),
    }


def test_where_no_image_is_recorded_its_result_stands_for_it(tmp_path):
    made = counted(tmp_path, exam(1, 1, acts=[act("done", 3)]))
    assert times(made) == {
        "call": (None, 240, None),
        "image": (120, 240, True),
        "result": (None, 60, None),
    }


@pytest.mark.parametrize(
    ("acts", "imaged", "image", "result"),
    [
        ([act("done", 4)], 5, (240, 240, True), (None, 60, None)),
        ([act("done", 4), act("done", 5.5)], 5, (240, 240, True), (30, 60, True)),
        ([act("done", 2)], 0.5, (None, 240, None), (90, 60, False)),
        ([act("done", 5)], 5, (240, 240, True), (0, 60, True)),
        ([act("asked", 4), act("done", 5)], 3, (120, 240, True), (120, 60, False)),
    ],
    ids=["result first", "a later result too", "image first", "at once", "asked after the image"],
)
def test_times_in_an_order_that_cannot_be_are_no_time_at_once(
    tmp_path, acts, imaged, image, result
):
    made = counted(tmp_path, exam(1, 1, acts=acts), imaged=at(imaged), site="cauda")
    found = times(made)
    assert (found["image"], found["result"]) == (image, result)
    names = {end: t.disordered for end, t in made.groups["cauda"].times.items() if t.disordered}
    wanted = {}
    if image[0] is None:
        wanted["image"] = "image before the first sign"
    if result[0] is None:
        wanted["result"] = "result before image"
    assert names == wanted


def test_a_call_before_the_first_sign_is_at_once(tmp_path):
    made = counted(tmp_path, exam(1, 1, acts=[act("called", 0.5)]))
    assert times(made)["call"] == (0, 240, True)


def test_an_act_about_another_reason_is_none_about_this(tmp_path):
    made = counted(tmp_path, exam(1, 1, rules=("cauda_equina", "stroke"), acts=[act("called", 2, "stroke")]))  # fmt: skip
    assert times(made)["call"][0] is None
    assert times(made, "other_now")["call"] == (60, 60, True)
    assert set(made.groups) == {"cauda", "other_now"}


@pytest.mark.parametrize(
    ("acts", "settled"),
    [
        ([], set()),
        ([act("not_needed", 2)], {"call", "image", "result"}),
        ([act("lowered", 2)], {"call", "image", "result"}),
        ([act("not_needed", 2), act("called", 3)], {"image", "result"}),
        ([act("not_needed", 2), act("done", 3)], {"call", "result"}),
        ([act("not_needed", 2, ended="left knee 0")], set()),
        ([act("not_needed", 24 * 31 + 1)], set()),
    ],
)
def test_what_was_written_not_needed_is_told_of_what_was_not_done(tmp_path, acts, settled):
    assert counted(tmp_path, exam(1, 1, acts=acts)).groups["cauda"].settled == settled


def test_what_was_not_needed_and_held_no_more_at_a_later_examination_settles_nothing(tmp_path):
    row = Raised(rule="cauda_equina", since=at(1), acts=(act("not_needed", 2, ended="knee 0"),))
    later = exam(2, 30).model_copy(update={"raised": (row,)})
    acts = [act("asked", 1.5), act("not_needed", 2)]
    made = counted(tmp_path, exam(1, 1, acts=acts), later).groups["cauda"]
    assert made.settled == frozenset()
    assert made.times["image"].overdue


def test_one_reason_that_is_not_needed_leaves_another_of_the_group_open(tmp_path):
    both = ("cauda_equina", "both_legs_pain")
    acts = [act("asked", 2), act("not_needed", 2, "both_legs_pain")]
    made = counted(tmp_path, exam(1, 1, rules=both, acts=acts)).groups["cauda"]
    assert made.settled == frozenset()
    assert made.times["image"].overdue


END_HOURS = 24 * 31


@pytest.mark.parametrize(
    ("first", "acts", "overdue"),
    [
        (1, [act("asked", 2)], True),
        (1, [], False),
        (1, [act("called", 2)], False),
        (1, [act("asked", 2), act("done", 9)], False),
        (1, [act("asked", 2), act("not_needed", 3)], False),
        (1, [act("asked", 2), act("not_needed", 3, ended="left knee 0")], True),
        (END_HOURS - 5, [act("asked", END_HOURS - 4)], True),
        (END_HOURS - 5, [act("asked", END_HOURS - 3.9)], False),
        (1, [act("asked", 2), act("done", END_HOURS + 1)], True),
    ],
    ids=["asked", "not asked", "called", "done", "not needed", "needed again", "just ended", "not yet", "done after"],
)  # fmt: skip
def test_an_image_that_was_asked_for_overdue_and_not_done_is_not_within_its_limit(
    tmp_path, first, acts, overdue
):
    image = counted(tmp_path, exam(1, first, acts=acts)).groups["cauda"].times["image"]
    assert image.overdue is overdue
    assert (image.within is False) == (overdue or image.minutes == 420)


def test_before_the_end_of_the_period_what_is_overdue_is_so_by_now(tmp_path):
    made = {}
    for name, now in (("before", at(5.9)), ("after", at(6))):
        ward = open_ward(tmp_path / name)
        ward.take_in([Arrival(Patient(id="patient1", bed="A1", name="Ana", admitted=at(0)), (exam(1, 1, acts=[act("asked", 2)]),))], "x")  # fmt: skip
        period = Period(BEGIN, BEGIN + timedelta(days=31), now)
        stay = stay_of(read_light(ward.layout.file("patient1")))
        made[name] = count(stay, period, standards()).groups["cauda"].times["image"].overdue
    assert made == {"before": False, "after": True}


def test_a_reason_of_before_the_period_is_left_out(tmp_path):
    made = counted(tmp_path, exam(1, -5), exam(2, 5, since=-5))
    assert (made.groups, made.earlier, made.examinations) == (
        {},
        ("cauda",),
        (("exam0002", at(5)),),
    )
    assert (made.first_level, made.highest) == (None, None)


def test_who_was_not_examined_in_the_period_adds_nothing(tmp_path):
    assert counted(tmp_path, exam(1, -5), exam(2, 24 * 40)) is None


@pytest.mark.parametrize(
    ("rules", "acts", "level"),
    [
        (("cauda_equina",), [], 3), (("both_legs",), [], 2), (("numb_undated", "both_legs"), [], 2), ((), [], 0),
        ((OWN,), [], 3), (("a_rule_of_later",), [], 0), (None, [], None),
        (("stroke",), [act("lowered", 1, "stroke")], 1),
        (("stroke",), [act("lowered", 1, "stroke", ended="left knee 0")], 3),
        (("stroke",), [act("not_needed", 1, "stroke")], 3),
        (("hypoglycaemia",), [act("lowered", 1, "hypoglycaemia")], 3),  # its row says of nothing that it lowers it
    ],
)  # fmt: skip
def test_what_a_version_kept_that_kept_no_levels_has_that_of_its_row(tmp_path, rules, acts, level):
    assert counted(tmp_path, exam(1, 1, rules=rules, acts=acts)).first_level == level


@pytest.mark.parametrize(
    ("line", "acts", "level"),
    [
        ("level_pin T8/T8 power_leg 3/3", [], 3),
        ("level_pin known:T8/T8 power_leg known:3/3", [], 1),
        ("flag:low_glucose=yes", [act("lowered", 1, "hypoglycaemia")], 3),
        ("", [], 0),
    ],
)
def test_the_level_is_what_it_was_when_it_was_saved(tmp_path, line, acts, level):
    examined = exam(1, 1, line, acts=acts)
    urgency = assess(examined, None, None)
    assert urgency.level == level
    assert counted(tmp_path, recorded(examined, urgency)).first_level == level


def test_a_doctor_who_brings_a_reason_down_brings_the_level_down(tmp_path):
    examined = exam(1, 1, "level_pin T8/T8 power_leg 3/3")
    rules = [r.rule for r in assess(examined, None, None).reasons]
    lowered = examined.model_copy(update={"acts": tuple(act("lowered", 1, r) for r in rules)})
    urgency = assess(lowered, None, None)
    assert counted(tmp_path, recorded(lowered, urgency)).first_level == urgency.level


@pytest.mark.parametrize(
    ("hours", "left", "late"),
    [
        ((0, 4), 5, (0.0,)),
        ((0, 6), 7, (2.0,)),
        ((0,), 10, (None,)),
        ((0,), 3, ()),
        ((0, 4, 8.5), 9, (0.0, 0.5)),
        ((24 * 31 - 5, 24 * 31 + 1), 24 * 32, (2.0,)),
        ((24 * 31 - 5,), 24 * 32, (None,)),
        ((24 * 31 - 3,), 24 * 32, ()),
        ((-2, 3), 4, (1.0,)),
    ],
    ids=[
        "in time",
        "late",
        "never",
        "left before",
        "two",
        "after the period",
        "not after the period either",
        "due after",
        "begun before",
    ],
)
def test_re_examinations(tmp_path, hours, left, late):
    made = counted(
        tmp_path, *(exam(n, h, since=0) for n, h in enumerate(hours)), recheck=4, left=left
    )
    assert made.rechecks == pytest.approx(late)
    begun_before = sum(h < 0 for h in hours)
    assert made.carried == begun_before
    inside = sum(0 <= h < 24 * 31 for h in hours)
    assert len(late) - begun_before + sum(made.not_due.values()) == inside


@pytest.mark.parametrize(
    ("hours", "recheck", "left", "why"),
    [
        (1, None, 9, {"without a schedule": 1}),
        (1, 4, 3, {"due after the discharge": 1}),
        (24 * 31 - 3, 4, None, {"due after the period, or not yet": 1}),
        (1, 4, 9, {}),
    ],
)
def test_why_no_re_examination_was_due(tmp_path, hours, recheck, left, why):
    assert counted(tmp_path, exam(1, hours), recheck=recheck, left=left).not_due == why


SAYS = (("cauda", "left", 0.7), ("root", "left", 0.2), ("cord", "midline", 0.1))


@pytest.mark.parametrize(
    ("ending", "judged"),
    [
        ({"site": "cauda", "side": "left"}, (0.7, True, True, True)),
        ({"site": "cauda", "side": "right"}, (0.7, True, True, False)),
        ({"site": "cauda"}, (0.7, True, True, None)),
        ({"site": "cord", "side": "left"}, (0.7, False, True, None)),
        ({"site": "brain"}, (0.7, False, False, None)),
    ],
)
def test_a_suggestion_is_held_against_the_outcome(tmp_path, ending, judged):
    made = counted(tmp_path, exam(1, 1, says=SAYS), **ending).judged
    assert (made.chance, made.right, made.among_first, made.side) == judged


@pytest.mark.parametrize(
    ("says", "ending", "why"),
    [
        (SAYS, {}, "no outcome recorded"),
        (SAYS, {"positive": "yes"}, "outcome without a site"),
        (None, {"site": "cauda"}, "no suggestion kept"),
        (SAYS, {"site": "cauda", "imaged": at(0.5)}, "suggestion kept only after the image"),
    ],
)
def test_why_a_suggestion_is_not_judged(tmp_path, says, ending, why):
    made = counted(tmp_path, exam(1, 1, says=says), **ending)
    assert (made.judged, made.why_not) == (None, why)


def test_what_was_suggested_after_the_image_is_not_judged_also_in_a_further_revision(tmp_path):
    from wardexam.exam.examination import Amendment

    first = exam(1, 1, says=SAYS)
    later = exam(1, 1, says=(("brain", "left", 0.9),)).model_copy(
        update={"revision": 2, "amendment": Amendment(by="x", at=at(10), why="x")}
    )
    made = counted(tmp_path, first, later, site="cauda", imaged=at(5))
    assert (made.judged.chance, made.judged.right) == (0.7, True)
    assert len(made.examinations) == 1


def test_outcomes_of_the_trail_are_counted_by_patient_and_revision():
    said = [("patient1", 1), ("patient1", 2), ("patient1", 2), ("patient1", 3), ("patient2", 4)]
    events = [
        Event("concluded", who, at(n).isoformat(), f"outcome {revision}, by Dr Ash")
        for n, (who, revision) in enumerate(said)
    ]
    events.append(Event("concluded", "patient3", at(24 * 40).isoformat(), "outcome 1, by Dr Ash"))
    figures = {f.name: f.of for f in review([], events, PERIOD, standards()).figures}
    assert figures["patients with an outcome recorded"] == 2
    assert figures["further revisions of outcomes"] == 3


def test_a_record_that_is_none_of_ours_is_named_and_a_fault_of_ours_is_not_called_one(
    tmp_path, monkeypatch
):
    ward = open_ward(tmp_path / "ward")
    patient = Patient(id="patient1", bed="A1", name="Ana", admitted=at(0))
    ward.take_in([Arrival(patient, (exam(1, 1),))], "x")
    read = ward.stays()[0].read()
    del read.revisions["exam0001"][0].fields["at"]
    assert count_stays([Given(read)], PERIOD) == ([], [("patient1", "a record is not as this program writes it")])  # fmt: skip
    monkeypatch.setattr("wardexam.review.gather.count", lambda *_: {}["ours"])
    with pytest.raises(KeyError, match="ours"):
        count_stays(ward.stays(), PERIOD)


@dataclass
class Given:
    file: LightFile
    name: str = "patient1"

    def read(self):
        return self.file
