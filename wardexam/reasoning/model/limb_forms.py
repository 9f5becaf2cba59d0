"""Lesions of roots, plexuses and nerves, one side at a time."""

from itertools import pairwise

import numpy as np

from wardexam.anatomy.catalogue import catalogue
from wardexam.anatomy.lesion_tables import roots
from wardexam.anatomy.structures import PlexusPart, ancestry, branches, plexus_parts
from wardexam.reasoning.model.damage import Body
from wardexam.reasoning.model.forms import LEFT, RIGHT, SIDE_NAMES, Fill, Plan, index
from wardexam.reasoning.model.severities import Severities, between
from wardexam.reasoning.tables import damage_row


def _root_fill(names: tuple[str, ...], side: int) -> Fill:
    n = damage_row("root")

    def fill(body: Body, where: slice, u: Severities) -> None:
        for number, name in enumerate(names):
            row = roots()[name]
            loss = u.severity * (1 if len(names) == 1 else u.jitter(number))
            body.take(
                where, f"ventral.{name}", side, loss * u.motor * between(n["ventral"], u.first)
            )
            body.take(
                where, f"dorsal.{name}", side, loss * u.sensory * between(n["dorsal"], u.second)
            )
            body.take(where, f"reflex_root.{name}", side, loss * u.third)
            for stretch, share in row.stretch.items():
                body.take(where, f"stretch_{stretch}", side, share)
            if row.sympathetic:
                body.take(where, "root_sympathetic", side, row.sympathetic * loss)
            if row.limb:
                body.take(where, f"denervation_{row.limb}", side, n["denervation"])

    return fill


def root(plan: Plan) -> None:
    """Every root and every two neighbours of one limb."""
    for side in (RIGHT, LEFT):
        for name, row in roots().items():
            plan.add(
                "root",
                SIDE_NAMES[side],
                "root",
                row.weight,
                _root_fill((name,), side),
                level=index(name),
            )
        for (one, first), (other, second) in pairwise(roots().items()):
            if set(first.stretch) & set(second.stretch):  # of one limb
                plan.add(
                    "root",
                    SIDE_NAMES[side],
                    "roots",
                    damage_row("root")["two"] * (first.weight + second.weight) / 2,
                    _root_fill((one, other), side),
                    level=index(one if first.weight >= second.weight else other),
                )


def _plexus_fill(row: PlexusPart, side: int) -> Fill:
    n = damage_row("plexus")

    def fill(body: Body, where: slice, u: Severities) -> None:
        for kind, shares in (
            ("trunk", row.segments),
            ("plexus_cord", row.cords),
            ("branch", row.branches),
        ):
            for number, (name, share) in enumerate(shares.items()):
                loss = share * u.severity * u.jitter(number)
                body.take(where, f"{kind}_motor.{name}", side, loss * u.motor)
                body.take(where, f"{kind}_sensory.{name}", side, loss * u.sensory)
        if n["sympathetic_segment"] in row.segments:
            body.take(where, "root_sympathetic", side, n["sympathetic"] * u.first)
        for stretch, share in n["stretch"].get(row.group, {}).items():
            body.take(where, f"stretch_{stretch}", side, share * u.second)

    return fill


def plexus(plan: Plan) -> None:
    """Every part of the brachial and lumbosacral plexus."""
    for row in plexus_parts().values():
        for side, name in enumerate(SIDE_NAMES):
            fill = _plexus_fill(row, side)
            group = f"plexus.{row.group}.{name}"
            plan.add("plexus", name, row.name, row.weight, fill, group=group, row=row)


def _carries(branch: str) -> tuple[bool, bool]:
    """Whether a branch, with its offspring, carries any movement and any skin of the catalogue."""
    motor = sensory = False
    for sign in catalogue().values():
        if any(branch in ancestry(b) for b in sign.branches):
            motor |= sign.mrc
            sensory |= sign.answers == "sensation"
    return motor, sensory


def nerve_kinds(branch: str) -> tuple[tuple[float, float, float], ...]:
    """How a lesion of a branch shares out: motor part, sensory part, how often."""
    motor, sensory = _carries(branch)
    kind = "only_skin" if not motor else "mixed" if sensory else "only_movement"
    return tuple(tuple(row) for row in damage_row("nerve")[kind])


def _nerve_fill(branch: str, side: int, motor: float, sensory: float) -> Fill:
    n = damage_row("nerve")
    also = damage_row("nerve_also").get(branch, ())

    def fill(body: Body, where: slice, u: Severities) -> None:
        lost = u.severity * between(n["motor"], u.motor)
        body.take(where, f"branch_motor.{branch}", side, motor * lost)
        numb = u.severity * between(n["sensory"], u.sensory)
        body.take(where, f"branch_sensory.{branch}", side, sensory * numb)
        body.take(where, branch, side, u.severity)
        for row in also:
            taken = row["share"] * getattr(u, row["by"])
            if "above" in row:
                taken = np.where(getattr(u, row["where"]) > row["above"], taken, 0)
            body.take(where, row["takes"], side, taken)

    return fill


def nerve(plan: Plan) -> None:
    """Every branch of the table of nerves, as a mixed, motor or sensory lesion."""
    for branch, row in branches().items():
        for side, name in enumerate(SIDE_NAMES):
            for motor, sensory, share in nerve_kinds(branch):
                fill = _nerve_fill(branch, side, motor, sensory)
                group = f"nerve.{row.nerve}.{name}"
                plan.add("nerve", name, row.name, row.weight * share, fill, group=group, row=row)
