"""Weighted kappa beside a statistics library, its interval beside a published one and a bootstrap, and which pairs count."""

import csv
import io
import random
from collections import Counter
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tests.examinations import examined
from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.examination import Patient
from wardexam.records.light_reading import read_light
from wardexam.records.repository import Arrival
from wardexam.records.ward import open_ward
from wardexam.review.agreeing import (
    last_two,
    same_share,
    side_by_side,
    two_figures,
    ward_agreement,
    ward_paper,
    ward_table,
)
from wardexam.review.counting import Period
from wardexam.review.gather import paired_stays
from wardexam.review.kappa import agreement, weighted_kappa
from wardexam.review.pairing import order_of, pairs_of, places, why_no_pair

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
PERIOD = Period(AT - timedelta(days=1), AT + timedelta(days=9), AT + timedelta(days=20))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("ordered", [True, False])
def test_kappa_is_that_of_scikit_learn(seed, ordered):
    from sklearn.metrics import cohen_kappa_score  # slow to load: not while tests are collected

    draw = np.random.default_rng(seed)
    one = draw.integers(0, 5, 60)
    other = np.clip(one + draw.integers(-1, 2, 60), 0, 4)
    table = Counter(zip(one.tolist(), other.tolist(), strict=True))
    weights = "quadratic" if ordered else None
    expected = cohen_kappa_score(one, other, weights=weights, labels=range(5))
    assert weighted_kappa(table, ordered=ordered) == pytest.approx(expected, abs=1e-12)


def test_where_chance_explains_all_there_is_no_kappa():
    assert weighted_kappa({(2, 2): 30}) is None
    assert weighted_kappa({}) is None
    made = agreement([[(2, 2)]] * 30)
    assert (made.pairs, made.same, made.kappa, made.low) == (30, 30, None, None)


def test_the_interval_of_single_pairs_is_the_published_one():
    # Bonett, statpsych, ci.kappa: 31, 12, 4 and 58 of 105; asymptotic, so the third figure may differ.
    cells = {(0, 0): 31, (0, 1): 12, (1, 0): 4, (1, 1): 58}
    made = agreement([[pair] for pair, number in cells.items() for _ in range(number)])
    assert made.kappa == pytest.approx(0.6756757, abs=1e-6)
    assert (made.low, made.high) == pytest.approx((0.5317210, 0.8196303), abs=0.006)


@pytest.mark.parametrize("seed", [1, 2])
def test_the_interval_over_patients_is_near_that_of_a_bootstrap(seed):
    draw = np.random.default_rng(seed)

    def patient():
        true = draw.integers(0, 5)
        return [
            tuple(int(g) for g in np.clip(true + draw.integers(-1, 2, 2), 0, 4))
            for _ in range(draw.integers(1, 5))
        ]

    patients = [patient() for _ in range(150)]
    made = agreement(patients)
    kappas = []
    for _ in range(600):
        picked = draw.integers(0, len(patients), len(patients))
        table = Counter(pair for n in picked for pair in patients[n])
        kappas.append(weighted_kappa(table))
    low, high = np.percentile(kappas, (2.5, 97.5))
    assert (made.low, made.high) == pytest.approx((low, high), abs=0.02)
    # As though each pair were a patient's own it would be narrower.
    alone = agreement([[pair] for own in patients for pair in own])
    assert alone.kappa == made.kappa
    assert alone.high - alone.low < made.high - made.low


@pytest.mark.parametrize(
    ("sign", "scale", "codes", "ordered"),
    [
        ("knee", "conventional", ("0", "1+", "2+", "3+", "4+"), True),
        ("knee_extension", None, ("0", "1", "2", "3", "4-", "4", "4+", "5"), True),
        ("plantar", None, ("flexor", "equivocal", "extensor"), True),
        ("pin_L5", None, ("normal", "reduced", "absent"), True),
        ("tone_leg", None, ("flaccid", "reduced", "normal", "spastic", "rigid"), False),
    ],
)
def test_the_order_of_answers(sign, scale, codes, ordered):
    order = order_of(sign, scale)
    assert (order.codes, order.ordered) == (codes, ordered)


def test_a_level_is_ordered_from_the_head_down():
    assert order_of("level_pin", None).codes[:2] == ("C1", "C2")
    assert order_of("level_pin", None).codes[-1] == "none"


@pytest.mark.parametrize(
    ("one", "other", "pair"),
    [
        (
            {"answer": "2+", "scale": "conventional"},
            {"answer": "0", "scale": "conventional"},
            (2, 0),
        ),
        ({"answer": "2+", "scale": "conventional"}, {"answer": "2", "scale": "ninds"}, None),
        ({"answer": "2+", "scale": "conventional"}, {"answer": None, "scale": None}, None),
        ({"answer": "9", "scale": "conventional"}, {"answer": "0", "scale": "conventional"}, None),
    ],
)
def test_places(one, other, pair):
    assert places("knee", one, other) == pair


def visit(number, hours, by, line, **more):
    made = examined(line, AT + timedelta(hours=hours))
    return made.model_copy(
        update={"id": f"exam{number:04}", "patient": "patient1", "examiner": by, **more}
    )


def pairs(tmp_path, *visits, hours=4.0):
    ward = open_ward(tmp_path / "ward")
    patient = Patient(id="patient1", bed="A1", name="Ana Invented", admitted=AT)
    ward.take_in([Arrival(patient, visits)], "x")
    return pairs_of(read_light(ward.layout.file("patient1")), PERIOD, hours)


FIRST = visit(1, 0, "Dr Ash", "knee 2/2 ankle 0/2")


def test_what_both_graded_is_a_pair_of_answers(tmp_path):
    found = pairs(tmp_path, FIRST, visit(2, 2, "Dr Bex", "knee 2/1 plantar up/down"))
    (paired,) = found.pairs
    assert paired.answers == {
        ("knee", "conventional", "right"): (2, 2), ("knee", "conventional", "left"): (2, 1),
    }  # fmt: skip
    assert (found.changed, found.apart) == (0, 0)


@pytest.mark.parametrize(
    ("second", "counts"),
    [
        (visit(2, 2, "Dr Ash", "knee 2/1"), (0, 0, 0)),
        (visit(2, 5, "Dr Bex", "knee 2/1"), (0, 0, 1)),
        (visit(2, 4, "Dr Bex", "knee 2/1"), (1, 0, 0)),
        (visit(2, 2, "Dr Bex", "knee 2/1 flag:worse=yes"), (0, 1, 0)),
        (visit(2, 2, "Dr Bex", "knee 2/1 flag:worse=no"), (1, 0, 0)),
        (visit(2, 2, "Dr Bex", "knee 2/1", entered_by=("Dr Ash",)), (0, 0, 0)),
        (visit(2, 24 * 9, "Dr Bex", "knee 2/1"), (0, 0, 0)),
    ],
    ids=[
        "the same doctor",
        "too late",
        "just in time",
        "worse",
        "not worse",
        "gone on with",
        "after the period",
    ],
)
def test_which_examinations_make_a_pair(tmp_path, second, counts):
    found = pairs(tmp_path, FIRST, second)
    assert (len(found.pairs), found.changed, found.apart) == counts


@pytest.fixture
def ward(tmp_path):
    """A ward of thirty patients, each examined by two doctors, who grade from a seed."""
    made, draw = open_ward(tmp_path / "ward"), random.Random(5)
    arrivals = []
    for number in range(30):
        who = f"patient{number:02}"
        grades = [draw.choice("0123") for _ in range(4)]
        again = [draw.choice((g, "2")) for g in grades]
        visits = tuple(
            visit(n, n, by, f"knee {g[0]}/{g[1]} ankle {g[2]}/{g[3]} plantar down/down palate absent/absent").model_copy(
                update={"id": f"exam{number:02}{n:02}", "patient": who}
            )
            for n, (by, g) in enumerate((("Dr Ashworth", grades), ("Dr Bexley", again)))
        )  # fmt: skip
        arrivals.append(Arrival(Patient(id=who, bed="Q7", name="Ana Invented", number="40-99", admitted=AT), visits))  # fmt: skip
    made.take_in(arrivals, "x")
    return made


def test_the_figures_of_a_ward_are_those_of_its_records(ward):
    from sklearn.metrics import cohen_kappa_score

    found, unread = paired_stays(ward.stays(), PERIOD, 4.0)
    made = ward_agreement(found, PERIOD, 4.0, len(unread))
    assert (made.pairs, made.patients, made.unread) == (30, 30, 0)
    order = ["0", "1+", "2+", "3+", "4+"]
    for each in made.signs:
        if each.sign not in ("knee", "ankle"):
            continue
        answers = []
        for path in ward.layout.files():
            one, other = ward.examinations(path.stem)
            answers += [
                [order.index(e.finding(each.sign, side).answer) for e in (one, other)]
                for side in ("right", "left")
            ]
        one, other = zip(*answers, strict=True)
        assert each.found.pairs == len(answers) == 60
        assert each.found.kappa == pytest.approx(cohen_kappa_score(one, other, weights="quadratic", labels=range(5)))  # fmt: skip
        assert each.found.low < each.found.kappa < each.found.high


def test_the_papers_of_the_ward_name_nobody_and_fit_80_columns(ward):
    found, _ = paired_stays(ward.stays(), PERIOD, 4.0)
    made = ward_agreement(found, PERIOD, 4.0)
    text, table = ward_paper(made), "".join(ward_table(made))
    assert max(map(len, text.splitlines())) <= 80
    for word in ("Ashworth", "Bexley", "Invented", "Q7", "40-99", "patient0"):
        assert word not in text + table
    assert "0.32" in text  # the published knee jerk
    assert "Hansen" in text
    assert "all the same answer" in text
    assert table.count("\n") == len(made.signs) + 1
    assert made.not_asked == 30
    assert (
        "'anything worse' was answered no at the second in 0 of them and was not asked in 30"
        in (" ".join(text.split()))
    )


def test_two_examinations_stand_side_by_side(ward):
    patient = ward.patient("patient00")
    one, other = ward.examinations("patient00")
    text = side_by_side(patient, one, other)
    assert max(map(len, text.splitlines())) <= 80
    assert "Q7 Ana Invented, no. 40-99" in text
    for word in ("Dr Ashworth", "Dr Bexley", "1.0 h later"):
        assert word in text
    (knee,) = [line for line in text.splitlines() if line.startswith("knee")]
    shown = knee.split()[1:5]
    graded = [e.finding("knee", side).answer for side in ("right", "left") for e in (one, other)]
    assert [s.rstrip("*") for s in shown] == graded


def test_the_last_two_by_two_doctors_are_chosen():
    a1, b2 = visit(1, 0, "Dr Ash", "knee 2/2"), visit(2, 1, "Dr Bex", "knee 2/2")
    b3 = visit(3, 2, "Dr Bex", "knee 2/2")
    assert last_two((a1, b2, b3)) == (a1, b3)
    assert last_two((a1, b2)) == (a1, b2)
    assert last_two((b2, b3)) is None
    assert last_two(()) is None


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (1.0, "1.00"), (1 - 1e-15, "1.00"), (0.9999, "<1.00"), (0.996, "<1.00"), (0.994, "0.99"), (0.0, "0.00"),
        (-1e-16, "0.00"), (0.004, ">0.00"), (-0.004, "<0.00"), (0.5, "0.50"), (-0.37, "-0.37"), (-0.998, ">-1.00"), (-1.0, "-1.00"),
    ],
)  # fmt: skip
def test_a_kappa_is_one_or_none_only_where_it_is_so(value, said):
    assert two_figures(value) == said


@pytest.mark.parametrize(
    ("same", "of", "said"),
    [(3, 3, "100 %"), (0, 3, "0 %"), (999, 1000, "99 %"), (1, 1000, "1 %"), (1, 2, "50 %")],
)
def test_a_share_is_all_or_none_only_where_it_is_so(same, of, said):
    assert same_share(same, of) == said


@pytest.mark.parametrize(
    "by_patient",
    [[[(0, 0), (2, 2)]] * 8, [[(0, 0), (1, 1)], [(2, 2)], [(3, 3)]], [[(0, 1), (1, 0), (0, 0), (1, 1)]] * 5],
    ids=["all alike", "no difference", "by chance, each the same"],
)  # fmt: skip
def test_where_leaving_out_anybody_changes_nothing_there_is_no_interval(by_patient):
    made = agreement(by_patient)
    assert made.kappa is not None
    assert (made.low, made.high) == (None, None)


def in_ward(tmp_path, *lines):
    """The agreement over patients who were graded by two doctors so."""
    ward = open_ward(tmp_path / "ward")
    ward.take_in(
        [
            Arrival(
                Patient(id=f"patient{n}", bed="A1", name="Ana", admitted=AT),
                tuple(
                    visit(n, at, f"Dr {at}", line).model_copy(
                        update={"id": f"exam{n:02}{at:02}", "patient": f"patient{n}"}
                    )
                    for at, line in enumerate(pair)
                ),
            )
            for n, pair in enumerate(lines)
        ],
        "x",
    )
    found, unread = paired_stays(ward.stays(), PERIOD, 4.0)
    return ward_agreement(found, PERIOD, 4.0, len(unread))


def test_half_the_same_is_never_a_whole_kappa(tmp_path):
    grades = [("C3", "C3"), ("S1", "S1"), ("C4", "C5"), ("L5", "S1")]
    made = in_ward(tmp_path, *[(f"level_pin {a}/{a}", f"level_pin {b}/{b}") for a, b in grades])
    (line,) = [row for row in ward_paper(made).splitlines() if "<1.00" in row]
    assert " 50 % " in line
    assert line.startswith(catalogue()["level_pin"].name)
    assert "<1.00 (" in line
    assert " 1.00 " not in line


def test_too_few_for_an_interval_is_said(tmp_path):
    made = in_ward(tmp_path, *[("knee 2/1", "knee 2/1")] * 3)
    (line,) = [row for row in ward_paper(made).splitlines() if "!" in row and "(too few)" in row]
    assert " 6 100 %   1.00 (too few) !" in line
    (row,) = csv.DictReader(io.StringIO("".join(ward_table(made))))
    assert (row["kappa"], row["low"], row["high"]) == ("1", "", "")


def test_what_makes_no_pair_is_counted_and_named(tmp_path):
    made = in_ward(
        tmp_path,
        ("plantar mute/down knee 2/2", "plantar down/down knee 2/nt:pain"),
        ("plantar mute/mute", "plantar down/mute flag:worse=no"),
    )
    assert made.not_asked == 1
    text = " ".join(ward_paper(made).split())
    assert "left out, 3 pairs of findings, an answer without a place in the order: plantar" in text
    assert (
        f"left out, 1 pair of findings, not testable at one or both: {catalogue()['knee'].name} 1"
        in text
    )
    assert "answered no at the second in 1 of them and was not asked in 1" in text
    rows = list(csv.DictReader(io.StringIO("".join(ward_table(made)))))
    by_sign = {(r["sign"], r["scale"]): r for r in rows}
    assert by_sign["plantar", ""]["left_out"] == "3 an answer without a place in the order"
    assert sum(int(r["left_out"].split()[0]) for r in rows if r["left_out"]) == 4


@pytest.mark.parametrize(
    ("one", "other", "why"),
    [
        ({"answer": None}, {"answer": "2+"}, "not testable at one or both"),
        ({"answer": "2", "scale": "ninds"}, {"answer": "2+", "scale": "conventional"}, "on two scales"),
        ({"answer": "mute"}, {"answer": "flexor"}, "an answer without a place in the order"),
    ],
)  # fmt: skip
def test_why_two_findings_make_no_pair(one, other, why):
    assert why_no_pair(one, other) == why
