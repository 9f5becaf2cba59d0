"""What reaches each sign under each row: loss along its own path, and along its control from above.

For every sign and side two numbers per row, 0 to 1: `lower`, the loss of its own arc, and `upper`, the
loss of the pathways that govern it. Both follow from the wiring; how they show is in `observation`.
"""

from collections.abc import Callable

import numpy as np

from wardexam.anatomy.catalogue import SEGMENTS, Sign, catalogue
from wardexam.anatomy.structures import wires
from wardexam.errors import TableError
from wardexam.reasoning.model.damage import Body, Structures
from wardexam.reasoning.model.pathways import (
    brain_sense,
    brain_tract,
    branch_loss,
    combined,
    cord_sense,
    entry_of,
    length_loss,
    limb_of,
    motor_lower,
    muscle_own,
    own,
    reflex_lower,
    sensation,
    upper_motor,
    weighted,
)
from wardexam.reasoning.model.severities import Array
from wardexam.reasoning.tables import losses_row

Losses = tuple[Array, Array]  # of the sign's own arc, and of its control from above


def wired(body: Body, sign_id: str, side: int) -> Array:
    """Loss of what a straightly wired sign hangs on; `side` 0 also serves for the midline."""
    row = wires()[sign_id]
    parts: list[Array] = [np.zeros(body.rows, np.float32)]
    parts += [share * body.damage(s, side) for s, share in row.same.items()]
    parts += [share * body.damage(s, 1 - side) for s, share in row.opposite.items()]
    parts += [
        share * np.maximum(body.damage(s, 0), body.damage(s, 1)) for s, share in row.either.items()
    ]
    parts += [
        share * body.damage(s, 1) for s, share in row.right_body.items()
    ]  # the left hemisphere
    return combined(*parts)


def _either(body: Body, structure: str) -> Array:
    """Damage to the worse side of a structure of the midline."""
    return np.maximum(body.damage(structure, 0), body.damage(structure, 1))


def _mean(one: Array, other: Array) -> Array:
    return (0.5 * (one + other)).astype(np.float32)


def sphincter(body: Body, sign: Sign) -> Losses:
    """Loss of a sphincter's own segments and roots, and of its control; both need both sides."""
    n, lowest = losses_row("sphincter"), losses_row("segments")["autonomic"]
    here, above = [], []
    for side in (0, 1):
        here.append(
            combined(
                weighted(body, sign.segments, "grey", side),
                weighted(body, sign.segments, "ventral", side),
                n["dorsal"] * weighted(body, sign.segments, "dorsal", side),
                n["nerve"] * branch_loss(body, sign, "motor", side),
                n["roots"] * body.damage("roots_all", side),
            )
        )
        large = n["large_hemisphere"] * body.damage("large_hemisphere", side)
        brain = n["brain"] * combined(body.damage("medial_frontal", side), large)
        above.append(combined(body.tracts["autonomic", side] * body.below(lowest), brain))
    lower = n["worse_side"] * np.maximum(*here) + n["both_sides"] * _mean(*here)
    upper = np.sqrt(above[0] * above[1]) * n["control_alike"] + n["control_mean"] * _mean(*above)
    return lower.astype(np.float32), upper.astype(np.float32)


def ataxia(body: Body, sign: Sign, side: int) -> Losses:
    """Loss of a limb's cerebellar control, and what mimics it: position sense lost, weakness."""
    n = losses_row("ataxia")
    cerebellar = combined(
        *(
            share * body.damage(structure, at)
            for column, at in (
                ("same", side),
                ("opposite_first", 1 - side),
                ("same_last", side),
                ("opposite_last", 1 - side),
            )
            for structure, share in n[column].items()
        ),
        n["vermis"]["leg" if sign.limb == "leg" else "arm"] * body.damage("vermis", side),
        body.damage(n["arm_alone"] if sign.limb == "arm" else "nothing", side),
    )
    position = n["position"]["leg" if sign.limb == "leg" else "arm"]
    return cerebellar, sensation(body, catalogue()[position], side)


GAITS = ("free", "spastic", "one_sided", "ataxic", "high_stepping", "waddling", "hindered", "slow")


def gait(body: Body) -> Losses:
    """The leading disorder of gait under each row, as a number of `GAITS`, and how bad it is."""
    signs, n = catalogue(), losses_row("gait")
    upper = [upper_motor(body, "leg", {}, s) for s in (0, 1)]
    foot = [motor_lower(body, signs[n["foot"]], s) for s in (0, 1)]
    hips = _mean(*(motor_lower(body, signs[n["hips"]], s) for s in (0, 1)))
    thigh = [motor_lower(body, signs[n["legs"]], s) for s in (0, 1)]
    legs, whole = _mean(*thigh), np.maximum(*map(np.minimum, thigh, foot))
    deep = _mean(*(sensation(body, signs[n["position"]], s) for s in (0, 1)))
    ataxic = np.maximum.reduce(
        [
            *(ataxia(body, signs[n["ataxia"]], s)[0] for s in (0, 1)),
            *(share * _either(body, s) for s, share in n["ataxic_also"].items()),
            n["position_share"] * deep,
        ]
    )
    hindered = [
        _mean(*(body.damage(structure, s) for s in (0, 1))) for structure in n["structures"]
    ]
    strengths = np.stack(
        [
            np.full(body.rows, n["free"], np.float32),
            np.minimum(*upper),
            np.maximum(np.abs(upper[0] - upper[1]), n["whole_leg"] * whole) * n["one_sided"],
            ataxic,
            np.maximum(*foot) * n["high_stepping"],
            np.minimum(hips, legs + n["waddling_legs"]),
            *hindered,
        ]
    )
    kind = strengths.argmax(axis=0)
    return kind.astype(np.float32), combined(strengths.max(axis=0), n["legs_worse"] * legs)


def _unhindered(body: Body, lower: Array) -> Losses:
    """A sign that no control from above shows in."""
    return lower, body.damage(Structures.SPARED, 0)


def _reflex(body: Body, sign: Sign, side: int) -> Losses:
    upper = upper_motor(body, limb_of(sign), sign.segments, side)
    lower = combined(reflex_lower(body, sign, side), body.damage("depressed", side))
    return lower, combined(upper, body.damage("excitable", side))


def _jaw(body: Body, sign: Sign, side: int) -> Losses:
    """The jerk of the trigeminal nerve: its arc, like its control, is lost where it is lost on both sides."""
    structures = ("motor_face", "capsule", "midbrain_pyramid", "jaw_upper")
    upper = [combined(*(body.damage(name, s) for name in structures)) for s in (0, 1)]
    arc = np.minimum(body.damage("trigeminal", 0), body.damage("trigeminal", 1))
    return arc, np.minimum(*upper)


def _plantar(body: Body, sign: Sign, side: int) -> Losses:
    excitable = own(sign)["excitable"] * body.damage("excitable", side)
    upper = combined(upper_motor(body, "leg", sign.segments, side), excitable)
    return motor_lower(body, sign, side), upper


def _balance(body: Body, sign: Sign, side: int) -> Losses:
    n = losses_row("balance")
    deep = _mean(*(sensation(body, catalogue()[n["position"]], s) for s in (0, 1)))
    worse = (share * _either(body, structure) for structure, share in n["also"].items())
    return _unhindered(body, combined(deep, *worse))


def _superficial(body: Body, sign: Sign, side: int) -> Losses:
    bundles = (weighted(body, sign.segments, s, side) for s in ("grey", "ventral", "dorsal"))
    arc = combined(*bundles, branch_loss(body, sign, "motor", side))
    return arc, upper_motor(body, "trunk", sign.segments, side)


def _face(body: Body, sign: Sign, side: int) -> Losses:
    n = own(sign)
    other = brain_tract(body, "face", side)
    both = np.minimum(other, brain_tract(body, "face", 1 - side))
    upper = combined(n["one_hemisphere"] * other, n["both_hemispheres"] * both)
    return motor_lower(body, sign, side), upper


def _neck(body: Body, sign: Sign, side: int) -> Losses:
    lower = _mean(motor_lower(body, sign, 0), motor_lower(body, sign, 1))
    upper = [upper_motor(body, "arm", sign.segments, s) for s in (0, 1)]
    n = losses_row("movement")
    lower = combined(lower, n["neck_bulbar"] * _either(body, "bulbar"))
    return lower, n["neck_control"] * np.minimum(*upper)


def _also(body: Body, sign: Sign, side: int) -> list[Array]:
    """What else takes a share of a movement or of its muscle, by the structures that its row names."""
    return [share * body.damage(s, side) for s, share in own(sign).get("also", {}).items()]


def _movement(body: Body, sign: Sign, side: int) -> Losses:
    lower = combined(motor_lower(body, sign, side), *_also(body, sign, side))
    if sign.limb in ("arm", "leg"):
        limb, share = f"effort_{sign.limb}", own(sign).get("effort", 1.0)
        efforts = (body.damage(e, side) for e in (limb, f"{limb}_{sign.position}"))
        lower = combined(lower, *(share * e for e in efforts))
    upper = upper_motor(body, sign.limb, sign.segments, side)
    hand = losses_row("movement")["hand"].get(sign.position) if sign.limb == "arm" else None
    return lower, combined(upper, hand * body.damage("motor_hand", 1 - side)) if hand else upper


def _face_sense(body: Body, sign: Sign, side: int) -> Losses:
    medulla = body.damage("medulla_fifth", side) * own(sign)["medulla"]
    here = [body.damage("pons_fifth", side), body.damage("branch_sensory.trigeminal", side)]
    above = brain_sense(body, "face", sign.modality, side)
    return _unhindered(body, combined(*here, medulla, above, body.damage("felt_face", side)))


def _skin(body: Body, sign: Sign, side: int) -> Losses:
    loss = sensation(body, sign, side)
    if sign.limb in ("arm", "leg"):
        # What is only felt to be less seldom keeps to the borders of a nerve.
        share = losses_row("skin")["territory"] if sign.territory else 1.0
        loss = combined(loss, share * body.damage(f"felt_{sign.limb}", side))
    return _unhindered(body, loss)


def _length(body: Body, sign: Sign, side: int) -> Losses:
    n = losses_row("length_signs")
    length = [length_loss(body, sign.length, k, side) for k in ("large", "small")]
    lower = np.maximum(*length) * body.damage("length_reach", side)
    roots = n["roots"] * body.damage("roots_sense", side)
    cord = n["cord"] * cord_sense(body, entry_of(sign.limb), "touch", side)
    felt = n["felt"] * body.damage(f"felt_{sign.limb}", side)
    dorsal = [body.damage(f"dorsal.{s}", side) for s in n["dorsal_of"][sign.limb]]
    own = n["dorsal"] * np.minimum.reduce(dorsal)
    return _unhindered(body, combined(lower, roots, cord, felt, own))


def _tone(body: Body, sign: Sign, side: int) -> Losses:
    n = losses_row("tone")
    lower = _mean(*(motor_lower(body, catalogue()[m], side) for m in n[sign.limb]))
    cerebellum = n["cerebellum"] * body.damage("cerebellum", side)
    depressed = n["depressed"] * body.damage("depressed", side)
    lower, upper = combined(lower, cerebellum, depressed), upper_motor(body, sign.limb, {}, side)
    # The last step of `lower` is kept for rigidity, whose amount then stands in `upper`.
    stiff = body.damage(f"rigid_{sign.limb}", side)
    rigid = stiff > np.maximum(np.maximum(lower, upper), n["rigid"])
    return np.where(rigid, 1, np.minimum(lower, n["most"])), np.where(rigid, stiff, upper)


def _wasting(body: Body, sign: Sign, side: int) -> Losses:
    ill = losses_row("wasting")["muscle"] * muscle_own(body, sign, side)
    lower = combined(motor_lower(body, sign, side), ill, *_also(body, sign, side))
    return _unhindered(body, lower)


# The ways to a sign, by the name that `losses.toml` gives a kind of answer or a sign of its own.
WAYS: dict[str, Callable[[Body, Sign, int], Losses]] = {
    "reflex": _reflex,
    "jaw": _jaw,
    "plantar": _plantar,
    "balance": _balance,
    "superficial": _superficial,
    "sphincter": lambda body, sign, side: sphincter(body, sign),
    "face": _face,
    "neck": _neck,
    "movement": _movement,
    "face_sense": _face_sense,
    "skin": _skin,
    "length": _length,
    "tone": _tone,
    "ataxia": ataxia,
    "gait": lambda body, sign, side: gait(body),
    "wasting": _wasting,
}


def way(sign: Sign) -> str:
    """The name of the way to a sign.

    Raises:
        TableError: `losses.toml` names no way for it, or one that is none.
    """
    name: str = own(sign).get("way", "") or losses_row("ways").get(sign.answers, "")
    if name not in WAYS:
        raise TableError(f"no way '{name}' to sign '{sign.id}'", where="losses.toml, own and ways")
    return name


def paths(body: Body, sign: Sign, side: int) -> Losses:
    """`lower` and `upper` loss of one sign on one side (0 right or midline, 1 left)."""
    if sign.id in wires():
        return _unhindered(body, wired(body, sign.id, side))
    return WAYS[way(sign)](body, sign, side)


def level_of(body: Body, modality: str, side: int) -> Losses:
    """The lowest segment still normal under each row, as a number, and how plain the loss below is.

    What the brain takes keeps to limbs, and is not read as a level.
    """
    n = losses_row("level")
    dermatomes = SEGMENTS[1 : SEGMENTS.index(n["above"])]
    skin = [catalogue()[f"{modality}_{s}"] for s in dermatomes]
    loss = np.stack([sensation(body, sign, side, brain=False) for sign in skin])
    segments = np.array([SEGMENTS.index(s) for s in dermatomes])
    last = len(dermatomes) - 1
    # A level is a loss that begins at one segment and holds over all below it.
    held = np.minimum.accumulate(loss[::-1], axis=0)[::-1]
    plain = held > n["plain"]
    shown = plain.any(axis=0)
    first = np.where(shown, plain.argmax(axis=0), last)
    depth = np.take_along_axis(held, np.minimum(first + n["depth_below"], last)[None], axis=0)[0]
    return (segments[first] - 1).astype(np.float32), np.where(shown, depth, 0).astype(np.float32)


def limb_loss(body: Body, limb: str, side: int) -> Losses:
    """The worst loss of sensation and of power in a limb: what a person would complain of."""
    signs, n = catalogue(), losses_row("complaint")
    numb = np.maximum.reduce([_skin(body, signs[s], side)[0] for s in n[f"{limb}_skin"]])
    weak = np.maximum.reduce(
        [combined(*paths(body, signs[m], side)) for m in n[f"{limb}_movements"]]
    )
    return numb, weak
