"""Processes without one place: nerves by length, many roots, motor neurones, junction, muscle; and none."""

import numpy as np

from wardexam.anatomy.lesion_tables import (
    Junction,
    MotorNeuroneKind,
    MotorNeuroneOnset,
    Muscle,
    Polyneuropathy,
    Polyradiculoneuropathy,
    junctions,
    motor_neurone_kinds,
    motor_neurone_onsets,
    muscles,
    polyneuropathies,
    polyradiculoneuropathies,
)
from wardexam.reasoning.model.damage import Body
from wardexam.reasoning.model.forms import LEFT, RIGHT, Fill, Plan
from wardexam.reasoning.model.severities import Array, Severities

SEGMENTS_OF = {"arm": ("C5", "C6", "C7", "C8", "T1"), "leg": ("L2", "L3", "L4", "L5", "S1")}


def _both(body: Body, where: slice, structure: str, damage: Array | float) -> None:
    for side in (RIGHT, LEFT):
        body.take(where, structure, side, damage)


def _polyneuropathy_fill(row: Polyneuropathy) -> Fill:
    def fill(body: Body, where: slice, u: Severities) -> None:
        for side in (RIGHT, LEFT):
            factor = 1 - 0.25 * (1 - u.side(side))
            body.take(where, "length_reach", side, (0.25 + 0.75 * u.severity) * factor)
            for kind, amount, draw in (
                ("motor", row.motor, 0.5 + 0.5 * u.motor),
                ("large", row.large, 0.6 + 0.4 * u.sensory),
                ("small", row.small, 0.6 + 0.4 * u.first),
            ):
                body.take(where, f"length_{kind}", side, np.minimum(1, amount * draw))

    return fill


def polyneuropathy(plan: Plan) -> None:
    """Loss by length of fibre."""
    for row in polyneuropathies().values():
        plan.add(
            "polyneuropathy",
            "both",
            "length-dependent polyneuropathy",
            row.weight,
            _polyneuropathy_fill(row),
            group="polyneuropathy",
        )


def _polyradiculoneuropathy_fill(row: Polyradiculoneuropathy) -> Fill:
    # Where arms or eyes are taken the reflexes of the arms go too.
    arm_reflex = row.reflex * (1.0 if row.arm > 0.3 or row.fisher else 0.6)

    def fill(body: Body, where: slice, u: Severities) -> None:
        for side in (RIGHT, LEFT):
            loss = u.severity * (1 - 0.25 * (1 - u.side(side)))
            body.take(where, "roots_leg", side, row.leg * loss * (0.5 + 0.5 * u.motor))
            body.take(where, "roots_arm", side, row.arm * loss * (0.4 + 0.6 * u.first))
            body.take(where, "roots_sense", side, row.sense * u.sensory)
            body.take(where, "roots_reflex_leg", side, row.reflex * (0.65 + 0.35 * u.second))
            body.take(where, "roots_reflex_arm", side, arm_reflex * (0.35 + 0.65 * u.second))
            body.take(where, "branch_motor.facial", side, row.face * (u.third > 0.4) * loss)
            body.take(where, "roots_bulbar", side, 0.6 * row.face * u.first)
            body.take(where, "roots_all", side, loss)
            body.take(where, "fisher", side, row.fisher * (0.5 + 0.5 * u.severity))
            # From mostly distal to mostly proximal.
            body.take(where, "roots_proximal", side, np.minimum(1, u.third / 0.6))
            body.take(where, "roots_not_distal", side, np.maximum(0, (u.third - 0.6) / 0.4))

    return fill


def polyradiculoneuropathy(plan: Plan) -> None:
    """Roots and nerves of many limbs at once."""
    for row in polyradiculoneuropathies().values():
        plan.add(
            "polyradiculoneuropathy",
            "both",
            "polyradiculoneuropathy",
            row.weight,
            _polyradiculoneuropathy_fill(row),
            group="polyradiculoneuropathy",
            onset=row.onset,
        )


def _spread(onset: MotorNeuroneOnset, side: int) -> dict[tuple[str, int], float]:
    """Share reached in each limb, by limb and side."""
    own = onset.limb or "arm"
    other = "leg" if own == "arm" else "arm"
    return {
        (own, side): onset.own,
        (own, 1 - side): onset.fellow,
        (other, side): onset.other,
        (other, 1 - side): onset.other_fellow,
    }


def _motor_neurone_fill(kind: MotorNeuroneKind, onset: MotorNeuroneOnset, side: int) -> Fill:
    def fill(body: Body, where: slice, u: Severities) -> None:
        for (limb, at), share in _spread(onset, side).items():
            loss = share * u.severity
            for number, segment in enumerate(SEGMENTS_OF[limb]):
                grey = kind.lower * loss * u.motor * u.jitter(number)
                body.take(where, f"grey.{segment}", at, grey)
            denervation = np.minimum(1, kind.lower * (0.4 + 0.6 * loss))
            body.take(where, f"denervation_{limb}", at, denervation)
            # Upper neurones go in the whole limb at once; the tract is opposite its limb above the cord.
            upper = kind.upper * (0.35 + 0.65 * loss) * (0.3 + 0.7 * u.second)
            body.take(where, f"neurone_upper_{limb}", at, upper)
        bulbar = onset.bulbar * u.severity
        _both(body, where, "bulbar", bulbar * (0.4 + 0.6 * u.first))
        for structure in ("jaw_upper", "neurone_upper_face"):
            _both(body, where, structure, kind.upper * bulbar)
        _both(body, where, "denervation_trunk", 0.5 * kind.lower * u.severity)
        _both(body, where, "reflex_spared", 0.75 if kind.upper > 0.5 else 0.2)

    return fill


def motor_neurone(plan: Plan) -> None:
    """Upper and lower neurones by where the disease began, on either side where it has one."""
    for kind in motor_neurone_kinds().values():
        for onset in motor_neurone_onsets().values():
            for side in (RIGHT, LEFT) if onset.limb else (RIGHT,):
                plan.add(
                    "motor_neurone",
                    "both",
                    f"motor neurone disease, {kind.name}",
                    kind.weight * onset.weight,
                    _motor_neurone_fill(kind, onset, side),
                    group="motor_neurone",
                )


def _junction_fill(row: Junction) -> Fill:
    def fill(body: Body, where: slice, u: Severities) -> None:
        for side in (RIGHT, LEFT):
            ocular = row.ocular * (0.75 + 0.25 * u.severity) * (1 - 0.6 * (1 - u.side(side)))
            body.take(where, "junction_ocular", side, ocular)
            body.take(where, "junction_bulbar", side, row.bulbar * (0.4 + 0.6 * u.first))
            proximal = row.proximal * u.severity * (0.35 + 0.45 * u.motor)
            body.take(where, "junction_proximal", side, proximal)
            distal = row.limb * u.severity * (0.3 + 0.4 * u.second)
            body.take(where, "junction_distal", side, distal)
            body.take(where, "junction", side, (1 - row.lambert) * (0.4 + 0.6 * u.third))
            body.take(where, "junction_lambert", side, row.lambert * (0.5 + 0.5 * u.third))

    return fill


def junction(plan: Plan) -> None:
    """The neuromuscular junction."""
    for row in junctions().values():
        plan.add(
            "junction",
            "both",
            "neuromuscular junction" + (", presynaptic" if row.lambert else ""),
            row.weight,
            _junction_fill(row),
            group="junction",
            onset=row.onset,
        )


def _muscle_fill(row: Muscle) -> Fill:
    def fill(body: Body, where: slice, u: Severities) -> None:
        for side in (RIGHT, LEFT):
            loss = u.severity * (1 - 0.2 * (1 - u.side(side)))
            for part, share, draw in (
                ("hips", row.hips, u.motor),
                ("shoulders", row.shoulders, u.first),
                ("distal", row.distal, u.second),
                ("quadriceps", row.quadriceps, u.third),
                ("fingers", row.fingers, u.third),
                ("neck", row.neck, u.first),
            ):
                # Muscles of one person fail together, more or less.
                together = 0.6 * u.motor + 0.4 * draw
                body.take(where, f"muscle_{part}", side, share * loss * (0.5 + 0.4 * together))
            body.take(where, "muscle_bulbar", side, 0.4 * u.offset)
            body.take(where, "muscle_ocular", side, row.ocular * loss)
            body.take(where, "branch_motor.facial", side, row.face * loss)

    return fill


def muscle(plan: Plan) -> None:
    """Kinds of myopathy."""
    for row in muscles().values():
        plan.add(
            "muscle", "both", f"muscle, {row.name}", row.weight, _muscle_fill(row), group="muscle"
        )


def none(plan: Plan) -> None:
    """No lesion: what people without one show."""

    def fill(body: Body, where: slice, u: Severities) -> None:
        return None

    plan.add("none", "none", "no lesion shown by these signs", 1.0, fill, group="none")
