"""Random sheets from a seed: levels first, so that every grade comes up, then scatter, gaps and marks."""

import random

from tests.injury.enumerated import KEY, RANK, SENSORY, SIDES
from wardexam.injury.sheet import InjurySheet

MOVEMENTS = ("C5", "C6", "C7", "C8", "T1", "L2", "L3", "L4", "L5", "S1", "none")


def _sensory(draw, level, spared):
    codes = {}
    below = draw.choice(([0], [0, 0, 1], [1], [0, 1, 2]))
    for name in SENSORY:
        codes[name] = "2" if RANK[name] <= RANK[level] else str(draw.choice(below))
    if RANK[level] + 1 < RANK["S4-5"]:
        codes[SENSORY[RANK[level]]] = str(draw.choice((0, 1)))
    if level != "INT":
        codes["S4-5"] = str(draw.choice((1, 1, 2))) if spared else "0"
    return codes


def _motor(draw, level):
    below = draw.choice(([0], [0, 0, 1], [0, 1, 2, 3], [3, 4, 5], [0, 1, 2, 3, 4, 5]))
    return {k: "5" if RANK[k] <= RANK[level] else str(draw.choice(below)) for k in KEY}


def drawn(seed, unknown=0, marks=0):
    """A sheet from a seed, with so many scores not testable and so many marked."""
    draw = random.Random(seed)
    spared, levels = draw.random() < 0.6, ["C1", *SENSORY, "INT"]
    near = draw.randrange(len(levels))
    if draw.random() < 0.06:
        near = len(levels) - 1
    document = {"light_touch": {}, "pinprick": {}, "motor": {}, "movements": {}}
    for side in SIDES:
        around = [levels[max(0, min(len(levels) - 1, near + draw.choice((-2, -1, 0, 0, 1)))) if near < len(levels) - 1 else near] for _ in range(3)]  # fmt: skip
        for test, level in zip(("light_touch", "pinprick"), around, strict=False):
            document[test][side] = _sensory(draw, level, spared and draw.random() < 0.7)
        document["motor"][side] = _motor(draw, around[2])
        document["movements"][side] = draw.choice(("none", "none", "none", *MOVEMENTS))
    squeeze = draw.random() < (0.25 if near < len(levels) - 1 else 0.8)
    document["anal_contraction"] = "yes" if squeeze else "no"
    document["anal_pressure"] = "yes" if draw.random() < (0.5 if spared else 0.1) else "no"
    document["earlier_deficit"] = draw.choice(("yes", "no"))
    cells = [(t, s, n) for t in ("light_touch", "pinprick", "motor") for s in SIDES for n in document[t][s]]  # fmt: skip
    if draw.random() < 0.7:  # where they matter: at the levels, in the limbs, at the end
        side = draw.choice((SIDES, SIDES, ("right",), ("left",)))
        at = range(near - 3, near + 6)
        cells = [
            (t, s, n) for t, s, n in cells
            if s in side and (t == "motor" or RANK[n] in at or n == "S4-5")
        ]  # fmt: skip
    # Each movement several times, so that it is often among so many scores.
    places = [*cells, "anal_contraction", "anal_pressure", *4 * [("movements", s) for s in SIDES]]
    for place in draw.sample(places, min(unknown, len(places))):
        if isinstance(place, str):
            document[place] = draw.choice(("NT", None))
            continue
        if place[0] == "movements":
            document["movements"][place[1]] = None
            continue
        test, side, name = place
        document[test][side][name] = "NT"
        if draw.random() < 0.15:
            del document[test][side][name]
    rated = []
    for test, side, name in draw.sample(cells, len(cells)):
        code = document[test][side].get(name)
        if marks <= 0:
            break
        if code is None:
            continue
        if code == ("5" if test == "motor" else "2"):
            code = str(draw.randrange(int(code)))
        document[test][side][name] = code + "*"
        marks -= 1
        if draw.random() < 0.3:
            counts = draw.choice(("normal", "examined"))
            rated.append({"side": side, "test": test, "segment": name, "counts": counts})
    return InjurySheet.model_validate(document | {"rated": rated})


def mirrored(sheet):
    """The sheet with right and left swapped."""
    document, swap = sheet.model_dump(mode="json"), {"right": "left", "left": "right"}
    for part in ("light_touch", "pinprick", "motor", "movements"):
        document[part] = {swap[side]: held for side, held in document[part].items()}
    for row in document["rated"]:
        row["side"] = swap[row["side"]]
    return InjurySheet.model_validate(document)
