"""Lesions generated from the tables: every root, branch, plexus part, cord segment and pattern.

A site has many forms; its prior mass is fixed and shared among them, so that more rows never mean
more prior. Weights within a site are judgement.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np

from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.anatomy.structures import ancestry, brain_lesions, branches, plexus_parts
from wardexam.reasoning.body import Body
from wardexam.reasoning.draws import Array, Draws, draws

RIGHT, LEFT = 0, 1
SIDE_NAMES = ("right", "left")
PAIRS = 16  # mirrored pairs of severities for each form and stage
STAGES = ("shock", "early", "established")

Fill = Callable[[Body, slice, Draws], None]


@dataclass(frozen=True, slots=True)
class Form:
    """One form of a lesion.

    Attributes:
        site: The site's id in ``sites.toml``.
        group: What is ranked as one place: site, and side, nerve or plexus where these matter.
        side: ``right``, ``left``, ``both`` or ``none``: the side of the lesion.
        level: Number of its segment, or None.
        name: In words, without side and level.
        weight: How often within the site.
        upper: Whether it has upper motor signs, and so stages.
        rows: Its rows in the body.
    """

    site: str
    group: str
    side: str
    level: int | None
    name: str
    weight: float
    upper: bool
    rows: slice


@dataclass(slots=True)
class Plan:
    """Forms in the making, with what each does to the body."""

    forms: list[Form] = field(default_factory=list)
    fills: list[Fill] = field(default_factory=list)
    rows: int = 0

    def add(
        self,
        site: str,
        side: str,
        name: str,
        weight: float,
        fill: Fill,
        *,
        level: int | None = None,
        upper: bool = False,
        group: str = "",
    ) -> None:
        """Add a form; `group` defaults to the site and side."""
        if weight <= 0:
            return
        count = 2 * PAIRS * (len(STAGES) if upper else 1)
        where = slice(self.rows, self.rows + count)
        self.forms.append(
            Form(site, group or f"{site}.{side}", side, level, name, weight, upper, where)
        )
        self.fills.append(fill)
        self.rows += count

    def body(self) -> Body:
        """The damage of every form at every severity."""
        body = Body(self.rows)
        plain, staged = draws(PAIRS), draws(PAIRS, len(STAGES))
        for form, fill in zip(self.forms, self.fills, strict=True):
            fill(body, form.rows, staged if form.upper else plain)
        return body


def _index(segment: str) -> int:
    return SEGMENTS.index(segment)


# --- brain ---------------------------------------------------------------------------------


def _brain(plan: Plan) -> None:
    for row in brain_lesions().values():
        # A lesion without a side of its own comes both ways round, so that the mirror holds.
        for own in (RIGHT, LEFT):

            def fill(body: Body, where: slice, u: Draws, row: Any = row, own: Any = own) -> None:
                for taken, at in ((row.takes, own), (row.other, 1 - own)):
                    for number, (structure, share) in enumerate(taken.items()):
                        factor = 1.0 if row.paired else u.side(at)
                        body.take(
                            where, structure, at, share * u.severity * u.jitter(number) * factor
                        )

            side = SIDE_NAMES[own] if row.paired else "both"
            weight = row.weight * (1.0 if row.paired else 0.5)
            plan.add(row.site, side, row.name, weight, fill, upper=row.site != "cerebellum")


# --- cord, conus, cauda ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CordPattern:
    """How one kind of cord lesion shares its damage: grey matter, tracts, each 0 to 1.

    `half` is the side taken by a half-cord lesion, `near` the worse side of a lesion from one side.
    """

    name: str
    weight: float
    grey: float
    pyramid_arm: float
    pyramid_leg: float
    column: float
    spinothalamic: float
    crossing: float
    autonomic: float
    sided: bool = False
    spare: float = 0.0
    root: float = 0.0
    neuropathy: float = 0.0
    gap: float = 1.0


# Kinds of cord lesion. Common practice for the patterns; weights are judgement.
CORD_PATTERNS = (
    CordPattern("complete", 1.2, 0.9, 1, 1, 1, 1, 0.6, 0.95, gap=0.2),
    CordPattern("incomplete", 1.6, 0.7, 0.75, 0.8, 0.6, 0.6, 0.3, 0.55, root=0.3),
    CordPattern("half", 0.8, 0.8, 1, 1, 0.95, 1, 0.2, 0.25, sided=True, spare=0.95),
    CordPattern(
        "from one side", 1.0, 0.8, 0.9, 0.9, 0.7, 0.7, 0.2, 0.4, sided=True, spare=0.6, root=0.6
    ),
    CordPattern("central", 0.7, 0.8, 0.85, 0.35, 0.1, 0.15, 0.95, 0.3),
    CordPattern("anterior", 0.5, 0.85, 0.9, 0.95, 0.02, 0.95, 0.6, 0.85, gap=0.3),
    CordPattern("posterior", 0.3, 0.05, 0.1, 0.15, 0.95, 0.05, 0.0, 0.15),
    CordPattern("posterior and lateral", 0.7, 0.1, 0.6, 0.75, 0.95, 0.15, 0.0, 0.25),
    # With loss of large fibres in the legs: brisk knees, absent ankles (subacute combined degeneration).
    CordPattern(
        "posterior and lateral, with neuropathy",
        0.3,
        0.05,
        0.6,
        0.8,
        0.95,
        0.1,
        0.0,
        0.2,
        neuropathy=1.0,
    ),
    CordPattern("compressive, motor", 1.3, 0.55, 0.75, 0.85, 0.4, 0.2, 0.15, 0.25, root=0.5),
)
# How often each region of the cord is the one (judgement): neck, upper and lower thoracic, lumbar.
_LEVEL_WEIGHT = {"C": 1.5, "T": 0.75, "L": 0.6}


def _cord_fill(pattern: CordPattern, segment: int, side: int | None) -> Fill:
    def fill(body: Body, where: slice, u: Draws) -> None:
        body.level[where] = segment
        # Pain fibres cross over one or two segments; compression from outside lowers the level further.
        body.offset[where] = np.round(u.offset**2 * (4 if pattern.root or pattern.sided else 2))
        for s in (RIGHT, LEFT):
            if side is None:
                factor = 1 - pattern.gap * (1 - u.side(s))
            else:
                factor = np.ones_like(u.severity) if s == side else (1 - pattern.spare) * u.first
            loss = u.severity * factor
            grey = pattern.grey * (0.3 + 0.7 * u.first) * loss
            for step, share in ((0, 1.0), (-1, 0.35), (1, 0.5)):
                at = segment + step
                if not 0 <= at < len(SEGMENTS):
                    continue
                body.take(where, f"grey.{SEGMENTS[at]}", s, grey * share)
                if step >= 0 or pattern.crossing > 0.8:
                    crossing = pattern.crossing * loss * (1 - 0.3 * abs(step))
                    body.take(where, f"crossing.{SEGMENTS[at]}", s, crossing)
                    body.take(where, f"entry.{SEGMENTS[at]}", s, 0.7 * grey * share)
            if pattern.neuropathy:
                body.take(where, "length_reach", s, 0.45 + 0.4 * u.third)
                body.take(where, "length_large", s, pattern.neuropathy * (0.5 + 0.5 * u.first))
            if pattern.crossing > 0.8:  # a central lesion runs over several segments
                for step in (-2, 2, 3):
                    if 0 <= segment + step < len(SEGMENTS):
                        body.take(where, f"crossing.{SEGMENTS[segment + step]}", s, loss * u.second)
                        body.take(
                            where, f"grey.{SEGMENTS[segment + step]}", s, 0.5 * grey * u.third
                        )
            body.cut(where, "pyramid_arm", s, pattern.pyramid_arm * loss * (0.55 + 0.45 * u.motor))
            body.cut(where, "pyramid_leg", s, pattern.pyramid_leg * loss * (0.55 + 0.45 * u.motor))
            body.cut(
                where, "column_arm", s, pattern.column * loss * u.sensory * (0.5 + 0.5 * u.second)
            )
            body.cut(where, "column_leg", s, pattern.column * loss * u.sensory)
            body.cut(
                where, "spinothalamic", s, pattern.spinothalamic * loss * (0.4 + 0.6 * u.third)
            )
            body.cut(where, "autonomic", s, pattern.autonomic * loss * u.second)
            if pattern.root:
                body.take(
                    where, f"ventral.{SEGMENTS[segment]}", s, 0.7 * pattern.root * loss * u.third
                )
                body.take(
                    where, f"dorsal.{SEGMENTS[segment]}", s, 0.7 * pattern.root * loss * u.third
                )
            if segment <= _index("T1"):
                body.take(where, "cervical_cord", s, 0.3 + 0.7 * pattern.column * loss)
                body.take(
                    where,
                    "cord_sympathetic",
                    s,
                    0.35 * loss * (pattern.grey if segment >= _index("C8") else 0.4),
                )

    return fill


def _cord(plan: Plan) -> None:
    for segment in range(_index("C1"), _index("L2") + 1):
        weight = _LEVEL_WEIGHT[SEGMENTS[segment][0]] * (0.3 if segment < _index("C3") else 1)
        for pattern in CORD_PATTERNS:
            if pattern.name == "central" and segment > _index("T4"):
                weight_here = weight * 0.3
            else:
                weight_here = weight
            for side in (RIGHT, LEFT) if pattern.sided else (None,):
                share = pattern.weight * weight_here * (0.5 if pattern.sided else 1)
                plan.add(
                    "cord",
                    "both" if side is None else SIDE_NAMES[side],
                    f"cord, {pattern.name}",
                    share,
                    _cord_fill(pattern, segment, side),
                    level=segment,
                    upper=True,
                    group="cord",
                )


def _conus(plan: Plan) -> None:
    # Epiconus L4 to S2, conus S3 to S5 (published). Grey matter of the levels, and tracts to those below.
    for first, last, weight in (
        ("L3", "S1", 0.4),
        ("L4", "S2", 0.7),
        ("L5", "S5", 0.8),
        ("S1", "S5", 1.0),
        ("S2", "S5", 0.9),
        ("S3", "S5", 0.8),
    ):

        def fill(body: Body, where: slice, u: Draws, first: Any = first, last: Any = last) -> None:
            body.level[where] = _index(first)
            for s in (RIGHT, LEFT):
                loss = u.severity * (1 - 0.25 * (1 - u.side(s)))
                for number, at in enumerate(range(_index(first), _index(last) + 1)):
                    name = SEGMENTS[at]
                    body.take(where, f"grey.{name}", s, loss * u.motor * u.jitter(number))
                    body.take(where, f"crossing.{name}", s, loss * u.sensory)
                    body.take(
                        where, f"entry.{name}", s, 0.8 * loss * u.sensory * u.jitter(number + 3)
                    )
                body.cut(where, "pyramid_leg", s, loss * u.first)
                body.cut(where, "autonomic", s, loss)
                body.cut(where, "column_leg", s, 0.8 * loss * u.second)
                body.cut(where, "spinothalamic", s, loss * u.third)

        plan.add(
            "conus",
            "both",
            "conus medullaris",
            weight,
            fill,
            level=_index(first),
            upper=True,
            group="conus",
        )


def _cauda(plan: Plan) -> None:
    def roots_fill(start: int, stop: int, side: int | None) -> Fill:
        def fill(body: Body, where: slice, u: Draws) -> None:
            for s in (RIGHT, LEFT):
                factor = u.side(s) if side is None else (1.0 if s == side else 0.12 * u.third)
                for number, at in enumerate(range(start, stop + 1)):
                    loss = u.severity * factor * u.jitter(number)
                    body.take(where, f"ventral.{SEGMENTS[at]}", s, loss * u.motor)
                    body.take(where, f"dorsal.{SEGMENTS[at]}", s, loss * (0.3 + 0.7 * u.sensory))
                body.take(where, "stretch_low", s, 0.8 * u.first * factor)

        return fill

    for first, weight in (
        ("L2", 0.25),
        ("L3", 0.4),
        ("L4", 0.6),
        ("L5", 1.0),
        ("S1", 1.2),
        ("S2", 0.9),
    ):
        plan.add(
            "cauda",
            "both",
            "cauda equina",
            weight,
            roots_fill(_index(first), _index("S5"), None),
            level=_index(first),
            group="cauda",
        )
        for side in (RIGHT, LEFT):
            plan.add(
                "cauda",
                SIDE_NAMES[side],
                "cauda equina, one side",
                0.2 * weight,
                roots_fill(_index(first), _index("S4"), side),
                level=_index(first),
                group="cauda",
            )


# --- roots, plexuses, nerves --------------------------------------------------------------------

# How often each root is the one (judgement; C7, L5 and S1 lead in every series).
ROOT_WEIGHTS = {
    "C4": 0.03, "C5": 0.12, "C6": 0.3, "C7": 0.5, "C8": 0.15, "T1": 0.06,
    "L1": 0.02, "L2": 0.07, "L3": 0.14, "L4": 0.28, "L5": 0.6, "S1": 0.6, "S2": 0.03,
}  # fmt: skip


def _root_fill(roots: tuple[str, ...], side: int) -> Fill:
    def fill(body: Body, where: slice, u: Draws) -> None:
        for number, root in enumerate(roots):
            loss = u.severity * (1 if len(roots) == 1 else u.jitter(number))
            body.take(where, f"ventral.{root}", side, loss * u.motor * (0.5 + 0.5 * u.first))
            body.take(where, f"dorsal.{root}", side, loss * u.sensory * (0.3 + 0.7 * u.second))
            body.take(where, f"reflex_root.{root}", side, loss * u.third)
            # A stretched root hurts: sciatic stretch below L4, femoral stretch above, the neck for the arm.
            stretch = (
                "stretch_neck"
                if root[0] in "CT"
                else "stretch_mid"
                if root in ("L1", "L2", "L3", "L4")
                else "stretch_low"
            )
            body.take(where, stretch, side, 0.9)
            if root == "L4":
                body.take(where, "stretch_low", side, 0.4)
            if root == "T1":
                body.take(where, "root_sympathetic", side, 0.5 * loss)
            body.take(where, f"denervation_{'arm' if root[0] in 'CT' else 'leg'}", side, 0.12)

    return fill


def _roots(plan: Plan) -> None:
    names = list(ROOT_WEIGHTS)
    for side in (RIGHT, LEFT):
        for root, weight in ROOT_WEIGHTS.items():
            plan.add(
                "root",
                SIDE_NAMES[side],
                "root",
                weight,
                _root_fill((root,), side),
                level=_index(root),
            )
        for one, other in pairwise(names):
            if one[0] == other[0] or (one, other) in (("C8", "T1"), ("L5", "S1")):
                weight = 0.3 * (ROOT_WEIGHTS[one] + ROOT_WEIGHTS[other]) / 2
                main = one if ROOT_WEIGHTS[one] >= ROOT_WEIGHTS[other] else other
                plan.add(
                    "root",
                    SIDE_NAMES[side],
                    "roots",
                    weight,
                    _root_fill((one, other), side),
                    level=_index(main),
                )


def _plexus(plan: Plan) -> None:
    for row in plexus_parts().values():
        for side in (RIGHT, LEFT):

            def fill(body: Body, where: slice, u: Draws, row: Any = row, side: Any = side) -> None:
                for kind, shares in (
                    ("trunk", row.segments),
                    ("plexus_cord", row.cords),
                    ("branch", row.branches),
                ):
                    for number, (name, share) in enumerate(shares.items()):
                        loss = share * u.severity * u.jitter(number)
                        body.take(where, f"{kind}_motor.{name}", side, loss * u.motor)
                        body.take(where, f"{kind}_sensory.{name}", side, loss * u.sensory)
                if "T1" in row.segments:
                    body.take(where, "root_sympathetic", side, 0.5 * u.first)
                if row.group == "lumbosacral":
                    body.take(where, "stretch_mid", side, 0.4 * u.second)
                    body.take(where, "stretch_low", side, 0.3 * u.second)

            plan.add(
                "plexus",
                SIDE_NAMES[side],
                row.name,
                row.weight,
                fill,
                group=f"plexus.{row.group}.{SIDE_NAMES[side]}",
            )


def _carries(branch: str) -> tuple[bool, bool]:
    """Whether a branch, with its offspring, carries any movement and any skin of the catalogue."""
    motor = sensory = False
    for sign in catalogue().values():
        if any(branch in ancestry(b) for b in sign.branches):
            motor |= sign.answers == "mrc"
            sensory |= sign.answers == "sensation"
    return motor, sensory


def _nerve_kinds(branch: str) -> tuple[tuple[float, float, float], ...]:
    """How a lesion of a branch shares out: motor part, sensory part, how often."""
    match _carries(branch):
        case (False, _):
            return ((0.0, 1.0, 1.0),)
        case (True, False):
            return ((1.0, 0.0, 1.0),)
        case _:
            return ((1.0, 1.0, 0.6), (1.0, 0.25, 0.2), (0.25, 1.0, 0.2))


def _nerves(plan: Plan) -> None:
    for branch_id, row in branches().items():
        for side in (RIGHT, LEFT):
            for motor, sensory, share in _nerve_kinds(branch_id):

                def fill(
                    body: Body,
                    where: slice,
                    u: Draws,
                    branch_id: Any = branch_id,
                    side: Any = side,
                    motor: Any = motor,
                    sensory: Any = sensory,
                ) -> None:
                    body.take(
                        where,
                        f"branch_motor.{branch_id}",
                        side,
                        motor * u.severity * (0.5 + 0.5 * u.motor),
                    )
                    body.take(
                        where,
                        f"branch_sensory.{branch_id}",
                        side,
                        sensory * u.severity * (0.4 + 0.6 * u.sensory),
                    )
                    body.take(where, branch_id, side, u.severity)
                    if (
                        branch_id == "sciatic"
                    ):  # its fibular division suffers more (common practice)
                        body.take(where, "branch_motor.common_fibular", side, 0.7 * u.first)
                        body.take(where, "branch_sensory.common_fibular", side, 0.7 * u.first)
                        body.take(where, "stretch_low", side, 0.3 * u.second)
                    if branch_id == "femoral":
                        body.take(
                            where,
                            "branch_motor.iliopsoas_branch",
                            side,
                            np.where(u.first > 0.6, 0.8 * u.severity, 0),
                        )
                        body.take(where, "stretch_mid", side, 0.3 * u.second)

                plan.add(
                    "nerve",
                    SIDE_NAMES[side],
                    row.name,
                    row.weight * share,
                    fill,
                    group=f"nerve.{row.nerve}.{SIDE_NAMES[side]}",
                )


# --- diffuse processes ------------------------------------------------------------------------


def _both(body: Body, where: slice, structure: str, damage: Array | float) -> None:
    for side in (RIGHT, LEFT):
        body.take(where, structure, side, damage)


def _polyneuropathy(plan: Plan) -> None:
    for _, motor, large, small, weight in (
        ("sensory and motor", 1.0, 1.0, 0.9, 1.2), ("sensory", 0.15, 1.0, 0.9, 1.0),
        ("motor more than sensory", 1.3, 0.5, 0.4, 0.4), ("small fibre", 0.05, 0.25, 1.0, 0.25), ("large fibre", 0.4, 1.2, 0.3, 0.4),
    ):  # fmt: skip

        def fill(
            body: Body,
            where: slice,
            u: Draws,
            motor: Any = motor,
            large: Any = large,
            small: Any = small,
        ) -> None:
            for side in (RIGHT, LEFT):
                factor = 1 - 0.25 * (1 - u.side(side))
                reach = (0.25 + 0.75 * u.severity) * factor
                body.take(where, "length_reach", side, reach)
                body.take(where, "length_motor", side, np.minimum(1, motor * (0.5 + 0.5 * u.motor)))
                body.take(
                    where, "length_large", side, np.minimum(1, large * (0.6 + 0.4 * u.sensory))
                )
                body.take(where, "length_small", side, np.minimum(1, small * (0.6 + 0.4 * u.first)))

        plan.add(
            "polyneuropathy",
            "both",
            "length-dependent polyneuropathy",
            weight,
            fill,
            group="polyneuropathy",
        )


def _polyradiculoneuropathy(plan: Plan) -> None:
    for _, leg, arm, sense, face, fisher, reflex, weight in (
        ("all limbs", 1.0, 0.8, 0.5, 0.5, 0.0, 1.0, 1.2), ("legs first", 1.0, 0.25, 0.5, 0.1, 0.0, 0.95, 1.0),
        ("motor", 1.0, 0.85, 0.02, 0.4, 0.0, 0.8, 0.6), ("ataxia and eyes", 0.1, 0.1, 0.3, 0.3, 1.0, 1.0, 0.4),
        ("face and arms", 0.2, 0.8, 0.2, 0.9, 0.0, 0.6, 0.25), ("slow, all limbs", 0.8, 0.7, 0.7, 0.1, 0.0, 1.0, 0.7),
    ):  # fmt: skip

        def fill(
            body: Body,
            where: slice,
            u: Draws,
            leg: Any = leg,
            arm: Any = arm,
            sense: Any = sense,
            face: Any = face,
            fisher: Any = fisher,
            reflex: Any = reflex,
        ) -> None:
            for side in (RIGHT, LEFT):
                loss = u.severity * (1 - 0.25 * (1 - u.side(side)))
                body.take(where, "roots_leg", side, leg * loss * (0.5 + 0.5 * u.motor))
                body.take(where, "roots_arm", side, arm * loss * (0.4 + 0.6 * u.first))
                body.take(where, "roots_sense", side, sense * u.sensory)
                body.take(where, "roots_reflex_leg", side, reflex * (0.65 + 0.35 * u.second))
                body.take(
                    where,
                    "roots_reflex_arm",
                    side,
                    reflex * (0.35 + 0.65 * u.second) * (1.0 if arm > 0.3 or fisher else 0.6),
                )
                body.take(where, "branch_motor.facial", side, face * (u.third > 0.4) * loss)
                body.take(where, "roots_bulbar", side, 0.6 * face * u.first)
                body.take(where, "roots_all", side, loss)
                body.take(where, "fisher", side, fisher * (0.5 + 0.5 * u.severity))
                body.take(where, "proximal_too", side, u.third)

        plan.add(
            "polyradiculoneuropathy",
            "both",
            "polyradiculoneuropathy",
            weight,
            fill,
            group="polyradiculoneuropathy",
        )


def _motor_neurone(plan: Plan) -> None:
    arms, legs = ("C5", "C6", "C7", "C8", "T1"), ("L2", "L3", "L4", "L5", "S1")
    profiles: list[tuple[str, dict[tuple[str, int], float], float, float, float]] = []
    for upper, lower, share in ((0.8, 0.8, 1.0), (0.05, 0.9, 0.45), (0.9, 0.15, 0.25)):
        kind = (
            "upper and lower"
            if upper > 0.5 and lower > 0.5
            else "lower"
            if lower > 0.5
            else "upper"
        )
        for region in ("arm", "leg"):
            for side in (RIGHT, LEFT):
                other_limb = "leg" if region == "arm" else "arm"
                profiles.append(
                    (
                        kind,
                        {
                            (region, side): 1.0,
                            (region, 1 - side): 0.5,
                            (other_limb, side): 0.3,
                            (other_limb, 1 - side): 0.25,
                            ("bulbar", 0): 0.2,
                        },
                        upper,
                        lower,
                        0.25 * share,
                    )
                )
        profiles.append(
            (
                kind,
                {
                    ("bulbar", 0): 1.0,
                    ("arm", 0): 0.4,
                    ("arm", 1): 0.4,
                    ("leg", 0): 0.25,
                    ("leg", 1): 0.25,
                },
                upper,
                lower,
                0.4 * share,
            )
        )
        profiles.append(
            (
                kind,
                {
                    ("bulbar", 0): 0.5,
                    ("arm", 0): 0.8,
                    ("arm", 1): 0.8,
                    ("leg", 0): 0.8,
                    ("leg", 1): 0.8,
                },
                upper,
                lower,
                0.6 * share,
            )
        )
    for kind, regions, upper, lower, weight in profiles:

        def fill(
            body: Body,
            where: slice,
            u: Draws,
            regions: Any = regions,
            upper: Any = upper,
            lower: Any = lower,
        ) -> None:
            for (region, side), share in regions.items():
                loss = share * u.severity
                if region == "bulbar":
                    _both(body, where, "bulbar", loss * (0.4 + 0.6 * u.first))
                    _both(body, where, "jaw_upper", upper * loss)
                    continue
                for number, segment in enumerate(arms if region == "arm" else legs):
                    body.take(
                        where,
                        f"grey.{segment}",
                        side,
                        lower * loss * u.motor * u.jitter(number),
                    )
                body.take(
                    where, f"denervation_{region}", side, np.minimum(1, lower * (0.4 + 0.6 * loss))
                )
                # Upper neurones go in the whole limb at once; the tract is opposite its limb above the cord.
                body.take(
                    where,
                    f"neurone_upper_{region}",
                    side,
                    upper * (0.35 + 0.65 * loss) * (0.3 + 0.7 * u.second),
                )
            _both(body, where, "denervation_trunk", 0.5 * lower * u.severity)
            _both(body, where, "reflex_spared", 0.75 if upper > 0.5 else 0.2)

        plan.add(
            "motor_neurone",
            "both",
            f"motor neurone disease, {kind}",
            weight,
            fill,
            group="motor_neurone",
            upper=False,
        )


def _junction(plan: Plan) -> None:
    for _, ocular, bulbar, proximal, limb, lambert, weight in (
        ("ocular", 1.0, 0.1, 0.05, 0.02, 0.0, 0.7), ("generalised", 0.8, 0.6, 0.9, 0.4, 0.0, 1.2),
        ("bulbar", 0.6, 1.0, 0.4, 0.15, 0.0, 0.6), ("limb", 0.25, 0.3, 1.0, 0.6, 0.0, 0.4),
        ("presynaptic", 0.25, 0.2, 0.9, 0.45, 1.0, 0.5),
    ):  # fmt: skip

        def fill(
            body: Body,
            where: slice,
            u: Draws,
            ocular: Any = ocular,
            bulbar: Any = bulbar,
            proximal: Any = proximal,
            limb: Any = limb,
            lambert: Any = lambert,
        ) -> None:
            for side in (RIGHT, LEFT):
                body.take(
                    where,
                    "junction_ocular",
                    side,
                    ocular * (0.5 + 0.5 * u.severity) * (1 - 0.6 * (1 - u.side(side))),
                )
                body.take(where, "junction_bulbar", side, bulbar * (0.4 + 0.6 * u.first))
                body.take(
                    where,
                    "junction_proximal",
                    side,
                    proximal * u.severity * (0.35 + 0.45 * u.motor),
                )
                body.take(
                    where, "junction_distal", side, limb * u.severity * (0.3 + 0.4 * u.second)
                )
                body.take(where, "junction", side, (1 - lambert) * (0.4 + 0.6 * u.third))
                body.take(where, "junction_lambert", side, lambert * (0.5 + 0.5 * u.third))

        plan.add(
            "junction",
            "both",
            "neuromuscular junction" + (", presynaptic" if lambert else ""),
            weight,
            fill,
            group="junction",
        )


def _muscle(plan: Plan) -> None:
    for name, hips, shoulders, distal, quads_fingers, neck, weight in (
        ("proximal", 1.0, 0.85, 0.12, 0.7, 0.7, 1.6), ("legs first", 1.0, 0.35, 0.08, 0.7, 0.3, 0.6),
        ("distal", 0.25, 0.2, 1.0, 0.3, 0.4, 0.35), ("thigh and fingers", 0.45, 0.3, 0.4, 1.0, 0.3, 0.35),
        ("all muscles", 0.9, 0.9, 0.7, 0.8, 0.8, 0.4), ("face and shoulders", 0.4, 1.0, 0.25, 0.3, 0.3, 0.3),
    ):  # fmt: skip

        def fill(
            body: Body,
            where: slice,
            u: Draws,
            name: Any = name,
            hips: Any = hips,
            shoulders: Any = shoulders,
            distal: Any = distal,
            quads_fingers: Any = quads_fingers,
            neck: Any = neck,
        ) -> None:
            for side in (RIGHT, LEFT):
                loss = u.severity * (1 - 0.2 * (1 - u.side(side)))
                body.take(where, "muscle_hips", side, hips * loss * (0.5 + 0.4 * u.motor))
                body.take(where, "muscle_shoulders", side, shoulders * loss * (0.5 + 0.4 * u.first))
                body.take(where, "muscle_distal", side, distal * loss * (0.5 + 0.4 * u.second))
                body.take(
                    where,
                    "muscle_quadriceps",
                    side,
                    quads_fingers * loss * (0.5 + 0.4 * u.third),
                )
                body.take(where, "muscle_neck", side, neck * loss * (0.4 + 0.5 * u.first))
                body.take(where, "muscle_bulbar", side, 0.4 * u.offset)
                if name == "thigh and fingers":
                    body.take(where, "muscle_fingers", side, loss * (0.5 + 0.4 * u.third))
                if name == "face and shoulders":
                    body.take(where, "branch_motor.facial", side, 0.5 * loss)

        plan.add("muscle", "both", "muscle, " + name, weight, fill, group="muscle")


def _none(plan: Plan) -> None:
    def fill(body: Body, where: slice, u: Draws) -> None:
        return None

    plan.add("none", "none", "no lesion shown by these signs", 1.0, fill, group="none")


def plan() -> Plan:
    """Every form of every family."""
    made = Plan()
    for family in (
        _brain, _cord, _conus, _cauda, _roots, _plexus, _nerves, _polyneuropathy,
        _polyradiculoneuropathy, _motor_neurone, _junction, _muscle, _none,
    ):  # fmt: skip
        family(made)
    return made
