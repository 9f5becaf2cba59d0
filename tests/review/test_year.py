"""The audit of a simulated year of forty beds is what the drawn truth gives when it is counted a second time."""

from collections import Counter
from datetime import timedelta

import numpy as np
import pytest

from tests.review.simulated import BEGIN, END, ITEMS, KINDS, NOW, arrival, truths
from wardexam.records.light_reading import trail_events
from wardexam.records.ward import open_ward
from wardexam.review.counting import Period
from wardexam.review.figures import review
from wardexam.review.gather import counted_stays
from wardexam.review.paper import paper
from wardexam.review.standards import standards

pytestmark = [pytest.mark.slow, pytest.mark.long]
GROUPS = {
    "cauda": "suspected cauda equina", "cord": "suspected cord compression", "other_now": "other reasons: now",
    "other_today": "other reasons: today",
}  # fmt: skip


@pytest.fixture(scope="module")
def year(tmp_path_factory):
    folder = tmp_path_factory.mktemp("year") / "ward"
    everyone = truths(20260101)
    ward = open_ward(folder)
    ward.take_in(map(arrival, everyone), "x")
    return everyone, ward


@pytest.fixture(scope="module")
def made(year):
    _, ward = year
    period = Period(BEGIN, END, NOW)
    counted, unread = counted_stays(ward.stays(), period, processes=1)
    return review(counted, trail_events(ward.layout.trail), period, standards(), unread)


# --- the second count, from the truth alone


def inside(at):
    return BEGIN <= at < END


def of_the_year(everyone):
    return [t for t in everyone if any(inside(v.at) for v in t.visits)]


def raised(truth):
    """The visit at which the reason was first raised, as far as it was kept; None where it never was."""
    later = (v for v in truth.visits[truth.raised_at :] if v.at < END and v.level is not None)
    return next(later, None)


def members(everyone, kind):
    return [
        t for t in of_the_year(everyone) if t.kind == kind and raised(t) and inside(raised(t).at)
    ]


def before(everyone, kind):
    return sum(t.kind == kind and bool(raised(t)) and raised(t).at < BEGIN for t in of_the_year(everyone))  # fmt: skip


def found(made, section, group, name):
    (figure,) = [f for f in made.figures if (f.section, f.group, f.name) == (section, group, name)]
    return figure


def test_the_year_is_a_year(year, made):
    everyone, _ = year
    assert len(everyone) > 1500
    assert made.patients == len(of_the_year(everyone))
    assert made.examinations == sum(inside(v.at) for t in everyone for v in t.visits) > 4000
    assert made.unread == ()


@pytest.mark.parametrize("kind", list(ITEMS))
@pytest.mark.parametrize("when", ["first examination", "by the end"])
def test_how_complete(year, made, kind, when):
    everyone, _ = year
    mine = members(everyone, kind)
    assert len(mine) > 100

    def items(truth):
        if when == "first examination":
            return raised(truth).items
        return set().union(*(v.items for v in truth.visits if v.at < END))

    for name in ITEMS[kind]:
        figure = found(made, f"complete, {when}", GROUPS[kind], name)
        lacking = {t.patient for t in mine if name not in items(t)}
        assert (figure.count, figure.of) == (len(mine) - len(lacking), len(mine)), name
        assert set(figure.patients) == lacking
        assert figure.left_out == before(everyone, kind)
    needed = {name for name in ITEMS[kind] if "not needed" not in name}
    whole = found(made, f"complete, {when}", GROUPS[kind], "all that counts")
    assert whole.count == sum(needed <= items(t) for t in mine)


def spans_of(values):
    return tuple(np.percentile(values, (25, 50, 75))) if values else None


@pytest.mark.parametrize("kind", list(GROUPS))
def test_how_soon(year, made, kind):
    everyone, _ = year
    mine = members(everyone, kind)
    _, _, limit, from_request = KINDS[kind]

    def in_year(truth, minutes):
        return minutes is not None and raised(truth).at + timedelta(minutes=minutes) < END

    def not_needed_by_the_end(truth):
        return truth.not_needed and in_year(truth, 30)

    calls, images, results, overdue = {}, {}, {}, set()
    no_order = {name: set() for name in ("image before the first sign", "result before image")}
    for t in mine:
        if in_year(t, t.called):
            calls[t.patient] = t.called
        recorded = t.imaged if t.concluded and in_year(t, t.imaged) else None
        done = t.done if in_year(t, t.done) else None
        image = recorded if recorded is not None else done
        if image is not None and image < 0:
            no_order["image before the first sign"].add(t.patient)
        elif image is not None:
            begin = t.asked if from_request and in_year(t, t.asked) else 0
            images[t.patient] = image - begin if image >= begin else image
        if image is None and in_year(t, t.asked) and not not_needed_by_the_end(t):
            due = raised(t).at + timedelta(minutes=limit + (t.asked if from_request else 0))
            if due <= END:
                overdue.add(t.patient)
        if recorded is not None and done is not None and done < recorded:
            no_order["result before image"].add(t.patient)
        elif recorded is not None and done is not None:
            results[t.patient] = done - recorded
    assert all(no_order.values())
    for name, times, most, slip in (
        ("first sign to call", calls, limit, ""),
        ("first sign, or request, to image", images, limit, "image before the first sign"),
        ("image to result", results, 60 if kind == "cauda" else None, "result before image"),
    ):
        figure = found(made, "times", GROUPS[kind], name)
        undone = overdue if times is images else set()
        within = None if most is None else sum(m <= most for m in times.values())
        assert (figure.count, figure.of) == (within, len(times) + len(undone)), name
        if undone:
            assert figure.low <= within / (len(times) + len(undone)) <= figure.high
        assert figure.spans == pytest.approx(spans_of([*times.values()])), name
        assert figure.left_out == len(mine) - len(times) - len(undone) + before(everyone, kind)
        late = {who for who, m in times.items() if most is not None and m > most}
        slips = no_order.get(slip, set())
        not_needed = {
            t.patient
            for t in mine
            if not_needed_by_the_end(t) and t.patient not in {*times, *slips}
        }
        assert not_needed
        assert f"{len(not_needed)} not needed" in figure.why
        assert set(figure.patients) == late | (
            {t.patient for t in mine} - set(times) - slips - not_needed
        )
        if slips:
            assert f"{len(slips)} {slip}" in figure.why
    assert overdue
    told = found(made, "times", GROUPS[kind], "of these asked for, overdue")
    assert (told.count, told.of) == (len(overdue), len(images) + len(overdue))


def test_overdue_re_examinations(year, made):
    everyone, _ = year
    due = late = never = carried = 0
    out = Counter()
    hours = []
    for t in of_the_year(everyone):
        if t.recheck is None:
            out["without a schedule"] += sum(inside(v.at) for v in t.visits)
            continue
        for one, other in zip(t.visits, [*t.visits[1:], None], strict=True):
            when = one.at + timedelta(hours=t.recheck)
            if t.discharged and when > t.discharged:
                out["due after the discharge"] += inside(one.at)
                continue
            if not inside(when):
                out["due after the period, or not yet"] += inside(one.at)
                continue
            due += 1
            carried += one.at < BEGIN
            if other is None:
                never += 1
            elif other.at > when:
                late += 1
                hours.append((other.at - when).total_seconds() / 3600)
    figure = found(made, "re-examinations", "all with a schedule", "overdue")
    assert (figure.count, figure.of, figure.left_out) == (late + never, due, out.total())
    assert all(f"{number} {words}" in figure.why for words, number in out.items())
    before = found(made, "re-examinations", "all with a schedule", "due after one of before the period")  # fmt: skip
    assert (before.count, before.of) == (carried, due)
    assert carried > 10
    assert due - carried + out.total() == made.examinations
    of_late = found(made, "re-examinations", "all with a schedule", "of these late")
    assert of_late.count == late
    assert of_late.spans == pytest.approx(spans_of(hours))
    assert (
        found(made, "re-examinations", "all with a schedule", "of these never made").count == never
    )


def test_emergencies_and_how_they_were_first_called(year, made):
    everyone, _ = year
    known, cross, positive = 0, Counter(), Counter()
    for t in of_the_year(everyone):
        levels = [v.level for v in t.visits if v.at < END and v.level is not None]
        if not inside(t.visits[0].at) or t.visits[0].level is None or not levels:
            continue
        known += 1
        cross[max(levels), t.visits[0].level] += 1
        if t.concluded and t.positive:
            positive[t.visits[0].level] += 1
    words = {3: "now", 2: "today", 1: "within days", 0: "no reason found"}
    for highest in (3, 2):
        for first in range(highest + 1):
            figure = found(made, "emergencies", f"highest level {words[highest]}", f"first called: {words[first]}")  # fmt: skip
            total = sum(n for (h, _), n in cross.items() if h == highest)
            assert (figure.count, figure.of) == (cross[highest, first], total)
            assert figure.left_out == len(of_the_year(everyone)) - known
    for first, word in words.items():
        figure = found(made, "emergencies", "image positive in the end", f"first called: {word}")
        assert (figure.count, figure.of) == (positive[first], sum(positive.values()))


def judged(truth):
    """The suggestion to be judged; None where there is none."""
    if not truth.concluded or truth.site is None:
        return None
    since = next((v.at for v in truth.visits[truth.raised_at :] if v.level is not None), None)
    cut = truth.concluded
    if truth.imaged is not None and since:
        cut = since + timedelta(minutes=truth.imaged)
    shift = timedelta(minutes=1)
    told = []
    for v in truth.visits:
        if inside(v.at) and v.saying:
            told += [(v.at, v.saying)] + ([(v.at + shift, v.saying)] if truth.amended else [])
    return max((t for t in told if t[0] <= cut), default=None, key=lambda t: t[0])


def test_how_often_the_suggestion_was_right_and_how_sure_it_was(year, made):
    everyone, _ = year
    those = [(t, judged(t)[1]) for t in of_the_year(everyone) if judged(t)]
    assert len(those) > 300
    right = [t.site == said[0][0] for t, said in those]
    first = found(made, "suggestion", "patients with an outcome", "first site right")
    assert (first.count, first.of) == (sum(right), len(those))
    assert first.left_out == len(of_the_year(everyone)) - len(those)
    three = found(made, "suggestion", "patients with an outcome", "right among the first 3")
    assert three.count == sum(t.site in [s for s, _, _ in said[:3]] for t, said in those)
    sided = [
        t.side == said[0][1]
        for (t, said), good in zip(those, right, strict=True)
        if good and t.side and said[0][1] != "none"
    ]
    side = found(made, "suggestion", "patients with an outcome", "side right, where the site was")
    assert (side.count, side.of) == (sum(sided), len(sided))
    for low in (0, 20, 40, 60, 80):
        figure = found(made, "how sure", "patients with an outcome", f"said {low} to {low + 20} %")
        bin_ = [
            (said[0][2], good)
            for (_, said), good in zip(those, right, strict=True)
            if low <= said[0][2] * 100 < low + 20 or (low == 80 and said[0][2] == 1)
        ]
        assert (figure.count, figure.of) == (sum(good for _, good in bin_), len(bin_))
        assert figure.spans[1] == pytest.approx(100 * np.mean([c for c, _ in bin_]))
        if bin_:
            from scipy.stats import binomtest  # slow to load: not while tests are collected

            exact = binomtest(figure.count, figure.of).proportion_ci(method="wilson")
            assert (figure.low, figure.high) == pytest.approx((exact.low, exact.high))


def test_the_same_on_two_processes(year, made):
    _, ward = year
    told = []
    period = Period(BEGIN, END, NOW)
    counted, unread = counted_stays(ward.stays(), period, told.append, processes=2, few=0)
    again = review(counted, trail_events(ward.layout.trail), period, standards(), unread)
    assert again.figures == made.figures
    assert told[-1] == len(ward.layout.files())
    assert told == sorted(told)


def test_the_paper_has_80_columns_and_names_nobody(year, made):
    everyone, _ = year
    text = paper(made, standards())
    assert max(map(len, text.splitlines())) <= 80
    for word in ("Invented", "40-00", "Dr ", "A1"):
        assert word not in text
    assert any(t.patient in text for t in everyone)
