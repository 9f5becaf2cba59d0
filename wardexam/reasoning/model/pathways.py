"""Losses along single pathways: motor and sensory, their own arc and the control from above.

Each gives the loss under every row, 0 to 1. `forward` puts them together for each sign.
"""

import numpy as np

from wardexam.anatomy.catalogue import SEGMENTS, Sign
from wardexam.anatomy.structures import ancestry
from wardexam.reasoning.model.damage import Body
from wardexam.reasoning.model.severities import Array

ARM_SEGMENT, LEG_SEGMENT = "C6", "L4"  # where deep sensation of hand and foot enters
# Nerves that leave the roots before the trunks form (Aids to the Examination, from memory).
BEFORE_PLEXUS = frozenset({"long_thoracic"})


def combined(*losses: Array) -> Array:
    """The loss of a path whose parts are lost independently."""
    kept: Array = np.ones_like(losses[0])
    for loss in losses:
        kept = kept * (1 - loss)
    return np.asarray(1 - kept, np.float32)


def weighted(body: Body, shares: dict[str, float], structure: str, side: int) -> Array:
    """The loss of a bundle whose parts are carried by several structures."""
    total = np.zeros(body.rows, np.float32)
    for name, share in shares.items():
        total += share * body.damage(f"{structure}.{name}", side)
    return total


def branch_loss(body: Body, sign: Sign, kind: str, side: int) -> Array:
    """The loss through the nerve branches, each with all that lies above it."""
    total = np.zeros(body.rows, np.float32)
    for branch, share in sign.branches.items():
        total += share * combined(
            *(body.damage(f"branch_{kind}.{a}", side) for a in ancestry(branch))
        )
    return total


def plexus_loss(body: Body, sign: Sign, kind: str, side: int) -> Array:
    """The loss through trunks and cords of a plexus."""
    if BEFORE_PLEXUS & set(sign.branches):
        return np.zeros(body.rows, np.float32)
    trunk = weighted(body, sign.segments, f"trunk_{kind}", side)
    return combined(trunk, weighted(body, sign.cords, f"plexus_cord_{kind}", side))


def length_loss(body: Body, length: float, kind: str, side: int) -> Array:
    """The loss from a length-dependent process at a place so far out (0 trunk, 1 toes)."""
    reach = np.clip((length - (1 - body.damage("length_reach", side))) / 0.3, 0, 1)
    return np.asarray(reach * body.damage(f"length_{kind}", side), np.float32)


def limb_of(sign: Sign) -> str:
    """The limb whose roots and tract a sign hangs on: the saddle goes with the leg."""
    return "leg" if sign.limb in ("leg", "saddle") else "arm"


def motor_lower(body: Body, sign: Sign, side: int) -> Array:
    """Loss of a movement's own path: grey matter, root, plexus, nerve, junction, muscle."""
    limb = limb_of(sign)
    roots = (
        body.damage(f"roots_{limb}", side)
        if sign.position != "cranial"
        else body.damage("nothing", side)
    )
    if sign.position == "proximal":
        roots = roots * (0.5 + 0.5 * body.damage("roots_proximal", side))
    elif sign.position == "distal":
        roots = roots * (1 - 0.6 * body.damage("roots_not_distal", side))
    parts = [
        weighted(body, sign.segments, "grey", side), weighted(body, sign.segments, "ventral", side),
        plexus_loss(body, sign, "motor", side), branch_loss(body, sign, "motor", side),
        length_loss(body, sign.length, "motor", side), roots,
    ]  # fmt: skip
    if sign.answers == "mrc":
        parts += _muscle(body, sign, side)
    if sign.position == "cranial":
        parts += [body.damage("pons_seventh", side), 0.35 * body.damage("junction_bulbar", side)]
    return combined(*parts)


def _muscle(body: Body, sign: Sign, side: int) -> list[Array]:
    junction = {
        "proximal": "junction_proximal",
        "middle": "junction_distal",
        "distal": "junction_distal",
    }
    parts = [body.damage(junction.get(sign.position, "nothing"), side)]
    if sign.id == "knee_extension":  # the quadriceps has its own share, apart from the hips
        return [*parts, 0.9 * body.damage("muscle_quadriceps", side)]
    if sign.id == "finger_flexion":
        parts.append(0.9 * body.damage("muscle_fingers", side))
    if sign.limb == "head" and sign.position == "proximal":
        parts += [body.damage("muscle_neck", side), 0.5 * body.damage("roots_arm", side)]
    elif sign.position == "proximal":
        parts.append(body.damage("muscle_hips" if sign.limb == "leg" else "muscle_shoulders", side))
    elif sign.position in ("middle", "distal"):
        parts.append(
            body.damage("muscle_distal", side) * (1.0 if sign.position == "distal" else 0.6)
        )
    return parts


def muscle_own(body: Body, sign: Sign, side: int) -> Array:
    """Loss of the muscles of a girdle or of the ends of a limb by their own disease."""
    proximal = "muscle_hips" if limb_of(sign) == "leg" else "muscle_shoulders"
    return body.damage(proximal if sign.position == "proximal" else "muscle_distal", side)


def brain_tract(body: Body, region: str, side: int) -> Array:
    """Loss of the pyramidal path of a region of the body above the cord; `side` is the body's."""
    other = 1 - side
    return combined(
        body.damage(f"motor_{region}", other), body.damage("capsule", other),
        body.damage("midbrain_pyramid", other), body.damage("pons_pyramid", other),
        body.damage("medulla_pyramid", other) if region != "face" else body.damage("nothing", other),
        body.damage(f"neurone_upper_{region}", side),
    )  # fmt: skip


def upper_motor(body: Body, limb: str, segments: dict[str, float], side: int) -> Array:
    """Loss of the pyramidal path from the opposite cortex down to a sign's segments."""
    tract = body.tracts[
        "pyramid_leg" if limb in ("leg", "trunk", "saddle") else "pyramid_arm", side
    ]
    below: Array
    if segments:
        below = np.zeros(body.rows, np.float32)
        for segment, share in segments.items():
            below = below + share * body.below(segment)
    else:
        below = body.below(LEG_SEGMENT if limb == "leg" else "C7")
    above: Array
    if limb == "trunk":
        above = 0.5 * (brain_tract(body, "arm", side) + brain_tract(body, "leg", side))
    else:
        above = brain_tract(body, "leg" if limb in ("leg", "saddle") else "arm", side)
    return combined(tract * below, above)


def brain_sense(body: Body, region: str, modality: str, side: int) -> Array:
    """Loss of a region's sensory path above the cord."""
    other = 1 - side
    parts = [
        body.damage(f"sensory_{region}", other),
        body.damage("thalamus", other),
        body.damage("midbrain_lemniscus", other),
    ]
    if region == "face":
        parts.append(0.4 * body.damage("pons_lemniscus", other))
        return combined(*parts)
    parts.append(body.damage("pons_lemniscus", other))
    spino, medial = (
        body.damage("medulla_spinothalamic", other),
        body.damage("medulla_medial_lemniscus", other),
    )
    parts.append({"pin": spino, "touch": 0.3 * spino + 0.4 * medial}.get(modality, medial))
    return combined(*parts)


def cord_sense(body: Body, segment: str, modality: str, side: int) -> Array:
    """Loss in the cord of what enters at a segment: columns on its side, pain fibres across."""
    column = body.tracts["column_arm" if segment < "D" else "column_leg", side] * body.below(
        segment
    )
    crossed = body.tracts["spinothalamic", 1 - side] * body.below(segment, body.offset)
    at = SEGMENTS.index(segment)
    crossing = np.maximum(
        body.damage(f"crossing.{segment}", side),
        body.damage(f"crossing.{SEGMENTS[max(0, at - 1)]}", side),
    )
    entry = body.damage(f"entry.{segment}", side)
    pain = combined(crossed, crossing, entry)
    if modality == "pin":
        return pain
    if modality == "touch":
        # Light touch travels in both; half and half (judgement).
        return combined(
            np.maximum(0.5 * column + 0.5 * crossed, 0.9 * column * crossed),
            0.25 * crossing,
            0.7 * entry,
        )
    return column


def sensory_lower(body: Body, sign: Sign, side: int) -> Array:
    """Loss of an area's own path: root, plexus, nerve, or fibres by length."""
    small = sign.modality == "pin"
    segments = sign.segments or (
        {"L5": 0.5, "S1": 0.5} if sign.limb == "leg" else {"C7": 0.5, "C8": 0.5}
    )
    deep = sign.modality in ("vibration", "position")
    dorsal = np.zeros(body.rows, np.float32)
    for segment, share in segments.items():
        at = SEGMENTS.index(segment)
        beside = [SEGMENTS[n] for n in (at - 1, at + 1) if 0 <= n < len(SEGMENTS)]
        # Neighbouring roots overlap, less so for pain (DeJong, from memory).
        own = body.damage(f"dorsal.{segment}", side)
        spill = sum((body.damage(f"dorsal.{b}", side) for b in beside), np.zeros_like(own))
        dorsal += share * np.clip((0.95 if small else 0.85) * own + 0.08 * spill, 0, 1)
    parts = [
        dorsal * (0.6 if deep else 1), plexus_loss(body, sign, "sensory", side), branch_loss(body, sign, "sensory", side),
        # Position is lost later than vibration as nerves fail from their ends (common practice).
        length_loss(body, sign.length, "small" if small else "large", side) * (0.65 if sign.modality == "position" else 1),
        body.damage("roots_sense", side) * min(1.0, 1.1 * sign.length + 0.05) * (0.7 if small else 1.0),
    ]  # fmt: skip
    return combined(*parts)


def _sense_region(sign: Sign) -> tuple[str, str]:
    """The brain's region for an area of skin, and the segment at which it enters."""
    if sign.segments:
        segment = max(sign.segments, key=lambda s: sign.segments[s])
    else:
        segment = LEG_SEGMENT if sign.limb == "leg" else ARM_SEGMENT
    region = "leg" if segment[0] in "LS" or segment in ("T11", "T12") else "arm"
    return region, segment


def sensation(body: Body, sign: Sign, side: int) -> Array:
    """Total loss of sensation in an area."""
    region, segment = _sense_region(sign)
    modality = sign.modality or "touch"
    above = brain_sense(body, region, modality, side)
    if sign.limb == "saddle" or segment[0] == "T":
        above = 0.7 * above  # the midline is often spared by hemisphere lesions (from memory)
    cord = cord_sense(body, segment, modality, side)
    if sign.id.startswith("territory_"):
        # A loss said to keep to a nerve's borders is seldom what cord or brain would give (judgement).
        above, cord = 0.35 * above, 0.35 * cord
    return combined(sensory_lower(body, sign, side), cord, above)


def reflex_lower(body: Body, sign: Sign, side: int) -> Array:
    """Loss of a stretch reflex's arc, on either limb of it."""
    spared = 1 - body.damage("reflex_spared", side)
    limb = limb_of(sign)
    sensory = combined(
        weighted(body, sign.segments, "dorsal", side), weighted(body, sign.segments, "entry", side)
    )
    nerve = np.maximum(
        branch_loss(body, sign, "motor", side), 0.9 * branch_loss(body, sign, "sensory", side)
    )
    plexus = np.maximum(
        plexus_loss(body, sign, "motor", side), 0.9 * plexus_loss(body, sign, "sensory", side)
    )
    muscle = body.damage("muscle_hips" if sign.limb == "leg" else "muscle_shoulders", side)
    if sign.id == "knee":
        muscle = np.maximum(muscle, body.damage("muscle_quadriceps", side))
    return combined(
        weighted(body, sign.segments, "grey", side) * spared, weighted(body, sign.segments, "ventral", side),
        0.9 * sensory, 0.6 * weighted(body, sign.segments, "reflex_root", side), plexus, nerve,
        length_loss(body, sign.length, "large", side), body.damage(f"roots_reflex_{limb}", side),
        0.3 * muscle**2, 0.75 * body.damage("junction_lambert", side) * (1.0 if sign.limb == "leg" else 0.7),
    )  # fmt: skip
