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
from wardexam.reasoning.model.severities import DECIMALS, Array, Severities, between
from wardexam.reasoning.tables import damage_row


def _both(body: Body, where: slice, structure: str, damage: Array | float) -> None:
    for side in (RIGHT, LEFT):
        body.take(where, structure, side, damage)


def _polyneuropathy_fill(row: Polyneuropathy) -> Fill:
    n = damage_row("polyneuropathy")

    def fill(body: Body, where: slice, u: Severities) -> None:
        for side in (RIGHT, LEFT):
            factor = 1 - n["uneven"] * (1 - u.side(side))
            body.take(where, "length_reach", side, between(n["reach"], u.severity) * factor)
            for kind, amount, draw in (
                ("motor", row.motor, u.motor),
                ("large", row.large, u.sensory),
                ("small", row.small, u.first),
            ):
                lost = np.minimum(1, amount * between(n[kind], draw))
                body.take(where, f"length_{kind}", side, lost)
            for limb in ("leg", "arm"):
                body.take(where, f"roots_reflex_{limb}", side, row.reflex)

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
            row=row,
        )


def _polyradiculoneuropathy_fill(row: Polyradiculoneuropathy) -> Fill:
    n = damage_row("polyradiculoneuropathy")
    arms_too = row.arm > n["arms_taken"] or row.fisher or row.ataxia
    leg_reflex = row.reflex if row.reflex_leg is None else row.reflex_leg
    arm_reflex = row.reflex * (1.0 if arms_too else n["arm_reflex"])

    def fill(body: Body, where: slice, u: Severities) -> None:
        for side in (RIGHT, LEFT):
            loss = u.severity * (1 - n["uneven"] * (1 - u.side(side)))
            for limb, share, draw in (("leg", row.leg, u.motor), ("arm", row.arm, u.first)):
                lost = np.minimum(1, share * loss * between(n[limb], draw))
                body.take(where, f"roots_{limb}", side, lost)
            body.take(where, "roots_sense", side, row.sense * u.sensory)
            legs = leg_reflex * between(n["reflex_leg"], u.second)
            body.take(where, "roots_reflex_leg", side, legs)
            arms = arm_reflex * between(n["reflex_arm"], u.second)
            body.take(where, "roots_reflex_arm", side, arms)
            face = row.face * (u.third > n["face_from"]) * loss
            body.take(where, "branch_motor.facial", side, face)
            body.take(where, "roots_bulbar", side, row.bulbar * between(n["bulbar"], u.first))
            body.take(where, "roots_all", side, loss)
            body.take(where, "excitable", side, row.brisk)
            body.take(where, "fisher", side, row.fisher * between(n["fisher"], u.severity))
            body.take(where, "roots_ataxia", side, row.ataxia * between(n["ataxia"], u.severity))
            # From mostly distal to mostly proximal.
            both = n["proximal_to"]
            body.take(where, "roots_proximal", side, np.minimum(1, u.third / both))
            beyond = np.maximum(0, (u.third - both) / round(1 - both, DECIMALS))
            body.take(where, "roots_not_distal", side, beyond)

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
            row=row,
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
    n, limbs = damage_row("motor_neurone"), damage_row("limbs")
    spared = n["reflex_spared" if kind.upper > n["mostly_upper"] else "reflex_spared_else"]

    def fill(body: Body, where: slice, u: Severities) -> None:
        for (limb, at), share in _spread(onset, side).items():
            loss = share * u.severity
            for number, segment in enumerate(limbs[limb]):
                reached = 1.0 if segment in n["ends"][limb] else 1 - onset.ends
                grey = kind.lower * loss * reached * u.motor * u.jitter(number)
                body.take(where, f"grey.{segment}", at, grey)
            denervation = np.minimum(1, kind.lower * between(n["denervation"], loss))
            body.take(where, f"denervation_{limb}", at, denervation)
            shown = between(n["upper_shown"], u.second)
            body.take(
                where, f"neurone_upper_{limb}", at, kind.upper * between(n["upper"], loss) * shown
            )
            if limb == "leg":
                body.take(where, "neurone_upper_leg", at, onset.legs_upper * shown)
        bulbar = onset.bulbar * u.severity
        _both(body, where, "bulbar", bulbar * between(n["bulbar"], u.first))
        for structure in ("jaw_upper", "neurone_upper_face"):
            _both(body, where, structure, kind.upper * bulbar)
        _both(body, where, "denervation_trunk", n["trunk"] * kind.lower * u.severity)
        _both(body, where, "reflex_spared", spared)

    return fill


def motor_neurone(plan: Plan) -> None:
    """Upper and lower neurones by where the disease began, on either side where it has one."""
    both = motor_neurone_kinds()["upper_and_lower"].name
    for kind in motor_neurone_kinds().values():
        for onset in motor_neurone_onsets().values():
            for side in (RIGHT, LEFT) if onset.limb else (RIGHT,):
                plan.add(
                    "motor_neurone",
                    "both",
                    f"motor neurone disease, {both if onset.legs_upper else kind.name}",
                    kind.weight * onset.weight,
                    _motor_neurone_fill(kind, onset, side),
                    group="motor_neurone",
                    row=kind,
                )


def _junction_fill(row: Junction) -> Fill:
    n = damage_row("junction")

    def fill(body: Body, where: slice, u: Severities) -> None:
        for side in (RIGHT, LEFT):
            even = 1 - n["ocular_uneven"] * (1 - u.side(side))
            ocular = row.ocular * between(n["ocular"], u.severity) * even
            body.take(where, "junction_ocular", side, ocular)
            body.take(where, "junction_bulbar", side, row.bulbar * between(n["bulbar"], u.first))
            proximal = row.proximal * u.severity * between(n["proximal"], u.motor)
            body.take(where, "junction_proximal", side, proximal)
            distal = row.limb * u.severity * between(n["distal"], u.second)
            body.take(where, "junction_distal", side, distal)
            tires = (1 - row.lambert) * between(n["shown"], u.third)
            body.take(where, "junction", side, tires)
            lambert = row.lambert * between(n["lambert"], u.third)
            body.take(where, "junction_lambert", side, lambert)

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
            row=row,
        )


def _muscle_fill(row: Muscle) -> Fill:
    n = damage_row("muscle")
    alike, apart = n["together"], round(1 - n["together"], DECIMALS)

    def fill(body: Body, where: slice, u: Severities) -> None:
        for side in (RIGHT, LEFT):
            loss = u.severity * (1 - n["uneven"] * (1 - u.side(side)))
            for part, factor in n["factors"].items():
                together = alike * u.motor + apart * getattr(u, factor)
                weak = getattr(row, part) * loss * between(n["weak"], together)
                body.take(where, f"muscle_{part}", side, weak)
            body.take(where, "muscle_bulbar", side, row.bulbar * u.offset)
            body.take(where, "muscle_ocular", side, row.ocular * loss)
            body.take(where, "branch_motor.facial", side, row.face * loss)
            body.take(where, "muscle_myotonia", side, row.myotonia * loss)

    return fill


def muscle(plan: Plan) -> None:
    """Kinds of myopathy."""
    for row in muscles().values():
        plan.add(
            "muscle",
            "both",
            f"muscle, {row.name}",
            row.weight,
            _muscle_fill(row),
            group="muscle",
            row=row,
        )


def none(plan: Plan) -> None:
    """No lesion: what people without one show."""

    def fill(body: Body, where: slice, u: Severities) -> None:
        return None

    plan.add("none", "none", "normal as far as examined", 1.0, fill, group="none")
