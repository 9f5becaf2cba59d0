"""One observation has one weight: the same examination in other words reads the same.

Base sheets are the development part of the open benchmark and the classic patterns. What is moved is each shown
chance (tolerance 0.10) and the leading site, which stays unless another was as near. Where it cannot be less:

- a level against its dermatomes: a level weighs what its dermatomes would, but does not say how dense the loss is, and
  they are reworded as reduced (6 sheets of 97 by more than 0.10, the most by 0.47; drawn ones by less than 0.10);
- a leg's group against its two parts, which test two movements more: most where nothing but power was found, and
  that full (32 sheets of 484 by more than 0.10, the most by 0.25);
- a statement that the rest is normal against its signs found so: less sure, it may move what these leave (2 sheets of some
  600 lie by more than 0.10 outside what stands between without it and with its signs, the most by 0.20);
- a nerve's territory against a dermatome of the same skin: whoever writes a territory felt its border, which a root does not
  keep, and says so (46 sheets of 77 by more than 0.10, the most by 0.80). Said as well, the dermatome moves nothing.
"""

from collections.abc import Callable, Iterator
from functools import cache
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.handbook.cases import cases as patterns
from tests.handbook.published.cases import cases
from wardexam import ready
from wardexam.anatomy.catalogue import PARTS, SEGMENTS, catalogue
from wardexam.exam.answers import answers_for
from wardexam.exam.examination import Findings
from wardexam.exam.findings import Finding, RestNormal, sides_of
from wardexam.exam.sheet import Sheet, SheetFinding, groups
from wardexam.exam.typed import read_line
from wardexam.reasoning.inference.evidence import limb_side, said_of_others, terms
from wardexam.reasoning.inference.ranking import ranked
from wardexam.reasoning.reading import Site
from wardexam.reasoning.rules.contradictions import contradictions, left_out

Reworded = Callable[[Findings], Findings | None]
MODALITY = {"level_pin": "pin", "level_touch": "touch"}
TOLERANCE = 0.10
LIMBS = ("head", "trunk", "right arm", "left arm", "right leg", "left leg")


@cache
def bases() -> tuple[tuple[str, Findings], ...]:
    published = [(c.id, c.findings) for c in cases("development")]
    return (*published, *((c.title, c.examination) for c in patterns()))


def with_findings(found: Findings, findings: list[Finding]) -> Findings:
    return found.model_copy(update={"findings": tuple(findings)})


def level_by_dermatomes(found: Findings) -> Findings | None:
    """A level as each dermatome: lost below it, normal at it; the saddle is asked apart."""
    made, keys = list(found.findings), {f.key for f in found.findings}
    levels = [f for f in made if f.sign in MODALITY and f.answer in SEGMENTS]
    for level in levels:
        made.remove(level)
        at = SEGMENTS.index(level.answer)
        for sign in catalogue().values():
            if not sign.id.startswith(f"{MODALITY[level.sign]}_") or sign.limb == "saddle":
                continue
            place = min(map(SEGMENTS.index, sign.segments))
            if place >= at and (sign.id, level.side) not in keys:
                answer = "reduced" if place > at else "normal"
                made.append(Finding(sign=sign.id, side=level.side, answer=answer))
    return with_findings(found, made) if levels else None


def stated_sign_by_sign(found: Findings) -> Findings | None:
    """A statement that the rest was normal as each of its signs found normal."""
    if not found.rest_normal or contradictions(found):
        return None
    made, keys = list(found.findings), {f.key for f in found.findings}
    others = said_of_others(found)
    for sign in catalogue().values():
        for side in sides_of(sign):
            if (sign.part, limb_side(sign, side)) in others:
                continue
            if (sign.id, side) not in keys and found.stated_normal(sign.id, side):
                scale = "conventional" if sign.answers == "tendon" else None
                usual = next(
                    a for a in answers_for(sign.answers, "conventional").answers if a.usual
                )
                made.append(Finding(sign=sign.id, side=side, answer=usual.code, scale=scale))
    return with_findings(found, made).model_copy(update={"rest_normal": ()})


def split(group: str, *into: str) -> Reworded:
    """A statement of a group in which all answers are equal, as one of other groups that hold it."""

    def reworded(found: Findings) -> Findings | None:
        made, keys = list(found.findings), {f.key: f for f in found.findings}
        for side in ("right", "left"):
            mine = [keys.get((s, side)) for s in groups()[group]]
            if all(mine) and len({f.answer for f in mine}) == 1:
                made += [
                    mine[0].model_copy(update={"sign": s})
                    for other in into for s in groups()[other] if (s, side) not in keys
                ]  # fmt: skip
        return with_findings(found, made) if len(made) > len(found.findings) else None

    return reworded


TERRITORIES = {
    "territory_ulnar": "touch_C8", "territory_medial_forearm": "touch_T1", "territory_saphenous": "touch_L4",
    "territory_sural": "touch_S1", "territory_superficial_fibular": "touch_L5", "territory_posterior_thigh": "touch_S2",
}  # fmt: skip


def territory(*, instead: bool) -> Reworded:
    """A nerve's territory lost as the dermatome of the same skin: instead of it, or said as well."""

    def reworded(found: Findings) -> Findings | None:
        made, keys = list(found.findings), {f.key for f in found.findings}
        lost = [
            f for f in made
            if f.sign in TERRITORIES and f.answer in ("reduced", "absent")
            and (TERRITORIES[f.sign], f.side) not in keys
        ]  # fmt: skip
        for finding in lost:
            made.append(finding.model_copy(update={"sign": TERRITORIES[finding.sign]}))
            if instead:
                made.remove(finding)
        return with_findings(found, made) if lost else None

    return reworded


def pairs(reworded: Reworded) -> Iterator[tuple[str, Findings, Findings]]:
    for name, found in bases():
        other = reworded(found)
        if other is not None:
            yield name, found, other


def sites(found: Findings, silence: bool) -> tuple[Site, ...]:
    """The sites that a reading shows first, without what else it says."""
    heard = left_out(found, contradictions(found))
    return ranked(ready.engine().posterior(heard, silence=silence), found.context.onset)


def moved(one: Findings, other: Findings, silence: bool) -> tuple[float, bool]:
    """By how much the most moved of the shown chances differs, and whether another site leads that was not as near."""
    here, there = (sites(f, silence) for f in (one, other))
    first, second = ({s.id: s.probability for s in each} for each in (here, there))
    most = max(abs(first.get(i, 0.0) - second.get(i, 0.0)) for i in {*first, *second} - {"other"})
    near = here[0].probability - first.get(there[0].id, 0.0) <= TOLERANCE
    return most, here[0].id != there[0].id and not near


def outside(bare: Findings, stated: Findings, each: Findings, silence: bool) -> float:
    """How far a chance with a statement lies outside what stands between that without it and that with each sign."""
    without, by, whole = (
        {s.id: s.probability for s in sites(f, silence)} for f in (bare, stated, each)
    )
    far = 0.0
    for name in {*without, *by, *whole} - {"other"}:
        ends = without.get(name, 0.0), whole.get(name, 0.0)
        here = by.get(name, 0.0)
        far = max(far, min(ends) - here, here - max(ends))
    return far


@pytest.mark.long
@pytest.mark.parametrize("silence", [False, True])
def test_the_sites_compared_are_those_of_the_reading(silence):
    for _, found in bases()[::40]:
        assert sites(found, silence) == ready.engine().read(found, silence=silence).sites


# How it is reworded, over how many sheets at least, the tolerance, the share that may exceed it, and the most. Of 489 sheets a leg
# by its parts exceeds it in 7 %, half of these since cases like it know fewer movements; a dermatome is not a nerve's territory.
TABLE = {
    "a level by its dermatomes": (level_by_dermatomes, 90, 0.15, 0.06, 0.4),  # "reduced" also says that it is not absent
    "a statement sign by sign": (stated_sign_by_sign, 300, 0.15, 0.03, 0.35),  # it is less sure
    "a leg by its parts": (split("power_leg", "power_leg_proximal", "power_leg_distal"), 160, 0.10, 0.08, 0.5),
    "an arm by its parts": (split("power_arm", "power_arm_proximal", "power_arm_distal"), 120, 0.10, 0.01, 0.15),
    "a territory and its dermatome": (territory(instead=False), 34, 0.05, 0, 0.05),
    "a territory or its dermatome": (territory(instead=True), 55, 0.10, 0.6, 0.85),
}  # fmt: skip


SLOWEST = {"a leg by its parts", "an arm by its parts", "a statement sign by sign"}


@pytest.mark.parametrize(
    ("name", "silence"),
    [
        pytest.param(name, silence, marks=pytest.mark.long if silence and name in SLOWEST else [])
        for name in TABLE
        for silence in (False, True)
    ],
)
def test_the_same_in_other_words_reads_the_same(name, silence):
    reworded, least, tolerance, exceed, never = TABLE[name]
    found = [(moved(one, other, silence), title) for title, one, other in pairs(reworded)]
    assert len(found) >= least
    over = [(most, title) for (most, _), title in found if most > tolerance]
    assert len(over) <= exceed * len(found), over
    assert max(most for (most, _), _ in found) <= never, over
    leads = [title for (_, other), title in found if other]
    assert len(leads) <= exceed * len(found), leads


@pytest.mark.parametrize("every", [32, pytest.param(16, marks=pytest.mark.long)])
@pytest.mark.parametrize(
    ("part", "limb", "silence"),
    [("power", "left leg", True), ("reflexes", "right leg", True), ("sensation", "left arm", False),
     ("cranial", "head", True), ("sensation", "trunk", True), ("movement", "right arm", False)],
)  # fmt: skip
def test_a_statement_added_to_any_sheet_moves_it_towards_its_signs_found_normal(
    part, limb, silence, every
):
    far = {}
    for title, found in bases()[::every]:
        statement = RestNormal(part=part, limb=limb)
        both = found.model_copy(update={"rest_normal": (*found.rest_normal, statement)})
        each = stated_sign_by_sign(both)
        if each is not None:
            far[title] = outside(found, both, each, silence)
    assert len(far) >= 400 // every
    over = {title: most for title, most in far.items() if most > TOLERANCE}
    assert len(over) <= 1, over
    assert max(far.values()) <= 0.25, over


SIGNS = [s.id for s in catalogue().values() if s.sides == "each" and s.answers in ("tendon", "mrc", "sensation")]  # fmt: skip


@st.composite
def sheets(draw) -> tuple[SheetFinding, ...]:
    """Some signs with an answer on both sides."""
    chosen = draw(st.lists(st.sampled_from(SIGNS), min_size=1, max_size=12, unique=True))
    return tuple(
        SheetFinding(
            sign=sign,
            side="both",
            answer=draw(
                st.sampled_from(answers_for(catalogue()[sign].answers, "conventional").codes)
            ),
        )
        for sign in chosen
    )


@settings(max_examples=25, deadline=None)
@given(sheets(), st.randoms(use_true_random=False), st.booleans())
def test_both_sides_at_once_or_one_by_one_and_in_any_order_is_the_same_to_the_bit(found, random, silence):  # fmt: skip
    apart = [f.model_copy(update={"side": side}) for f in found for side in ("right", "left")]
    random.shuffle(apart)
    one, other = (Sheet(findings=tuple(f)).spelled_out() for f in (found, apart))
    assert ready.engine().read(one, silence=silence) == ready.engine().read(other, silence=silence)


GROUPS = [name for name in groups() if not name.startswith("_")]


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(GROUPS), st.integers(0, 20), st.booleans())
def test_a_group_is_its_signs_to_the_bit(group, number, silence):
    row = catalogue()[groups()[group][0]]
    codes = answers_for(row.answers, "conventional").codes
    answer = codes[number % len(codes)]
    whole = Sheet(findings=(SheetFinding(sign=group, side="both", answer=answer),))
    each = Sheet(findings=tuple(SheetFinding(sign=s, side="both", answer=answer) for s in groups()[group]))  # fmt: skip
    one, other = (ready.engine().read(s.spelled_out(), silence=silence) for s in (whole, each))
    assert one == other


@settings(max_examples=40, deadline=None)
@given(sheets(), st.sampled_from([p for p in PARTS if p != "sphincters"]), st.sampled_from(LIMBS), st.booleans())  # fmt: skip
def test_any_statement_on_any_sheet_moves_it_towards_its_signs_found_normal(
    findings, part, limb, silence
):
    try:
        statement = RestNormal(part=part, limb=limb)
    except ValueError:
        return  # nothing of this part is in this limb
    found = Sheet(findings=findings).spelled_out().model_copy(update={"rest_normal": (statement,)})
    each = stated_sign_by_sign(found)
    if each is None:
        return
    bare = found.model_copy(update={"rest_normal": ()})
    assert outside(bare, found, each, silence) <= 0.1


# Legs that fail, below every level of the chest: all of them, and in the gate one of 59.
LEGS = {
    "hip_flexion": ("0", "2", "3", "4"),
    "ankle_dorsiflexion": ("0", "2", "3", "4"),
    "knee": ("2+", "3+", "4+"),
    "plantar": ("flexor", "equivocal", "extensor"),
}
LEVELS = SEGMENTS[SEGMENTS.index("T3") : SEGMENTS.index("T11") + 1]


@pytest.mark.parametrize("every", [59, pytest.param(1, marks=pytest.mark.long)])
def test_a_level_of_legs_that_fail_is_its_dermatomes(every):
    all_of_them = list(product(*LEGS.values(), LEVELS, ("pin", "touch")))[::every]
    assert len(all_of_them) >= 42
    over = []
    for *answers, at, modality in all_of_them:
        found = [
            SheetFinding(sign=sign, side="both", answer=answer)
            for sign, answer in (*zip(LEGS, answers, strict=True), (f"level_{modality}", at))
        ]
        whole = Sheet(findings=tuple(found)).spelled_out()
        each = level_by_dermatomes(whole)
        for silence, bound in ((False, 0.02), (True, TOLERANCE)):
            most, other = moved(whole, each, silence)
            assert not other, (answers, at)
            if most > bound:
                over.append((most, answers, at))
    # Measured: legs of 4 with a usual knee and a flexor plantar below T10 and T11, where silence is weighed; nothing else.
    assert len(over) <= len(all_of_them) / 500, over


def border_weights(found: Findings) -> list[float]:
    """What is left of the weight of each border of lost feeling that is looked up."""
    return [
        term.factor * piece.share
        for term in terms(found, silence=False)
        for piece in term.pieces
        if piece.key[0] in MODALITY
    ]


@pytest.mark.parametrize(("segment", "borders"), [("C4", 2), ("T2", 2), ("T8", 2), ("T12", 2), ("L1", 0), ("L3", 0)])  # fmt: skip
def test_a_border_weighs_once_whether_a_level_or_its_dermatomes_tell_it(segment, borders):
    """Of either side one, down to the trunk's end; below it lost feeling ends where a root's may."""
    level = read_line(f"level_pin {segment}/{segment}").spelled_out()
    each = level_by_dermatomes(level)
    assert each is not None
    assert border_weights(level) == pytest.approx([1.0] * borders)
    assert border_weights(each) == pytest.approx([1.0] * borders)


@pytest.mark.parametrize("segment", SEGMENTS)
@pytest.mark.parametrize("told", [(), ("touch", "pin")])
def test_a_level_is_read_whatever_skin_is_told_below_it(segment, told):
    level = Finding(sign="level_pin", side="left", answer=segment)
    skin = [
        Finding(sign=f"{modality}_{s}", side="left", answer="reduced")
        for modality in told for s in SEGMENTS if f"{modality}_{s}" in catalogue()
    ]  # fmt: skip
    found = Sheet(findings=[]).spelled_out()
    said = ready.engine().read(with_findings(found, [level, *skin])).sites
    without = ready.engine().read(with_findings(found, skin)).sites
    assert sum(s.probability for s in said) == pytest.approx(1)
    assert said != without


def test_a_level_says_nothing_of_the_borders_of_a_nerve():
    line = "onset=longer hip_flexion 4/4 ankle_dorsiflexion 0/0 knee 2+/2+ plantar flexor/flexor level_touch T11/T11"
    found = read_line(line).spelled_out()
    said = terms(found, silence=False)
    skin = {p.key[0] for t in said if t.key[0] == "level_touch" for p in t.pieces}
    assert {"touch_T11", "touch_L5"} <= skin
    assert not any(catalogue()[sign].territory for sign in skin)
    assert ready.engine().read(found).sites[0].region == "cord"
