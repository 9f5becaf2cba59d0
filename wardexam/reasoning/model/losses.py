"""What reaches each sign under each row: loss along its own path, and along its control from above.

For every sign and side two numbers per row, 0 to 1: `lower`, the loss of its own arc, and `upper`, the
loss of the pathways that govern it. Both follow from the wiring; how they show is in `outcomes`.
"""

from collections.abc import Iterable

import numpy as np

from wardexam.anatomy.catalogue import SEGMENTS, Sign, catalogue
from wardexam.anatomy.structures import wires
from wardexam.reasoning.model.damage import Body
from wardexam.reasoning.model.pathways import (
    ARM_SEGMENT,
    LEG_SEGMENT,
    brain_sense,
    brain_tract,
    branch_loss,
    combined,
    cord_sense,
    length_loss,
    limb_of,
    motor_lower,
    muscle_own,
    reflex_lower,
    sensation,
    upper_motor,
    weighted,
)
from wardexam.reasoning.model.severities import Array


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


def sphincter(body: Body, sign: Sign) -> tuple[Array, Array]:
    """Loss of a sphincter's own segments and roots, and of its control; both need both sides."""
    own, above = [], []
    for side in (0, 1):
        own.append(combined(
            weighted(body, sign.segments, "grey", side), weighted(body, sign.segments, "ventral", side),
            0.8 * weighted(body, sign.segments, "dorsal", side), 0.8 * branch_loss(body, sign, "motor", side),
        ))  # fmt: skip
        brain = 0.55 * combined(
            body.damage("medial_frontal", side), 0.3 * body.damage("large_hemisphere", side)
        )
        above.append(combined(body.tracts["autonomic", side] * body.below("S2"), brain))
    lower = 0.35 * np.maximum(own[0], own[1]) + 0.65 * _mean(own[0], own[1])
    upper = np.sqrt(above[0] * above[1]) * 0.7 + 0.3 * _mean(above[0], above[1])
    return lower.astype(np.float32), upper.astype(np.float32)


def ataxia(body: Body, sign: Sign, side: int) -> tuple[Array, Array]:
    """Loss of a limb's cerebellar control, and what mimics it: position sense lost, weakness."""
    cerebellar = combined(
        body.damage("cerebellum", side), 0.3 * body.damage("vermis", side), body.damage("medulla_cerebellar", side),
        body.damage("pons_cerebellar", side), body.damage("pons_cerebellar_opposite", 1 - side),
        body.damage("midbrain_cerebellar", 1 - side), 0.8 * body.damage("fisher", side),
        0.25 * body.damage("capsule", 1 - side),
    )  # fmt: skip
    limb = "leg" if sign.limb == "leg" else "arm"
    position = sensation(body, catalogue()[f"position_{limb}"], side)
    return cerebellar, position


GAITS = ("free", "spastic", "one_sided", "ataxic", "high_stepping", "waddling")


def gait(body: Body) -> tuple[Array, Array]:
    """The leading disorder of gait under each row, as a number of `GAITS`, and how bad it is."""
    signs = catalogue()
    upper = [upper_motor(body, "leg", {}, s) for s in (0, 1)]
    foot = [motor_lower(body, signs["ankle_dorsiflexion"], s) for s in (0, 1)]
    hips = _mean(*(motor_lower(body, signs["hip_abduction"], s) for s in (0, 1)))
    legs = _mean(*(motor_lower(body, signs["knee_extension"], s) for s in (0, 1)))
    ataxic = np.maximum.reduce([
        *(ataxia(body, signs["heel_shin"], s)[0] for s in (0, 1)), _either(body, "vermis"),
        0.8 * _mean(*(sensation(body, signs["position_leg"], s) for s in (0, 1))),
    ])  # fmt: skip
    strengths = np.stack([
        np.full(body.rows, 0.12, np.float32), np.minimum(*upper), np.abs(upper[0] - upper[1]) * 0.9, ataxic,
        np.maximum(*foot) * 0.95, np.minimum(hips, legs + 0.2),
    ])  # fmt: skip
    kind = strengths.argmax(axis=0)
    return kind.astype(np.float32), combined(strengths.max(axis=0), 0.4 * legs)


def paths(body: Body, sign: Sign, side: int) -> tuple[Array, Array]:
    """`lower` and `upper` loss of one sign on one side (0 right or midline, 1 left)."""
    nothing = body.damage("nothing", side)
    if sign.id in wires():
        return wired(body, sign.id, side), nothing
    match sign.answers:
        case "tendon" if sign.id == "jaw":
            upper = [combined(
                body.damage("motor_face", s), body.damage("capsule", s), body.damage("midbrain_pyramid", s),
                body.damage("jaw_upper", s),
            ) for s in (0, 1)]  # fmt: skip
            return _mean(body.damage("trigeminal", 0), body.damage("trigeminal", 1)), np.minimum(
                *upper
            )
        case "tendon" | "clonus":
            return reflex_lower(body, sign, side), upper_motor(
                body, limb_of(sign), sign.segments, side
            )
        case "plantar":
            return motor_lower(body, sign, side), upper_motor(body, "leg", sign.segments, side)
        case "present" if sign.id == "hoffmann":
            return reflex_lower(body, sign, side), upper_motor(body, "arm", sign.segments, side)
        case "present" if sign.id == "romberg":
            deep = [sensation(body, catalogue()["position_leg"], s) for s in (0, 1)]
            return combined(
                _mean(*deep), 0.6 * _either(body, "vermis"), 0.5 * _either(body, "fisher")
            ), nothing
        case "superficial" if sign.limb == "saddle":
            return sphincter(body, sign)
        case "superficial":
            arc = combined(
                weighted(body, sign.segments, "grey", side), weighted(body, sign.segments, "ventral", side),
                weighted(body, sign.segments, "dorsal", side), branch_loss(body, sign, "motor", side),
            )  # fmt: skip
            return arc, upper_motor(body, "trunk", sign.segments, side)
        case "mrc" if sign.position == "cranial":
            other = brain_tract(body, "face", side)
            both = np.minimum(other, brain_tract(body, "face", 1 - side))
            return motor_lower(body, sign, side), other if sign.id == "face_lower" else combined(
                0.15 * other, 0.6 * both
            )
        case "mrc" if sign.sides == "midline":
            lower = _mean(motor_lower(body, sign, 0), motor_lower(body, sign, 1))
            upper = [upper_motor(body, "arm", sign.segments, s) for s in (0, 1)]
            return lower, 0.5 * np.minimum(*upper)
        case "mrc":
            lower = motor_lower(body, sign, side)
            if sign.id == "shoulder_shrug":
                lower = combined(lower, body.damage("branch_motor.accessory", side))
            return lower, upper_motor(body, sign.limb, sign.segments, side)
        case "sensation" if sign.id.startswith("facial_sensation"):
            own = [body.damage("pons_fifth", side), body.damage("branch_sensory.trigeminal", side)]
            own += [body.damage("medulla_fifth", side) * (1.0 if sign.modality == "pin" else 0.3)]
            return combined(*own, brain_sense(body, "face", sign.modality, side)), nothing
        case "sensation":
            return sensation(body, sign, side), nothing
        case "stocking" | "glove":
            length = [length_loss(body, sign.length, k, side) for k in ("large", "small")]
            reach = body.damage("length_reach", side)
            lower = np.maximum(*length) * reach
            roots = 0.85 * body.damage("roots_sense", side)
            cord = 0.3 * cord_sense(
                body, LEG_SEGMENT if sign.limb == "leg" else ARM_SEGMENT, "touch", side
            )
            return combined(lower, roots, cord), nothing
        case "tone":
            limb = (
                ("elbow_flexion", "wrist_extension")
                if sign.limb == "arm"
                else ("knee_extension", "ankle_dorsiflexion")
            )
            lower = _mean(*(motor_lower(body, catalogue()[m], side) for m in limb))
            return combined(lower, 0.35 * body.damage("cerebellum", side)), upper_motor(
                body, sign.limb, {}, side
            )
        case "ataxia":
            return ataxia(body, sign, side)
        case "gait":
            return gait(body)
        case "bladder" | "bowel" | "residual" | "anal_tone":
            return sphincter(body, sign)
        case "amount":
            # Muscle that is ill wastes too, later and less than muscle that has lost its nerve.
            return combined(
                motor_lower(body, sign, side), 0.6 * muscle_own(body, sign, side)
            ), nothing
    raise AssertionError(f"no path for {sign.id}")


def level_of(body: Body, modality: str, side: int) -> tuple[Array, Array]:
    """The lowest segment still normal under each row, as a number, and how plain the loss below is."""
    dermatomes = SEGMENTS[
        1 : SEGMENTS.index("S3")
    ]  # the saddle is often spared, and is asked for apart
    loss = np.stack([sensation(body, catalogue()[f"{modality}_{s}"], side) for s in dermatomes])
    numbers = np.array([SEGMENTS.index(s) for s in dermatomes])
    # A level is a loss that begins at one segment and holds over all below it.
    held = np.minimum.accumulate(loss[::-1], axis=0)[::-1]
    plain = held > 0.25
    first = np.where(plain.any(axis=0), plain.argmax(axis=0), len(dermatomes) - 1)
    depth = np.take_along_axis(held, np.minimum(first + 2, len(dermatomes) - 1)[None], axis=0)[0]
    return (numbers[first] - 1).astype(np.float32), np.where(plain.any(axis=0), depth, 0).astype(
        np.float32
    )


LIMB_MOVEMENTS = {
    "arm": ("shoulder_abduction", "elbow_extension", "wrist_extension", "finger_abduction"),
    "leg": ("hip_flexion", "knee_extension", "ankle_dorsiflexion", "ankle_plantarflexion"),
}
LIMB_SKIN = {
    "arm": ("touch_C5", "touch_C6", "touch_C7", "touch_C8", "touch_T1"),
    "leg": ("touch_L2", "touch_L3", "touch_L4", "touch_L5", "touch_S1"),
}


def limb_loss(body: Body, limb: str, side: int) -> tuple[Array, Array]:
    """The worst loss of sensation and of power in a limb: what a person would complain of."""
    signs = catalogue()
    numb = np.maximum.reduce([sensation(body, signs[s], side) for s in LIMB_SKIN[limb]])
    weak = np.maximum.reduce([combined(*paths(body, signs[m], side)) for m in LIMB_MOVEMENTS[limb]])
    return numb, weak


def sides(sign: Sign) -> Iterable[tuple[str, int]]:
    """The sides a sign is found on, by name and number."""
    return (("right", 0), ("left", 1)) if sign.sides == "each" else (("midline", 0),)
