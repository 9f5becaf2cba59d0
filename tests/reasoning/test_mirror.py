"""The whole reading mirrors: right for left in what was found gives left for right in all that is said.

Equals are said by name, so a mirrored list is put by name again where its values are equal; where a list
is cut among equals, their values are compared and not which of them are said.
"""

import random
import re
from dataclasses import fields, replace

import pytest

from tests.handbook.cases import cases
from wardexam import ready
from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.exam.answers import answers_for
from wardexam.exam.examination import Context, Examination
from wardexam.exam.findings import Finding, RestNormal
from wardexam.exam.sheet import Sheet, SheetFinding
from wardexam.reasoning.inference.next_sign import worth
from wardexam.reasoning.reading import Reading
from wardexam.reasoning.ties import ordered

SWAP = {"right": "left", "left": "right"}
NEAR = 2e-9  # numbers are rounded to 1e-9
# What orders a list, what names its items, and how many of it are said.
SITES = ("sites", "dangerous")
LISTS = {
    "supports": (lambda i: i.weight, lambda i: (i.key, i.text), 6),
    "separates": (lambda i: i.weight, lambda i: (i.key, i.text), 6),
    "opposes": (lambda i: -i.weight, lambda i: (i.key, i.text), 6),
    "next_signs": (lambda i: sum(worth(i.bits, i.rise, i.seconds)), lambda i: i.key, 5),
    "asymmetries": (lambda i: i.probability, lambda i: i.sign, 999),
    "sites": (lambda i: i.probability, lambda i: i.id, 999),
    "dangerous": (lambda i: i.probability, lambda i: i.id, 999),
}


def swapped(text: str) -> str:
    return re.sub(r"\b(right|left)\b", lambda m: SWAP[m[0]], text)


def mirrored(item):
    """Anything in a reading in the mirror, its numbers left as they are."""
    if isinstance(item, str):
        pair = re.fullmatch(r"(.*: )right (.*), left (.*)", item)
        return f"{pair[1]}right {pair[3]}, left {pair[2]}" if pair else swapped(item)
    if isinstance(item, tuple):
        return tuple(mirrored(i) for i in item)
    if hasattr(item, "__dataclass_fields__"):
        return replace(item, **{f.name: mirrored(getattr(item, f.name)) for f in fields(item)})
    return item


def mirror(examination: Examination) -> Examination:
    side = examination.context.complaint_side
    return examination.model_copy(
        update={
            "findings": tuple(
                f.model_copy(update={"side": SWAP.get(f.side, f.side)})
                for f in examination.findings
            ),
            "rest_normal": tuple(
                r.model_copy(update={"limb": swapped(r.limb)}) for r in examination.rest_normal
            ),
            "context": examination.context.model_copy(
                update={"complaint_side": SWAP.get(side, side)}
            ),
        }
    )


def without_numbers(item):
    """An item with its numbers taken out, for exact comparison."""
    return replace(
        item, **{f.name: 0.0 for f in fields(item) if isinstance(getattr(item, f.name), float)}
    )


def differences(here: Reading, there: Reading) -> list[str]:
    """What differs between a reading and the mirror image of its mirrored examination's."""
    found = []
    there = mirrored(there)
    likely = {s.id: s.probability for s in here.sites}
    lead = here.sites[0].id
    twins = (
        likely.get(swapped(lead)) == pytest.approx(likely[lead], abs=NEAR) and swapped(lead) != lead
    )
    for name, (value, key, most) in LISTS.items():
        if twins and name in ("supports", "separates", "opposes"):
            continue  # right and left lead alike, and the left is named in both: what is said is of the left
        one, other = getattr(here, name), getattr(there, name)
        if name in SITES:  # those that are impossible are named in any order
            one, other = ([s for s in sites if s.probability > 1e-12] for sites in (one, other))
        elif [key(i) for i in one] != [key(i) for i in other]:
            one, other = (tuple(ordered(each, value, key)) for each in (one, other))
        if len(one) != len(other) or [value(i) for i in one] != pytest.approx(
            [value(i) for i in other], abs=NEAR
        ):
            found.append(f"{name}: values")
            continue
        last = value(one[-1]) if len(one) == most else -1e9
        if name in SITES:
            one, other = ({s.id: s for s in sites} for sites in (one, other))
            one, other = [one[i] for i in sorted(one)], [other[i] for i in sorted(other)]
        for i, j in zip(one, other, strict=True):
            if abs(value(i) - last) > NEAR and without_numbers(i) != without_numbers(j):
                found.append(f"{name}: {i} is not {j}")
    for name in ("fit", "fits_one", "level_note", "entered"):
        one, other = getattr(here, name), getattr(there, name)
        if isinstance(one, float):
            one, other = round(one, 7), round(other, 7)
        if hasattr(one, "probability"):
            alike = likely.get(one.id, 0) == pytest.approx(likely.get(other.id, 0), abs=NEAR)
            if one.id != other.id and one.id == swapped(other.id) and alike:
                continue  # as likely, whatever is counted: the left is named
            one, other = without_numbers(one), without_numbers(other)
        if one != other:
            found.append(f"{name}: {one} is not {other}")
    if (here.pair is None) != (there.pair is None) or (
        here.pair and without_numbers(here.pair) != without_numbers(there.pair)
    ):
        found.append(f"pair: {here.pair} is not {there.pair}")
    for name, most in (("unexplained", 4), ("fragile", 3)):
        one, other = getattr(here, name), getattr(there, name)
        if len(one) != len(other) or (len(one) < most and set(one) != set(other)):
            found.append(f"{name}: {one} is not {other}")
    return found


def own_mirror(examination: Examination) -> bool:
    """Whether right and left were found alike: each then stands for both, and the left is named first."""
    other = mirror(examination)
    return (
        sorted(map(repr, other.findings)) == sorted(map(repr, examination.findings))
        and other.context == examination.context
        and other.rest_normal == examination.rest_normal
    )


def no_speech(examination: Examination) -> Examination:
    """Speech has its hemisphere: found not testable, it neither weighs nor is proposed."""
    found = Finding.model_validate(
        {"sign": "aphasia", "side": "midline", "answer": None, "not_testable": "cast"}
    )
    kept = tuple(f for f in examination.findings if f.sign != "aphasia")
    return examination.model_copy(update={"findings": (*kept, found)})


SIGNS = [
    s for s in catalogue().values() if s.id != "aphasia" and s.answers not in ("residual", "angle_test")
]  # fmt: skip


def drawn(draw: random.Random) -> Examination:
    """A random examination: from one sign to most of them, answers at random or mostly usual."""
    usual = draw.choice((0.0, 0.5, 0.8))
    found = []
    for sign in draw.sample(SIGNS, draw.randint(1, draw.choice((4, 12, 40)))):
        sides = ("midline",) if sign.sides == "midline" else draw.choice((("right",), ("left",), ("right", "left")))  # fmt: skip
        codes = (
            ("none", *SEGMENTS[4:24])
            if sign.answers == "level"
            else answers_for(sign.answers).codes
        )
        normal = [a.code for a in answers_for(sign.answers).answers if a.usual] or list(codes)
        for side in sides:
            answer = draw.choice(normal if draw.random() < usual else codes)
            found.append(SheetFinding(sign=sign.id, side=side, answer=answer))
    made = Sheet(findings=tuple(found)).spelled_out()
    context = Context(
        age=draw.choice((None, 30, 70)),
        onset=draw.choice(("unknown", "sudden", "weeks")),
        complaint=draw.choice((None, "weak_leg", "numb_hands", "arm_pain")),
        complaint_side=draw.choice((None, "right", "left")),
    )
    stated = draw.choice(((), (), (RestNormal(part="power", limb="left leg"),)))
    return no_speech(made.model_copy(update={"context": context, "rest_normal": stated}))


def unlike(examination: Examination, silence: bool) -> list[str]:
    """What does not mirror in the reading of an examination."""
    engine = ready.engine()
    here = engine.read(examination, silence=silence)
    there = engine.read(mirror(examination), silence=silence)
    if own_mirror(examination):
        return [] if here == there else ["the same, found in another order, reads otherwise"]
    return differences(here, there)


def examinations(seed: int, count: int) -> list[Examination]:
    """Seeded random examinations."""
    draw = random.Random(seed)
    return [drawn(draw) for _ in range(count)]


LONG = pytest.mark.long
SEEDS = [(1, False), (4, True), *(pytest.param(s, False, marks=LONG) for s in (2, 3))]


@pytest.mark.parametrize(("seed", "silence"), SEEDS)
def test_every_field_of_a_reading_mirrors(seed, silence):
    for number, examination in enumerate(examinations(seed, 50)):
        assert unlike(examination, silence) == [], f"examination {number} of seed {seed}"


@pytest.mark.parametrize("every", [12, pytest.param(1, marks=pytest.mark.long)])
def test_the_reading_of_every_classic_pattern_mirrors(every):
    one_sided = 0
    for case in cases()[::every]:
        examination = no_speech(case.examination)
        assert unlike(examination, silence=False) == [], case.title
        here = ready.engine().read(examination, silence=False)
        one_sided += here.sites[0].side in SWAP and bool(differences(here, here))
    assert one_sided > 100 // every  # the comparison tells a reading from its mirror image
