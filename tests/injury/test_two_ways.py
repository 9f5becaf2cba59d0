"""The standard computed twice: on random sheets, over completions of unknown scores, and mirrored."""

from collections import Counter

import pytest

from tests.injury import enumerated
from tests.injury.cases import CASES, plain, sheet_of
from tests.injury.drawn import drawn, mirrored
from wardexam.injury.allowed import allowed
from wardexam.injury.computed import compute
from wardexam.injury.segments import INTACT_NAME, NAMES
from wardexam.injury.sums import sums

RANK = {name: n for n, name in enumerate((*NAMES, INTACT_NAME))}


def same(sheet):
    """Whether both ways give the same values, stars and sums; the grades that remain."""
    computed, second = compute(sheet, deciding=False), plain(sheet)
    values = {id_: set(r.values) for id_, r in computed.results.items()}
    assert values == enumerated.results(second)
    stars = {id_ for id_, r in computed.results.items() if r.assumed}
    assert stars == (enumerated.assumed(second) if sheet.marked else set())
    totals = {id_: s.least if s.determined else None for id_, s in computed.sums.items()}
    assert totals == enumerated.sums(second)
    return values["impairment"]


def agree(seeds):
    grades = Counter()
    for seed in seeds:
        grades.update(same(drawn(seed, marks=seed % 4 if seed % 3 == 0 else 0)))
    return grades


def test_both_ways_agree_on_a_thousand_sheets():
    grades = agree(range(1_000))
    assert all(grades[grade] for grade in "ABCDE")


def parts(count, usual):
    """So many parts of a long run, the first of them in every run."""
    return [pytest.param(n, marks=() if n < usual else pytest.mark.long) for n in range(count)]


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize("part", parts(20, usual=4))
def test_both_ways_agree_on_20_000_sheets_in_twenty_parts(part):
    grades = agree(range(1_000 * (part + 1), 1_000 * (part + 2)))
    assert all(grades[grade] for grade in "ABCDE")


def filled_alike(seeds):
    several = 0
    for seed in seeds:
        remain = same(drawn(seed, unknown=1 + seed % 8, marks=seed % 3))
        several += len(remain) > 1
    assert several


@pytest.mark.long
def test_filling_up_to_eight_unknown_scores_in_every_way_gives_the_same():
    filled_alike(range(100))


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize("part", parts(10, usual=1))
def test_filling_up_to_eight_unknown_scores_gives_the_same_on_many_sheets(part):
    filled_alike(range(1_000 + 100 * part, 1_100 + 100 * part))


def test_every_digit_in_place_of_those_that_rules_tell_apart_gives_the_same(monkeypatch):
    """Filled with 0 to 5 instead of 0, 1, 3 and 5, up to three unknown scores leave the same values."""
    for seed in range(2_000, 2_060):
        sheet = plain(drawn(seed, unknown=1 + seed % 3, marks=seed % 2))
        few = enumerated.results(sheet)
        with monkeypatch.context() as patch:
            patch.setattr(enumerated, "choices", lambda t: range(6) if t == "motor" else range(3))
            patch.setattr(enumerated, "other_movements", lambda: [None, *enumerated.KEY])
            assert enumerated.results(sheet) == few


@pytest.mark.parametrize("name", sorted(CASES))
def test_a_mirrored_case_gives_mirrored_results(name):
    mirror(sheet_of(name))


def test_mirrored_sheets_give_mirrored_results():
    for seed in range(300):
        mirror(drawn(seed, unknown=seed % 6, marks=seed % 3))


def mirror(sheet):
    swap = {"right": "left", "left": "right"}

    def swapped(id_):
        kind, _, side = id_.rpartition("_")
        return f"{kind}_{swap[side]}" if side in swap else id_

    there, back = compute(sheet, deciding=False), compute(mirrored(sheet), deciding=False)
    for id_, result in there.results.items():
        other = back.results[swapped(id_)]
        assert (result.values, result.assumed) == (other.values, other.assumed), id_
    for id_, total in there.sums.items():
        other = back.sums[swapped(id_)]
        assert (total.least, total.most) == (other.least, other.most), id_
    # The words name sides: what they say of a row is the same in another order.
    assert there.doubts == back.doubts


def test_bounds_hold_on_every_sheet():
    for seed in range(400):
        sheet = drawn(seed)
        value = {id_: each for id_, (each,) in allowed(sheet).values.items()}
        for side in ("right", "left"):
            sensory, motor = value[f"sensory_level_{side}"], value[f"motor_level_{side}"]
            modal = [value[f"{t}_level_{side}"] for t in ("light_touch", "pinprick")]
            assert RANK[sensory] == min(RANK[m] for m in modal)
            assert RANK[motor] <= RANK[sensory] or motor in enumerated.KEY
            zone = value[f"motor_zone_{side}"]
            assert (zone == "NA") == (sheet.anal_contraction == "yes")
            assert zone == "NA" or RANK[zone] >= RANK[motor]
            felt = value[f"sensory_zone_{side}"]
            assert felt == "NA" or (RANK[felt] >= RANK[sensory] and sheet.anal_pressure == "no")
        levels = [value[f"{k}_level_{s}"] for k in ("sensory", "motor") for s in ("right", "left")]
        assert RANK[value["neurological_level"]] == min(RANK[x] for x in levels)
        assert (value["impairment"] == "A") == (value["completeness"] == "complete")
        totals = sums(sheet)
        assert all(0 <= totals[f"{p}_motor"].least <= 50 for p in ("arm", "leg"))
        assert all(0 <= totals[t].least <= 112 for t in ("light_touch", "pinprick"))


def test_raising_a_score_never_moves_a_level_up_the_cord():
    raised = 0
    for seed in range(150):
        sheet = drawn(seed)
        before = allowed(sheet).values
        for test in ("light_touch", "pinprick", "motor"):
            codes = getattr(sheet, test)
            name = sorted(codes.right)[seed % len(codes.right)]
            if int(codes.right[name]) == (5 if test == "motor" else 2):
                continue
            more = {**codes.right, name: str(int(codes.right[name]) + 1)}
            after = allowed(
                sheet.model_copy(update={test: codes.model_copy(update={"right": more})})
            ).values
            for id_ in ("sensory_level_right", "motor_level_right", "neurological_level"):
                assert RANK[after[id_][0]] >= RANK[before[id_][0]]
            raised += 1
    assert raised > 100


@pytest.mark.parametrize(("right", "grade"), [("43331|00000", "C"), ("53331|00000", "B")])
def test_a_higher_score_may_lower_the_grade(right, grade):
    """Raised, C5 takes the motor level down, and the trace is no longer more than three below it."""
    from wardexam.injury.typed import read_typed

    sheet = read_typed(
        f"sensation: 2 to C6, 1\nright motor: {right}\nleft motor: 53000|00000\nvac no\ndap yes\nmovement both none"
    )
    assert allowed(sheet).values["impairment"] == (grade,)


def test_filling_an_unknown_score_only_leaves_fewer_values():
    from wardexam.injury.unknown import fillings, unknown

    for seed in range(60):
        sheet = drawn(seed, unknown=1 + seed % 5, marks=seed % 3)
        before = allowed(sheet).values
        for place in unknown(sheet):
            each = [allowed(filled).values for filled in fillings(sheet, place)]
            for id_, values in before.items():
                assert {v for after in each for v in after[id_]} == set(values), (seed, id_, place)


def test_without_a_mark_nothing_is_starred():
    for seed in range(100):
        assert not any(r.assumed for r in compute(drawn(seed, unknown=seed % 4)).results.values())
