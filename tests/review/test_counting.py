"""What one stay adds, case by case: each at an edge that the simulated year may not meet."""

from datetime import UTC, datetime, timedelta

import pytest

from wardexam.exam.acts import Act, Raised
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.kept_reading import KeptReading, KeptSite
from wardexam.exam.outcome import Outcome
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.urgency import OWN
from wardexam.records.light_reading import read_light
from wardexam.records.repository import Arrival
from wardexam.records.ward import open_ward
from wardexam.review.counting import Period, count
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
        ([], False),
        ([act("not_needed", 2)], True),
        ([act("not_needed", 2), act("called", 3)], False),
    ],
)
def test_what_was_written_not_needed_is_told_where_nobody_was_called(tmp_path, acts, settled):
    assert counted(tmp_path, exam(1, 1, acts=acts)).groups["cauda"].settled is settled


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
    ],
)  # fmt: skip
def test_the_level_is_that_of_what_was_kept_as_raised(tmp_path, rules, acts, level):
    assert counted(tmp_path, exam(1, 1, rules=rules, acts=acts)).first_level == level


@pytest.mark.parametrize(
    ("hours", "left", "late"),
    [
        ((0, 4), 5, (0.0,)),
        ((0, 6), 7, (2.0,)),
        ((0,), 10, (None,)),
        ((0,), 3, ()),
        ((0, 4, 8.5), 9, (0.0, 0.5)),
        ((24 * 31 - 5, 24 * 31 + 1), 24 * 32, (None,)),
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
        "due after",
        "begun before",
    ],
)
def test_re_examinations(tmp_path, hours, left, late):
    made = counted(
        tmp_path, *(exam(n, h, since=0) for n, h in enumerate(hours)), recheck=4, left=left
    )
    assert made.rechecks == pytest.approx(late)


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
