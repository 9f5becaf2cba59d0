"""The standard a second time, by definition and enumeration: no code and no table shared with the package.

Each level is sought among all segments by its definition (the lowest that fits), not by walking down;
unknown scores are filled in every way. Sheets are plain dicts.
"""

from functools import lru_cache
from itertools import product
from typing import NamedTuple

ORDER = [
    "C1", "C2", "C3", "C4", "C5", "C6", "C7", "C8",
    "T1", "T2", "T3", "T4", "T5", "T6", "T7", "T8", "T9", "T10", "T11", "T12",
    "L1", "L2", "L3", "L4", "L5", "S1", "S2", "S3", "S4-5", "INT",
]  # fmt: skip
SENSORY = ORDER[1:-1]
KEY = ["C5", "C6", "C7", "C8", "T1", "L2", "L3", "L4", "L5", "S1"]
ARM, LEG = KEY[:5], KEY[5:]
SIDES = ("right", "left")
RANK = {name: n for n, name in enumerate(ORDER)}


def lowest(names):
    return max(names, key=RANK.__getitem__)


def highest(names):
    return min(names, key=RANK.__getitem__)


def modality(cells):
    """The lowest candidate with everything at and above it normal; `cells` from C2 down."""
    return lowest([c for c in ORDER if set(cells[: RANK[c]]) <= {2}])


def motor_level(motor, sensory):
    """The lowest segment that counts as normal or is useful, with every one above it normal.

    A segment without a key muscle counts as normal by the sensory level; a key muscle at 5. A key
    muscle of 3 or 4 may be the level itself.
    """
    normal = [
        name == "C1" or (motor[name] == 5 if name in motor else RANK[name] <= RANK[sensory])
        for name in ORDER
    ]
    fits = [
        name
        for name in ORDER
        if all(normal[: RANK[name]]) and (normal[RANK[name]] or motor.get(name) in (3, 4))
    ]
    return lowest(fits)


@lru_cache(maxsize=200_000)
def sensed(touch, pin):
    """Light-touch and pinprick level, the lowest felt segment, and whether S4-5 is felt."""
    levels = modality(touch), modality(pin)
    felt = [s for s, t, p in zip(SENSORY, touch, pin, strict=True) if t or p]
    return *levels, lowest([*felt, highest(levels)]), "S4-5" in felt


@lru_cache(maxsize=200_000)
def moved(grades, sensory, movement):
    """Motor level, the lowest that moves, and whether anything moves far below the level."""
    motor = dict(zip(KEY, grades, strict=True))
    level = motor_level(motor, sensory)
    moving = [s for s in KEY if motor[s]]
    working = moving + ([movement] if movement else [])
    far = any(RANK[s] - RANK[level] > 3 for s in working)
    return level, lowest([*moving, level]), far


def side_of(touch, pin, motor, movement):
    """Everything of one side, all scores known."""
    light, pricked, felt, spared = sensed(touch, pin)
    sensory = highest([light, pricked])
    level, moving, far = moved(motor, sensory, movement)
    return Known(light, pricked, sensory, level, felt, moving, spared, far, motor)


class Known(NamedTuple):
    """A side with every score known."""

    light_touch_level: str
    pinprick_level: str
    sensory_level: str
    motor_level: str
    felt: str
    moving: str
    spared: bool
    far: bool
    motor: tuple


def classify(right, left, contraction, pressure, earlier):
    """Every result of two known sides, by id."""
    sides = {"right": right, "left": left}
    found = {}
    for side, of in sides.items():
        for kind in ("light_touch_level", "pinprick_level", "sensory_level", "motor_level"):
            found[f"{kind}_{side}"] = getattr(of, kind)
        given = not pressure and not of.spared
        found[f"sensory_zone_{side}"] = of.felt if given else "NA"
        found[f"motor_zone_{side}"] = "NA" if contraction else of.moving
    levels = [level for of in sides.values() for level in (of.sensory_level, of.motor_level)]
    level = highest(levels)
    found["neurological_level"] = level
    sacral = contraction or pressure or right.spared or left.spared
    found["completeness"] = "incomplete" if sacral else "complete"
    graded = [pair for of in sides.values() for pair in zip(KEY, of.motor, strict=True)]
    below = [grade for key, grade in graded if RANK[key] > RANK[level]]
    useful = [grade for grade in below if grade >= 3]
    moves = contraction or right.far or left.far
    if not sacral:
        grade = "A"
    elif level == "INT" and contraction and pressure:
        grade = "E" if earlier else "none"
    elif not moves:
        grade = "B"
    else:
        grade = "D" if len(useful) >= len(below) - len(useful) else "C"
    found["impairment"] = grade
    return found


def split(code):
    """Digit or None, and whether marked."""
    bare = code.rstrip("*")
    return (None if bare == "NT" else int(bare)), code.endswith("*")


def cells_of(sheet, side):
    """The 66 cells of a side as (test, segment) with digit, mark and how it is to count."""
    found = {}
    for test in ("light_touch", "pinprick", "motor"):
        for segment in KEY if test == "motor" else SENSORY:
            code = sheet[test][side].get(segment, "NT")
            found[test, segment] = (*split(code), sheet.get("rated", {}).get((side, test, segment)))
    return found


def choices(test):
    return (0, 1, 3, 5) if test == "motor" else (0, 1, 2)


def other_movements():
    """What a movement outside the key muscles may be where it is not recorded: none, or the lowest there is."""
    return [None, "S1"]


def filled(values):
    """Every way to fill the Nones of a dict of cells."""
    gaps = [place for place, value in values.items() if value is None]
    for filling in product(*(choices(test) for test, _ in gaps)):
        yield values | dict(zip(gaps, filling, strict=True))


def rows(values):
    return tuple(
        tuple(v for (t, _), v in values.items() if t == test)
        for test in ("light_touch", "pinprick", "motor")
    )


def side_outcomes(sheet, side, marks=True):
    """Every distinct side that some completion gives; marked cells by the level, or as examined."""
    cells, movement = cells_of(sheet, side), sheet.get("movement", {}).get(side)
    movements = (
        other_movements() if movement is None else [None if movement == "none" else movement]
    )
    full = {place: 5 if place[0] == "motor" else 2 for place in cells}
    plain, hanging = {}, set()
    for place, (digit, marked, rating) in cells.items():
        plain[place] = digit
        if marks and marked and rating == "normal":
            plain[place] = full[place]
        elif marks and marked and rating is None:
            plain[place] = full[place]
            hanging.add(place)
    found = set()
    for assumed in filled(plain):
        values = dict(assumed)
        if hanging:
            of = side_of(*rows(assumed), None)  # no level rests on another movement
            for test, segment in hanging:
                level = of.motor_level if test == "motor" else of.sensory_level
                if not RANK[segment] < RANK[level]:
                    values[test, segment] = cells[test, segment][0]
        for known in filled(values):
            found |= {side_of(*rows(known), each) for each in movements}
    return found


def results(sheet, marks=True):
    """The values of every result over all completions, by id."""
    sides = [side_outcomes(sheet, side, marks) for side in SIDES]
    answers = [
        {"yes": (True,), "no": (False,)}.get(sheet.get(sign), (False, True))
        for sign in ("anal_contraction", "anal_pressure", "earlier_deficit")
    ]
    found = {}
    for right, left, *signs in product(*sides, *answers):
        for name, value in classify(right, left, *signs).items():
            found.setdefault(name, set()).add(value)
    return found


def assumed(sheet):
    """The ids of the results that differ with every mark as examined."""
    with_marks, without = results(sheet), results(sheet, marks=False)
    return {name for name in with_marks if with_marks[name] != without[name]}


def sums(sheet):
    """Each sub-score, or None where it is not determinable."""
    found = {}
    for name, test, segments in (
        ("arm_motor", "motor", ARM), ("leg_motor", "motor", LEG),
        ("light_touch", "light_touch", SENSORY), ("pinprick", "pinprick", SENSORY),
    ):  # fmt: skip
        total = 0
        for side in SIDES:
            digits = [split(sheet[test][side].get(s, "NT"))[0] for s in segments]
            found[f"{name}_{side}"] = None if None in digits else sum(digits)
            total = None if total is None or None in digits else total + sum(digits)
        found[name] = total
    return found
