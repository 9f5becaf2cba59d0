"""Losses along single pathways: motor and sensory, their own arc and the control from above.

Each gives the loss under every row, 0 to 1. `losses` puts them together for each sign.
"""

from typing import Any

import numpy as np

from wardexam.anatomy.catalogue import SEGMENTS, Sign
from wardexam.anatomy.structures import ancestry
from wardexam.reasoning.model.damage import Body
from wardexam.reasoning.model.severities import Array, between
from wardexam.reasoning.tables import losses_row


def own(sign: Sign) -> dict[str, Any]:
    """What is a sign's own, beside what all of its kind have."""
    row: dict[str, Any] = losses_row("own").get(sign.id, {})
    return row


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
    if not sign.branches.keys().isdisjoint(losses_row("segments")["before_plexus"]):
        return np.zeros(body.rows, np.float32)
    trunk = weighted(body, sign.segments, f"trunk_{kind}", side)
    return combined(trunk, weighted(body, sign.cords, f"plexus_cord_{kind}", side))


def length_loss(body: Body, length: float, kind: str, side: int) -> Array:
    """The loss from a length-dependent process at a place so far out (0 trunk, 1 toes)."""
    far = length - (1 - body.damage("length_reach", side))
    reach = np.clip(far / losses_row("length")["over"], 0, 1)
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
    n = losses_row("movement")
    if sign.position == "proximal":
        roots = roots * between(n["proximal_roots"], body.damage("roots_proximal", side))
    elif sign.position == "distal":
        roots = roots * (1 - n["distal_spared"] * body.damage("roots_not_distal", side))
    roots = roots * own(sign).get("many_roots", 1.0)
    parts = [
        weighted(body, sign.segments, "grey", side),
        weighted(body, sign.segments, "ventral", side) ** own(sign).get("roots_power", 1.0),
        plexus_loss(body, sign, "motor", side),
        own(sign).get("nerve_share", 1.0) * branch_loss(body, sign, "motor", side),
        length_loss(body, sign.length, "motor", side), roots,
    ]  # fmt: skip
    if sign.mrc:
        parts += _muscle(body, sign, side)
    if sign.position == "cranial":
        junction = n["facial_junction"] * body.damage("junction_bulbar", side)
        parts += [body.damage("pons_seventh", side), junction]
    return combined(*parts)


def _muscle(body: Body, sign: Sign, side: int) -> list[Array]:
    junction = {
        "proximal": "junction_proximal",
        "middle": "junction_distal",
        "distal": "junction_distal",
    }
    parts = [body.damage(junction.get(sign.position, "nothing"), side)]
    n, special = losses_row("movement"), own(sign)
    for muscle, share in {**special.get("muscle", {}), **special.get("muscle_also", {})}.items():
        parts.append(share * body.damage(muscle, side))
    if "muscle" in special:
        return parts
    if sign.limb == "head" and sign.position == "proximal":
        roots = n["neck_roots"] * body.damage("roots_arm", side)
        parts += [body.damage("muscle_neck", side), roots]
    elif sign.position == "proximal":
        parts.append(body.damage("muscle_hips" if sign.limb == "leg" else "muscle_shoulders", side))
    elif sign.position in ("middle", "distal"):
        share = 1.0 if sign.position == "distal" else n["middle_muscle"]
        parts.append(body.damage("muscle_distal", side) * share)
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
        n = losses_row("segments")
        below = body.below(n["leg_control"] if limb == "leg" else n["arm_control"])
    above: Array
    if limb == "trunk":
        above = 0.5 * (brain_tract(body, "arm", side) + brain_tract(body, "leg", side))
    else:
        above = brain_tract(body, "leg" if limb in ("leg", "saddle") else "arm", side)
    return combined(tract * below, above)


def brain_sense(body: Body, region: str, modality: str, side: int) -> Array:
    """Loss of a region's sensory path above the cord."""
    other, n = 1 - side, losses_row("brain_sense")
    parts = [
        body.damage(f"sensory_{region}", other),
        body.damage("thalamus", other),
        body.damage("midbrain_lemniscus", other),
    ]
    if region == "face":
        parts.append(n["face_pons"] * body.damage("pons_lemniscus", other))
        return combined(*parts)
    parts.append(body.damage("pons_lemniscus", other))
    spino, medial = (
        body.damage("medulla_spinothalamic", other),
        body.damage("medulla_medial_lemniscus", other),
    )
    touch = n["touch_spinothalamic"] * spino + n["touch_lemniscus"] * medial
    parts.append({"pin": spino, "touch": touch}.get(modality, medial))
    return combined(*parts)


def cord_sense(body: Body, segment: str, modality: str, side: int) -> Array:
    """Loss in the cord of what enters at a segment: columns on its side, pain fibres across."""
    limb = "arm" if segment[0] == "C" else "leg"
    column = body.tracts[f"column_{limb}", side] * body.below(segment, body.lowered)
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
        n = losses_row("cord_sense")
        shared = n["touch_column"] * column + n["touch_crossed"] * crossed
        return combined(
            np.maximum(shared, n["touch_both"] * column * crossed),
            n["touch_crossing"] * crossing,
            n["touch_entry"] * entry,
        )
    return column


def sensory_lower(body: Body, sign: Sign, side: int) -> Array:
    """Loss of an area's own path: root, plexus, nerve, or fibres by length."""
    small = sign.modality == "pin"
    n, deep_of = losses_row("root_sense"), losses_row("segments")
    segments = sign.segments or deep_of["leg_deep" if sign.limb == "leg" else "arm_deep"]
    deep = sign.modality in ("vibration", "position")
    dorsal = np.zeros(body.rows, np.float32)
    for segment, share in segments.items():
        at = SEGMENTS.index(segment)
        beside = [SEGMENTS[n] for n in (at - 1, at + 1) if 0 <= n < len(SEGMENTS)]
        root = body.damage(f"dorsal.{segment}", side)
        spill = sum((body.damage(f"dorsal.{b}", side) for b in beside), np.zeros_like(root))
        lost = n["pain" if small else "other"] * root + n["beside"] * spill
        dorsal += share * np.clip(lost, 0, 1)
    by_length = length_loss(body, sign.length, "small" if small else "large", side)
    many = min(1.0, n["many_by_length"] * sign.length + n["many_least"])
    return combined(
        dorsal * (n["deep"] if deep else n["territory"] if sign.territory else 1),
        plexus_loss(body, sign, "sensory", side),
        branch_loss(body, sign, "sensory", side),
        by_length * (n["position_length"] if sign.modality == "position" else 1),
        body.damage("roots_sense", side) * many * (n["many_pain"] if small else 1.0),
    )


def entry_of(limb: str) -> str:
    """The segment at which deep sensation of a limb enters."""
    segment: str = losses_row("segments")["leg_sense" if limb == "leg" else "arm_sense"]
    return segment


def _sense_region(sign: Sign) -> tuple[str, str]:
    """The brain's region for an area of skin, and the segment at which it enters."""
    if sign.segments:
        segment = max(sign.segments, key=lambda s: sign.segments[s])
    else:
        segment = entry_of(sign.limb)
    leg = SEGMENTS.index(segment) >= SEGMENTS.index(losses_row("segments")["leg_area_from"])
    region = "leg" if leg else "arm"
    return region, segment


def sensation(body: Body, sign: Sign, side: int, *, brain: bool = True) -> Array:
    """Total loss of sensation in an area, with what the brain has of it or without."""
    region, segment = _sense_region(sign)
    modality, n = sign.modality or "touch", losses_row("skin")
    above = brain_sense(body, region, modality, side) if brain else body.damage("nothing", side)
    if sign.limb == "saddle" or segment[0] == "T":
        above = n["midline"] * above
    cord = cord_sense(body, segment, modality, side)
    if sign.territory:
        above, cord = n["territory"] * above, n["territory"] * cord
    return combined(sensory_lower(body, sign, side), cord, above)


def reflex_lower(body: Body, sign: Sign, side: int) -> Array:
    """Loss of a stretch reflex's arc, on either limb of it."""
    n = losses_row("reflex")
    spared = 1 - body.damage("reflex_spared", side)
    limb = limb_of(sign)
    sensory = combined(
        weighted(body, sign.segments, "dorsal", side), weighted(body, sign.segments, "entry", side)
    )
    nerve = np.maximum(
        branch_loss(body, sign, "motor", side),
        n["sensory_nerve"] * branch_loss(body, sign, "sensory", side),
    )
    plexus = np.maximum(
        plexus_loss(body, sign, "motor", side),
        n["sensory_plexus"] * plexus_loss(body, sign, "sensory", side),
    )
    girdle = "muscle_hips" if sign.limb == "leg" else "muscle_shoulders"
    muscle = body.damage(own(sign).get("muscle_of_arc", girdle), side)
    if "arc_muscle" in own(sign):
        muscle = np.maximum(muscle, body.damage(own(sign)["arc_muscle"], side))
    junction = n["junction"] * body.damage("junction_lambert", side)
    return combined(
        weighted(body, sign.segments, "grey", side) * spared,
        weighted(body, sign.segments, "ventral", side),
        n["sensory"] * sensory,
        n["root"] * weighted(body, sign.segments, "reflex_root", side),
        plexus,
        nerve,
        length_loss(body, sign.length, "large", side),
        body.damage(f"roots_reflex_{limb}", side),
        n["muscle"] * muscle**2,
        junction * (1.0 if sign.limb == "leg" else n["junction_arm"]),
    )
